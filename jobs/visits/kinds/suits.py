"""Can this instrument decide the step it is picked for: told before anything is read, by method, scale and pressure."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from calcs import deciding, fluid, stress
from calcs.base import Base
from calcs.errors import CalcError
from calcs.pressure_test import Restraint
from calcs.stress import Gauge
from calcs.units import Quantity, quantity
from calcs.verdict import Outcome, Verdict
from jobs.visits.kinds import running, vessel
from jobs.visits.kinds.base import Facts, Instrument
from jobs.visits.kinds.said import cannot
from jobs.visits.kinds.strength_reading import SCALES
from jobs.visits.kinds.units import convert

SHORT, SEQUENCE = "short_tightness", "en805_a27_2000"
HALF_BARS: Final = tuple(0.5 * n for n in range(2, 51))
QUARTER: Final = 0.25
JUST_OVER: Final = 0.001
WORSE: Final = (Outcome.PASS, Outcome.WARN, Outcome.CANNOT_TELL, Outcome.FAIL)
NO_STEPS: Final = cannot(
    "The office has not entered the steps of this gauge.", "Use another one, or let the office enter them."
)
NO_ERROR: Final = cannot(
    "The office has not entered how far these may be off.", "Use another pair, or let the office enter their ±."
)
NO_METER: Final = cannot(
    "No flow meter with a known ± is in the register, so the heat cannot be judged.", "Let the office enter one."
)

Row = tuple[float, Verdict]
Rows = tuple[Row, ...]


@dataclass(frozen=True)
class Suits:
    """What is said of one instrument in one kind of entry. Each row holds from so many bar on.

    `rows` are chosen by the answers to the fields `by`, joined by a slash; an empty name stands while they are not given.
    `pressure` is the field with the pressure that counts, `usual` the job's own until one is typed.
    """

    rows: Mapping[str, Rows]
    by: tuple[str, ...] = ()
    pressure: str = ""
    usual: float | None = 0.0


def suits(facts: Facts, kind: str, tool: Instrument, *, method: str = SHORT) -> Suits | None:
    """None where nothing is asked of the instrument, or nothing is known to ask it by."""
    if kind in {"pressure_test", "pressure_reading", "pressure_end"}:
        return _test(facts, tool, method)
    judge = JUDGES.get(kind)
    try:
        return judge(facts, tool) if judge else None
    except CalcError:
        return None


def _bar(value: float | None, unit: str) -> float | None:
    """A length on the scale of a gauge, in bar."""
    far, zero = (convert(each, unit, "bar") for each in (value or 0.0, 0.0))
    return far - zero if value and far is not None and zero is not None and far > zero else None


def _limit(facts: Facts, code: str) -> float | None:
    found = facts.limit(code)
    return found.value if found else None


def _worst(found: Iterable[Verdict]) -> Verdict:
    """Of two that suit, the one that asks for more: hours shut or let-down stand last among its figures."""
    return max(found, key=lambda each: (WORSE.index(each.outcome), each.figures[-1].value if each.figures else 0.0))


def _short_of(rows: Iterable[Row]) -> Rows:
    """Rows that say the same as the one before are left out."""
    found: list[Row] = []
    for start, verdict in rows:
        if not found or (found[-1][1].reason, found[-1][1].way_out) != (verdict.reason, verdict.way_out):
            found.append((start, verdict))
    return tuple(found)


@dataclass(frozen=True)
class _Test:
    """What a test asks of its gauge: steps and span in bar, bore over wall, minutes of hold and of time shut."""

    step: float
    span: float | None
    ratio: float
    hold: float
    isolated: float


def _test(facts: Facts, tool: Instrument, method: str) -> Suits:
    step = _bar(tool.resolution, tool.unit)
    usual = _limit(facts, "test_pressure_bar")
    if step is None:
        return Suits({"": ((0.0, NO_STEPS),)})
    ratio = max((run.bore_mm / run.wall_mm for run in facts.runs.values()), default=9.0)
    hold, isolated = (_limit(facts, code) or 60.0 for code in ("test_hold_min", "test_isolated_min"))
    asked = _Test(step, _bar(tool.range_high, tool.unit), round(ratio, 1), hold, isolated)
    found = {f"{how}/{lies.value}": _rows(asked, how, lies) for how in (SHORT, SEQUENCE) for lies in Restraint}
    # Free pipe creeps most: it stands for a pipe of which nothing is said yet; so does the rule set's method.
    found |= {f"{how}/": found[f"{how}/{Restraint.FREE.value}"] for how in (SHORT, SEQUENCE)}
    usually = method if method == SEQUENCE else SHORT
    found |= {f"/{lies.value}": found[f"{usually}/{lies.value}"] for lies in Restraint}
    found[""] = found[f"{usually}/"]
    return Suits(found, ("method", "restraint"), "test_pressure", usual)


@lru_cache(maxsize=512)
def _rows(asked: _Test, method: str, lies: Restraint) -> Rows:
    """From half bar to half bar, the worst of the pressures between; and where the span begins and ends to suit."""
    ends = [] if asked.span is None else [0.25 * asked.span, 0.75 * asked.span + JUST_OVER, asked.span + JUST_OVER]
    starts = sorted({*HALF_BARS, *ends})
    first = starts[0]
    return _short_of((0.0 if bar == first else bar, _worst(_from(asked, method, lies, bar))) for bar in starts)


def _from(asked: _Test, method: str, lies: Restraint, bar: float) -> list[Verdict]:
    """Method and span from a pressure on, the method a quarter of a bar further too."""
    how = (asked.step, asked.ratio, asked.hold, asked.isolated)
    half = 0.5 * (bar // 0.5)
    return [
        *(_by_method(how, method, lies, at) for at in (half, half + QUARTER)),
        _of_gauge(asked, quantity(bar, "bar")),
    ]


@lru_cache(maxsize=16384)
def _by_method(how: tuple[float, float, float, float], method: str, lies: Restraint, bar: float) -> Verdict:
    """`how`: step in bar, bore over wall, minutes of hold and of time shut. Kept, since every pack asks it anew."""
    step, ratio, hold, isolated = how
    pressure, resolution = quantity(max(bar, QUARTER), "bar"), quantity(step, "bar")
    if method == SEQUENCE:
        return deciding.sequence(pressure=pressure, resolution=resolution, restraint=lies, bore_to_wall=ratio)
    return deciding.short_check(
        pressure=pressure,
        resolution=resolution,
        restraint=lies,
        bore_to_wall=ratio,
        hold=quantity(hold, "min"),
        isolated=quantity(isolated, "min"),
    )


def _of_gauge(asked: _Test, pressure: Quantity) -> Verdict:
    """Span and steps; without a span the steps alone."""
    span = pressure * 2.0 if asked.span is None else quantity(asked.span, "bar")
    found = stress.gauge_suits(gauge=Gauge(span, quantity(asked.step, "bar")), pressure=pressure)
    # Good news is the method's to tell.
    return Verdict(Outcome.PASS, "") if found.outcome is Outcome.PASS else found


def row_at(rows: Rows, bar: float) -> Row:
    """The row that holds at a pressure; the phone's `rowAt`."""
    return [row for row in rows if row[0] <= bar][-1]


