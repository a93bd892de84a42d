"""Inputs for the calculations that both Python and the phone's JavaScript know.

`python -m tests.vectors.calc_cases` writes `calc.json`: every case with what the Python gives. Golden values from outside
are checked on the Python in tests/calcs; here only that the two agree.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from itertools import product
from pathlib import Path
from random import Random
from typing import Any

from calcs import residual_air
from calcs.base import Base
from calcs.fluid import mix_density, properties
from calcs.pressure_test import WALL_ONE_HOUR, WATER_MODULUS
from calcs.sources import limits
from calcs.units import quantity, si
from jobs.sums.tables import changeover_json, fluid_rows, scale_rows, sums_json
from jobs.visits.kinds.units import units_json
from tests.vectors.calc_functions import CONCENTRATE, FUNCTIONS, PG, RULES, VISCOSITY

FILE = Path(__file__).with_name("calc.json")
AIR = {key: row.value for key, row in residual_air.residual_rows().items()}
WALL = {
    "wall_modulus": AIR["wall_modulus"],
    "modulus_doubt": AIR["modulus_doubt"],
    "water_modulus": WATER_MODULUS,
}

Case = dict[str, Any]


def values(table: str, area: str) -> dict[str, float]:
    return {key: row.value for key, row in limits(table, area).items()}


def givens() -> dict[str, Any]:
    """What the cases share: limits and tables as the work pack carries them."""
    mix = properties(base=PG, mass_fraction=quantity(33, "percent"), temperature=quantity(0, "degC"))
    water = mix_density(base=Base.WATER, mass_fraction=quantity(0, "percent"), temperature=quantity(20, "degC"))
    return {
        "rules": RULES,
        "colour": changeover_json(),
        "methods": {method: values("pressure_methods", method) for method in SEQUENCES},
        "decay": values("pressure_methods", "type_ii"),
        "frost": values("fluid_limits", "frost"),
        "wall_one_hour": WALL_ONE_HOUR,
        "sockets": sums_json()["sockets"],
        "viscosity": VISCOSITY,
        "concentrate": {"massPct": CONCENTRATE[0], "density": CONCENTRATE[1]},
        "air": AIR,
        "wall": WALL,
        "purge": {"velocity": 0.6, "minutes": 15.0, "turnovers": 3.0},
        "units": units_json(),
        "table": fluid_rows(PG.value),
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
    yield from _strength_cases()
    yield from _sequence_cases()
    yield from _decay_cases()
    yield from _joint_cases()
    yield from _leak_cases()


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
        yield _case("changeover_due", length, bore, flow)
        yield _case("litres_of", length, bore)
        yield _case("velocity", flow, bore)
        yield _case("effective_length", 60.0 * flow, flow, bore)
    times: tuple[float | None, ...] = (None, 20.0, 280.0, 370.0, 402.0, 520.0)
    for first, full, clear, sharp in product(times, times, (None, 300.0, 700.0), (1.0, 0.0)):
        yield _case("diagnose", [first, full, clear], sharp)
    for speed, bore in product((0.0, 0.6, 1.2), (26.0, 51.4)):
        yield _case("flow_at", speed, bore)
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
    rows = [[0.0, 3.0], [4.0, 0.0], [6.5, 1.0], [12.001, 2.0]]
    for bar in (0.0, 3.99, 4.0, 6.5, 12.0, 12.001, 99.0):
        yield _case("row_at", rows, bar)


def _strength_cases() -> Iterator[Case]:
    for measured, target in ((22.0, 33.0), (33.0, 33.0), (38.0, 30.0), (0.0, 30.0), (25.0, 0.0), (29.7, 31.4)):
        yield _case("correction", 600.0, measured, target)
    for measured, added, litres in ((22.0, 55.0, 30.0), (30.0, 58.0, 4.0), (40.0, 0.0, 25.0), (0.0, 50.0, 80.0)):
        yield _case("top_up", 150.0, measured, added, litres)
    for mass in (0.0, 9.3, 20.0, 27.5, 33.0, 45.0, 58.0):
        yield _case("strength_of", mass)
    for freezing, u in product((-13.6, -14.0, -15.4, -16.0, -16.2, -20.9, -21.1), (0.0, 0.3, 0.8)):
        yield _case("frost", freezing, -15.0, u)
    for mass, u in product((30.0, 31.4, 31.6, 33.0, 34.4, 36.0), (0.1, 0.4)):
        yield _case("in_band", mass, u, 33.0, 1.5)


# Rest phases and main phases of the A.27 sequence at 7.5 bar: sound, doubtful, leaking, cut short, out of order.
RESTS: tuple[tuple[list[float], list[float]], ...] = (
    ([0.0, 15, 30, 45, 60], [7.5, 7.1, 6.9, 6.75, 6.65]),
    ([0.0, 15, 30, 45, 60], [7.5, 7.4, 7.35, 7.3, 7.25]),
    ([0.0, 15, 30, 45, 60], [7.5, 6.8, 6.3, 5.9, 5.59]),
    ([0.0, 15, 30, 45, 60], [7.5, 6.2, 5.6, 5.2, 5.0]),
    ([0.0, 15, 30, 50, 70], [7.5, 7.1, 6.9, 6.7, 6.6]),
    ([0.0, 15, 30], [7.5, 7.1, 6.9]),
    ([0.0, 30, 60], [7.0, 6.8, 6.6]),
    ([0.0, 30, 20], [7.5, 6.8, 6.6]),
    ([], []),
)
MAINS: tuple[tuple[list[float], list[float]], ...] = (
    ([0.0, 10, 20, 30], [5.5, 5.58, 5.6, 5.59]),
    ([0.0, 10, 20, 30, 45, 60, 75, 90], [5.5, 5.6, 5.62, 5.58, 5.54, 5.5, 5.46, 5.42]),
    ([0.0, 10, 20, 30, 45, 60, 75, 90], [5.5, 5.55, 5.5, 5.4, 5.2, 5.0, 4.8, 4.6]),
    ([0.0, 10, 20, 30], [5.5, 5.58, 5.56, 5.5]),
    ([0.0, 10], [5.5, 5.58]),
    ([5.0, 10, 20, 30], [5.5, 5.58, 5.6, 5.6]),
    ([0.0, 10, 20, 30], [6.5, 6.55, 6.56, 6.56]),
    ([], []),
)
SEQUENCES = ("en805_a27_2000", "w400_2_2022")
TIMES: tuple[dict[str, float], ...] = (
    {},
    {"held": 30.0, "raised": 9.0},
    {"held": 20.0},
    {"raised": 12.0},
    {"relax": 30.0},
)


def _sequence_cases() -> Iterator[Case]:
    """A sample of all ways in which the parts can come together, the same every time."""
    ways = list(
        product(RESTS, MAINS, (None, 0.0, 0.06, 0.2, 0.9), (0.01, 0.05, 0.2), LIES, (166.9, 900.0), TIMES, SEQUENCES)
    )
    kinds = ("free", "grouted")
    usual = list(
        product(RESTS[:3], MAINS[:4], (0.0, 0.17, 0.185, 0.2), (0.01, 0.05), kinds, (166.9,), TIMES[:1], SEQUENCES)
    )
    for rest, main, bled, step, lies, volume, times, method in Random(805).sample(ways, 90) + usual:
        run = {
            "testPressure": 7.5,
            "rest": rest[0],
            "restBar": rest[1],
            "main": main[0],
            "mainBar": main[1],
            "bled": bled,
        }
        yield _case(
            "sequence", run | {"volume": volume, "ratio": 8.811, "resolution": step, "restraint": lies} | times, method
        )


LIES = ("free", "backfilled", "grouted", "unknown")
DECAYS: tuple[tuple[list[float], list[float]], ...] = (
    ([5.0, 35, 75], [6.60, 5.68, 5.32]),
    ([5.0, 35, 75], [6.52, 5.52, 5.08]),
    ([5.0, 35, 75], [6.41, 4.92, 3.97]),
    ([5.0, 35, 75], [7.03, 6.60, 6.41]),
    ([5.0, 20, 35, 50, 75, 150], [6.85, 6.3, 6.02, 5.9, 5.8, 5.6]),
    ([5.0, 35, 60], [6.60, 5.68, 5.4]),
    ([5.0, 35], [6.60, 5.68]),
    ([5.0, 75, 35], [6.60, 5.68, 5.32]),
    ([0.0, 35, 75], [6.60, 5.68, 5.32]),
)


def _decay_cases() -> Iterator[Case]:
    for (minutes, bar), step, lies in product(DECAYS, (0.01, 0.1), LIES):
        yield _case("decay", minutes, bar, step, lies)


def _leak_cases() -> Iterator[Case]:
    short = ([0.0, 4.0], [6.0, 5.0])
    for (minutes, bar), step, lies in product((*SERIES, short), (0.01, 0.1), LIES):
        yield _case("leak", minutes, bar, step, lies)


def _joint_cases() -> Iterator[Case]:
    methods, tolds = ("socket", "butt", "electrofusion", "mechanical"), (None, [0.5, 20.0], [10.0, 3.0])
    for method, od, told, elapsed in product(methods, (32.0, 63.0, 33.0), tolds, (0.0, 0.5, 5.5, 30.0)):
        yield _case("cooling", method, od, told, elapsed)


def whole() -> dict[str, Any]:
    return {"given": givens(), "cases": list(cases())}


if __name__ == "__main__":
    FILE.write_text(json.dumps(whole(), ensure_ascii=False) + "\n", encoding="utf-8")
