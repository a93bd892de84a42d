"""The calculations that both Python and the phone's JavaScript know, each on plain numbers, as the Python computes it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from calcs import (
    _tightness,
    changeover,
    joint,
    leak_rate,
    mixing,
    pipe,
    pressure_methods,
    purge,
    refractometer,
    residual_air,
)
from calcs._tightness_words import SAYINGS
from calcs.base import Base
from calcs.errors import CalcError
from calcs.fluid import freezing_point, mass_fraction_for, properties
from calcs.heat import heat_from_flow
from calcs.pressure_test import En805A27, En805Run, PressureReading, Restraint, method_limits
from calcs.purge import PurgeLimits
from calcs.residual_air import Squeeze
from calcs.sources import Limit, Source, Status
from calcs.strength import Basis, Product, by_mass
from calcs.units import Quantity, quantity, si
from calcs.verdict import Outcome, Verdict
from jobs.visits.kinds import strength_reading, suits
from jobs.visits.kinds.units import convert

PG = Base.PROPYLENE_GLYCOL
RULES = {key: row.value for key, row in method_limits("short_tightness").items()}
COLOUR = {key: row.value for key, row in changeover.changeover_rows().items()}
DENSITY, VISCOSITY = 1028.0, 3.6  # kg/m3, mm2/s: half water, half mix at 10 degC, near enough for a case
CONCENTRATE = (96.0, 1041.0)  # mass %, kg/m3


def _run(run: dict[str, float]) -> _tightness.Run:
    return _tightness.Run(**run)


def _band(restraint: str) -> _tightness.Band:
    return _tightness.Band(*(RULES[f"{restraint}_{edge}"] for edge in ("low", "high", "doubt", "fail")))


def short_tightness(minutes: list[float], bar: list[float], run: dict[str, float], restraint: str) -> str:
    return _tightness.short_tightness(minutes, bar, _run(run), _band(restraint), RULES)


def falls(minutes: list[float], bar: list[float], run: dict[str, float], restraint: str) -> dict[str, float]:
    return dict(vars(_tightness.falls(minutes, bar, _run(run), _band(restraint))))


def changeover_at(length_m: float, bore_mm: float, flow: float) -> dict[str, Any]:
    found = changeover.expected(
        length=quantity(length_m, "m"),
        bore=quantity(bore_mm, "mm"),
        flow=quantity(flow, "L/min"),
        density=quantity(DENSITY, "kg/m^3"),
        viscosity=quantity(VISCOSITY, "mm^2/s"),
    )
    times = {"transit": found.transit_time, "first": found.first_colour, "full": found.full_colour}
    return {name: si(value, "s", name) for name, value in times.items()} | {
        "sharp": found.is_sharp,
        "reynolds": found.reynolds,
    }


def diagnose(seen: list[float | None], sharp: float) -> list[str]:
    first, full, clear = seen
    outcome, code = changeover.diagnose_seconds(
        expected_first=374.0,
        expected_full=399.0,
        transit=386.0,
        seen=(first, full, clear),
        rules=COLOUR | {"sharp": sharp},
    )
    return [outcome.value, code]


def judge_purge(velocity: float, minutes: float, turnovers: float) -> str:
    limits = PurgeLimits.usual()
    return purge.judge_run(
        velocity=quantity(velocity, "m/s"),
        after_last_bubble=quantity(minutes, "min"),
        turnovers=turnovers,
        limits=limits,
    ).outcome.value


def air(volume: float, ratio: float, start: float, end: float, litres: float) -> dict[str, Any]:
    squeeze = Squeeze(quantity(volume, "L"), ratio, quantity(start, "kPa"), quantity(end, "kPa"))
    found = residual_air.from_litres_in(squeeze=squeeze, litres_in=quantity(litres, "L"))
    told = {"volume": found.volume, "low": found.low, "high": found.high, "elastic": found.elastic}
    return {name: si(value, "L", name) for name, value in told.items()} | {
        "outcome": residual_air.judge(found).outcome.value
    }


def mixed(target_pct: float) -> dict[str, float]:
    """Poured by the recipe, it must come to the target."""
    recipe = mixing.first_fill(
        base=PG,
        system_volume=quantity(200, "L"),
        target=by_mass(base=PG, value=quantity(target_pct, "percent")),
        concentrate=_concentrate(*CONCENTRATE),
        bin_volume=quantity(200, "L"),
    )
    litres = {"water": recipe.water_volume, "concentrate": recipe.concentrate_volume}
    return {name: si(value, "L", name) for name, value in litres.items()} | {"mass": target_pct}


def brix(value: float, celsius: float) -> dict[str, float]:
    found = refractometer.read(
        scale=refractometer.Scale.BRIX,
        value=quantity(value, ""),
        base=PG,
        sample_temperature=quantity(celsius, "degC"),
        resolution=quantity(0.2, ""),
        accuracy=quantity(0.2, ""),
    )
    return {
        "mass": 100 * si(found.mass_fraction, "", "strength"),
        "u": 100 * si(found.u_mass_fraction, "", "u"),
        "freezing": si(found.freezing_point, "degC", "freezing point"),
    }


def heat(flow: float, t_in: float, t_out: float) -> float:
    mix = properties(base=PG, mass_fraction=quantity(33, "percent"), temperature=quantity(0, "degC"))
    found = heat_from_flow(
        flow=quantity(flow, "L/min"),
        t_in=quantity(t_in, "degC"),
        t_out=quantity(t_out, "degC"),
        properties=mix,
        u_flow=quantity(1, "percent"),
        u_pair=quantity(0.1, "K"),
    )
    return si(found.duty, "kW", "duty")


def converted(value: float, unit: str, to: str) -> float | None:
    return convert(value, unit, to)


def litres_of(length: float, bore: float) -> float:
    tube = pipe.pipe(od=quantity(bore + 6, "mm"), wall=quantity(3, "mm"))
    return si(pipe.volume(pipe=tube, length=quantity(length, "m")), "L", "volume")


def velocity(flow: float, bore: float) -> float:
    return si(purge.velocity_of(flow=quantity(flow, "L/min"), bore=quantity(bore, "mm")), "m/s", "velocity")


def flow_at(speed: float, bore: float) -> float:
    return si(purge.flow_for(bore=quantity(bore, "mm"), velocity=quantity(speed, "m/s")), "L/min", "flow")


def effective_length(seconds: float, flow: float, bore: float) -> float:
    found = changeover.effective_length(
        observed=quantity(seconds, "s"), flow=quantity(flow, "L/min"), bore=quantity(bore, "mm")
    )
    return si(found, "m", "length")


def changeover_due(length: float, bore: float, flow: float) -> dict[str, Any]:
    """As `changeover_at`, for the phone's way from a pipe and a viscosity alone."""
    return changeover_at(length, bore, flow)


