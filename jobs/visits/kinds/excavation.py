"""Looking at the excavation again: at the start of a shift, after rain, after a fall of earth."""

from __future__ import annotations

from calcs.verdict import Cause, Verdict
from jobs.visits.kinds import cautions
from jobs.visits.kinds.base import Facts, Kind, Logged, Of
from jobs.visits.kinds.fields import choice, photo, text, yes
from jobs.visits.kinds.said import bad


def judge(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:  # noqa: ARG001 - the shape of every judge
    if entry.value("safe") is not False:
        return ()
    way_out = "Nobody goes in. Support it, batter it or pump it out, then inspect it again."
    return (bad("The excavation is not safe.", Cause.CONDITIONS, way_out=way_out),)


KIND = Kind(
    code="excavation_inspection",
    label="Excavation inspection",
    of=Of.SECTION,
    repeats=True,
    fields=(
        choice(
            "why",
            "Why now",
            ("shift", "Start of the shift"),
            ("rain", "After rain"),
            ("fall", "Earth has fallen in"),
            ("break", "After a break"),
            ("changed", "Something was changed"),
        ),
        yes(
            "safe", "Safe to work in", help="Supported or battered, spoil and plant off the edge, a way out, no water."
        ),
        text("action", "What was done about it", required=False),
        photo("trench", required=False),
    ),
    help="By somebody who is competent for it. The later look decides.",
    cautions=cautions.TRENCH,
    judge=judge,
)
