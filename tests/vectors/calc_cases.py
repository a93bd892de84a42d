"""The calculations that both Python and the phone's JavaScript know, and inputs for them.

`python -m tests.vectors.calc_cases` writes `calc.json`: every case with what the Python gives. Golden values from outside
are checked on the Python in tests/calcs; here only that the two agree.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from itertools import product
from pathlib import Path
from statistics import NormalDist
from typing import Any

from calcs import _tightness, changeover, mixing, purge, refractometer, residual_air
from calcs.base import Base
from calcs.fluid import mix_density, properties
from calcs.heat import heat_from_flow
from calcs.pressure_test import method_limits
from calcs.purge import PurgeLimits
from calcs.residual_air import Squeeze
from calcs.strength import Product, by_mass
from calcs.units import quantity, si
from jobs.field.pack_numbers import scale_rows
from jobs.ground.results import strength_rows
from jobs.visits.kinds.units import convert, units_json

FILE = Path(__file__).with_name("calc.json")
PG = Base.PROPYLENE_GLYCOL
RULES = {key: row.value for key, row in method_limits("short_tightness").items()}
COLOUR = {key: row.value for key, row in changeover.changeover_rows().items()}
AIR = {key: row.value for key, row in residual_air.residual_rows().items()}
WALL = {"wall_modulus": AIR["wall_modulus"], "modulus_doubt": AIR["modulus_doubt"], "water_modulus": 2092.0}
DENSITY, VISCOSITY = 1028.0, 3.6  # kg/m3, mm2/s: half water, half mix at 10 degC, near enough for a case

Case = dict[str, Any]


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
        concentrate=Product(PG, quantity(96, "percent"), quantity(1041, "kg/m^3"), "case"),
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


FUNCTIONS: dict[str, Callable[..., Any]] = {
    each.__name__: each
    for each in (short_tightness, falls, changeover_at, diagnose, judge_purge, air, mixed, brix, heat, converted)
}


def givens() -> dict[str, Any]:
    """What the cases share: limits and tables as the work pack carries them."""
    mix = properties(base=PG, mass_fraction=quantity(33, "percent"), temperature=quantity(0, "degC"))
    normal, water = (
        NormalDist(),
        mix_density(base=Base.WATER, mass_fraction=quantity(0, "percent"), temperature=quantity(20, "degC")),
    )
    return {
        "rules": RULES,
        "colour": COLOUR
        | {
            "first_quantile": normal.inv_cdf(COLOUR["first_fraction"]),
            "full_quantile": normal.inv_cdf(COLOUR["full_fraction"]),
        },
        "air": AIR,
        "wall": WALL,
        "purge": {"velocity": 0.6, "minutes": 15.0, "turnovers": 3.0},
        "units": units_json(),
        "table": strength_rows(PG.value),
        "scale": scale_rows(PG.value, "brix", 0.2, 0.2),
        "water": si(water, "kg/m^3", "density"),
        "density": si(mix.density, "kg/m^3", "density"),
        "heat_capacity": si(mix.heat_capacity, "J/kg/K", "heat capacity"),
    }


SERIES: tuple[tuple[list[float], list[float]], ...] = (
    ([0.0, 5, 10, 20, 30, 45, 60], [6.0, 5.90, 5.84, 5.77, 5.71, 5.67, 5.64]),
    ([0.0, 15, 30, 45, 60], [6.0, 5.85, 5.75, 5.70, 5.65]),
    ([0.0, 10, 20, 30, 45, 60], [6.0, 5.7, 5.4, 5.1, 4.7, 4.3]),
    ([0.0, 10, 20, 30, 45, 60], [6.0, 6.0, 6.0, 6.0, 6.0, 6.0]),
    ([0.0, 10, 20], [6.0, 5.9, 5.85]),
    ([0.0, 10], [6.0, 5.9]),
    ([0.0, 10, 8, 60], [6.0, 5.9, 5.8, 5.7]),
    ([0.0, 10, 20, 30, 45, 60], [6.0, 5.9, 6.05, 5.8, 5.75, 5.7]),
    ([0.0, 10, 20, 30, 45, 60], [6.0, 5.99, 5.98, 5.98, 5.97, 5.97]),
    ([0.0, 40, 60], [6.0, 5.7, 5.6]),
    ([1.5, 16, 31, 46, 61], [6.0, 5.85, 5.75, 5.70, 5.65]),
)


def cases() -> Iterator[Case]:
    yield from _pressure_cases()
    yield from _flow_cases()
    yield from _fluid_cases()


def _case(fn: str, *args: Any) -> Case:
    return {"fn": fn, "args": list(args), "out": FUNCTIONS[fn](*args)}


def _pressure_cases() -> Iterator[Case]:
    run = {"loading": 10.0, "hold": 60.0, "water_share": 0.0481}
    for (minutes, bar), restraint, step in product(SERIES, ("free", "backfilled", "grouted"), (0.01, 0.05, 0.1)):
        yield _case("short_tightness", minutes, bar, run | {"resolution": step}, restraint)
        if len(minutes) > 2 and minutes == sorted(minutes):
            yield _case("falls", minutes, bar, run | {"resolution": step}, restraint)
    for hold, loading in ((30.0, 10.0), (60.0, 2.0), (240.0, 25.0)):
        yield _case("short_tightness", *SERIES[0], run | {"resolution": 0.01, "hold": hold, "loading": loading}, "free")
        yield _case("falls", *SERIES[0], run | {"resolution": 0.01, "hold": hold, "loading": loading}, "free")


def _flow_cases() -> Iterator[Case]:
    for length, bore, flow in product((80.0, 216.0, 400.0), (26.0, 32.6, 51.4), (6.0, 18.0, 30.0, 78.0)):
        yield _case("changeover_at", length, bore, flow)
    times: tuple[float | None, ...] = (None, 20.0, 280.0, 370.0, 402.0, 520.0)
    for first, full, clear, sharp in product(times, times, (None, 300.0, 700.0), (1.0, 0.0)):
        yield _case("diagnose", [first, full, clear], sharp)
    for speed, minutes, turnovers in product((0.59, 0.6, 0.9), (14.9, 15.0, 40.0), (2.9, 3.0, 6.0)):
        yield _case("judge_purge", speed, minutes, turnovers)
    for litres, end in product((0.1, 0.4, 0.9, 1.4, 3.0, 9.0), (100.0, 150.0, 345.0)):
        yield _case("air", 334.0, 8.811, 0.0, end, litres)
    yield _case("air", 166.9, 8.811, 150.0, 450.0, 1.25)


def _fluid_cases() -> Iterator[Case]:
    for value, celsius in product((5.0, 18.0, 24.6, 25.5, 33.0), (5.0, 12.0, 20.0, 28.0)):
        yield _case("brix", value, celsius)
    for target in (20.0, 27.5, 33.4, 45.0):
        yield _case("mixed", target)
    for flow, warm, cold in ((47.0, 3.4, 0.2), (60.0, -1.0, -4.0), (40.0, 2.0, 2.5)):
        yield _case("heat", flow, warm, cold)
    for value, unit, to in (
        (87.0, "psi", "bar"),
        (50.0, "°F", "°C"),
        (5.0, "°C", "bar"),
        (-3.5, "°C", "°F"),
        (2.5, "h", "min"),
    ):
        yield _case("converted", value, unit, to)


def whole() -> dict[str, Any]:
    return {"given": givens(), "cases": list(cases())}


if __name__ == "__main__":
    FILE.write_text(json.dumps(whole(), ensure_ascii=False) + "\n", encoding="utf-8")