def _concentrate(mass_pct: float, density: float) -> Product:
    return Product(PG, quantity(mass_pct, "percent"), quantity(density, "kg/m^3"), "case")


def correction(volume: float, measured: float, target: float) -> dict[str, float | None]:
    found = mixing.correction(
        base=PG,
        system_volume=quantity(volume, "L"),
        measured=by_mass(base=PG, value=quantity(measured, "percent")),
        target=by_mass(base=PG, value=quantity(target, "percent")),
        concentrate=_concentrate(*CONCENTRATE),
    )
    fed = found.feed_and_bleed
    return {
        "drain": si(found.drain_volume, "L", "drain"),
        "add": si(found.add_volume, "L", "add"),
        "feed": None if fed is None else si(fed, "L", "feed"),
    }


def top_up(volume: float, measured: float, added_pct: float, litres: float) -> dict[str, float]:
    """What a bin comes to after pouring on top; the phone must find the litres from that strength."""
    parts = [(volume, measured), (litres, added_pct)]
    found = mixing.blend(
        parts=[mixing.Part(quantity(v, "L"), by_mass(base=PG, value=quantity(w, "percent"))) for v, w in parts]
    )
    return {"target": si(found.mass_fraction, "percent", "strength"), "litres": litres}


def strength_of(mass_pct: float) -> dict[str, float]:
    whole = by_mass(base=PG, value=quantity(mass_pct, "percent"))
    point = freezing_point(base=PG, mass_fraction=quantity(mass_pct, "percent")).value
    back = mass_fraction_for(base=PG, freezing_point=point)
    return {
        "volume": si(whole.to(Basis.VOLUME_FINAL).value, "percent", "volume"),
        "freezing": si(point, "degC", "freezing point"),
        "mass": si(back, "percent", "strength"),
    }


def frost(freezing: float, required: float, u: float) -> str:
    return refractometer.frost_verdict(
        freezing_point=quantity(freezing, "degC"), required=quantity(required, "degC"), u=quantity(u, "K")
    ).outcome.value


