"""Strength on every basis, there and back, and against Lange's volume column."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from calcs import _curves
from calcs.base import Base
from calcs.errors import NotKnown, OutOfRange, Unsuitable
from calcs.sources import Status, table
from calcs.strength import Basis, Product, Strength, by_mass, convert, product_strength, pure
from calcs.units import quantity

LIQUIDS = [Base.ETHYLENE_GLYCOL, Base.PROPYLENE_GLYCOL, Base.ETHANOL, Base.METHANOL, Base.GLYCEROL]
PRODUCT = Product(Base.ETHYLENE_GLYCOL, quantity(95, "percent"), quantity(1125, "kg/m^3"))


def mass(base: Base, w: float) -> Strength:
    return by_mass(base=base, value=quantity(w, "percent"))


def value(strength: Strength) -> float:
    return float(strength.value.m_as("percent"))


@given(base=st.sampled_from(LIQUIDS), basis=st.sampled_from(Basis), w=st.floats(0, 60))
def test_there_and_back_on_every_basis(base: Base, basis: Basis, w: float) -> None:
    assume(basis is not Basis.VOLUME_ASHRAE or base.is_glycol)
    product = Product(base, quantity(80, "percent"), quantity(1050, "kg/m^3"))
    there = mass(base, w).to(basis, product)
    assert there.basis is basis
    assert value(there.to(Basis.MASS)) == pytest.approx(w, abs=1e-7)
    assert there.mass_fraction.m_as("percent") == pytest.approx(w, abs=1e-7)


@given(base=st.sampled_from(LIQUIDS), basis=st.sampled_from([b for b in Basis if b is not Basis.VOLUME_ASHRAE]))
def test_more_by_mass_is_more_on_every_basis(base: Base, basis: Basis) -> None:
    product = pure(base=base)
    found = [value(mass(base, w).to(basis, product)) for w in range(0, 61, 2)]
    assert all(a < b for a, b in pairwise(found))


@pytest.mark.parametrize("base", [Base.ETHANOL, Base.METHANOL])
def test_final_volume_is_langes_column(base: Base) -> None:
    # Lange's Handbook, Table 5.13: volume % is per final volume, at 15.6 degC as its specific gravities; mass % is printed
    # to 0.1, worth 0.06 in volume.
    rows = [r for r in table("lange_freezing") if r["fluid"] == base.value]
    assert len(rows) >= 7
    for r in rows:
        w = float(r["mass_pct"]) / 100
        pure_cold = _curves.pure_density(base) * _curves.expansion(base, 1.0, 15.6)
        found = 100 * w * _curves.density(base, w, 15.6) / pure_cold
        assert found == pytest.approx(float(r["vol_pct"]), abs=0.1)
        at_20 = value(mass(base, 100 * w).to(Basis.VOLUME_FINAL))
        assert at_20 == pytest.approx(found, rel=5e-3)


@pytest.mark.parametrize(
    ("base", "w", "final", "parts"),
    [
        (Base.ETHYLENE_GLYCOL, 20, 18.39, 18.31),
        (Base.ETHYLENE_GLYCOL, 35, 32.84, 32.56),
        (Base.PROPYLENE_GLYCOL, 20, 19.59, 19.41),
        (Base.PROPYLENE_GLYCOL, 40, 39.85, 39.11),
        (Base.ETHANOL, 20, 24.55, 24.02),
        (Base.METHANOL, 30, 36.05, 35.08),
    ],
)
def test_volume_bases_of_the_worked_table(base: Base, w: float, final: float, parts: float) -> None:
    # Computed independently from CRC and Melinder densities.
    assert value(mass(base, w).to(Basis.VOLUME_FINAL)) == pytest.approx(final, abs=0.011)
    assert value(mass(base, w).to(Basis.VOLUME_PARTS)) == pytest.approx(parts, abs=0.011)


def test_the_ashrae_column_is_neither_volume_basis() -> None:
    # EG 30 mass %: 27.7 ASHRAE, 27.96 final, 27.76 parts.
    found = mass(Base.ETHYLENE_GLYCOL, 30).to(Basis.VOLUME_ASHRAE)
    assert value(found) == pytest.approx(27.7)
    with pytest.raises(NotKnown):
        mass(Base.ETHANOL, 20).to(Basis.VOLUME_ASHRAE)


def test_a_product_at_thirty_percent_is_about_a_kelvin_weaker_than_pure() -> None:
    thirty = quantity(30, "percent")
    product = product_strength(product=PRODUCT, value=thirty).freezing_point.value
    undiluted = product_strength(product=pure(base=Base.ETHYLENE_GLYCOL), value=thirty).freezing_point.value
    assert (product - undiluted).m_as("delta_degC") == pytest.approx(0.9, abs=0.2)


def test_salts_have_no_volume_percent() -> None:
    with pytest.raises(NotKnown):
        mass(Base.POTASSIUM_FORMATE, 30).to(Basis.VOLUME_FINAL)
    product = Product(Base.POTASSIUM_FORMATE, quantity(48, "percent"), quantity(1330, "kg/m^3"))
    assert value(mass(Base.POTASSIUM_FORMATE, 48).to(Basis.PRODUCT_VOLUME, product)) == pytest.approx(100)


def test_a_product_cannot_give_more_than_it_holds() -> None:
    with pytest.raises(OutOfRange, match=r"95\.0 %"):
        mass(Base.ETHYLENE_GLYCOL, 96).to(Basis.PRODUCT_VOLUME, PRODUCT)


def test_a_percentage_of_product_needs_the_product() -> None:
    with pytest.raises(Unsuitable, match="which product"):
        Strength(quantity(30, "percent"), Basis.PRODUCT_VOLUME, Base.ETHYLENE_GLYCOL)
    with pytest.raises(Unsuitable, match="Never mix"):
        Strength(quantity(30, "percent"), Basis.PRODUCT_VOLUME, Base.PROPYLENE_GLYCOL, PRODUCT)
    with pytest.raises(Unsuitable):
        convert(strength=mass(Base.ETHYLENE_GLYCOL, 30), basis=Basis.PRODUCT_VOLUME)


@pytest.mark.parametrize("w", [-0.1, 100.1, float("nan")])
def test_impossible_strengths(w: float) -> None:
    with pytest.raises(OutOfRange):
        mass(Base.ETHANOL, w)


def test_water_has_no_strength() -> None:
    assert value(mass(Base.WATER, 0)) == 0
    with pytest.raises(OutOfRange):
        mass(Base.WATER, 5)


@pytest.mark.parametrize(("w", "rho"), [(0, 1000), (101, 1000), (95, 100), (95, 3000)])
def test_impossible_products(w: float, rho: float) -> None:
    with pytest.raises(OutOfRange):
        Product(Base.ETHANOL, quantity(w, "percent"), quantity(rho, "kg/m^3"))


def test_pure_glycol_density_is_told_as_unconfirmed() -> None:
    assert pure(base=Base.ETHYLENE_GLYCOL).source.status is Status.MEMORY
    assert pure(base=Base.ETHANOL).source.status is Status.READ


def test_label_names_basis_and_antifreeze() -> None:
    assert product_strength(product=PRODUCT, value=quantity(0.3, "")).label == (
        "30.0 % by volume of product before mixing, ethylene glycol"
    )
