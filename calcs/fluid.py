"""What a loop fluid is like: density, heat capacity, conductivity, viscosity and freezing point by strength."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import NamedTuple

from calcs import _curves, _optics
from calcs._curves import State, state
from calcs.base import Base
from calcs.errors import CalcError, OutOfRange
from calcs.sources import Source, table
from calcs.units import Quantity, quantity, si

__all__ = [
    "Base",
    "CurvePoint",
    "FreezingPoint",
    "Properties",
    "State",
    "StrengthRow",
    "ashrae_properties",
    "freezing_point",
    "highest_mass_fraction",
    "mass_fraction_for",
    "mix_density",
    "properties",
    "state",
    "strength_table",
]


@dataclass(frozen=True)
class Properties:
    """A loop fluid at one strength and temperature. Published viscosities differ by up to 15 %."""

    base: Base
    mass_fraction: Quantity
    temperature: Quantity
    density: Quantity
    heat_capacity: Quantity
    conductivity: Quantity
    viscosity: Quantity
    freezing_point: Quantity
    source: Source

    @property
    def kinematic_viscosity(self) -> Quantity:
        """viscosity / density."""
        return quantity(si(self.viscosity / self.density, "mm^2/s", "viscosity"), "mm^2/s")

    @property
    def volumetric_heat_capacity(self) -> Quantity:
        """density × heat capacity: what a litre carries per kelvin."""
        return quantity(si(self.density * self.heat_capacity, "MJ/m^3/K", "heat capacity"), "MJ/m^3/K")

    @property
    def prandtl(self) -> float:
        """viscosity × heat capacity / conductivity."""
        return float((self.viscosity * self.heat_capacity / self.conductivity).m_as("dimensionless"))


class CurvePoint(NamedTuple):
    """The freezing point of one published curve."""

    value: Quantity
    source: Source


@dataclass(frozen=True)
class FreezingPoint:
    """The freezing point to work with, and every published one beside it. `low` is the coldest of them."""

    value: Quantity
    low: Quantity
    source: Source
    curves: tuple[CurvePoint, ...]

    @property
    def spread(self) -> Quantity:
        """How far the coldest published point lies below the one used; never negative."""
        return quantity(max(0.0, si(self.value, "degC", "value") - si(self.low, "degC", "low")), "delta_degC")


class StrengthRow(NamedTuple):
    """One line of the lookup table that goes with a job. None where the property is not known."""

    mass_fraction: Quantity
    volume_fraction: Quantity | None
    freezing_point: Quantity
    refractive_index: float | None
    brix: float | None


def properties(*, base: Base, mass_fraction: Quantity, temperature: Quantity) -> Properties:
    """The properties of a mix.

    value = sum_ij c_ij (T - T0)^i (x - x0)^j with x the mass fraction of pure antifreeze; viscosity is exp() of it.
    Units: mass_fraction dimensionless or percent, temperature degC or K.
    Range: strengths of the polynomial (glycols, alcohols, glycerol to 60, acetate 45, formate 48, carbonate 40 mass %),
    temperatures above the freezing point to 40 degC (glycols and water 100 degC); else `OutOfRange` or `Frozen`.
    Below 1 mass % a straight line to water, which the polynomials miss.
    Source: Melinder 2010 (IIR); water IAPWS-95 at 3 bar (computed fit). Viscosity is uncertain by about 15 %.

    >>> p = properties(base=Base.PROPYLENE_GLYCOL, mass_fraction=quantity(30, "percent"), temperature=quantity(0, "degC"))
    >>> print(f"{p.density:.1f~P}, {p.heat_capacity:.0f~P}, {p.conductivity:.3f~P}, {p.viscosity.to('mPa s'):.2f~P}")
    1031.6 kg/m³, 3803 J/K/kg, 0.428 W/K/m, 7.12 mPa·s
    """
    w, t = si(mass_fraction, "", "mass_fraction"), si(temperature, "degC", "temperature")
    source = _curves.IAPWS if base is Base.WATER else _curves.MELINDER
    return _properties(base, mass_fraction, temperature, state(base, w, t), source)


def _properties(base: Base, fraction: Quantity, temperature: Quantity, s: State, source: Source) -> Properties:
    return Properties(
        base,
        fraction,
        temperature,
        quantity(s.rho, "kg/m^3"),
        quantity(s.cp, "J/kg/K"),
        quantity(s.k, "W/m/K"),
        quantity(s.mu, "Pa*s"),
        quantity(s.t_freeze, "degC"),
        source,
    )


def freezing_point(*, base: Base, mass_fraction: Quantity) -> FreezingPoint:
    """The freezing point (first ice crystals) of a mix.

    Ethylene and propylene glycol: the warmer of the Melinder polynomial and the ASHRAE table, since ASHRAE is up to
    1.5 K warmer at 40 mass %. Ethanol, methanol: CRC table. Salts, glycerol: polynomial. Lines between table rows.
    Units: mass_fraction dimensionless or percent; result degC. Range: glycols, glycerol to 60, alcohols 68,
    acetate 45, formate 48, carbonate 40 mass %; else `OutOfRange`. Source: named in the result.

    >>> f = freezing_point(base=Base.ETHYLENE_GLYCOL, mass_fraction=quantity(30, "percent"))
    >>> print(f"{f.value:.1f~P} ({f.source.text}); coldest curve {f.low:.1f~P}")
    -14.1 °C (ASHRAE Handbook Fundamentals 2001, inhibited glycols); coldest curve -14.6 °C
    """
    w = si(mass_fraction, "", "mass_fraction")
    used, source = _curves.used_freezing(base, w)
    points = _curves.freezing_curves(base, w)
    curves = tuple(CurvePoint(quantity(t, "degC"), s) for s, t in points)
    return FreezingPoint(quantity(used, "degC"), quantity(min(t for _, t in points), "degC"), source, curves)


def mass_fraction_for(*, base: Base, freezing_point: Quantity) -> Quantity:
    """The mass fraction that freezes at the given temperature; inverse of `freezing_point`.

    Bisection on the used curve, which falls all the way. Units: degC or K in, percent out.
    Range: 0 degC down to the coldest point of the curve, else `OutOfRange`. Source: as `freezing_point`.

    >>> print(f"{mass_fraction_for(base=Base.ETHANOL, freezing_point=quantity(-15, 'degC')):.1f~P}")
    24.5 %
    """
    t = si(freezing_point, "degC", "freezing_point")
    return quantity(100 * _curves.mass_fraction_at(base, t), "percent")


def highest_mass_fraction(*, base: Base) -> Quantity:
    """The strongest mix whose freezing point is known.

    The last row or the end of the polynomial. Units: percent. Range: any base. Source: as `freezing_point`.

    >>> print(highest_mass_fraction(base=Base.POTASSIUM_FORMATE))
    48.0 percent
    """
    return quantity(100 * _curves.highest_fraction(base), "percent")


def ashrae_properties(*, base: Base, volume_fraction: Quantity, temperature: Quantity) -> Properties:
    """An inhibited glycol by ASHRAE volume percent: the second opinion beside `properties`.

    value = sum_ij c_ij (T - T0)^i (x - x0)^j with x the ASHRAE volume fraction; viscosity and freezing point are exp().
    Units: as `properties`. Range: ethylene glycol 10 to 57.8 volume % (end of the mass column), propylene glycol to 60, above the freezing point and
    -35 degC, to 100 degC; else `OutOfRange`, `Frozen` or `NotKnown`.
    Source: ASHRAE Handbook Fundamentals 2001 through its published fits. `mass_fraction` of the result holds the
    mass fraction of the same row of the ASHRAE table.

    >>> p = ashrae_properties(
    ...     base=Base.ETHYLENE_GLYCOL, volume_fraction=quantity(30, "percent"), temperature=quantity(0, "degC"))
    >>> print(f"{p.density:.1f~P}, {p.viscosity.to('mPa s'):.2f~P}, {p.freezing_point:.1f~P}")
    1051.8 kg/m³, 4.15 mPa·s, -15.7 °C
    """
    x, t = si(volume_fraction, "", "volume_fraction"), si(temperature, "degC", "temperature")
    fit = _curves.ashrae_fit(base)
    _curves.check("ASHRAE volume fraction", x, fit.x_min, fit.x_max, _curves.ASHRAE, "%")
    found = fit.state(t, x)
    if t <= found.t_freeze:
        raise _curves.frozen(base.label, t, found.t_freeze)
    coldest = min(float(row["T_C"]) for row in table("ashrae_properties"))
    _curves.check("fluid temperature", t, coldest, fit.t_max, _curves.ASHRAE, "°C")
    mass = _curves.ashrae_volume(base).flipped("ASHRAE volume fraction", "%")(x)
    return _properties(base, quantity(100 * mass, "percent"), temperature, found, _curves.ASHRAE)


def mix_density(*, base: Base, mass_fraction: Quantity, temperature: Quantity) -> Quantity:
    """The density that mixing sums use.

    rho(w, T) = rho(w, 20 degC) × polynomial(w, T) / polynomial(w, 20 degC), with rho(w, 20 degC) from the CRC table for
    ethylene glycol, alcohols and glycerol, from the polynomial for propylene glycol and salts.
    Units: kg/m3 out. Range: as `properties`. Source: CRC Handbook 102nd ed.; Melinder 2010.

    >>> rho = mix_density(base=Base.ETHANOL, mass_fraction=quantity(25, "percent"), temperature=quantity(20, "degC"))
    >>> print(f"{rho:.1f~P}")
    961.7 kg/m³
    """
    w, t = si(mass_fraction, "", "mass_fraction"), si(temperature, "degC", "temperature")
    state(base, w, t)
    return quantity(_curves.density(base, w, t), "kg/m^3")


def strength_table(*, base: Base, step: Quantity, highest: Quantity | None = None) -> tuple[StrengthRow, ...]:
    """The lookup table for a phone without signal: strength, freezing point, refractive index and Brix.

    Rows every `step` from 0 to `highest` (default: as far as the freezing point is known); volume percent is per
    final volume at 20 degC; index and Brix stop where the index no longer rises. Units: fractions as percent.
    Range: step from 0.1 mass %. Source: `freezing_point`, `refractometer.index_of`.

    >>> row = strength_table(base=Base.ETHYLENE_GLYCOL, step=quantity(10, "percent"))[3]
    >>> print(f"{row.mass_fraction:.0f~P} {row.volume_fraction:.1f~P} {row.freezing_point:.1f~P} {row.brix:.1f}")
    30 % 28.0 % -14.1 °C 19.2
    """
    by = si(step, "", "step")
    if not 0.001 <= by <= 1.0:
        raise OutOfRange(what="step of the table", value=f"{by:g}", low="0.001", high="1", source="table size")
    top = _curves.highest_fraction(base) if highest is None else si(highest, "", "highest")
    return tuple(_strength_row(base, w) for w in _steps(by, top))


def _steps(by: float, top: float) -> Iterable[float]:
    return (min(i * by, top) for i in range(math.floor(top / by + 1e-9) + 1))


def _strength_row(base: Base, w: float) -> StrengthRow:
    used, _ = _curves.used_freezing(base, w)
    index = _known(lambda: _optics.index_of(base, w))
    brix = None if index is None else _known(lambda: _optics.brix_of(index))
    phi = _known(lambda: _curves.final_volume(base, w))
    return StrengthRow(
        quantity(100 * w, "percent"),
        None if phi is None else quantity(100 * phi, "percent"),
        quantity(used, "degC"),
        index,
        brix,
    )


def _known(value: Callable[[], float]) -> float | None:
    try:
        return value()
    except CalcError:
        return None