def in_band(mass_pct: float, u: float, target: float, band: float) -> str:
    read = refractometer.read(
        scale=refractometer.Scale.BRIX,
        value=quantity(20, ""),
        base=PG,
        sample_temperature=quantity(20, "degC"),
    )
    made = replace(read, mass_fraction=quantity(mass_pct, "percent"), u_mass_fraction=quantity(u, "percent"))
    limit = Limit(band, "%-points", Source("", Status.HOUSE_DEFAULT))
    return strength_reading._in_band(made, target, limit).outcome.value


def _code_of(reason: str) -> str:
    return next(code for code, said in SAYINGS.items() if said.reason == reason)


def _readings(minutes: list[float], bar: list[float]) -> PressureReading:
    return PressureReading(quantity(np.array(minutes), "min"), quantity(np.array(bar), "bar"))


def _or_none(value: float | None, unit: str) -> Quantity | None:
    return None if value is None else quantity(value, unit)


def sequence(run: dict[str, Any], method: str) -> str:
    """The whole A.27 judgement: phases, let-down, rest, volume and main phase."""
    test = En805A27(
        quantity(run["testPressure"], "bar"),
        quantity(run["volume"], "L"),
        run["ratio"],
        Restraint(run["restraint"]),
        quantity(run["resolution"], "bar"),
        method=method,
    )
    found = test.judge(
        En805Run(
            _readings(run["rest"], run["restBar"]),
            _readings(run["main"], run["mainBar"]),
            bled=_or_none(run["bled"], "L"),
            relax=_or_none(run.get("relax"), "min"),
            raised=_or_none(run.get("raised"), "min"),
            held=_or_none(run.get("held"), "min"),
        )
    )
    return _code_of(found.reason)


def decay(minutes: list[float], bar: list[float], resolution: float, lies: str) -> dict[str, Any]:
    """Code and the two slopes of a decay test loaded in 5 min."""
    test = pressure_methods.TypeII(Restraint(lies), quantity(5, "min"), quantity(resolution, "bar"))
    found = test.judge(_readings(minutes, bar))
    return {"code": _code_of(found.reason), "slopes": [figure.value for figure in found.figures]}


def leak(minutes: list[float], bar: list[float], resolution: float, lies: str) -> dict[str, float] | None:
    """Litres per hour of a pipe of 166.9 L, loaded in 10 min and held for 60; none where the readings do not tell."""
    shut = leak_rate.Shut(
        Restraint(lies),
        quantity(166.9, "L"),
        quantity(10, "min"),
        quantity(60, "min"),
        quantity(resolution, "bar"),
        bore_to_wall=8.811,
    )
    try:
        found = leak_rate.leak_rate(shut=shut, readings=_readings(minutes, bar))
    except CalcError:
        return None
    told = {"likely": found.likely, "low": found.low, "high": found.high}
    return {name: si(value, "L/hour", name) for name, value in told.items()}


def cooling(method: str, od: float, told: list[float] | None, elapsed: float) -> dict[str, Any] | None:
    """Both clocks of a joint and what is left of them, minutes; none where nobody tells."""
    said = None if told is None else joint.Told(quantity(told[0], "min"), quantity(told[1], "min"), "label")
    try:
        clock = joint.cooling(method=joint.Method(method), od=quantity(od, "mm"), told=said)
    except CalcError:
        return None
    left = joint.waiting(cooling=clock, elapsed=quantity(elapsed, "min"))
    return {
        "clock": [si(clock.move, "min", "move"), si(clock.pressurise, "min", "pressurise")],
        "left": [si(left.move_left, "min", "left"), si(left.pressurise_left, "min", "left")],
        "outcome": left.verdict.outcome.value,
    }


def row_at(rows: list[list[float]], at: float) -> list[float]:
    """As `kinds.suits.row_at`, on rows as the work pack carries them."""
    told = tuple((start, Verdict(Outcome.PASS, str(place))) for start, place in rows)
    start, verdict = suits.row_at(told, at)
    return [start, float(verdict.reason)]


FUNCTIONS: dict[str, Callable[..., Any]] = {
    each.__name__: each
    for each in (
        short_tightness, falls, sequence, decay, leak, changeover_at, changeover_due, effective_length, diagnose, litres_of,
        velocity, flow_at, judge_purge, air, mixed, correction, top_up, strength_of, brix, frost, in_band, heat, cooling, converted,
        row_at,
    )
}  # fmt: skip
