"""How large a leak is behind a fall of pressure, and the smallest one that a test could have shown.

Beyond creep, a leak of q empties the pipe by q t while wall and water give back V C dp. The wall's compliance after t hours
of an even fall is (D/e) t^n / ((n + 1) E_1h), with the creep slope n. Estimates for one tested piece, in water.
"""

from __future__ import annotations

from dataclasses import dataclass

from calcs import _tightness as kernel
from calcs._ranges import between, not_negative, positive
from calcs.errors import OutOfRange
from calcs.pressure_test import WALL_ONE_HOUR, WATER_MODULUS, PressureReading, Restraint, method_limits
from calcs.residual_air import residual_rows
from calcs.units import Quantity, quantity, si

MPA = 10.0


@dataclass(frozen=True)
class Shut:
    """A piece of pipe as it was tested: how it is held, how it was loaded and held by pumping, its volume and wall."""

    restraint: Restraint
    volume: Quantity
    loading: Quantity
    hold: Quantity
    resolution: Quantity
    bore_to_wall: float = 9.0


@dataclass(frozen=True)
class LeakRate:
    """A leak at the mean pressure of the test, with its band. `low` 0 means that there may be none."""

    likely: Quantity
    low: Quantity
    high: Quantity
    pressure: Quantity


@dataclass(frozen=True)
class _Creep:
    """Share of the pressure that creep takes, and litres per bar that the pipe gives back, at the ends of the band."""

    falls: tuple[float, float]
    gives: tuple[float, float]


def leak_rate(*, shut: Shut, readings: PressureReading) -> LeakRate:
    """q = V C (fall - creep) / t in L/h from the first reading to the last that shows half of its pressure or more.

    `readings` count from shutting the pipe.

    Band: creep slopes of the restraint (unknown: free to grouted), 2u of the gauge, and 25 % on the wall. Air in the pipe
    makes the leak larger than this: look for air first. A leak grows about with the root of the pressure.
    Units: L/h, bar. Range: two readings or more, 5 min apart or more, pressures above 0, at most 48 h. Source: volume
    balance; creep bands and doubt of the wall as in `pressure_methods` and `house_limits`.

    >>> pipe = Shut(Restraint.FREE, quantity(166.9, "L"), quantity(10, "min"), quantity(60, "min"), quantity(0.01, "bar"))
    >>> seen = PressureReading(quantity([0.0, 60.0], "min"), quantity([6.0, 5.3], "bar"))
    >>> found = leak_rate(shut=pipe, readings=seen)
    >>> [round(value.magnitude, 2) for value in (found.low, found.likely, found.high)]
    [0.03, 0.05, 0.08]
    """
    minutes, bar = readings.floats()
    if len(bar) < 2 or not kernel.is_rising(minutes) or min(bar) <= 0.0:
        raise OutOfRange(
            what="readings", value=len(bar), low=2, high="any number", source="rising times, pressures above 0"
        )
    # Once half of the pressure is gone the leak has slowed down: what it was shows in the readings before.
    last = max(index for index, value in enumerate(bar) if value >= bar[0] / 2.0 or index == 1)
    hours = between("time shut, min", minutes[last] - minutes[0], 5.0, 2880.0) / 60.0
    creep = _creep(shut, hours)
    seen, spare = bar[0] - bar[last], kernel.guard(_step(shut))
    slow, fast = (bar[0] * share for share in creep.falls)
    soft, stiff = creep.gives[1], creep.gives[0]
    excess = seen - (slow + fast) / 2.0
    return LeakRate(
        likely=quantity(max(0.0, excess) * (soft + stiff) / 2.0 / hours, "L/hour"),
        low=quantity(max(0.0, seen - spare - fast) * stiff / hours, "L/hour"),
        high=quantity(max(0.0, seen + spare - slow) * soft / hours, "L/hour"),
        pressure=quantity((bar[0] + bar[last]) / 2.0, "bar"),
    )


def smallest_leak(*, shut: Shut, start: Quantity, minutes: Quantity) -> Quantity:
    """The leak that a test of this length is sure to show, in L/h: what carries the least creep past the leak line by 2u and
    a step of rounding.

    Units: L/h. Range: start above 0 bar, 5 min to 48 h. Source: as `leak_rate`; leak line of the short tightness check.

    >>> pipe = Shut(Restraint.FREE, quantity(166.9, "L"), quantity(10, "min"), quantity(60, "min"), quantity(0.1, "bar"))
    >>> for hours in (0.25, 1, 4):
    ...     found = smallest_leak(shut=pipe, start=quantity(6, "bar"), minutes=quantity(hours, "hour"))
    ...     print(round(found.magnitude, 2))
    0.19
    0.07
    0.03
    """
    p = positive("start pressure", si(start, "bar", "start"))
    hours = between("time shut, min", si(minutes, "min", "minutes"), 5.0, 2880.0) / 60.0
    creep, step = _creep(shut, hours), _step(shut)
    rules = {key: row.value for key, row in method_limits("short_tightness").items()}
    line = max(band.high + band.fail for band in _bands(shut.restraint, rules))
    until = p * (1.0 - _left(shut, line, hours))
    spare = kernel.guard(step) + step
    return quantity((until + spare - p * creep.falls[0]) * creep.gives[1] / hours, "L/hour")


def _bands(restraint: Restraint, rules: kernel.Rules) -> list[kernel.Band]:
    kinds = (
        [restraint] if restraint is not Restraint.UNKNOWN else [Restraint.FREE, Restraint.BACKFILLED, Restraint.GROUTED]
    )
    return [kernel.band_of(rules, kind.value) for kind in kinds]


def _step(shut: Shut) -> float:
    return positive("resolution", si(shut.resolution, "bar", "resolution"))


def _left(shut: Shut, slope: float, hours: float) -> float:
    loading = positive("loading time", si(shut.loading, "min", "loading time"))
    hold = not_negative("hold time", si(shut.hold, "min", "hold time"))
    share = WALL_ONE_HOUR / (WATER_MODULUS * _ratio(shut))
    return kernel.creep(slope, loading, hold, 60.0 * hours, share)[1][-1]


def _ratio(shut: Shut) -> float:
    return between("bore over wall", shut.bore_to_wall, 5.0, 30.0, "thin-wall formula")


def _creep(shut: Shut, hours: float) -> _Creep:
    rules = {key: row.value for key, row in method_limits("short_tightness").items()}
    bands = _bands(shut.restraint, rules)
    slopes = min(band.low for band in bands), max(band.high for band in bands)
    volume, doubt = positive("volume", si(shut.volume, "L", "volume")), residual_rows()["modulus_doubt"].value

    def give(slope: float, factor: float) -> float:
        wall = _ratio(shut) * float(hours**slope) / ((slope + 1.0) * WALL_ONE_HOUR) * factor
        return volume * (wall + 1.0 / WATER_MODULUS) / MPA

    gives = [give(slope, factor) for slope in slopes for factor in (1.0 - doubt, 1.0 + doubt)]
    slow, fast = (1.0 - _left(shut, slope, hours) for slope in slopes)
    return _Creep((slow, fast), (min(gives), max(gives)))