def _tube(facts: Facts, tool: Instrument) -> Suits:
    step = _bar(tool.resolution, tool.unit)
    usual = _limit(facts, "test_pressure_bar")
    if step is None:
        return Suits({"": ((0.0, NO_STEPS),)})
    span = _bar(tool.range_high, tool.unit)

    def judge(bar: float) -> Verdict:
        pressure = quantity(bar, "bar")
        gauge = Gauge(pressure * 2.0 if span is None else quantity(span, "bar"), quantity(step, "bar"))
        return stress.gauge_suits(gauge=gauge, pressure=pressure)

    return Suits({"": _along(span, judge)}, pressure="test_pressure", usual=usual)


def _along(span: float | None, judge: Callable[[float], Verdict]) -> Rows:
    """Rows where the span begins and ends to suit."""
    if span is None:
        return ((0.0, judge(1.0)),)
    starts = (0.0, 0.25 * span, 0.75 * span + JUST_OVER, span + JUST_OVER)
    return _short_of((start, judge(max(start, JUST_OVER))) for start in starts)


def _at(field: str) -> Callable[[Facts, Instrument], Suits | None]:
    """A pressure that is only read: the span counts."""

    def judge(facts: Facts, tool: Instrument) -> Suits | None:
        span = _bar(tool.range_high, tool.unit)
        return Suits({"": _ranged(span)}, pressure=field, usual=_static(facts, field)) if span else None

    return judge


