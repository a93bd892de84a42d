"""How rows of golden/antifreeze.csv on properties, strength and readings are computed."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from calcs import _curves, _optics, fluid, refractometer
from calcs.base import Base
from calcs.fluid import Properties
from calcs.refractometer import Reading, Scale
from calcs.strength import Basis, Strength
from calcs.units import Quantity, quantity
from tests.calcs.golden_fluid_rows import Row, base_of, degrees, mass_percent, number, percent

UNITS = {"density": "kg/m^3", "specific heat": "J/kg/K", "thermal conductivity": "W/m/K", "dynamic viscosity": "mPa*s"}
NAMES = {"specific heat": "heat_capacity", "thermal conductivity": "conductivity", "dynamic viscosity": "viscosity"}


def polynomial_freezing(row: Row) -> float:
    base, fraction = base_of(row["input"]), mass_percent(row["input"])
    curves = fluid.freezing_point(base=base, mass_fraction=fraction).curves
    return next(float(c.value.m_as("degC")) for c in curves if c.source is _curves.MELINDER)


def ashrae_freezing(row: Row) -> float:
    base, fraction = base_of(row["input"]), mass_percent(row["input"])
    by_volume = Strength(fraction, Basis.MASS, base).to(Basis.VOLUME_ASHRAE).value.m_as("percent")
    assert by_volume == pytest.approx(number(r"= ([\d.]+) ASHRAE volume", row["input"]), abs=1e-9)
    curves = fluid.freezing_point(base=base, mass_fraction=fraction).curves
    return next(float(c.value.m_as("degC")) for c in curves if c.source is _curves.ASHRAE)


def used_freezing(row: Row) -> float:
    found = fluid.freezing_point(base=base_of(row["input"]), mass_fraction=mass_percent(row["input"]))
    return float(found.value.m_as("degC"))


def at_state(row: Row) -> Properties:
    return fluid.properties(
        base=base_of(row["input"]),
        mass_fraction=mass_percent(row["input"]),
        temperature=degrees(number(r"(-?[\d.]+) degC", row["input"])),
    )


def named(found: Properties, quantity_name: str) -> float:
    value: Quantity = getattr(found, NAMES.get(quantity_name, quantity_name))
    return float(value.m_as(UNITS[quantity_name]))


def mass_property(row: Row) -> float:
    return named(at_state(row), row["quantity"])


def ashrae_state(row: Row, t: float | None = None) -> Properties:
    return fluid.ashrae_properties(
        base=base_of(row["input"]),
        volume_fraction=percent(number(r"([\d.]+) ASHRAE volume", row["input"])),
        temperature=degrees(number(r"(-?[\d.]+) degC", row["input"]) if t is None else t),
    )


def ashrae_property(row: Row) -> float:
    return named(ashrae_state(row), row["quantity"])


def ashrae_fit_freezing(row: Row) -> float:
    return float(ashrae_state(row, 20.0).freezing_point.m_as("degC"))


def strength_for(row: Row) -> float:
    base, target = base_of(row["input"]), number(r"target (-[\d.]+)", row["input"])
    return float(fluid.mass_fraction_for(base=base, freezing_point=degrees(target)).m_as("percent"))


def strength_on_polynomial(row: Row) -> float:
    base, target = base_of(row["input"]), number(r"target (-[\d.]+)", row["input"])
    return 100 * _curves.bisect(lambda w: _curves.polynomial_freezing(base, w) - target, 0.0, 0.6)


def to_basis(basis: Basis) -> Callable[[Row], float]:
    def case(row: Row) -> float:
        strength = Strength(mass_percent(row["input"]), Basis.MASS, base_of(row["input"]))
        return float(strength.to(basis).value.m_as("percent"))

    return case


def from_final_volume(row: Row) -> float:
    value = percent(number(r"([\d.]+) volume %", row["input"]))
    return float(Strength(value, Basis.VOLUME_FINAL, base_of(row["input"])).mass_fraction.m_as("percent"))


def index_at_20(row: Row) -> float:
    return refractometer.index_of(base=base_of(row["input"]), mass_fraction=mass_percent(row["input"]))


def index_at_25(row: Row) -> float:
    w = float(mass_percent(row["input"]).m_as(""))
    return _optics.index_of(Base.PROPYLENE_GLYCOL, w) + 5 * _optics.propylene_glycol_slope(w)


def index_of_brix(row: Row) -> float:
    return refractometer.index_from_brix(brix=number(r"([\d.]+) Brix", row["input"]))


def brix_of_index(row: Row) -> float:
    return refractometer.brix_from_index(index=number(r"nD20 = ([\d.]+)", row["input"]))


def brix_correction(row: Row) -> float:
    return refractometer.brix_correction(
        brix=number(r"([\d.]+) Brix", row["input"]),
        sample_temperature=degrees(number(r"sample ([\d.]+) degC", row["input"])),
    )


def brix_reading(row: Row) -> Reading:
    return refractometer.read(
        scale=Scale.BRIX,
        value=quantity(number(r"([\d.]+) Brix", row["input"]), ""),
        base=base_of(row["input"]),
        sample_temperature=degrees(20),
    )


def mass_from_brix(row: Row) -> float:
    return float(brix_reading(row).mass_fraction.m_as("percent"))


def freezing_from_brix(row: Row) -> float:
    wanted = _curves.MELINDER if "polynomial" in row["input"] else _curves.ASHRAE
    curves = brix_reading(row).strength.freezing_point.curves
    return next(float(c.value.m_as("degC")) for c in curves if c.source is wanted)


def wrong_scale(row: Row) -> float:
    sample, scale = row["input"].split("scale made for ")
    seen = refractometer.shown_on(base=base_of(sample), mass_fraction=mass_percent(sample), scale_base=base_of(scale))
    return float(seen.m_as("degC"))
