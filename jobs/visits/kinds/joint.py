"""One joint: how it was made, by whom, when it may be moved and pressed."""

from __future__ import annotations

from calcs.verdict import Cause, Figure, Verdict
from jobs.visits.kinds import cautions
from jobs.visits.kinds.base import Answer, Facts, Field, Kind, Logged, Of
from jobs.visits.kinds.fields import MILLIMETRES, MINUTES, choice, number, photo, picked, time, yes
from jobs.visits.kinds.said import bad, look

FUSED = ("socket", "butt", "electrofusion")


def judge(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    found = []
    if entry.choice("method") == "mechanical" and entry.yes("buried"):
        way_out = "Fuse it, or keep it where it stays within reach."
        found.append(bad("A mechanical joint is to be buried.", Cause.CONDITIONS, way_out=way_out))
    if entry.value("visual_ok") is False:
        found.append(bad("It does not look right.", Cause.CONDITIONS, way_out="Cut it out and take the next number."))
    limit, cooling = facts.limit(f"cooling_{entry.choice('method')}_min"), entry.number("cooling_min", "min")
    if limit is not None and cooling is not None and cooling < limit.value:
        figure = Figure("cooling", cooling, "min", limit=limit.value)
        reason = "The cooling time is shorter than the usual one for this method."
        found.append(
            look(reason, Cause.DURATION, figure, source=limit.source, way_out="Check the time on the fitting.")
        )
    return tuple(found)


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
        time("ended_at", "Finished at"),
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
)