def _ranged(span: float) -> Rows:
    return _along(span, lambda bar: stress.gauge_range(span=quantity(span, "bar"), pressure=quantity(bar, "bar")))


def _static(facts: Facts, field: str) -> float | None:
    """The cold fill pressure of the design; the purge pump's own pressure is known when it is read."""
    height = facts.design.get("static_height_m")
    return None if height is None or field == "dead_head_pressure" else vessel.least(facts, height)


def _falling(field: str, code: str, pressure: str = "") -> Callable[[Facts, Instrument], Suits | None]:
    """A fall that must show between two readings, and a scale that must bear the pressure."""

    def judge(facts: Facts, tool: Instrument) -> Suits | None:
        limit, step, span = facts.limit(code), _bar(tool.resolution, tool.unit), _bar(tool.range_high, tool.unit)
        if limit is None:
            return None
        if step is None:
            return Suits({"": ((0.0, NO_STEPS),)})
        shown = deciding.fall(limit=quantity(limit.value, limit.unit), resolution=quantity(step, "bar"))
        rows = [(0.0, shown)]
        if span is not None:
            rows.append((span + JUST_OVER, _ranged(span)[-1][1]))
        usual = _limit(facts, pressure) if pressure else _static(facts, field)
        return Suits({"": tuple(rows)}, pressure=field, usual=usual or 0.0)

    return judge


def _strength(facts: Facts, tool: Instrument) -> Suits | None:
    target, band = facts.number("fluid", "target_mass_pct"), facts.limit("strength_band_pct")
    if facts.fluid is None or target is None or band is None or facts.fluid.base == Base.WATER.value:
        return None
    base, own = Base(facts.fluid.base), tool.scale_base if tool.scale_base in SCALES else "brix"

    def judge(scale: str) -> Rows:
        unit = "" if scale == "brix" else "delta_degC"
        found = deciding.strength_scale(
            base=base,
            mass_fraction=quantity(target or 0.0, "percent"),
            band=quantity(band.value if band else 0.0, "percent"),
            scale_base=None if scale == "brix" else Base(scale),
            resolution=quantity(tool.resolution, unit) if tool.resolution else None,
            accuracy=quantity(tool.accuracy, unit) if tool.accuracy else None,
        )
        return ((0.0, found),)

    rows = {scale: judge(scale) for scale in SCALES}
    return Suits(rows | {"": rows[own]}, ("scale",))


def _duty(facts: Facts, tool: Instrument) -> Suits | None:
    flow, spread = facts.number("flow", "design_flow_l_min"), facts.number("flow", "spread_k")
    mass = facts.number("fluid", "target_mass_pct")
    if facts.fluid is None or not flow or not spread or mass is None:
        return None
    known = [one.accuracy for one in facts.instruments.values() if one.kind == "flow_meter" and one.accuracy]
    meter = running.flow_meter(facts) or min(known, default=None)
    if not tool.accuracy or meter is None:
        return Suits({"": ((0.0, NO_METER if tool.accuracy else NO_ERROR),)})
    mix = fluid.properties(
        base=Base(facts.fluid.base), mass_fraction=quantity(mass, "percent"), temperature=quantity(0.0, "degC")
    )
    found = deciding.duty(
        flow=quantity(flow, "L/min"),
        spread=quantity(spread, "K"),
        properties=mix,
        flow_limit=quantity(meter, "L/min"),
        pair_limit=quantity(tool.accuracy, "K"),
    )
    return Suits({"": ((0.0, found),)})


JUDGES: Final[dict[str, Callable[[Facts, Instrument], Suits | None]]] = {
    "utube_check": _tube,
    "backfill_release": _falling("watch_pressure", "watch_drop_bar", "watch_pressure_bar"),
    "watch_reading": _falling("pressure", "watch_drop_bar", "watch_pressure_bar"),
    "watch_release": _falling("pressure", "watch_drop_bar", "watch_pressure_bar"),
    "residual_air": _at("dead_head_pressure"),
    "static_pressure": _at("pressure"),
    "deaeration_start": _falling("pressure", "stable_bar"),
    "follow_up": _falling("pressure_on_arrival", "stable_bar"),
    "strength_reading": _strength,
    "final_reading": _duty,
}
