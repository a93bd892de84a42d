"""The judging of pressure tests on plain floats: minutes, bar, litres. Nothing here knows a unit, a class or a text.

The phone's JavaScript is a port of these functions, checked by the same vectors. Each judge gives a code; what a code
means for people stands in `calcs.pressure_test`.

The guard. A gauge rounds each reading by up to half its resolution r, so a difference of two readings is off by r at most
and has u = r / sqrt(6) = 0.408 r. A limit is kept or broken only with 2u to spare; what passes by 2u cannot fail after
rounding, since both together are 1.63 r apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import hypot, log, log10, sqrt

TWO_READINGS = 0.408
COVERAGE = 2.0
GRID = 60
EXACT = 1e-9

Rules = Mapping[str, float]


def guard(resolution: float) -> float:
    """2u of a difference of two readings of one gauge."""
    return COVERAGE * TWO_READINGS * resolution


def is_rising(minutes: Sequence[float]) -> bool:
    """True when the clock only goes forward."""
    return all(later > earlier for earlier, later in pairwise(minutes))


def pressure_at(minutes: Sequence[float], bar: Sequence[float], when: float, rules: Rules) -> float | None:
    """The reading nearest to `when` inside the window, else a straight line between two readings not too far apart."""
    near = [(abs(minute - when), index) for index, minute in enumerate(minutes)]
    if near and min(near)[0] <= rules["reading_window"]:
        return bar[min(near)[1]]
    for index in range(1, len(minutes)):
        before, after = minutes[index - 1], minutes[index]
        if before <= when <= after and after - before <= rules["largest_gap"]:
            share = (when - before) / (after - before)
            return bar[index - 1] + share * (bar[index] - bar[index - 1])
    return None


def creep(
    slope: float, loading: float, hold: float, until: float, water_share: float
) -> tuple[list[float], list[float]]:
    """Times (min after isolation) and pressures (share of the pressure held) of a tight pipe that only creeps.

    Linear visco-elastic wall with compliance t^slope: pressure rises evenly over `loading`, is held by pumping for `hold`,
    then the pipe is shut and its volume stays. Sum over past steps dp of dp (t - s)^slope, plus water_share p, is constant.
    """
    up, kept, end = loading / 60.0, hold / 60.0, until / 60.0
    power = slope + 1.0
    times = [end * (step / GRID) ** 2 for step in range(GRID + 1)]
    pressures, rates = [1.0], list[float]()
    shut = _loaded(0.0, up, kept, power) + water_share
    for now in range(1, GRID + 1):
        at, step = times[now], times[now] - times[now - 1]
        past = sum(rate * ((at - times[k]) ** power - (at - times[k + 1]) ** power) for k, rate in enumerate(rates))
        missing = shut - _loaded(at, up, kept, power) - past / power - water_share * pressures[-1]
        rate = missing / (step**power / power + water_share * step)
        rates.append(rate)
        pressures.append(pressures[-1] + rate * step)
    return [60.0 * at for at in times], pressures


def _loaded(at: float, up: float, kept: float, power: float) -> float:
    """Strain now from the rise of pressure alone, had the pressure stayed."""
    return float((at + kept + up) ** power - (at + kept) ** power) / (up * power)


def line(times: Sequence[float], values: Sequence[float], when: float) -> float:
    """Straight-line reading of a curve inside its times."""
    for index in range(1, len(times)):
        if when <= times[index] + EXACT:
            share = (when - times[index - 1]) / (times[index] - times[index - 1])
            return values[index - 1] + share * (values[index] - values[index - 1])
    return values[-1]


@dataclass(frozen=True)
class Band:
    """Creep slopes of a sound pipe, how far outside is doubtful, and how far above is a leak."""

    low: float
    high: float
    doubt: float
    fail: float


@dataclass(frozen=True)
class Run:
    """How a short tightness check was done: minutes of loading and hold, gauge resolution in bar, water's share of give."""

    loading: float
    hold: float
    resolution: float
    water_share: float


@dataclass(frozen=True)
class Falls:
    """Falls in bar since isolation and since the middle reading, seen and as creep alone would make them."""

    seen: float
    late: float
    doubtful: float
    leak: float
    leak_late: float
    air: float


