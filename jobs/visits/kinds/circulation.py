"""Antifreeze dosed into the water that goes round, instead of pushed in behind it."""

from __future__ import annotations

from calcs.verdict import Cause, Figure, Verdict
from jobs.visits.kinds import cautions
from jobs.visits.kinds.base import Facts, Kind, Logged, Of, Target
from jobs.visits.kinds.fields import LITRES, MINUTES, flow, number, pump, yes
from jobs.visits.kinds.said import at_least, bad


def judge(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    found = []
    litres, minutes = entry.number("flow", "L/min"), entry.number("minutes", "min")
    volume, limit = facts.number("volumes", "system_l"), facts.limit("circulate_turnovers")
    if litres is not None and minutes is not None and volume and limit is not None:
        figure = Figure("volume went round", litres * minutes / volume, "times", limit=limit.value)
        said = {
            "good": "Circulated long enough to be mixed.",
            "short": "Not circulated long enough to be mixed.",
            "way_out": "Circulate on before the strength is read.",
        }
        found.append(at_least(figure, limit.source, cause=Cause.DURATION, **said))
    if entry.value("through_all") is False:
        way_out = "Open every loop in turn: one that stood still holds plain water and freezes."
        found.append(bad("Not every loop was open.", Cause.CONDITIONS, way_out=way_out))
    return tuple(found)


def targets(facts: Facts, subject: str) -> tuple[Target, ...]:  # noqa: ARG001 - one system
    litres = facts.number("fill", "concentrate_l")
    if litres is None:
        return ()
    return (Target("concentrate", "in all about", low=round(litres, 1), unit="L", source="the job's recipe"),)


KIND = Kind(
    code="circulation",
    label="Dose and circulate",
    of=Of.JOB,
    repeats=True,
    instrument="flow_meter",
    fields=(
        yes("spill_ready", "Spill kit at hand, way to the drain known"),
        number("concentrate", "Concentrate dosed in", LITRES, soft=(5, 1000), hard=(0, 20000)),
        number("drained", "Water let out for it", LITRES, soft=(0, 1000), hard=(0, 20000)),
        flow(),
        number("minutes", "Circulated after the last of it", MINUTES, soft=(15, 480), hard=(0, 5760)),
        yes("through_all", "Through every loop, one after the other"),
        pump(),
    ),
    help="Dose slowly into the bin: neat concentrate moves as a slug and can stop a loop. Then read the strength at the return.",
    cautions=cautions.FLUID,
    flammable=True,
    judge=judge,
    targets=targets,
)
