"""Washing dirt out of a loop or the main header."""

from __future__ import annotations

from math import ceil

from calcs.units import quantity
from calcs.verdict import Cause, Figure, Verdict
from jobs.visits.kinds import cautions
from jobs.visits.kinds.base import Facts, Kind, Logged, Of, Target
from jobs.visits.kinds.fields import MINUTES, choice, flow, number, photo, yes
from jobs.visits.kinds.said import at_least, attempt, bad, cannot, flow_for, look, velocity

DIRTY = ("sand", "shavings", "stones")


def targets(facts: Facts, subject: str) -> tuple[Target, ...]:
    speed, minutes = facts.limit("flush_velocity_m_s"), facts.limit("flush_minutes")
    found = []
    if speed and subject in facts.runs:
        least = flow_for(quantity(speed.value, "m/s"), facts.runs[subject].bore_mm)
        found.append(Target("flow", "at least", low=ceil(10 * least) / 10, unit="L/min", source=speed.source.label))
    if minutes:
        found.append(Target("minutes", "at least", low=minutes.value, unit="min", source=minutes.source.label))
    return tuple(found)


def judge(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    found = [attempt(lambda: _speed(facts, entry)), *_duration(facts, entry)]
    if entry.value("clear") is False:
        found.append(bad("The water does not run clear yet.", Cause.CONDITIONS, way_out="Flush on until it does."))
    elif entry.choice("debris") in DIRTY:
        way_out = "Clean the filter and flush once more until it stays clean."
        found.append(look("Coarse dirt came out.", Cause.CONDITIONS, way_out=way_out))
    return tuple(found)


def _speed(facts: Facts, entry: Logged) -> Verdict:
    flowed, limit = entry.number("flow", "L/min"), facts.limit("flush_velocity_m_s")
    if flowed is None or limit is None or entry.subject not in facts.runs:
        return cannot("The velocity is not known.", "Complete the job's design data, or correct the flow.")
    figure = Figure("velocity", velocity(flowed, facts.runs[entry.subject].bore_mm), "m/s", limit=limit.value)
    return at_least(
        figure,
        limit.source,
        good="Fast enough to carry dirt out.",
        short="Too slow to carry dirt out.",
        way_out="Flush again with more flow and every other loop shut.",
        cause=Cause.FLOW,
    )


def _duration(facts: Facts, entry: Logged) -> list[Verdict]:
    ran, limit = entry.number("minutes", "min"), facts.limit("flush_minutes")
    if ran is None or limit is None:
        return []
    return [
        at_least(
            Figure("time", ran, "min", limit=limit.value),
            limit.source,
            good="Long enough.",
            short="Not long enough.",
            way_out="Flush again for the whole time.",
            cause=Cause.DURATION,
        )
    ]


KIND = Kind(
    code="flush",
    label="Flush",
    of=Of.LOOP_OR_HEADER,
    instrument="flow_meter",
    fields=(
        flow(),
        number("minutes", "For how long", MINUTES, soft=(5, 180), hard=(0, 2880)),
        choice(
            "direction",
            "Direction",
            ("to_ground", "With the arrows: to ground"),
            ("from_ground", "Against: from ground"),
            ("both", "Both ways"),
        ),
        choice(
            "debris",
            "Dirt in the filter",
            ("none", "None"),
            ("fine", "Fine"),
            ("sand", "Sand"),
            ("shavings", "Shavings"),
            ("stones", "Stones"),
        ),
        yes("clear", "Water runs clear"),
        photo("filter", "Photo of the filter", required=False),
    ),
    help="One loop at a time, all others shut.",
    cautions=cautions.HOSE,
    calc="purge",
    judge=judge,
    targets=targets,
)
