"""From what was given about a pressure test to the verdict of its method, and to the lines of its drawing."""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum
from typing import Final

import numpy as np

from calcs.pressure_holds import TimedHold, hold_rules
from calcs.pressure_methods import F2164, FixedDrop, TypeII, closed_form
from calcs.pressure_test import (
    En805A27,
    En805Run,
    PressureReading,
    Restraint,
    ShortTightness,
    TemperatureChange,
    creep_curve,
    method_limits,
)
from calcs.sources import Status
from calcs.units import Quantity, quantity
from calcs.verdict import Verdict
from jobs.sums.curve import Curve, Point
from jobs.sums.errors import Mistake
from jobs.sums.questions import common
from jobs.sums.questions.base import Given
from jobs.sums.units import Unit

MILLILITRE: Final = Unit("mL", "mL")
# What the lines of a method with fixed limits are called in its drawing.
LIMITS: Final = ("lower limit", "upper limit")
Seen = tuple[Point, ...]


class Method(StrEnum):
    """The methods; but for the timed holds, the names of their limits in `calcs`."""

    SHORT = "short_tightness"
    SEQUENCE = "en805_a27_2000"
    CONTRACTION = "w400_2_2022"
    DECAY = "type_ii"
    BAND = "f2164"
    DROP = "fixed_drop"
    HOLD = "timed_hold"


def rule_choices() -> tuple[tuple[str, str], ...]:
    """The timed holds by the title of their rule; one from memory says so."""
    return tuple(
        (name, f"{rule.source.text.split(': ')[0]}{' (unconfirmed)' if rule.source.status is Status.MEMORY else ''}")
        for name, rule in hold_rules().items()
    )


def readings(given: Given, name: str) -> PressureReading:
    """A pasted series as minutes and bar; an empty one where nothing was pasted."""
    found = given.series(name)
    bar = np.array([float(found.unit.of(value).m_as("bar")) for value in found.values], dtype=np.float64)
    return PressureReading(quantity(np.array(found.minutes, dtype=np.float64), "min"), quantity(bar, "bar"))


def judged(given: Given) -> Verdict:
    """The verdict of the method chosen."""
    judges: dict[Method, Callable[[Given, TemperatureChange | None], Verdict]] = {
        Method.SHORT: _short, Method.DECAY: _decay, Method.BAND: _band, Method.DROP: _drop, Method.HOLD: _hold,
    }  # fmt: skip
    change = given.maybe("warming")
    warming = None if change is None else TemperatureChange(change, float(given.quantity("exposed").m_as("")))
    return judges.get(Method(given.choice("method")), _sequence)(given, warming)


def _restraint(given: Given) -> Restraint:
    return Restraint(given.choice("restraint"))


def _short(given: Given, warming: TemperatureChange | None) -> Verdict:
    test = ShortTightness(
        _restraint(given),
        resolution=given.quantity("resolution"),
        loading=given.quantity("loading"),
        hold=given.quantity("hold"),
        bore_to_wall=common.bore_to_wall(given),
    )
    return test.judge(readings(given, "readings"), temperature=warming, leak_seen=given.choice("joints") == "wet")


def _sequence(given: Given, warming: TemperatureChange | None) -> Verdict:
    """EN 805 A.27, or the contraction method with its own limits."""
    test = En805A27(
        given.quantity("test_pressure"),
        given.quantity("volume"),
        common.bore_to_wall(given),
        _restraint(given),
        given.quantity("resolution"),
        method=given.choice("method"),
    )
    run = En805Run(
        rest=readings(given, "readings"),
        main=readings(given, "main"),
        bled=given.maybe("bled"),
        bled_u=given.maybe("bled_doubt"),
        relax=given.maybe("relax"),
        raised=given.maybe("raised"),
        held=given.maybe("held"),
        temperature=warming,
    )
    return test.judge(run)


def _decay(given: Given, warming: TemperatureChange | None) -> Verdict:
    test = TypeII(
        _restraint(given),
        given.quantity("loading"),
        given.quantity("resolution"),
        wall=given.maybe("wall_temperature"),
        excess_volume=given.choice("air_by_volume") == "yes",
    )
    return test.judge(_after_shutting(given), temperature=warming)


def _after_shutting(given: Given) -> PressureReading:
    """A decay is read from the loading time on; a reading at the moment of shutting has no place in it."""
    minutes, bar = readings(given, "readings").floats()
    kept = [(minute, value) for minute, value in zip(minutes, bar, strict=True) if minute > 0]
    if len(kept) < 3:
        raise Mistake("This test needs three readings or more after shutting.", "readings")
    return PressureReading(
        quantity(np.array([minute for minute, _ in kept]), "min"),
        quantity(np.array([value for _, value in kept]), "bar"),
    )


def _band(given: Given, warming: TemperatureChange | None) -> Verdict:
    test = F2164(given.quantity("resolution"), given.quantity("at_pressure"))
    return test.judge(readings(given, "readings"), temperature=warming)


def _drop(given: Given, warming: TemperatureChange | None) -> Verdict:
    test = FixedDrop(_restraint(given), given.quantity("resolution"), given.quantity("conditioned"))
    return test.judge(readings(given, "readings"), temperature=warming)


