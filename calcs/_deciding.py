"""What a sound pipe would show on a gauge of given steps, on plain floats: minutes, bar, shares of the test pressure.

A sound pipe is one in the middle half of its creep band. A gauge shows multiples of its step r, so a fall is shown as the
multiple below or above it. `SURE`: the method passes the pipe whichever is shown; `LUCK`: for some; `NEVER`: for none.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, floor
from typing import Final

import numpy as np

from calcs import _tightness as kernel
from calcs.units import Array

SURE, LUCK, NEVER = "sure", "luck", "never"
HOURS: Final = (0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0, 24.0)
DEEPEST: Final = 0.5  # of the test pressure: no further is the pressure let down
LET_DOWNS: Final = tuple(0.5 * n for n in range(1, 25))
LOADING, HELD, RESTS, FALLS, WATCHED = 10, 30, 60, 2, 90  # minutes of the sequence


def _up(value: float, step: float) -> float:
    return ceil(value / step - kernel.EXACT) * step


def _down(value: float, step: float) -> float:
    return floor(value / step + kernel.EXACT) * step


def sound(band: kernel.Band) -> tuple[float, float]:
    """Least and greatest slope in the middle half of the band."""
    quarter = (band.high - band.low) / 4.0
    return band.low + quarter, band.high - quarter


@lru_cache(maxsize=1024)
def _left(slope: float, loading: float, hold: float, minutes: float, water_share: float) -> tuple[float, float]:
    """Share of the pressure left at half time and at the end."""
    times, shares = kernel.creep(slope, loading, hold, minutes, water_share)
    return kernel.line(times, shares, minutes / 2.0), shares[-1]


def short_class(start: float, minutes: float, run: kernel.Run, band: kernel.Band, multiple: float) -> str:
    """How surely the short tightness check passes a sound pipe shut for so long, when the gauge shows `start`."""

    def left(slope: float) -> tuple[float, float]:
        return _left(slope, run.loading, run.hold, minutes, run.water_share)

    step, spare = run.resolution, kernel.guard(run.resolution)
    (half_slow, end_slow), (half_fast, end_fast) = (left(slope) for slope in sound(band))
    least, most = start - step / 2.0, start + step / 2.0  # what stands behind the figure at the start
    half_leak, end_leak = left(band.high + band.fail)
    doubtful, leak = start * (1.0 - left(band.high + band.doubt)[1]), start * (1.0 - end_leak)
    air = start * (1.0 - left(band.low - band.doubt)[1]) if band.low > 0.0 else 0.0
    late_leak = (least * half_fast - step / 2.0) * (1.0 - end_leak / half_leak)
    low, high = _down(least * (1.0 - end_slow), step), _up(most * (1.0 - end_fast), step)
    late_low, late_high = _down(least * (half_slow - end_slow), step), _up(most * (half_fast - end_fast), step)
    stuck = low <= 0.0 and start * max(band.low, band.high / 2.0) > 2.0 * step
    if leak < multiple * kernel.TWO_READINGS * step or high < air - kernel.EXACT:
        return NEVER
    if low > doubtful or low + spare > leak or late_low > (most * half_slow + step) * (1.0 - end_leak / half_leak):
        return NEVER
    clear = high <= doubtful and high + spare <= leak and late_high <= late_leak and low >= air - kernel.EXACT
    return SURE if clear and not stuck else LUCK


@dataclass(frozen=True)
class Short:
    """Class of a short check, and the hours after which it is sure."""

    word: str
    hours: float | None


def short_check(start: float, isolated: float, run: kernel.Run, band: kernel.Band, multiple: float) -> Short:
    """The first time from `isolated` minutes to a day at which this gauge is sure; else luck or never."""
    found = set()
    for minutes in sorted({isolated, *(60.0 * hours for hours in HOURS if 60.0 * hours > isolated)}):
        word = short_class(start, minutes, run, band, multiple)
        if word == SURE:
            return Short(SURE, minutes / 60.0)
        found.add(word)
    return Short(LUCK if LUCK in found else NEVER, None)


@dataclass(frozen=True)
class Watched:
    """A sound pipe through the A.27 sequence from a test pressure of 1: rest end, what was let out, main phase by minute.

    What was let out is a stretch times the wall's modulus at one hour over bore/wall.
    """

    rest: float
    bled: float
    main: Array

    def mixed(self, other: Watched, share: float) -> Watched:
        """The model is linear in the pressures: so much of the way to another let-down."""
        return Watched(
            self.rest,
            self.bled + share * (other.bled - self.bled),
            self.main + share * (other.main - self.main),
        )


class _Pipe:
    """Wall compliance t^slope, straight pressure in every minute, exact integral over each."""

    def __init__(self, slope: float, water_share: float) -> None:
        self.power, self.water = slope + 1.0, water_share
        self.rates: list[float] = []
        self.bar = [0.0]

    def strain(self) -> float:
        ages = np.arange(len(self.rates), 0.0, -1.0) / 60.0
        parts = (ages**self.power - np.maximum(ages - 1.0 / 60.0, 0.0) ** self.power) / self.power
        return float(np.dot(self.rates, parts)) + self.water * self.bar[-1]

    def drive(self, minutes: int, to: float) -> float:
        """Pumped or let down evenly to a pressure; what went in."""
        before, change = self.strain(), (to - self.bar[-1]) / minutes
        for _ in range(minutes):
            self._minute(change)
        return self.strain() - before

    def leave(self, minutes: int) -> None:
        """Shut: what is in it stays."""
        inside = self.strain()
        own = 60.0 * (1.0 / 60.0) ** self.power / self.power + self.water
        for _ in range(minutes):
            self.rates.append(0.0)
            still = self.strain()
            self.rates.pop()
            self._minute((inside - still) / own)

    def _minute(self, change: float) -> None:
        self.rates.append(60.0 * change)
        self.bar.append(self.bar[-1] + change)


@lru_cache(maxsize=128)
def watched(slope: float, water_share: float, let_down: float) -> Watched:
    """The whole sequence with a let-down of this share of the test pressure."""
    pipe = _Pipe(slope, water_share)
    pipe.drive(LOADING, 1.0)
    pipe.drive(HELD, 1.0)
    pipe.leave(RESTS)
    rest = pipe.bar[-1]
    bled = -pipe.drive(FALLS, rest - let_down)
    pipe.leave(WATCHED)
    return Watched(rest, bled, np.array(pipe.bar[-WATCHED - 1 :]))


@dataclass(frozen=True)
class Sequence:
    """How an A.27 run is read: test pressure and gauge step in bar, water's share of give, and two gives a bar of let-down.

    `elastic` turns what was let out into a share of the volume, `allowed` is the share that may come out for each bar.
    """

    pressure: float
    resolution: float
    water_share: float
    elastic: float
    allowed: float


def sequence_class(let_down: float, run: Sequence, band: kernel.Band, rules: Mapping[str, float]) -> str:
    """How surely the A.27 sequence passes a sound pipe after a let-down that the gauge shows as so many bar."""
    step, spare, limit = run.resolution, kernel.guard(run.resolution), rules["fall_long"]
    if limit < rules["resolution_multiple"] * kernel.TWO_READINGS * step:
        return NEVER
    slow, fast = sound(band)
    falls = [_main_fall(slope, down, run) for slope, down in ((fast, let_down - step), (slow, let_down + step))]
    rest = run.pressure - (run.pressure - step / 2.0) * watched(fast, run.water_share, 0.0).rest
    if _down(falls[1], step) + spare > limit and spare > rules["fall_short"]:
        return NEVER
    rests = _up(rest + step / 2.0, step) + spare <= rules["rest_high"] * run.pressure
    stays = _up(falls[0] * (1.0 + step / run.pressure), step) + spare <= limit + kernel.EXACT
    return SURE if rests and stays and _is_volume_clear(let_down, run, band, rules) else LUCK


def _at(slope: float, let_down: float, run: Sequence) -> Watched:
    none, full = (watched(slope, run.water_share, share) for share in (0.0, 1.0))
    return none.mixed(full, max(let_down, 0.0) / run.pressure)


def _main_fall(slope: float, let_down: float, run: Sequence) -> float:
    main = run.pressure * _at(slope, let_down, run).main
    return float(np.max(main) - main[-1])


def _is_volume_clear(let_down: float, run: Sequence, band: kernel.Band, rules: Mapping[str, float]) -> bool:
    """What a sound pipe lets out stays within what is allowed, the let-down being a difference of two readings.

    Grouted pipe has no published band to tell what it lets out: there the doubt must be within the allowance for air.
    """
    doubt = run.allowed * kernel.guard(run.resolution)
    if band.low <= 0.0:
        return doubt <= (1.0 - 1.0 / rules["volume_factor"]) * run.allowed * let_down
    most = run.pressure * run.elastic * _at(sound(band)[0], let_down + run.resolution, run).bled
    return most + doubt <= run.allowed * let_down


def least_let_down(run: Sequence, band: kernel.Band, rules: Mapping[str, float]) -> tuple[str, float | None]:
    """The least let-down from which on this gauge is sure, in steps of half a bar to half of the test pressure."""
    deepest = DEEPEST * run.pressure
    downs = [down for down in LET_DOWNS if rules["let_down_low"] * run.pressure <= down <= deepest + kernel.EXACT]
    words = [sequence_class(down, run, band, rules) for down in downs]
    surely = next((n for n in range(len(words)) if all(word == SURE for word in words[n:])), None)
    if surely is not None:
        return SURE, downs[surely]
    return (NEVER, None) if downs and set(words) == {NEVER} else (LUCK, None)