def falls(minutes: Sequence[float], bar: Sequence[float], run: Run, band: Band) -> Falls:
    """The seen and allowed falls at the last of three readings or more; the middle one is that nearest to half time."""
    end = minutes[-1]
    middle = min(range(1, len(minutes) - 1), key=lambda index: abs(minutes[index] - end / 2.0))
    start, half, last = bar[0], bar[middle], bar[-1]
    doubtful = _left(band.high + band.doubt, run, minutes[middle], end)
    leak = _left(band.high + band.fail, run, minutes[middle], end)
    air = _left(band.low - band.doubt, run, minutes[middle], end)[1] if band.low > 0.0 else 1.0
    return Falls(
        seen=start - last,
        late=half - last,
        doubtful=start * (1.0 - doubtful[1]),
        leak=start * (1.0 - leak[1]),
        leak_late=half * (1.0 - leak[1] / leak[0]),
        air=start * (1.0 - air),
    )


def _left(slope: float, run: Run, middle: float, end: float) -> tuple[float, float]:
    """Share of the pressure left at the middle reading and at the end."""
    times, pressures = creep(slope, run.loading, run.hold, end, run.water_share)
    return line(times, pressures, middle), pressures[-1]


def hours_to_decide(start: float, elapsed: float, run: Run, band: Band) -> float | None:
    """Hours after shutting from which this gauge tells a sound pipe from the leak line; None when a day will not do.

    A sound pipe in the middle of its band must stay 2u inside, and be one step of the gauge above the air line.
    """
    middle = (band.low + band.high) / 2.0
    for hours in (1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0, 24.0):
        if 60.0 * hours <= elapsed:
            continue
        sound = creep(middle, run.loading, run.hold, 60.0 * hours, run.water_share)[1][-1]
        leak = creep(band.high + band.fail, run.loading, run.hold, 60.0 * hours, run.water_share)[1][-1]
        if start * (sound - leak) >= guard(run.resolution) + run.resolution:
            return hours
    return None


def short_tightness(minutes: Sequence[float], bar: Sequence[float], run: Run, band: Band, rules: Rules) -> str:
    """Code of a short tightness check: `minutes` from isolation, first reading at 0.

    A leak when the fall is beyond what creep at the leak slope explains, over the whole time with 2u to spare or since the
    middle reading by more than one step of the gauge (creep slows, a leak does not). Sound when the fall stays 2u inside.
    """
    complaint = next(_complaints(minutes, bar, run, rules), "")
    if complaint:
        return complaint
    found, spare = falls(minutes, bar, run, band), guard(run.resolution)
    if found.seen - spare > found.leak or found.late - run.resolution > found.leak_late:
        return "leak"
    if minutes[-1] < rules["isolated"]:
        return "too short"
    if found.leak < rules["resolution_multiple"] * TWO_READINGS * run.resolution:
        return "gauge too coarse"
    return "gauge stuck" if _is_stuck(bar, run, band) else _slope_code(found, run, spare)


def _slope_code(found: Falls, run: Run, spare: float) -> str:
    if found.seen + run.resolution < found.air:
        return "air"
    if found.seen < found.air - EXACT:
        return "air in doubt"
    inside = found.seen <= found.doubtful + EXACT and found.seen + spare <= found.leak + EXACT
    return "tight" if inside and found.late <= found.leak_late + EXACT else "slope in doubt"


def _complaints(minutes: Sequence[float], bar: Sequence[float], run: Run, rules: Rules) -> Iterator[str]:
    """What keeps the readings from being judged, worst first."""
    if len(minutes) < 3 or len(minutes) != len(bar) or abs(minutes[0]) > rules["reading_window"]:
        yield "readings missing"
        return
    if not is_rising(minutes):
        yield "clock"
    if min(bar) <= 0.0:
        yield "no pressure"
    if run.hold < rules["hold"]:
        yield "hold too short"
    if max(later - earlier for earlier, later in pairwise(bar)) > run.resolution + EXACT:
        yield "rising"


def _is_stuck(bar: Sequence[float], run: Run, band: Band) -> bool:
    """All readings alike though even stiff pipe would have moved the gauge two steps."""
    return max(bar) == min(bar) and bar[0] * max(band.low, band.high / 2.0) > 2.0 * run.resolution


@dataclass(frozen=True)
class Sequence27:
    """One run after EN 805 A.27 in minutes, bar and litres; `main` counts from the end of the let-down."""

    test_pressure: float
    rest_minutes: Sequence[float]
    rest_bar: Sequence[float]
    bled: float | None
    allowable: float
    main_minutes: Sequence[float]
    main_bar: Sequence[float]
    resolution: float
    volume_u: float
    restraint: str
    temperature_bar: float


