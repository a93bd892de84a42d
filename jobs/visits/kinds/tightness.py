"""From the readings of a pressure test to the verdict of its method."""

from __future__ import annotations

from datetime import datetime

import numpy as np

from calcs.pressure_test import (
    En805A27,
    En805Run,
    PressureReading,
    Restraint,
    ShortTightness,
    TemperatureChange,
    method_limits,
    pressure_at_depth,
)
from calcs.sources import Limit
from calcs.units import Quantity, quantity, si
from calcs.verdict import Cause, Figure, Verdict
from jobs.visits.kinds.base import Facts, Logged
from jobs.visits.kinds.said import EXACT, attempt, bad, cannot, look, ok, resolution

WATER = quantity(1000.0, "kg/m^3")
TO_BE_SAFE = (
    ("vented", "The pipe is not said to be full of water and vented."),
    ("shut_off", "Heat pump, vessel and relief valve are not shut off."),
    ("safe", "The area is not clear, an end is loose, or a part is not rated for it."),
)


def judge_start(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:  # noqa: ARG001 - the shape of every judge
    """What must hold before pressure goes on: the safe set-up, and the lowest-rated part."""
    found = [
        bad(words, Cause.CONDITIONS, way_out="Do not raise the pressure before this is so.")
        for name, words in TO_BE_SAFE
        if entry.value(name) is False
    ]
    return (*found, *_rating(entry))


def _rating(entry: Logged) -> list[Verdict]:
    p, z = entry.number("test_pressure", "bar"), entry.number("height", "m")
    rating = entry.number("lowest_rating", "bar")
    if p is None or z is None or rating is None:
        return []
    low = pressure_at_depth(pressure=quantity(p, "bar"), depth=quantity(z, "m"), density=WATER)
    at_bottom = si(low, "bar", "pressure")
    figure = Figure("pressure at the lowest point", at_bottom, "bar", limit=rating)
    if at_bottom <= rating + EXACT:
        return [ok("Within the rating of the weakest part.", figure)]
    reason = "At the lowest point the pressure is above the rating of the weakest part."
    return [bad(reason, Cause.CONDITIONS, figure, way_out="Test at a lower pressure.")]


def judge_end(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    """The verdict of the whole test, from its start and all its readings."""
    return (judge_test(facts, entry.subject), *_watch_rating(facts, entry))


def _watch_rating(facts: Facts, end: Logged) -> list[Verdict]:
    """The watch pressure is never above the weakest part either."""
    start = facts.latest("pressure_test", end.subject)
    p, rating = end.number("watch_pressure", "bar"), start.number("lowest_rating", "bar") if start else None
    z = start.number("height", "m") if start else None
    if p is None or rating is None or z is None:
        return []
    low = pressure_at_depth(pressure=quantity(p, "bar"), depth=quantity(z, "m"), density=WATER)
    at_bottom = si(low, "bar", "pressure")
    if at_bottom <= rating + EXACT:
        return []
    figure = Figure("watch pressure at the lowest point", at_bottom, "bar", limit=rating)
    reason = "The watch pressure is above the rating of the weakest part."
    return [bad(reason, Cause.CONDITIONS, figure, way_out="Lower it at once.")]


def judge_test(facts: Facts, test: str) -> Verdict:
    """Also used before the end is logged."""
    start, end = facts.latest("pressure_test", test), facts.latest("pressure_end", test)
    if start is None:
        return cannot("The start of this test is not logged.", "Log what is in the test and how it lies.")
    readings = [one for one in facts.of("pressure_reading", test) if one.number("pressure", "bar") is not None]
    if end is not None and end.value("joints_dry") is False:
        return bad("A joint is not dry.", Cause.LEAK, way_out="Let the pressure down, mend it and test again.")
    if start.choice("method") == "en805_a27_2000":
        return attempt(lambda: _a27(facts, start, end, readings))
    return attempt(lambda: _short(facts, start, end, readings))


def _phase(readings: list[Logged], *phases: str) -> list[Logged]:
    return [one for one in readings if one.choice("phase") in phases]


def _series(readings: list[Logged], since: datetime) -> PressureReading:
    minutes = [(one.observed_at - since).total_seconds() / 60 for one in readings]
    bar = [one.number("pressure", "bar") or 0.0 for one in readings]
    return PressureReading(quantity(np.array(minutes), "min"), quantity(np.array(bar), "bar"))


def _minutes(first: datetime, last: datetime) -> Quantity:
    return quantity((last - first).total_seconds() / 60, "min")


def _restraint(start: Logged) -> Restraint:
    named = start.choice("restraint")
    return Restraint(named) if named in set(Restraint) else Restraint.UNKNOWN


def _warming(start: Logged, end: Logged | None) -> TemperatureChange | None:
    """Free pipe feels the whole change; covered pipe is not judged by the air above it."""
    first = start.number("pipe_temperature", "°C")
    last = end.number("pipe_temperature", "°C") if end else None
    if first is None or last is None or _restraint(start) not in {Restraint.FREE, Restraint.UNKNOWN}:
        return None
    return TemperatureChange(quantity(last - first, "delta_degC"), 1.0)


def _covered(facts: Facts, start: Logged) -> list[str]:
    """Loops and header inside the test; without any, all of the job's."""
    return [code for code in start.many("covers") if code in facts.runs] or list(facts.runs)


def _ratio(facts: Facts, start: Logged) -> float:
    """Bore over wall of the thinnest-walled pipe in the test."""
    runs = [facts.runs[code] for code in _covered(facts, start)]
    return max((run.bore_mm / run.wall_mm for run in runs), default=9.0)


def _short(facts: Facts, start: Logged, end: Logged | None, readings: list[Logged]) -> Verdict:
    held, shut = _phase(readings, "hold"), _phase(readings, "rest", "isolated")
    if not held or len(shut) < 2:
        return cannot(
            "There are no readings of both the hold and the time after shutting.",
            "Hold the pressure by pumping and log it, shut the pipe, then log readings to the end.",
        )
    limits = dict(method_limits("short_tightness"))
    limits |= _replaced(facts, {"hold": "test_hold_min", "isolated": "test_isolated_min"})
    test = ShortTightness(
        _restraint(start),
        resolution=quantity(resolution(facts, shut[0], "pressure", "bar"), "bar"),
        loading=_minutes(start.observed_at, held[0].observed_at),
        hold=_minutes(held[0].observed_at, shut[0].observed_at),
        bore_to_wall=_ratio(facts, start),
        limits=limits,
    )
    return test.judge(_series(shut, shut[0].observed_at), temperature=_warming(start, end))


def _replaced(facts: Facts, codes: dict[str, str]) -> dict[str, Limit]:
    """Limits of the method that the job's rule set gives itself."""
    return {key: limit for key, code in codes.items() if (limit := facts.limit(code)) is not None}


def _a27(facts: Facts, start: Logged, end: Logged | None, readings: list[Logged]) -> Verdict:
    held, rest = _phase(readings, "hold"), _phase(readings, "rest")
    main, bleeds = _phase(readings, "bleed", "isolated"), _phase(readings, "bleed")
    pressure = start.number("test_pressure", "bar")
    if pressure is None or not rest:
        return cannot(
            "The readings of the rest phase are missing.",
            "Shut the pipe, log the rest phase, let down, log the main phase.",
        )
    bled = [litres for one in bleeds if (litres := one.number("litres", "L")) is not None]
    test = En805A27(
        quantity(pressure, "bar"),
        quantity(sum(facts.runs[code].volume_l for code in _covered(facts, start)), "L"),
        _ratio(facts, start),
        _restraint(start),
        quantity(resolution(facts, rest[0], "pressure", "bar"), "bar"),
    )
    run = En805Run(
        rest=_series(rest, rest[0].observed_at),
        main=_series(main, main[0].observed_at) if main else _series([], start.observed_at),
        bled=quantity(sum(bled), "L") if bled else None,
        raised=_minutes(start.observed_at, held[0].observed_at) if held else None,
        held=_minutes(held[0].observed_at, rest[0].observed_at) if held else None,
        temperature=_warming(start, end),
    )
    return test.judge(run)


def judge_watch(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    """A fall beyond the limit since the test's end, or since the reading before, asks for a look."""
    limit, now = facts.limit("watch_drop_bar"), entry.number("pressure", "bar")
    before = _watched_before(facts, entry)
    if limit is None or now is None or before is None:
        return ()
    figure = Figure("fall since the last look", before - now, "bar", limit=limit.value)
    if before - now <= limit.value + EXACT:
        return (ok("The watch pressure holds.", figure, source=limit.source),)
    reason = "The watch pressure has fallen: the pipe may have been struck."
    return (look(reason, Cause.LEAK, figure, source=limit.source, way_out="Stop filling and look for the place."),)


def _watched_before(facts: Facts, entry: Logged) -> float | None:
    earlier = [one for one in facts.of("watch_reading", entry.subject) if one.observed_at < entry.observed_at]
    if earlier:
        return earlier[-1].number("pressure", "bar")
    end = facts.latest("pressure_end", entry.subject)
    return end.number("watch_pressure", "bar") if end else None
