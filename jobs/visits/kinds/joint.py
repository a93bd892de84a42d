"""One joint: how it was made, by whom, when it may be moved and pressed."""

from __future__ import annotations

from calcs.verdict import Cause, Figure, Verdict
from jobs.visits.kinds import cautions
from jobs.visits.kinds.base import Answer, Facts, Field, Kind, Logged, Of
from jobs.visits.kinds.fields import (
    CELSIUS,
    MILLIMETRES,
    MINUTES,
    SECONDS,
    choice,
    code,
    number,
    photo,
    picked,
    time,
    yes,
)
from jobs.visits.kinds.said import EXACT, bad, look

FUSED = ("socket", "butt", "electrofusion")
SOCKET, BUTT, ELECTRO = ("method", ("socket",)), ("method", ("butt",)), ("method", ("electrofusion",))
# Method, its answer, and the codes of the rule set between which it must lie.
HOT = (
    ("socket", "tool_temperature", "The tool face", "socket_tool_low_c", "socket_tool_high_c"),
    ("butt", "plate_temperature", "The plate", "butt_plate_low_c", "butt_plate_high_c"),
)
WRONG = (
    ("scraped", "The pipe was not scraped all round.", "Cut it out: it may hold today and leak in two years."),
    ("clamped", "The pipe was not held still.", "Cut it out and take the next number."),
    ("indicators", "The indicators have not both risen.", "Cut it out; never fuse a fitting twice."),
)


def judge(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    found = []
    if entry.choice("method") == "mechanical" and entry.yes("buried"):
        way_out = "Fuse it, or keep it where it stays within reach."
        found.append(bad("A mechanical joint is to be buried.", Cause.CONDITIONS, way_out=way_out))
    if entry.value("visual_ok") is False:
        found.append(bad("It does not look right.", Cause.CONDITIONS, way_out="Cut it out and take the next number."))
    found += [
        bad(words, Cause.CONDITIONS, way_out=way_out) for name, words, way_out in WRONG if entry.value(name) is False
    ]
    found += _heat(facts, entry)
    limit, cooling = facts.limit(f"cooling_{entry.choice('method')}_min"), entry.number("cooling_min", "min")
    if limit is not None and cooling is not None and cooling < limit.value:
        figure = Figure("cooling", cooling, "min", limit=limit.value)
        reason = "The cooling time is shorter than the usual one for this method."
        found.append(
            look(reason, Cause.DURATION, figure, source=limit.source, way_out="Check the time on the fitting.")
        )
    return tuple(found)


def _heat(facts: Facts, entry: Logged) -> list[Verdict]:
    """The temperature of the tool against the rule set. The time on it follows from the size: the fitting's own table governs."""
    for method, name, what, low_code, high_code in HOT:
        read, low, high = entry.number(name, "°C"), facts.limit(low_code), facts.limit(high_code)
        if entry.choice("method") != method or read is None or low is None or high is None:
            continue
        if low.value - EXACT <= read <= high.value + EXACT:
            return []
        limit = low if read < low.value else high
        figure = Figure("temperature", read, "°C", limit=limit.value)
        words = f"{what} was {'colder' if read < low.value else 'hotter'} than the method says."
        way_out = "Check it with another thermometer; cut the joint out when it was so."
        return [bad(words, Cause.CONDITIONS, figure, source=limit.source, way_out=way_out)]
    return []


KIND = Kind(
    code="joint",
    label="Joint",
    of=Of.JOINT,
    fields=(
        choice(
            "method",
            "Method",
            ("socket", "Socket fusion"),
            ("butt", "Butt fusion"),
            ("electrofusion", "Electrofusion"),
            ("mechanical", "Mechanical"),
        ),
        number("od", "Pipe outer diameter", MILLIMETRES, soft=(20, 125), hard=(10, 400)),
        picked("section", "In section", "sections"),
        picked(
            "loop",
            "Joins loop",
            "loops",
            "header",
            required=False,
            help="When it joins a borehole's tails or the header.",
        ),
        yes("buried", "Will be buried", good=None),
        Field("welder", "Made by", Answer.PERSON),
        number(
            "tool_temperature", "Tool face, measured", CELSIUS, soft=(240, 280), hard=(100, 350), only_if=SOCKET,
            help="With a contact thermometer, not the lamp of the tool.",
        ),
        number("heating", "Heated for", SECONDS, soft=(5, 60), hard=(1, 900), only_if=SOCKET),
        number("plate_temperature", "Plate, measured", CELSIUS, soft=(195, 240), hard=(100, 350), only_if=BUTT),
        number("soak", "Heat soak", SECONDS, soft=(20, 400), hard=(1, 3600), only_if=BUTT),
        number("changeover", "Plate out, ends together in", SECONDS, soft=(1, 15), hard=(0, 300), only_if=BUTT),
        number("bead", "Width of the bead", MILLIMETRES, soft=(3, 20), hard=(0, 60), required=False, only_if=BUTT),
        yes("scraped", "Scraped all round and wiped", only_if=ELECTRO),
        yes("clamped", "Held in a clamp till it was cool", only_if=ELECTRO),
        yes("indicators", "Both indicators risen, no error", only_if=ELECTRO),
        code("weld_no", "Number on the control box", required=False, only_if=ELECTRO),
        code("lot", "Lot of the fitting", required=False),
        code("machine", "Machine, serial number", required=False),
        number("ambient", "Air temperature", CELSIUS, soft=(-5, 40), hard=(-25, 55), required=False),
        time("ended_at", "Finished at"),
        number(
            "hold_min", "Held still before it is moved", ("min", "s"), soft=(0.4, 60), hard=(0, 600), required=False,
            only_if=("method", FUSED), help="From the fitting or the method table.",
        ),
        number(
            "cooling_min",
            "Cooling before pressure",
            MINUTES,
            soft=(5, 90),
            hard=(0, 1440),
            only_if=("method", FUSED),
            help="From the fitting or the method table.",
        ),
        yes("visual_ok", "Looks right all round"),
        photo("joint", "Photo with its number", required=False),
    ),
    help="Number on the pipe and here are the same. An unfinished joint is cut out and takes the next number.",
    cautions=cautions.FUSION,
    judge=judge,
)  # fmt: skip
