"""Pressure lost by a flow in one pipe: Reynolds number, regime, Darcy friction factor, pressure drop.

The product's law is 64/Re up to Re 2000, a smooth cubic to 4000 and Colebrook-White above. Between 2000 and 4000 no law is
better than about 20-25 %; there the conservative drop (Churchill 1977) is the one to choose a pump by. Above 1e4 the laws
agree with measured smooth pipe within 5 %, and the tolerance of the pipe wall (6-10 % on the drop) is the larger doubt.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import pi

import numpy as np

from calcs._darcy import LAMINAR_END, TURBULENT_START, Law, Pipes, factor_and_slope
from calcs._ranges import kinematic_si, not_negative, positive
from calcs.errors import NotKnown, OutOfRange
from calcs.sources import Source, Status, table
from calcs.units import Array, Quantity, quantity, si

__all__ = [
    "Drop",
    "Law",
    "Regime",
    "default_roughness",
    "friction_factor",
    "kinematic_viscosity",
    "pressure_drop",
    "regime",
    "reynolds",
    "roughness_source",
]

ROUGHEST = 0.05


class Regime(StrEnum):
    """How a flow behaves: laminar to Re 2000, turbulent from 4000 on."""

    LAMINAR = "laminar"
    TRANSITION = "transition"
    TURBULENT = "turbulent"


@dataclass(frozen=True)
class Drop:
    """Pressure drop of one pipe. `conservative_pressure_drop` is the higher of the product's law and Churchill's."""

    pressure_drop: Quantity
    conservative_pressure_drop: Quantity
    reynolds: float
    regime: Regime
    velocity: Quantity
    friction_factor: float


def regime(re: float) -> Regime:
    """Laminar up to Re 2000, turbulent from 4000 on, transition between. Dimensionless. Range: 0 or more.

    Source: limits of the product's friction law (Dunlop's cubic spans 2000 to 4000, EPANET 2.2 manual, ch. 12).

    >>> regime(1999.0).value, regime(3000.0).value, regime(4000.0).value
    ('laminar', 'transition', 'turbulent')
    """
    not_negative("Reynolds number", re)
    if re <= LAMINAR_END:
        return Regime.LAMINAR
    return Regime.TRANSITION if re < TURBULENT_START else Regime.TURBULENT


def kinematic_viscosity(*, viscosity: Quantity, density: Quantity) -> Quantity:
    """nu = mu / rho in m2/s; `viscosity` may be dynamic (Pa s) or already kinematic (m2/s). Range: positive.

    Source: definition.

    >>> nu = kinematic_viscosity(viscosity=quantity(1.3057, "mPa*s"), density=quantity(999.7, "kg/m^3"))
    >>> round(nu.to("mm^2/s").magnitude, 4)
    1.3061
    """
    return quantity(kinematic_si(viscosity, density), "m^2/s")


def reynolds(*, flow: Quantity, bore: Quantity, viscosity: Quantity, density: Quantity | None = None) -> float:
    """Re = 4 Q / (pi D nu). Range: flow 0 or more, bore and viscosity positive; `density` is needed with a dynamic viscosity.

    Source: definition.

    >>> re = reynolds(flow=quantity(0.30, "L/s"), bore=quantity(26.0, "mm"), viscosity=quantity(1.3061, "mm^2/s"))
    >>> round(re)
    11248
    """
    d = positive("bore", si(bore, "m", "bore"))
    nu = _kinematic(viscosity, density)
    q = not_negative("flow", si(flow, "m^3/s", "flow"))
    return 4.0 * q / (pi * d * nu)


def friction_factor(
    *, reynolds: float | Array, relative_roughness: float | Array, law: Law = Law.COLEBROOK
) -> float | Array:
    """Darcy friction factor f (four times Fanning's): 64/Re to 2000, C1 cubic to 4000, Colebrook-White above.

    Dimensionless, scalars or arrays. Range: Re > 0; roughness over bore 0 to 0.05.
    Source: Hagen-Poiseuille; Dunlop's cubic as in the EPANET 2.2 manual, here matched to Colebrook & White 1939.

    >>> friction_factor(reynolds=128.0, relative_roughness=0.0)
    0.5
    >>> round(friction_factor(reynolds=1e5, relative_roughness=1e-4), 9)
    0.018513866
    """
    scalar = np.ndim(reynolds) == 0 and np.ndim(relative_roughness) == 0
    re, rel = np.broadcast_arrays(
        np.atleast_1d(np.asarray(reynolds, dtype=np.float64)),
        np.atleast_1d(np.asarray(relative_roughness, dtype=np.float64)),
    )
    if not (np.all(np.isfinite(re)) and np.all(re > 0.0)):
        raise OutOfRange(what="Reynolds number", value=reynolds, low="above 0", high="any finite", source="Darcy")
    check_relative_roughness(rel)
    factor, _ = factor_and_slope(re, rel, law)
    return float(factor[0]) if scalar else factor


def default_roughness(material: str = "PE") -> Quantity:
    """Wall roughness for the friction law, 7 um for PE (our own default inside the published 1.5 to 10 um).

    Range: materials of the table. Source: `calcs/data/roughness.csv`; see `roughness_source` for the text to print beside it.

    >>> default_roughness().to("um").magnitude
    7.0
    """
    return quantity(float(_roughness_row(material)["roughness_um"]), "um")


def roughness_source(material: str = "PE") -> Source:
    """Where the default roughness comes from (no unit; range: materials of the table).

    Source: `calcs/data/roughness.csv`.

    >>> roughness_source().status.value
    'house default'
    """
    row = _roughness_row(material)
    return Source(row["source"], Status(row["status"]))


def pressure_drop(  # noqa: PLR0913
    *,
    flow: Quantity,
    length: Quantity,
    bore: Quantity,
    density: Quantity,
    viscosity: Quantity,
    fittings_k: float = 0.0,
    roughness: Quantity | None = None,
) -> Drop:
    """dp = (f L/D + sum K) rho v^2 / 2 of one pipe, v = 4 Q / (pi D^2).

    Range: flow, length and sum of K 0 or more; bore, density, viscosity positive; roughness at most 5 % of the bore.
    Source: Darcy-Weisbach; f by `friction_factor`. Conservative: Churchill 1977 where that is higher.

    >>> drop = pressure_drop(flow=quantity(0.15, "L/s"), length=quantity(1, "m"), bore=quantity(26.0, "mm"),
    ...     density=quantity(1025.81, "kg/m^3"), viscosity=quantity(5.376295, "mm^2/s"))
    >>> round(drop.pressure_drop.to("Pa").magnitude, 4), drop.regime.value
    (73.7578, 'laminar')
    """
    d = positive("bore", si(bore, "m", "bore"))
    rough = si(default_roughness() if roughness is None else roughness, "m", "roughness")
    pipe = Pipes(
        length=np.array([not_negative("length", si(length, "m", "length"))]),
        bore=np.array([d]),
        fittings_k=np.array([not_negative("sum of K", fittings_k)]),
        relative_roughness=check_relative_roughness(np.array([rough / d])),
        density=positive("density", si(density, "kg/m^3", "density")),
        kinematic_viscosity=kinematic_si(viscosity, density),
    )
    return _drop_of(pipe, not_negative("flow", si(flow, "m^3/s", "flow")))


def _drop_of(pipe: Pipes, flow: float) -> Drop:
    q = np.array([flow])
    re = float(pipe.reynolds(q)[0])
    product = float(pipe.drop(q, Law.COLEBROOK)[0])
    churchill = float(pipe.drop(q, Law.CHURCHILL)[0])
    factor, _ = factor_and_slope(np.array([max(re, 1e-9)]), pipe.relative_roughness, Law.COLEBROOK)
    return Drop(
        pressure_drop=quantity(product, "Pa"),
        conservative_pressure_drop=quantity(max(product, churchill), "Pa"),
        reynolds=re,
        regime=regime(re),
        velocity=quantity(flow / float(pipe.area[0]), "m/s"),
        friction_factor=float(factor[0]),
    )


def check_relative_roughness(relative: Array) -> Array:
    """Roughness over bore as given, 0 to 0.05 (dimensionless), else `OutOfRange`.

    Source: range of the Moody chart.

    >>> check_relative_roughness(np.array([0.001]))
    array([0.001])
    """
    if not (np.all(relative >= 0.0) and np.all(relative <= ROUGHEST)):
        raise OutOfRange(
            what="roughness over bore", value=relative.tolist(), low=0, high=ROUGHEST, source="Moody chart"
        )
    return relative


def _roughness_row(material: str) -> dict[str, str]:
    rows = {row["material"]: row for row in table("roughness")}
    if material not in rows:
        raise NotKnown(what="Pipe material", value=material, known=", ".join(rows))
    return rows[material]


def _kinematic(viscosity: Quantity, density: Quantity | None) -> float:
    if density is not None:
        return kinematic_si(viscosity, density)
    return positive("viscosity", si(viscosity, "m^2/s", "viscosity"))
