"""What must hold of every mix and reading, whatever its numbers: there and back, mass kept, colder when stronger."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from calcs.base import Base
from calcs.fluid import freezing_point, highest_mass_fraction, mass_fraction_for, mix_density, properties
from calcs.heat import flow_for, heat_from_flow, pair_uncertainty, spread_for, standard_uncertainty
from calcs.mixing import Part, blend, correction, first_fill, strength_after, strength_to_aim_for
from calcs.refractometer import Scale, brix_from_index, index_from_brix, index_of, read, read_density, shown_on
from calcs.strength import Basis, Product, Strength, by_mass, pure
from calcs.units import Quantity, quantity

EG, PG = Base.ETHYLENE_GLYCOL, Base.PROPYLENE_GLYCOL
GLYCOLS = st.sampled_from([EG, PG])
LIQUID = [EG, PG, Base.ETHANOL, Base.METHANOL, Base.GLYCEROL]
SOLD = {
    Base.POTASSIUM_ACETATE: Product(Base.POTASSIUM_ACETATE, quantity(45, "percent"), quantity(1250, "kg/m^3")),
    Base.POTASSIUM_FORMATE: Product(Base.POTASSIUM_FORMATE, quantity(48, "percent"), quantity(1350, "kg/m^3")),
}
ALL = [base for base in Base if base is not Base.WATER]
VOLUMES = st.floats(50.0, 5000.0)
AT_20 = quantity(20, "degC")


def percent(value: float) -> Quantity:
    return quantity(value, "percent")


def mass(base: Base, value: float) -> Strength:
    return by_mass(base=base, value=percent(value))


def product_of(base: Base) -> Product:
    return SOLD.get(base) or pure(base=base)


def density(base: Base, value: float, celsius: float = 20.0) -> float:
    found = mix_density(base=base, mass_fraction=percent(value), temperature=quantity(celsius, "degC"))
    return float(found.m_as("kg/m^3"))


@given(base=st.sampled_from(ALL), low=st.floats(0.0, 1.0), high=st.floats(0.0, 1.0))
def test_stronger_freezes_colder(base: Base, low: float, high: float) -> None:
    top = float(highest_mass_fraction(base=base).m_as("percent"))
    weak, strong = sorted((low * top, high * top))
    assume(strong - weak > 0.05)
    warm, cold = (freezing_point(base=base, mass_fraction=percent(w)) for w in (weak, strong))
    assert cold.value.m_as("degC") < warm.value.m_as("degC") <= 0.0
    assert warm.low.m_as("degC") <= warm.value.m_as("degC")
    assert warm.spread.m_as("delta_degC") >= 0.0


@given(base=st.sampled_from(ALL), share=st.floats(0.001, 0.999))
def test_freezing_point_there_and_back(base: Base, share: float) -> None:
    top = float(highest_mass_fraction(base=base).m_as("percent"))
    frost = freezing_point(base=base, mass_fraction=percent(share * top)).value
    assert mass_fraction_for(base=base, freezing_point=frost).m_as("percent") == pytest.approx(share * top, abs=1e-6)


BASES_AND_BASIS = [
    (base, basis) for base in LIQUID for basis in Basis if basis is not Basis.VOLUME_ASHRAE or base.is_glycol
]


@pytest.mark.parametrize(("base", "basis"), BASES_AND_BASIS)
@given(value=st.floats(0.5, 55.0))
def test_strength_there_and_back_on_every_basis(base: Base, basis: Basis, value: float) -> None:
    made = mass(base, value)
    shown = made.to(basis, product_of(base))
    back = shown.to(Basis.MASS)
    assert back.value.m_as("percent") == pytest.approx(value, abs=1e-7)
    assert shown.to(basis).value.m_as("percent") == pytest.approx(shown.value.m_as("percent"), abs=1e-7)
    assert shown.freezing_point.value.m_as("degC") == pytest.approx(made.freezing_point.value.m_as("degC"), abs=1e-6)


@pytest.mark.parametrize("base", list(SOLD))
@given(value=st.floats(0.5, 44.0))
def test_salt_by_product_there_and_back(base: Base, value: float) -> None:
    shown = mass(base, value).to(Basis.PRODUCT_VOLUME, SOLD[base])
    assert 0.0 < shown.value.m_as("percent") <= 100.0
    assert shown.to(Basis.MASS).value.m_as("percent") == pytest.approx(value, abs=1e-9)


@given(brix=st.floats(0.0, 50.0))
def test_brix_there_and_back(brix: float) -> None:
    assert brix_from_index(index=index_from_brix(brix=brix)) == pytest.approx(brix, abs=1e-9)


INDEXED = {EG: 55.0, PG: 55.0, Base.GLYCEROL: 55.0, Base.POTASSIUM_CARBONATE: 39.0, Base.ETHANOL: 18.0}


@pytest.mark.parametrize("base", list(INDEXED))
@given(share=st.floats(0.02, 0.98))
def test_refractometer_scales_there_and_back(base: Base, share: float) -> None:
    value = share * INDEXED[base]
    index = index_of(base=base, mass_fraction=percent(value))
    by_index = read(scale=Scale.REFRACTIVE_INDEX, value=quantity(index, ""), base=base, sample_temperature=AT_20)
    brix = quantity(brix_from_index(index=index), "")
    by_brix = read(scale=Scale.BRIX, value=brix, base=base, sample_temperature=AT_20)
    for found in (by_index, by_brix):
        assert found.mass_fraction.m_as("percent") == pytest.approx(value, abs=1e-6)
        assert found.u_mass_fraction.m_as("percent") > 0.0
        assert found.low.m_as("degC") <= found.freezing_point.m_as("degC")


@given(base=GLYCOLS, frost=st.floats(-34.0, -1.0))
def test_degree_scale_there_and_back(base: Base, frost: float) -> None:
    shown = quantity(frost, "degC")
    found = read(scale=Scale.FREEZING_POINT, value=shown, base=base, scale_base=base, sample_temperature=AT_20)
    assert found.freezing_point.m_as("degC") == pytest.approx(frost, abs=1e-6)


@given(value=st.floats(10.0, 45.0))
def test_the_wrong_glycol_scale_errs_to_the_dangerous_side(value: float) -> None:
    """Propylene glycol on a scale for ethylene glycol promises more protection than it has."""
    seen = shown_on(base=PG, mass_fraction=percent(value), scale_base=EG).m_as("degC")
    assert seen < freezing_point(base=PG, mass_fraction=percent(value)).value.m_as("degC")


@pytest.mark.parametrize("base", [EG, PG, Base.ETHANOL, Base.METHANOL, *SOLD])
@given(share=st.floats(0.05, 0.7), celsius=st.floats(5.0, 35.0))
def test_density_reading_there_and_back(base: Base, share: float, celsius: float) -> None:
    value = share * 45.0
    shown = quantity(density(base, value, celsius), "kg/m^3")
    found = read_density(density=shown, base=base, sample_temperature=quantity(celsius, "degC"))
    assert found.mass_fraction.m_as("percent") == pytest.approx(value, abs=1e-5)


@given(
    base=GLYCOLS,
    parts=st.lists(st.tuples(st.floats(1.0, 1000.0), st.floats(0.0, 50.0)), min_size=1, max_size=6),
)
def test_a_blend_keeps_mass_and_antifreeze(base: Base, parts: list[tuple[float, float]]) -> None:
    assume(any(w > 0 for _, w in parts))
    found = blend(parts=[Part(quantity(v, "L"), mass(base, w)) for v, w in parts])
    kilograms = [v / 1000 * density(base, w) for v, w in parts]
    antifreeze = sum(m * w for m, (_, w) in zip(kilograms, parts, strict=True))
    assert found.value.m_as("percent") * sum(kilograms) == pytest.approx(antifreeze, rel=1e-9)


@given(base=GLYCOLS, volume=VOLUMES, poured=st.floats(5.0, 50.0), left=st.floats(0.0, 0.9))
def test_residual_water_thins_by_mass(base: Base, volume: float, poured: float, left: float) -> None:
    water = left * volume
    found = strength_after(
        system_volume=quantity(volume, "L"), poured=mass(base, poured), residual_water=quantity(water, "L")
    )
    mixed = blend(
        parts=[
            Part(quantity(volume - water, "L"), mass(base, poured)),
            Part(quantity(water, "L"), by_mass(base=Base.WATER, value=percent(0))),
        ]
    )
    assert found.value.m_as("percent") == pytest.approx(mixed.value.m_as("percent"), rel=1e-9)
    assert found.value.m_as("percent") <= poured + 1e-9


@given(base=GLYCOLS, volume=VOLUMES, target=st.floats(5.0, 35.0), left=st.floats(0.0, 0.3))
def test_first_fill_is_a_mass_balance_and_needs_no_correction(
    base: Base, volume: float, target: float, left: float
) -> None:
    water = quantity(left * volume, "L")
    aim, whole = mass(base, target), quantity(volume, "L")
    fill = first_fill(
        base=base,
        system_volume=whole,
        target=aim,
        concentrate=pure(base=base),
        bin_volume=quantity(180, "L"),
        residual_water=water,
    )
    glycol = fill.mass_concentrate.m_as("kg")
    made = fill.mass_water.m_as("kg") + glycol
    assert 100 * glycol / made == pytest.approx(fill.poured.value.m_as("percent"), rel=1e-9)
    assert made == pytest.approx(fill.mixed_volume.m_as("m^3") * density(base, 100 * glycol / made), rel=1e-9)
    assert sum(each.volume.m_as("L") for each in fill.batches) == pytest.approx(fill.mixed_volume.m_as("L"))
    assert sum(each.concentrate.m_as("L") for each in fill.batches) == pytest.approx(fill.concentrate_volume.m_as("L"))
    assert all(0.0 < each.volume.m_as("L") <= 180 + 1e-6 for each in fill.batches)
    got = strength_after(system_volume=whole, poured=fill.poured, residual_water=water)
    assert got.value.m_as("percent") == pytest.approx(target, abs=1e-6)
    fix = correction(base=base, system_volume=whole, measured=got, target=aim, concentrate=pure(base=base))
    assert fix.add_volume.m_as("L") == pytest.approx(0.0, abs=1e-4)
    aimed = strength_to_aim_for(system_volume=whole, target=aim, residual_water=water)
    assert aimed.value.m_as("percent") == pytest.approx(fill.poured.value.m_as("percent"), abs=1e-6)


@given(base=GLYCOLS, volume=VOLUMES, measured=st.floats(1.0, 50.0), target=st.floats(1.0, 50.0))
def test_correcting_twice_changes_nothing_more(base: Base, volume: float, measured: float, target: float) -> None:
    assume(abs(measured - target) > 0.01)
    given_by: dict[str, Any] = {"base": base, "system_volume": quantity(volume, "L"), "concentrate": pure(base=base)}
    fix = correction(measured=mass(base, measured), target=mass(base, target), **given_by)
    kept = (volume - fix.drain_volume.m_as("L")) / 1000 * density(base, measured)
    added = fix.mass_added.m_as("kg")
    strength = 100.0 if fix.adding else 0.0
    after = (kept * measured + added * strength) / (kept + added)
    assert after == pytest.approx(target, rel=1e-9)
    assert (kept + added) / density(base, target) * 1000 == pytest.approx(volume, rel=1e-9)
    again = correction(measured=mass(base, after), target=mass(base, target), **given_by)
    assert again.add_volume.m_as("L") == pytest.approx(0.0, abs=1e-6 * volume)
    assert 0.0 < fix.drain_volume.m_as("L") < volume
    assert fix.feed_and_bleed is not None
    assert fix.feed_and_bleed.m_as("L") > fix.add_volume.m_as("L")


@given(duty=st.floats(0.5, 200.0), spread=st.floats(0.5, 10.0), value=st.floats(5.0, 40.0))
def test_flow_and_spread_are_inverses(duty: float, spread: float, value: float) -> None:
    mix = properties(base=PG, mass_fraction=percent(value), temperature=quantity(5, "degC"))
    watts = quantity(duty, "kW")
    flow = flow_for(duty=watts, spread=quantity(spread, "kelvin"), properties=mix)
    assert spread_for(duty=watts, flow=flow, properties=mix).m_as("kelvin") == pytest.approx(spread, rel=1e-9)
    carried = heat_from_flow(
        flow=flow,
        t_in=quantity(spread, "degC"),
        t_out=quantity(0, "degC"),
        properties=mix,
        u_flow=percent(1),
        u_pair=quantity(0.1, "kelvin"),
    )
    assert carried.duty.m_as("kW") == pytest.approx(duty, rel=1e-9)


@pytest.mark.parametrize(
    ("flow_limit", "each", "published"),
    # Hydraulics reference, section 9: 95 % half-width of 4e5 draws at 0.788 L/s and 3.0 K, rho cp within 2 %.
    [(2.0, 0.05, 4.1), (2.0, 0.15, 8.4), (5.0, 0.15, 9.9), (5.0, 0.30, 16.8), (5.0, 0.50, 26.6), (10.0, 0.50, 28.6)],
)
def test_heat_uncertainty_against_monte_carlo(flow_limit: float, each: float, published: float) -> None:
    mix = properties(base=PG, mass_fraction=percent(25), temperature=quantity(0, "degC"))
    found = heat_from_flow(
        flow=quantity(0.788, "L/s"),
        t_in=quantity(0, "degC"),
        t_out=quantity(-3, "degC"),
        properties=mix,
        u_flow=standard_uncertainty(limit=percent(flow_limit)),
        u_pair=pair_uncertainty(limit_each=quantity(each, "kelvin")),
    )
    draw = np.random.default_rng(20260302)
    size = 200_000
    capacity = 1 + draw.uniform(-0.02, 0.02, size)
    flows = 1 + draw.uniform(-flow_limit, flow_limit, size) / 100
    spread = 3 + draw.uniform(-each, each, size) - draw.uniform(-each, each, size)
    heat = found.duty.m_as("W") * capacity * flows * spread / 3
    # The product rule is first order: exact for the deviation to within a few hundredths of itself.
    assert found.u.m_as("W") == pytest.approx(float(np.std(heat)), rel=0.03)
    low, high = np.quantile(heat, [0.025, 0.975])
    half = 100 * float(high - low) / 2 / found.duty.m_as("W")
    assert half == pytest.approx(published, abs=0.25)
    assert 100 * found.relative >= half - 0.1
    assert math.isclose(found.expanded.m_as("W"), 2 * found.u.m_as("W"))
