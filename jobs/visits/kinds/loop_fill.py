"""Antifreeze pushed into one loop behind the water, until the colour comes back."""

from __future__ import annotations

from calcs import changeover, fluid
from calcs.base import Base
from calcs.changeover import Changeover
from calcs.units import Quantity, quantity, si
from calcs.verdict import Cause, Verdict
from jobs.visits.kinds import cautions, strength_reading
from jobs.visits.kinds.base import Facts, Kind, Logged, Of, Target
from jobs.visits.kinds.fields import LITRES, flow, number, pump, time, yes
from jobs.visits.kinds.said import attempt, bad, cannot

# The front is half water, half mix, at the temperature of the bin and the hoses: a house default.
FILLING_C = 10.0


def expected(facts: Facts, loop: str, flow_l_min: float) -> Changeover | None:
    """When colour should show at this flow; None when the plan does not tell. Raises `CalcError`."""
    target, run = facts.number("fluid", "target_mass_pct"), facts.runs.get(loop)
    if facts.fluid is None or target is None or run is None:
        return None
    front = fluid.properties(
        base=Base(facts.fluid.base),
        mass_fraction=quantity(target / 2, "percent"),
        temperature=quantity(FILLING_C, "degC"),
    )
    band = facts.limit("changeover_band_pct")
    return changeover.expected(
        length=quantity(run.length_m, "m"),
        bore=quantity(run.bore_mm, "mm"),
        flow=quantity(flow_l_min, "L/min"),
        density=front.density,
        viscosity=front.viscosity,
        band=None if band is None else band.value / 100,
    )


def judge(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    has_colour = facts.fluid is None or facts.fluid.colour != ""
    found = [] if has_colour else [_at_the_hose(facts, entry)]
    if has_colour or entry.time("full_colour"):
        found.append(attempt(lambda: _changeover(facts, entry)))
    if entry.value("only_this_open") is False:
        reason = "Another loop was open: this one may not have been swept."
        found.append(bad(reason, Cause.CONDITIONS, way_out="Shut all others and fill it again from the start."))
    return tuple(found)


def _changeover(facts: Facts, entry: Logged) -> Verdict:
    flowed = entry.number("flow", "L/min")
    plan = expected(facts, entry.subject, flowed) if flowed else None
    if plan is None:
        return cannot("The expected time is not known.", "Complete the job's design data, or correct the flow.")
    return changeover.diagnose(
        expected=plan, observed_first=_since(entry, "first_colour"), observed_full=_since(entry, "full_colour")
    )


def _at_the_hose(facts: Facts, entry: Logged) -> Verdict:
    """Nobody sees a fluid without colour arrive: what comes back is read at the hose, as a strength reading of this loop."""
    if not facts.of("strength_reading", entry.subject):
        reason = "This fluid has no colour: nothing is read yet at the return hose."
        return cannot(reason, f"Log a strength reading of {entry.subject} at the return hose.", cause=Cause.STRENGTH)
    return strength_reading.judge_subject(facts, entry.subject)


def _since(entry: Logged, name: str) -> Quantity | None:
    start, then = entry.time("started"), entry.time(name)
    return None if start is None or then is None or then < start else quantity((then - start).total_seconds(), "s")


def targets(facts: Facts, subject: str) -> tuple[Target, ...]:
    plan = facts.loop_numbers(subject).get("changeover")
    if not plan:
        return ()
    minutes = si(quantity(plan["transit_s"], "s"), "min", "time")
    words = f"at {plan['flow_l_min']:.0f} L/min colour comes after about {minutes:.1f} min"
    return (Target("full_colour", words, source="volume over flow"),)


# Said at the hose, so that the others hear of it before the fill is over. It establishes nothing: the fill itself does.
START = Kind(code="fill_start", label="Fill started", of=Of.LOOP, fields=())

KIND = Kind(
    code="loop_fill",
    label="Fill a loop",
    of=Of.LOOP,
    instrument="flow_meter",
    fields=(
        yes("only_this_open", "Only this loop is open"),
        flow(),
        time("started", "Started"),
        time("first_colour", "First colour at the return hose", required=False),
        time(
            "full_colour",
            "Full colour",
            required=False,
            help="Without colour: when the reading at the hose equals the bin. Then log a strength reading of this loop.",
        ),
        number(
            "return_reading", "Reading at the return", ("°Bx", "°C"), soft=(-40, 45), hard=(-60, 95), required=False
        ),
        number("waste", "Water sent to waste", LITRES, soft=(0, 1000), hard=(0, 20000)),
        pump(),
    ),
    help="Finish a loop before a break. A loop that was left half-way is filled again from the start.",
    cautions=(*cautions.FLUID[:1], *cautions.HOSE),
    flammable=True,
    calc="changeover",
    judge=judge,
    targets=targets,
)
