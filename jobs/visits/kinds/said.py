"""Short makers of verdicts, for what a kind can say without a formula."""

from __future__ import annotations

from collections.abc import Callable

from calcs import purge
from calcs.errors import CalcError
from calcs.sources import Source, Status
from calcs.units import Quantity, quantity, si
from calcs.verdict import Cause, Figure, Outcome, Verdict
from jobs.visits.kinds.base import Facts, Logged
from jobs.visits.kinds.units import convert

HOUSE = Source("", Status.HOUSE_DEFAULT)
# What was typed in decimals is not to fail by a rounding of its binary form.
EXACT = 1e-9


def ok(reason: str, *figures: Figure, source: Source = HOUSE) -> Verdict:
    return Verdict(Outcome.PASS, reason, figures=figures, source=source)


def look(reason: str, cause: Cause, *figures: Figure, source: Source = HOUSE, way_out: str = "") -> Verdict:
    """Within the limit, or no limit of its own, but somebody should look."""
    return Verdict(Outcome.WARN, reason, cause, figures=figures, source=source, way_out=way_out)


def bad(reason: str, cause: Cause, *figures: Figure, source: Source = HOUSE, way_out: str = "") -> Verdict:
    return Verdict(Outcome.FAIL, reason, cause, figures=figures, source=source, way_out=way_out)


def cannot(
    reason: str, way_out: str, *figures: Figure, cause: Cause = Cause.READINGS, source: Source = HOUSE
) -> Verdict:
    return Verdict(Outcome.CANNOT_TELL, reason, cause, figures=figures, source=source, way_out=way_out)


def attempt(judge: Callable[[], Verdict]) -> Verdict:
    """The verdict; what the calculation refuses becomes *cannot tell* with its sentence."""
    way_out = "Correct the reading, or complete the job's design data."
    try:
        return judge()
    except CalcError as error:
        return cannot(str(error), way_out)
    except ArithmeticError:
        return cannot("With this reading nothing can be worked out.", way_out)


def at_least(figure: Figure, source: Source, *, good: str, short: str, way_out: str, cause: Cause) -> Verdict:
    """Pass when the figure reaches its limit."""
    if figure.limit is None or figure.value >= figure.limit - EXACT:
        return ok(good, figure, source=source)
    return bad(short, cause, figure, source=source, way_out=way_out)


def resolution(facts: Facts, entry: Logged, name: str, unit: str) -> float:
    """Step of the instrument, at least that of the decimals typed when no instrument is named; in `unit`."""
    used = facts.instrument(entry)
    if used and used.resolution:
        step = convert(used.resolution, used.unit, unit)
        zero = convert(0.0, used.unit, unit)
        if step is not None and zero is not None and step > zero:
            return step - zero
    typed = convert(10.0 ** -entry.decimals(name), entry.unit(name) or unit, unit)
    zero = convert(0.0, entry.unit(name) or unit, unit)
    return typed - zero if typed is not None and zero is not None else 1.0


def velocity(flow_l_min: float, bore_mm: float) -> float:
    """m/s."""
    return si(purge.velocity_of(flow=quantity(flow_l_min, "L/min"), bore=quantity(bore_mm, "mm")), "m/s", "velocity")


def flow_for(speed: Quantity, bore_mm: float) -> float:
    """L/min for a velocity."""
    return si(purge.flow_for(bore=quantity(bore_mm, "mm"), velocity=speed), "L/min", "flow")