def _hold(given: Given, warming: TemperatureChange | None) -> Verdict:
    test = TimedHold(
        given.choice("rule"),
        _restraint(given),
        given.quantity("resolution"),
        given.quantity("conditioned"),
        loading=given.quantity("loading"),
        bore_to_wall=common.bore_to_wall(given),
        least=_more_than_the_rule(given),
    )
    dry = {"dry": True, "wet": False}.get(given.choice("joints"))
    return test.judge(readings(given, "readings"), joints_dry=dry, temperature=warming)


def _more_than_the_rule(given: Given) -> Quantity | None:
    """A rule's pressure may be raised for a system that works at more, never lowered."""
    asked, least = given.maybe("least"), hold_rules()[given.choice("rule")].least
    if asked is not None and least is not None and asked < least:
        raise Mistake("The rule itself asks for more; leave this empty, or give more than the rule.", "least")
    return asked


def drawn(given: Given) -> Curve | None:
    """The readings over what creep alone would do, and the method's own limit; None where there is nothing to draw."""
    minutes, bar = readings(given, "readings").floats()
    seen = tuple(zip(minutes, bar, strict=True))
    if len(seen) < 2 or minutes != sorted(set(minutes)) or minutes[-1] <= 0.0 or min(bar) <= 0.0:
        return None
    lines: dict[Method, Callable[[Given, Seen], Curve]] = {
        Method.SHORT: lambda given, seen: _creep(given, seen, given.quantity("loading"), given.quantity("hold")),
        Method.HOLD: lambda given, seen: _creep(given, seen, given.quantity("loading"), given.quantity("conditioned")),
        Method.DECAY: _slopes,
        Method.BAND: _within,
        Method.DROP: _fallen,
    }
    return lines.get(Method(given.choice("method")), _rest)(given, seen)


def _within(_given: Given, seen: Seen) -> Curve:
    """The hour of F2164 between its two limits."""
    share, start = method_limits(Method.BAND)["band"].value, seen[0][1]
    return Curve(seen, (), _level(seen, start * (1 - share)), _level(seen, start * (1 + share)), LIMITS)


def _fallen(given: Given, seen: Seen) -> Curve:
    """The fixed drop beside what creep makes of a pipe that was held for so long."""
    found = _creep(given, seen, given.quantity("loading"), given.quantity("conditioned"))
    lowest = seen[0][1] - method_limits(Method.DROP)["limit"].value
    return Curve(seen, found.expected, _level(seen, lowest), names=LIMITS)


def _rest(given: Given, seen: Seen) -> Curve:
    """The rest phase with the lowest pressure it may end at; times that were not noted are those of the method."""
    rows = method_limits(given.choice("method"))
    raised, held = (
        given.quantity(name, quantity(rows[key].value, rows[key].unit))
        for name, key in (("raised", "raise"), ("held", "hold"))
    )
    lowest = float(given.quantity("test_pressure").m_as("bar")) * (1 - rows["rest_high"].value)
    return Curve(seen, _creep(given, seen, raised, held).expected, _level(seen, lowest), names=LIMITS)


def _level(seen: Seen, value: float) -> Seen:
    return ((min(0.0, seen[0][0]), value), (seen[-1][0], value))


def _creep(given: Given, seen: Seen, loading: Quantity, hold: Quantity) -> Curve:
    """What creep does to the first pressure; nothing where it is not known how the pipe lies."""
    if _restraint(given) is Restraint.UNKNOWN:
        return Curve(seen)
    found = creep_curve(
        start=quantity(seen[0][1], "bar"),
        until=quantity(seen[-1][0], "min"),
        restraint=_restraint(given),
        loading=loading,
        hold=hold,
        bore_to_wall=common.bore_to_wall(given),
    )
    times = found.minutes.m_as("min").tolist()

    def points(line: Quantity | None) -> Seen:
        return () if line is None else tuple(zip(times, line.m_as("bar").tolist(), strict=True))

    return Curve(seen, points(found.expected), points(found.leak_line), points(found.air_line))


def _slopes(given: Given, seen: Seen) -> Curve:
    """Straight on logarithms through the first reading: the middle of the band, and where a leak is called."""
    kind, after = _restraint(given), tuple(point for point in seen if point[0] > 0)
    if kind is Restraint.UNKNOWN or len(after) < 2:
        return Curve(seen)
    rules = {key: row.value for key, row in method_limits(Method.DECAY).items()}
    low, high, fail = (rules[f"{kind.value}_{part}"] for part in ("low", "high", "fail"))
    loading = float(given.quantity("loading").m_as("min"))
    times = tuple(float(time) for time in np.geomspace(after[0][0] / loading, after[-1][0] / loading, 40))

    def line(slope: float) -> Seen:
        start = quantity(after[0][1], "bar")
        minutes, bar = closed_form(start=start, slope=slope, loading=given.quantity("loading"), times=times).floats()
        return tuple(zip(minutes, bar, strict=True))

    return Curve(after, line((low + high) / 2), line(high + fail))
