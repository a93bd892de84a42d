"""The de-aeration run: how the pressure goes from visit to visit once top-ups are taken out, and whether it is stable."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calcs._ranges import not_negative, positive
from calcs._tightness import TWO_READINGS
from calcs.errors import OutOfRange
from calcs.sources import Limit, limits
from calcs.units import Quantity, quantity, si
from calcs.verdict import Cause, Figure, Outcome, Verdict, inside


@dataclass(frozen=True)
class Visit:
    """One visit: days since the start of the run, pressure before touching anything and when leaving, litres topped up."""

    day: float
    arrival: Quantity
    departure: Quantity
    top_up: Quantity
    temperature: Quantity | None = None


@dataclass(frozen=True)
class Trend:
    """Pressure on arrival as it would be without any top-up, its slope over the last two visits, and the litres added."""

    days: Quantity
    net_pressure: Quantity
    slope: Quantity | None
    topped_up: Quantity
    share: float


def deaeration_rows() -> dict[str, Limit]:
    """The limits of the de-aeration run with their sources (units in the rows; range: keys of the table).

    Source: `calcs/data/house_limits.csv`.

    >>> deaeration_rows()["stable_change"].value
    0.1
    """
    return limits("house_limits", "deaeration")


def trend(*, visits: Sequence[Visit], volume: Quantity) -> Trend:
    """net_i = arrival_i - sum of (departure - arrival) over the visits before, in bar; slope in bar per day.

    What a visit changed is taken out, whether fluid was added or air was let out. Range: one visit or more, days rising,
    volume above 0. Source: book-keeping.

    >>> bar, none, two = (lambda x: quantity(x, "bar")), quantity(0, "L"), quantity(2, "L")
    >>> run = [Visit(1, bar(1.5), bar(2.0), two), Visit(3, bar(1.8), bar(1.8), none), Visit(7, bar(1.75), bar(1.75), none)]
    >>> found = trend(visits=run, volume=quantity(400, "L"))
    >>> found.net_pressure.magnitude.round(2).tolist(), found.share
    ([1.5, 1.3, 1.25], 0.005)
    """
    days, arrival, departure = _checked(visits)
    changed = np.cumsum(departure - arrival)
    net = arrival - np.concatenate([[0.0], changed[:-1]])
    litres = sum(not_negative("top-up", si(visit.top_up, "L", "top-up")) for visit in visits)
    slope = None if len(days) < 2 else quantity(float((net[-1] - net[-2]) / (days[-1] - days[-2])), "bar/day")
    return Trend(
        days=quantity(days, "day"),
        net_pressure=quantity(net, "bar"),
        slope=slope,
        topped_up=quantity(litres, "L"),
        share=litres / positive("volume", si(volume, "L", "volume")),
    )


def judge(
    *, visits: Sequence[Visit], volume: Quantity, resolution: Quantity, rules: dict[str, Limit] | None = None
) -> Verdict:
    """Stable: the last two visits 2 days apart or more, no top-up between, |dp| <= 0.1 bar at like fluid temperature.

    Too much topped up fails first (leak to be looked for). Units: bar, L, day, K. Range: as `trend`; resolution of the gauge
    above 0. Source: house defaults in `house_limits`.

    >>> bar, none = (lambda x: quantity(x, "bar")), quantity(0, "L")
    >>> run = [Visit(3, bar(1.8), bar(1.8), none), Visit(7, bar(1.8), bar(1.8), none)]
    >>> judge(visits=run, volume=quantity(400, "L"), resolution=bar(0.1)).outcome.value
    'pass'
    """
    rows = rules or deaeration_rows()
    found = trend(visits=visits, volume=volume)
    topped = Figure("topped up", 100.0 * found.share, "% of volume", limit=100.0 * rows["topup_fail"].value)
    if found.share > rows["topup_fail"].value:
        reason = "So much was topped up that a leak must be looked for."
        return Verdict(Outcome.FAIL, reason, Cause.LEAK, figures=(topped,), source=rows["topup_fail"].source)
    missing = _not_comparable(visits, rows)
    if missing:
        cause, reason, way_out = missing
        source = rows["stable_days"].source
        return Verdict(Outcome.CANNOT_TELL, reason, cause, figures=(topped,), source=source, way_out=way_out)
    step = positive("resolution", si(resolution, "bar", "resolution"))
    change = abs(float(np.diff(found.net_pressure.m_as("bar"))[-1]))
    figures = (Figure("change", change, "bar", u=TWO_READINGS * step, limit=rows["stable_change"].value), topped)
    return _stable(change, step, figures, rows, found.share)


def _stable(change: float, step: float, figures: tuple[Figure, ...], rows: dict[str, Limit], share: float) -> Verdict:
    outcome = inside(change, rows["stable_change"].value + 1e-9, u=TWO_READINGS * step)
    source = rows["stable_change"].source
    if outcome is Outcome.FAIL:
        reason = f"The pressure moved by {change:.2f} bar since the visit before: not stable yet."
        return Verdict(outcome, reason, Cause.AIR, figures=figures, source=source)
    if outcome is Outcome.CANNOT_TELL:
        reason = "The change since the visit before is too near the limit for this gauge."
        way_out = "Read again in two days or more; over a longer time a stable loop shows."
        return Verdict(outcome, reason, Cause.RESOLUTION, figures=figures, source=source, way_out=way_out)
    if share > rows["topup_warn"].value:
        reason = "The pressure is stable, but more was topped up than air and stretch usually take."
        return Verdict(Outcome.WARN, reason, Cause.LEAK, figures=figures, source=rows["topup_warn"].source)
    return Verdict(Outcome.PASS, "The pressure is stable.", figures=figures, source=source)


def _not_comparable(visits: Sequence[Visit], rows: dict[str, Limit]) -> tuple[Cause, str, str] | None:
    """Why the last two visits cannot be compared, with the way out."""
    days = rows["stable_days"].value
    way_out = f"Come back {days:.0f} days or more after the last visit and read before touching anything."
    if len(visits) < 2 or visits[-1].day - visits[-2].day < days:
        return Cause.DURATION, "Two visits some days apart are needed.", way_out
    before, last = visits[-2], visits[-1]
    if si(before.top_up, "L", "top-up") > 0.0:
        return Cause.CONDITIONS, "The loop was topped up at the visit before: its pressure is still settling.", way_out
    if before.temperature is None or last.temperature is None:
        return None
    if (
        abs(si(last.temperature, "kelvin", "t") - si(before.temperature, "kelvin", "t"))
        > rows["similar_temperature"].value
    ):
        again = "Read again when the fluid is about as warm as at the visit before."
        return Cause.TEMPERATURE, "The fluid was not as warm as at the visit before.", again
    return None


def _checked(visits: Sequence[Visit]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    if not visits:
        raise OutOfRange(what="visits", value=0, low=1, high="any number", source="a trend")
    days = np.array([visit.day for visit in visits])
    if np.any(np.diff(days) <= 0.0):
        raise OutOfRange(what="days", value=days.tolist(), low="rising", high="rising", source="order of the visits")
    arrival = np.array([si(visit.arrival, "bar", "arrival pressure") for visit in visits])
    return days, arrival, np.array([si(visit.departure, "bar", "departure pressure") for visit in visits])