def a27(run: Sequence27, rules: Rules) -> str:
    """Code of a run: rest drop first, then temperature, then main phase and bled volume together."""
    if not (is_rising(run.rest_minutes) and is_rising(run.main_minutes)):
        return "clock"
    rest = next(_rest_ends(run, rules), "") or _rest(run, rules)
    if rest in {"rest leak", "rest missing", "pressure not reached"}:
        return rest
    if run.temperature_bar > rules["temperature_share"] * rules["fall_long"]:
        return "temperature"
    return _volume_and_main(run, rest, rules)


def _volume_and_main(run: Sequence27, rest: str, rules: Rules) -> str:
    """Air by the bled volume comes first: it can hide a leak. A small volume needs a second sign."""
    if run.bled is None:
        return "volume missing"
    main, spare = _main(run, rules), volume_guard(run)
    if main == "main missing":
        return main
    if run.bled - spare > run.allowable:
        sure = run.allowable >= rules["small_volume"] or rest == "rest low" or main == "leak"
        return "air" if sure else "small volume"
    if rest != "rest passed":
        return "air" if rest == "rest low" else rest
    if main != "tight":
        return main
    return "tight" if run.bled + spare <= run.allowable else "volume in doubt"


def volume_guard(run: Sequence27) -> float:
    """2u of the water let out less what is allowed, in litres; what is allowed hangs on a difference of two readings."""
    let_down = run.rest_bar[-1] - run.main_bar[0] if run.rest_bar and run.main_bar else 0.0
    per_bar = run.allowable / let_down if let_down > 0.0 else 0.0
    return COVERAGE * hypot(run.volume_u, per_bar * TWO_READINGS * run.resolution)


def _rest_ends(run: Sequence27, rules: Rules) -> Iterator[str]:
    """What ends the test before or without the reading at the end of the rest phase."""
    if not run.rest_bar:
        yield "rest missing"
        return
    if abs(run.rest_minutes[0]) <= rules["reading_window"] and run.rest_bar[0] < run.test_pressure - run.resolution:
        yield "pressure not reached"
    if run.test_pressure - run.rest_bar[-1] - guard(run.resolution) > rules["rest_high"] * run.test_pressure:
        yield "rest leak"


def _rest(run: Sequence27, rules: Rules) -> str:
    """Fall in the rest phase against the upper and, in free pipe, the lower limit."""
    end = pressure_at(run.rest_minutes, run.rest_bar, rules["rest"], rules)
    if end is None:
        return "rest missing"
    spare, upper, drop = guard(run.resolution), rules["rest_high"] * run.test_pressure, run.test_pressure - end
    if drop - spare > upper:
        return "rest leak"
    if drop + spare > upper:
        return "rest in doubt"
    return _rest_low(drop, spare, rules["rest_low"] * run.test_pressure, run.restraint)


def _rest_low(drop: float, spare: float, lower: float, restraint: str) -> str:
    if lower <= 0.0 or drop - spare >= lower or restraint in {"backfilled", "grouted"}:
        return "rest passed"
    if restraint == "unknown":
        return "restraint unknown"
    return "rest low" if drop + spare < lower else "rest low in doubt"


def _main(run: Sequence27, rules: Rules) -> str:
    """Fall from the running maximum: short limit at the end of the phase, long limit after the extension."""
    minutes, bar, limit = run.main_minutes, run.main_bar, rules["fall_long"]
    if not bar or abs(minutes[0]) > rules["reading_window"]:
        return "main missing"
    if limit < rules["resolution_multiple"] * TWO_READINGS * run.resolution:
        return "gauge too coarse"
    at_long = _fall(minutes, bar, rules["main_long"], rules)
    last = max(bar) - bar[-1] if at_long is None else at_long
    spare = guard(run.resolution)
    if last - spare > limit:
        return "leak"
    if at_long is not None:
        return "tight" if at_long + spare <= limit + EXACT else "main in doubt"
    at_short = _fall(minutes, bar, rules["main_short"], rules)
    clear = at_short is not None and at_short + spare <= rules["fall_short"] + EXACT and last + spare <= limit + EXACT
    return "tight" if clear else "extend" if at_short is not None else "main missing"


def _fall(minutes: Sequence[float], bar: Sequence[float], when: float, rules: Rules) -> float | None:
    """Highest pressure so far less the pressure at `when`; None without a reading there."""
    now = pressure_at(minutes, bar, when, rules)
    if now is None:
        return None
    before = [value for minute, value in zip(minutes, bar, strict=True) if minute <= when + rules["reading_window"]]
    return max(0.0, max([*before, now]) - now)


