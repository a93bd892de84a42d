"""Small tables that quick sums need where there is no server: fluids, refractometer scales, pipes, limits with their source."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from math import sqrt
from statistics import NormalDist
from typing import Any, Final

from calcs import fluid, joint, refractometer, strength
from calcs.base import Base
from calcs.changeover import changeover_rows
from calcs.errors import CalcError
from calcs.pipe import metric_pipes
from calcs.pressure_test import WALL_ONE_HOUR, WATER_MODULUS, method_limits
from calcs.purge import purge_rows
from calcs.residual_air import residual_rows
from calcs.sources import Limit, Source, Status, limits, table
from calcs.units import quantity, si

Row = tuple[float, float, float, float]
FURTHER_C: Final = 30.0
# Fluid and water in bin and hoses while a loop is filled, and room for a bin: house defaults, as in the design's numbers.
FILLING_C: Final = 10.0
MIXING_C: Final = 20.0
STEP_PCT: Final = 1.0
METHODS: Final = ("short_tightness", "en805_a27_2000", "w400_2_2022", "type_ii")
USUAL_BORE_TO_WALL: Final = 9.0
PIPE_OD_MM: Final = (20.0, 125.0)


@lru_cache(maxsize=1)
def sums_json() -> dict[str, Any]:
    """All of it for the work pack; the same for every firm and person.

    `fluids`: by base, rows of mass %, final volume % (null for a salt), freezing point °C, °Brix (null where the index
    tells nothing) and kg/m³ at 20 °C. `fronts`: mass % of the new fluid and mm²/s of half of it in water at 10 °C.
    `pipes`: od and wall in mm, and its name. `sockets`: od in mm, minutes to hold still and until any stress.
    `limits`: by area and key the value; `sources`: by area what a user is told.
    `usual_ratio`: bore over wall of usual pipe, and its `water_share`; moduli in MPa.
    """
    return {
        "fluids": {base.value: _fluid(base) for base in Base if base is not Base.WATER},
        "water_mm2_s": _front(Base.WATER, 0.0),
        "pipes": _pipes(),
        "sockets": _sockets(),
        "limits": {area: _values(rows) for area, rows in _areas().items()} | {"changeover": changeover_json()},
        "sources": {area: _told(rows) for area, rows in _areas().items()} | {"joint": _socket_sources()},
        "water_modulus": WATER_MODULUS,
        "wall_one_hour": WALL_ONE_HOUR,
        "usual_ratio": USUAL_BORE_TO_WALL,
        "water_share": water_share(USUAL_BORE_TO_WALL),
    }


def water_share(bore_to_wall: float) -> float:
    """Give of the water over give of the wall at one hour, as in the short tightness check."""
    return WALL_ONE_HOUR / (WATER_MODULUS * bore_to_wall)


def _areas() -> dict[str, dict[str, Limit]]:
    return {
        "purge": purge_rows(),
        "changeover": changeover_rows(),
        "residual_air": residual_rows(),
        "frost": limits("fluid_limits", "frost"),
        **{method: method_limits(method) for method in METHODS},
    }


def _values(rows: dict[str, Limit]) -> dict[str, float]:
    return {key: row.value for key, row in rows.items()}


def _told(rows: dict[str, Limit]) -> list[str]:
    """Every source once; what was worked out here needs none."""
    return _once(row.source for row in rows.values() if row.source.status is not Status.COMPUTED)


def changeover_json() -> dict[str, float]:
    """With the quantiles of the normal distribution at the two shares of colour, which the phone does not compute."""
    rules, normal = _values(changeover_rows()), NormalDist()
    return rules | {
        "first_quantile": normal.inv_cdf(rules["first_fraction"]),
        "full_quantile": normal.inv_cdf(rules["full_fraction"]),
    }


def _fluid(base: Base) -> dict[str, Any]:
    scales = ["brix", base.value] if base.is_glycol else ["brix"]
    return {
        "label": base.label,
        "table": fluid_rows(base.value),
        "scales": {scale: rows for scale in scales if (rows := _rounded(scale_rows(base.value, scale, None, None)))},
        "fronts": [[pct, _front(base, pct)] for pct in _strengths(base, 5.0)],
        "sources": _fluid_sources(base),
        "concentrate_mass_pct": _strongest(base) if base.is_salt else 100.0,
        "concentrate_kg_m3": _density(base, _strongest(base)) if base.is_salt else _pure(base),
    }


def _fluid_sources(base: Base) -> list[str]:
    """Of freezing point, density and viscosity, and of the refractive index where there is one."""
    fraction, room = quantity(20, "percent"), quantity(MIXING_C, "degC")
    sources = [
        fluid.freezing_point(base=base, mass_fraction=fraction).source,
        fluid.properties(base=base, mass_fraction=fraction, temperature=room).source,
    ]
    try:
        brix = refractometer.read(
            scale=refractometer.Scale.BRIX, value=quantity(10, ""), base=base, sample_temperature=room
        )
    except CalcError:
        return _once(sources)
    return _once([*sources, brix.source])


def _once(sources: Iterable[Source]) -> list[str]:
    return list(dict.fromkeys(source.label for source in sources))


@lru_cache(maxsize=16)
def fluid_rows(base: str) -> list[list[float | None]]:
    """Mass %, final volume %, freezing point °C, °Brix, kg/m³ at 20 °C; one row per mass %, as far as density is known."""
    rows = fluid.strength_table(base=Base(base), step=quantity(STEP_PCT, "percent"))
    found: list[list[float | None]] = []
    for row in rows:
        mass = si(row.mass_fraction, "percent", "strength")
        try:
            density = _density(Base(base), mass)
        except CalcError:
            break
        volume = None if row.volume_fraction is None else _round(si(row.volume_fraction, "percent", "volume"))
        freezing, brix = si(row.freezing_point, "degC", "freezing point"), row.brix
        found.append([_round(mass), volume, _round(freezing), None if brix is None else _round(brix), density])
    return found


def _round(value: float) -> float:
    return round(value, 3)


def _rounded(rows: tuple[Row, ...]) -> list[list[float]]:
    return [[_round(value) for value in row] for row in rows]


def _strongest(base: Base) -> float:
    return fluid_rows(base.value)[-1][0] or 0.0


def _strengths(base: Base, step: float) -> list[float]:
    return [step * n for n in range(int(_strongest(base) // step) + 1)]


def _density(base: Base, mass_pct: float) -> float:
    found = fluid.mix_density(
        base=base, mass_fraction=quantity(mass_pct, "percent"), temperature=quantity(MIXING_C, "degC")
    )
    return round(si(found, "kg/m^3", "density"), 3)


def _pure(base: Base) -> float:
    return round(si(strength.pure(base=base).density, "kg/m^3", "density"), 3)


def _front(base: Base, mass_pct: float) -> float:
    """Kinematic viscosity of half water, half new fluid, mm²/s: what moves through the loop at the front."""
    half = fluid.properties(
        base=base, mass_fraction=quantity(mass_pct / 2, "percent"), temperature=quantity(FILLING_C, "degC")
    )
    return _round(si(half.kinematic_viscosity, "mm^2/s", "viscosity"))


def _sockets() -> list[list[float]]:
    return [
        [od, si(clock.move, "min", "hold"), si(clock.pressurise, "min", "cooling")]
        for od, clock in ((od, _cooling(od)) for od in _socket_sizes())
    ]


def _socket_sizes() -> list[float]:
    return [float(row["od_mm"]) for row in table("socket_fusion")]


def _cooling(od: float) -> joint.Cooling:
    return joint.cooling(method=joint.Method.SOCKET, od=quantity(od, "mm"))


def _socket_sources() -> list[str]:
    """Of the table and of the time before any stress."""
    own = [_cooling(od).source for od in _socket_sizes()]
    return _once([*own, joint.joint_rows(method=joint.Method.SOCKET)["before_stress"].source])


def _pipes() -> list[list[Any]]:
    """Outside diameter and wall in mm and what the pipe is called, for choosing a wall by the diameter."""
    low, high = PIPE_OD_MM
    return [
        [row.od_mm, row.wall_mm, f"{row.material}, {'DR' if row.name else 'SDR'} {row.sdr:g}"]
        for row in metric_pipes()
        if low <= row.od_mm <= high and row.status is not Status.MEMORY
    ]


@lru_cache(maxsize=64)
def scale_rows(base: str, scale: str, resolution: float | None, accuracy: float | None) -> tuple[Row, ...]:
    """Reading, mass %, u of it at 20 °C in %-points, u per kelvin of the sample off 20 °C; one row per whole degree."""
    steps = range(41) if scale == "brix" else range(-50, 0)
    rows = (_scale_row(base, scale, float(value), (resolution, accuracy)) for value in steps)
    return tuple(row for row in rows if row is not None)


def _scale_row(base: str, scale: str, value: float, known: tuple[float | None, float | None]) -> Row | None:
    unit, step = ("", "") if scale == "brix" else ("degC", "delta_degC")
    resolution, accuracy = (None if each is None else quantity(each, step) for each in known)

    def at(celsius: float) -> refractometer.Reading:
        return refractometer.read(
            scale=refractometer.Scale.BRIX if scale == "brix" else refractometer.Scale.FREEZING_POINT,
            value=quantity(value, unit),
            base=Base(base),
            sample_temperature=quantity(celsius, "degC"),
            scale_base=None if scale == "brix" else Base(scale),
            resolution=resolution,
            accuracy=accuracy,
        )

    try:
        usual, further = at(refractometer.ZERO_AT), at(FURTHER_C)
    except CalcError:
        return None
    u, more = (100 * si(each.u_mass_fraction, "", "u") for each in (usual, further))
    slope = sqrt(max(more**2 - u**2, 0.0)) / (FURTHER_C - refractometer.ZERO_AT)
    return value, 100 * si(usual.mass_fraction, "", "strength"), u, slope
