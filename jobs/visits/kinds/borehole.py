"""At the borehole: is the U-tube open and tight, and when and with what was the hole grouted."""

from __future__ import annotations

from calcs.verdict import Cause, Figure, Verdict
from jobs.visits.kinds import cautions
from jobs.visits.kinds.base import Facts, Kind, Logged, Of
from jobs.visits.kinds.fields import LITRES, choice, code, flow, number, photo, pressure, time, yes
from jobs.visits.kinds.said import EXACT, bad, look


def judge_tube(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:  # noqa: ARG001 - the shape of every judge
    wrong = (
        ("flows", "Water does not run through the U-tube as it should."),
        ("holds", "The U-tube does not hold its pressure."),
    )
    way_out = "Do not grout it. Draw it out, or have it settled with the driller and the office."
    return tuple(bad(words, Cause.CONDITIONS, way_out=way_out) for name, words in wrong if entry.value(name) is False)


def judge_grout(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    found: list[Verdict] = []
    drilled, grouted, limit = entry.time("drilled_at"), entry.time("grouted_at"), facts.limit("ungrouted_h")
    if drilled is not None and grouted is not None and limit is not None:
        hours = (grouted - drilled).total_seconds() / 3600
        figure = Figure("stood open", hours, "h", limit=limit.value)
        if hours > limit.value + EXACT:
            way_out = "Say what kept it open; look for caving and for what got in."
            reason = "The hole stood open longer than it should."
            found.append(look(reason, Cause.DURATION, figure, source=limit.source, way_out=way_out))
    if entry.value("to_surface") is False:
        way_out = "Top it up through the tremie, or have the gap settled with the office."
        found.append(bad("Grout did not come back to the surface.", Cause.CONDITIONS, way_out=way_out))
    return tuple(found)


TUBE = Kind(
    code="utube_check",
    label="U-tube check",
    of=Of.BOREHOLE,
    instrument="gauge",
    repeats=True,
    fields=(
        choice(
            "stage",
            "When",
            ("before_grout", "Before grouting"),
            ("after_grout", "After grouting"),
            ("arrival", "When the ground crew came"),
        ),
        yes("flows", "Water runs through as it should"),
        flow(required=False),
        pressure("test_pressure", "Test pressure", soft=(2, 16), hard=(0.2, 40)),
        pressure("pressure_after", "Pressure at the end", soft=(2, 16), hard=(0, 40)),
        number("minutes", "Held for", ("min", "h"), soft=(10, 120), hard=(0, 2880)),
        yes("holds", "Holds, and stays closed and full of water"),
        photo("gauge", required=False),
    ),
    help="Once before the grout goes in, once after it. Pressure left on shows later damage.",
    cautions=cautions.PRESSURE,
    judge=judge_tube,
)

GROUTING = Kind(
    code="grouting",
    label="Grouting",
    of=Of.BOREHOLE,
    fields=(
        time("drilled_at", "Drilled to depth at"),
        time("grouted_at", "Grouted at"),
        code("product", "Grout, product and lot"),
        number("density", "Density of the mix", ("kg/L",), soft=(1.1, 2.0), hard=(0.9, 2.5)),
        number("volume", "Pumped in", LITRES, soft=(200, 4000), hard=(0, 100000)),
        yes("to_surface", "Came back to the surface, from the bottom up in one go"),
    ),
    help="Through a tremie from the bottom. Weigh every batch.",
    cautions=cautions.DRILLING,
    judge=judge_grout,
)
