"""The de-aeration run: how the pressure goes from visit to visit once top-ups are taken out, whether it is stable, and when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calcs._ranges import not_negative, positive
from calcs._tightness import TWO_READINGS, guard
from calcs.errors import OutOfRange
from calcs.sources import Limit, limits
from calcs.units import Array, Quantity, quantity, si
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


@dataclass(frozen=True)
class Outlook:
    """The day of the run on which a visit is likely to find it stable, with its band; None, and why, when nobody can say."""

    day: Quantity | None
    low: Quantity | None
    high: Quantity | None
    reason: str


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
    days, net = _net(visits)
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


def outlook(*, visits: Sequence[Visit], resolution: Quantity, rules: dict[str, Limit] | None = None) -> Outlook:
    """When a visit is likely to find the pressure stable: falls between visits that slow down evenly, drawn on.

    Rate of fall r(t) = r_0 exp(-k t), fitted to the falls between visits (top-ups out) and each fall weighed by what the
    gauge can show; stable when the fall over the days of the rule, the gauge's doubt with it, comes under the limit. The
    band is 2 standard uncertainties from the step of the gauge alone: it says how well these readings tell, not that air
    leaves so. Units: day, bar. Range: three visits or more, each fall above 0, at most 60 days ahead; else it says why.
    Source: extrapolation, house default.

    >>> bar, none = (lambda x: quantity(x, "bar")), quantity(0, "L")
    >>> run = [Visit(day, bar(p), bar(p), none) for day, p in ((1, 2.0), (3, 1.6), (5, 1.4))]
    >>> found = outlook(visits=run, resolution=bar(0.02))
    >>> found.day is not None and round(found.day.magnitude, 1)
    7.5
    """
    rows = rules or deaeration_rows()
    days, net = _net(visits)
    step = positive("resolution", si(resolution, "bar", "resolution"))
    window, limit = rows["stable_days"].value, rows["stable_change"].value - guard(step)
    slow = len(days) > 1 and abs(float(net[-1] - net[-2]) / float(days[-1] - days[-2])) * window <= limit
    if slow:
        day = quantity(max(float(days[-1]), float(days[-2]) + window), "day")
        return Outlook(day, day, day, "It already moves slowly enough: the next visit can show it.")
    why = _why_not(days, net, limit)
    if why:
        return _unknown(why)
    likely = _stable_day(days, net, limit, window, step)
    if likely is None:
        return _unknown("It does not slow down from visit to visit, as a leak does: look for one.")
    moved = [_stable_day(days, net + sign * bump, limit, window, step) for bump, sign in _bumps(len(days), step)]
    known = [day for day in moved if day is not None]
    if len(known) < len(moved):
        return _unknown("The readings do not show surely that it slows down: come back and read once more.")
    halves = (np.array(known[0::2]) - np.array(known[1::2])) / 2.0
    return _drawn_on(likely, 2.0 * float(np.sqrt(np.sum(halves**2))), float(days[-1]), rows["outlook_days"].value)


def run_end(*, planned: Quantity, lost: Quantity) -> Quantity:
    """The day on which the run may end: planned days, and every hour that the pump stood still once more.

    Units: days out. Range: planned above 0, lost 0 or more. Source: house default: air leaves only while fluid moves.

    >>> run_end(planned=quantity(10, "day"), lost=quantity(36, "hour")).magnitude
    11.5
    """
    whole = positive("planned days", si(planned, "day", "planned"))
    return quantity(whole + not_negative("lost pump hours", si(lost, "day", "lost")), "day")


def _unknown(reason: str) -> Outlook:
    return Outlook(None, None, None, reason)


def _why_not(days: Array, net: Array, limit: float) -> str:
    """Why no line can be drawn through these falls, or nothing."""
    if limit <= 0.0:
        return "This gauge cannot show so small a change: read with a finer one."
    if len(days) < 3:
        return "Three visits are needed before anybody can say: come back and read once more."
    if np.any(np.diff(net) >= 0.0):
        return "The pressure stood still or rose between visits: it follows no line that could be drawn on."
    return ""


def _drawn_on(day: float, band: float, last: float, longest: float) -> Outlook:
    if day + band - last > longest:
        return _unknown(f"It would take more than {longest:.0f} days, or nobody can say: look for a leak and for air.")
    low, high = max(last, day - band), max(last, day + band)
    reason = f"A visit about day {max(last, day):.0f} is likely to find it stable (day {low:.0f} to {high:.0f})."
    return Outlook(quantity(max(last, day), "day"), quantity(low, "day"), quantity(high, "day"), reason)


def _bumps(count: int, step: float) -> list[tuple[Array, float]]:
    """Each reading by itself moved up and down by its standard uncertainty."""
    u = step / np.sqrt(12.0)
    return [(u * np.eye(count)[index], sign) for index in range(count) for sign in (1.0, -1.0)]


def _stable_day(days: Array, net: Array, limit: float, window: float, step: float) -> float | None:
    """Day at whose visit the fall over the window before comes under the limit; None when the falls do not slow down."""
    spans, middles = np.diff(days), (days[1:] + days[:-1]) / 2.0
    rates = -np.diff(net) / spans
    if np.any(rates <= 0.0):
        return None
    weights = rates * spans / (TWO_READINGS * step)
    slowing, start = 0.0, 0.0
    for _ in range(50):
        # A mean rate over a span lies above the rate in its middle; the fit is for the middle.
        line = np.polyfit(middles, np.log(rates) - _bulge(slowing * spans), 1, w=weights)
        slowing, start = -float(line[0]), float(line[1])
        if slowing <= 0.0:
            return None
    asked = np.log(limit / window) - float(_bulge(np.array([slowing * window]))[0])
    return float((start - asked) / slowing) + window / 2.0


def _bulge(turns: Array) -> Array:
    """ln of the mean of an exponential over a span against its middle: ln(sinh(x/2) / (x/2))."""
    half = np.maximum(np.abs(turns) / 2.0, 1e-6)
    return np.asarray(half + np.log1p(-np.exp(-2.0 * half)) - np.log(2.0 * half))


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


def _net(visits: Sequence[Visit]) -> tuple[Array, Array]:
    """Days, and pressures on arrival as they would be without any top-up."""
    days, arrival, departure = _checked(visits)
    changed = np.cumsum(departure - arrival)
    return days, arrival - np.concatenate([[0.0], changed[:-1]])


def _checked(visits: Sequence[Visit]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    if not visits:
        raise OutOfRange(what="visits", value=0, low=1, high="any number", source="a trend")
    days = np.array([visit.day for visit in visits])
    if np.any(np.diff(days) <= 0.0):
        raise OutOfRange(what="days", value=days.tolist(), low="rising", high="rising", source="order of the visits")
    arrival = np.array([si(visit.arrival, "bar", "arrival pressure") for visit in visits])
    return days, arrival, np.array([si(visit.departure, "bar", "departure pressure") for visit in visits])