@dataclass(frozen=True)
class Decay:
    """Readings of a decay test (minutes after shutting, bar), minutes of loading, gauge resolution in bar."""

    minutes: Sequence[float]
    bar: Sequence[float]
    loading: float
    resolution: float


def band_of(rules: Rules, restraint: str) -> Band:
    """The creep band of one restraint among the rules of a method."""
    return Band(*(rules[f"{restraint}_{part}"] for part in ("low", "high", "doubt", "fail")))


def slopes_of(run: Decay, rules: Rules) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """(N1, N2) and their standard uncertainties from the readings at t_L, about 7 t_L and the last; None if one is missing.

    N = log10(Pa/Pb) / log10(tb/ta) with corrected times t + share x t_L.
    """
    if len(run.minutes) < 3 or min(run.bar) <= 0.0 or not is_rising(run.minutes) or run.minutes[0] <= 0.0:
        return None
    last = run.minutes[-1]
    chosen = [_nearest(run.minutes, when) for when in (run.loading, rules["second"] * run.loading, last)]
    if len(set(chosen)) < 3 or last < rules["third"] * run.loading:
        return None
    at = [run.minutes[k] + rules["loading_share"] * run.loading for k in chosen]
    bar = [run.bar[k] for k in chosen]
    slopes, doubts = [], []
    for k in (0, 1):
        spread = log10(at[k + 1] / at[k])
        slopes.append(log10(bar[k] / bar[k + 1]) / spread)
        doubts.append(run.resolution / sqrt(12.0) * hypot(1.0 / bar[k], 1.0 / bar[k + 1]) / log(10.0) / spread)
    return (slopes[0], slopes[1]), (doubts[0], doubts[1])


def _nearest(minutes: Sequence[float], when: float) -> int:
    """Index of the reading nearest to a time."""
    return min((abs(minute - when), index) for index, minute in enumerate(minutes))[1]


def type_ii(run: Decay, band: Band, rules: Rules, *, air: bool) -> str:
    """Code of a Type II test: leak by slope or by the growth of the slope, air by a low first slope, 2u to spare."""
    if not is_rising(run.minutes):
        return "clock"
    found = slopes_of(run, rules)
    if found is None:
        return "readings missing"
    (n1, n2), (u1, u2) = found
    g1, g2 = COVERAGE * u1, COVERAGE * u2
    # Both slopes are in doubt here, so 3u of each, else rounding alone could turn a pass into a fail.
    steeper = n1 > 0.0 and n2 - 1.5 * g2 > rules["ratio_fail"] * (n1 + 1.5 * g1)
    if n2 - g2 > band.high + band.fail or steeper:
        return "leak"
    low = band.low - band.doubt
    if (band.low > 0.0 and n1 + g1 < low) or air:
        return "air"
    if band.low > 0.0 and n1 - g1 < low:
        return "air in doubt"
    high = band.high + band.doubt
    sound = max(n1, n2) <= high and n2 + g2 <= band.high + band.fail and n2 <= rules["ratio_pass"] * n1
    return "tight" if sound else "slope in doubt"


def within_band(minutes: Sequence[float], bar: Sequence[float], resolution: float, rules: Rules) -> str:
    """Code of F2164: every reading of the hour within the band of the first."""
    if len(bar) < 2 or bar[0] <= 0.0:
        return "readings missing"
    if not is_rising(minutes):
        return "clock"
    limit, spare = rules["band"] * bar[0], guard(resolution)
    away = max(abs(value - bar[0]) for value in bar)
    if away - spare > limit:
        return "leak"
    if minutes[-1] - minutes[0] < rules["test_phase"] - rules["reading_window"]:
        return "too short"
    return "tight" if away + spare <= limit + EXACT else "slope in doubt"


def fixed_drop(minutes: Sequence[float], bar: Sequence[float], resolution: float, rules: Rules, *, creeps: bool) -> str:
    """Code of a fixed drop; a fall that creep may explain (`creeps`) is never a leak by this rule alone."""
    if not is_rising(minutes):
        return "clock"
    end = pressure_at(minutes, bar, minutes[0] + rules["minutes"], rules) if bar else None
    if end is None:
        return "readings missing"
    if rules["limit"] < rules["resolution_multiple"] * TWO_READINGS * resolution:
        return "gauge too coarse"
    fall, spare = bar[0] - end, guard(resolution)
    if fall - spare > rules["limit"]:
        return "not conditioned" if creeps else "leak"
    return "tight" if fall + spare <= rules["limit"] + EXACT else "slope in doubt"
