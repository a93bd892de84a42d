"""Every mixing function keeps mass and antifreeze, for every antifreeze, concentrate, volume and temperature."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import pytest
from hypothesis import assume, given, reject
from hypothesis import strategies as st

from calcs.base import Base
from calcs.errors import NoSolution
from calcs.fluid import highest_mass_fraction, mass_fraction_for, mix_density
from calcs.mixing import (
    Correction,
    Part,
    blend,
    correction,
    correction_by_volume,
    first_fill,
    strength_after,
    strength_to_aim_for,
)
from calcs.refractometer import frost_verdict
from calcs.strength import Basis, Product, Strength, by_mass, pure
from calcs.target import judge, strength_to_mix
from calcs.units import Quantity, quantity
from calcs.verdict import Outcome

ANTIFREEZES = [base for base in Base if base is not Base.WATER]
WATER_20 = 998.2
# Invented solutions of the salts, near the end of their polynomials.
SALTS = {
    Base.POTASSIUM_ACETATE: (44.0, 1245.0),
    Base.POTASSIUM_FORMATE: (47.0, 1325.0),
    Base.POTASSIUM_CARBONATE: (39.0, 1400.0),
}


@dataclass(frozen=True)
class Given:
    """What a sum is made from: an antifreeze, its concentrate, litres in the system, degC, and two strengths in mass %."""

    base: Base
    product: Product
    litres: float
    celsius: float
    low: float
    high: float

    @property
    def at(self) -> Quantity:
        return quantity(self.celsius, "degC")

    @property
    def volume(self) -> Quantity:
        return quantity(self.litres, "L")

    def mix(self, w: float) -> Strength:
        return by_mass(base=self.base, value=quantity(w, "percent"))

    def kilograms(self, litres: float, w: float) -> float:
        """Mass of so many litres of a mix, by the density that the program tells."""
        base = self.base if w > 0 else Base.WATER
        found = mix_density(base=base, mass_fraction=quantity(w, "percent"), temperature=self.at)
        return litres * float(found.m_as("kg/L"))


def product_of(base: Base, share: float) -> Product:
    """Undiluted or diluted by the maker down to `share`; a salt is sold in water."""
    if base in SALTS:
        w, rho = SALTS[base]
        return Product(base, quantity(w, "percent"), quantity(rho, "kg/m^3"))
    whole = pure(base=base)
    rho = share * float(whole.density.m_as("kg/m^3")) + (1 - share) * WATER_20
    return Product(base, quantity(100 * share, "percent"), quantity(rho, "kg/m^3"))


@st.composite
def sums(draw: st.DrawFn) -> Given:
    base = draw(st.sampled_from(ANTIFREEZES))
    product = product_of(base, draw(st.floats(0.7, 1.0)))
    top = min(55.0, 0.85 * float(product.mass_fraction.m_as("percent")), _top(base))
    low, high = sorted(draw(st.tuples(st.floats(1.0, top), st.floats(1.0, top))))
    return Given(base, product, draw(st.floats(20.0, 20000.0)), draw(st.floats(2.0, 35.0)), low, high)


def _top(base: Base) -> float:
    return 0.95 * float(highest_mass_fraction(base=base).m_as("percent"))


@given(one=sums(), share=st.floats(0.0, 0.2), size=st.floats(30.0, 1000.0))
def test_first_fill(one: Given, share: float, size: float) -> None:
    assume(one.litres / size < 500)
    left = share * one.litres
    try:
        fill = first_fill(
            base=one.base,
            system_volume=one.volume,
            target=one.mix(one.low),
            concentrate=one.product,
            bin_volume=quantity(size, "L"),
            residual_water=quantity(left, "L"),
            temperature=one.at,
        )
    except NoSolution:
        reject()
    strong = float(one.product.mass_fraction.m_as(""))
    concentrate, water = fill.mass_concentrate.m_as("kg"), fill.mass_water.m_as("kg")
    poured = float(fill.poured.value.m_as("percent"))
    # What is poured is what the bins hold, by mass and by antifreeze.
    assert concentrate + water == pytest.approx(one.kilograms(one.litres - left, poured), rel=1e-9)
    assert 100 * concentrate * strong == pytest.approx((concentrate + water) * poured, rel=1e-9)
    assert water == pytest.approx(one.kilograms(fill.water_volume.m_as("L"), 0.0), rel=1e-9)
    # With the water that stayed, the system ends at its target.
    rest = one.kilograms(left, 0.0)
    assert 100 * concentrate * strong / (concentrate + water + rest) == pytest.approx(one.low, rel=1e-6)
    for part, whole in (("concentrate", fill.concentrate_volume), ("water", fill.water_volume)):
        litres = math.fsum(float(getattr(each, part).m_as("L")) for each in fill.batches)
        assert litres == pytest.approx(float(whole.m_as("L")), rel=1e-9)
    drums = fill.drums(drum_volume=quantity(size, "L"))
    assert drums.count * size == pytest.approx(fill.concentrate_volume.m_as("L") + drums.left_over.m_as("L"), rel=1e-9)
    assert 0 <= drums.left_over.m_as("L") < size


@given(one=sums(), share=st.floats(0.0, 0.9))
def test_strength_after(one: Given, share: float) -> None:
    left = share * one.litres
    found = strength_after(
        system_volume=one.volume, poured=one.mix(one.high), residual_water=quantity(left, "L"), temperature=one.at
    )
    mix, water = one.kilograms(one.litres - left, one.high), one.kilograms(left, 0.0)
    assert float(found.value.m_as("percent")) * (mix + water) == pytest.approx(one.high * mix, rel=1e-9)


@given(one=sums(), share=st.floats(0.0, 0.3))
def test_strength_to_aim_for(one: Given, share: float) -> None:
    left = share * one.litres
    try:
        found = strength_to_aim_for(
            system_volume=one.volume,
            target=one.mix(one.low),
            residual_water=quantity(left, "L"),
            concentrate=one.product,
            temperature=one.at,
        )
    except NoSolution:
        reject()
    aim = float(found.value.m_as("percent"))
    mix, water = one.kilograms(one.litres - left, aim), one.kilograms(left, 0.0)
    assert aim * mix == pytest.approx(one.low * (mix + water), rel=1e-6)
    assert aim <= float(one.product.mass_fraction.m_as("percent")) + 1e-9


@given(one=sums(), litres=st.lists(st.floats(0.5, 2000.0), min_size=3, max_size=3))
def test_blend(one: Given, litres: list[float]) -> None:
    strengths = (one.low, one.high, 0.0)
    parts = [Part(quantity(v, "L"), one.mix(w)) for v, w in zip(litres, strengths, strict=True)]
    masses = [one.kilograms(v, w) for v, w in zip(litres, strengths, strict=True)]
    found = float(blend(parts=parts, temperature=one.at).value.m_as("percent"))
    inside = math.fsum(m * w for m, w in zip(masses, strengths, strict=True))
    assert found * math.fsum(masses) == pytest.approx(inside, rel=1e-9)
    again = [*parts[1:], parts[0]]
    assert float(blend(parts=again, temperature=one.at).value.m_as("percent")) == pytest.approx(found, rel=1e-12)


def corrected(one: Given, measured: float, target: float) -> Correction:
    return correction(
        base=one.base,
        system_volume=one.volume,
        measured=one.mix(measured),
        target=one.mix(target),
        concentrate=one.product,
        temperature=one.at,
    )


@given(one=sums(), weaker=st.booleans())
def test_correction(one: Given, weaker: bool) -> None:
    """Both ways: concentrate into a weak system, water into a strong one."""
    assume(one.high - one.low > 0.01)
    measured, target = (one.low, one.high) if weaker else (one.high, one.low)
    fix = corrected(one, measured, target)
    strong = float(one.product.mass_fraction.m_as("percent")) if weaker else 0.0
    kept = one.kilograms(one.litres - float(fix.drain_volume.m_as("L")), measured)
    added = float(fix.mass_added.m_as("kg"))
    assert (fix.adding is not None) is weaker
    assert kept + added == pytest.approx(one.kilograms(one.litres, target), rel=1e-9)
    assert kept * measured + added * strong == pytest.approx((kept + added) * target, rel=1e-9)
    drums = fix.drums(drum_volume=quantity(60, "L"))
    asked = float(fix.add_volume.m_as("L")) if weaker else 0.0
    assert drums.count * 60 == pytest.approx(asked + float(drums.left_over.m_as("L")), abs=1e-6)
    again = corrected(one, target, target)
    assert again.drain_volume.m_as("L") == again.add_volume.m_as("L") == 0


@given(one=sums(), cut=st.floats(0.2, 0.8), weaker=st.booleans())
def test_feed_and_bleed(one: Given, cut: float, weaker: bool) -> None:
    """A tank fed in two goes takes the same litres, and a short feed is the mass balance of a drop."""
    assume(one.high - one.low > 1.0)
    ends = (one.low, one.high) if weaker else (one.high, one.low)
    between = ends[0] + cut * (ends[1] - ends[0])

    def fed(start: float, end: float) -> float:
        found = corrected(one, start, end).feed_and_bleed
        assert found is not None
        return float(found.m_as("L"))

    assert fed(ends[0], between) + fed(between, ends[1]) == pytest.approx(fed(*ends), rel=1e-6)
    # dw = (w_c - w) dm / M: what a thousandth of the way takes, to the first order.
    step = (ends[1] - ends[0]) / 1000
    product = one.product
    strong = float(product.mass_fraction.m_as("percent")) if weaker else 0.0
    drop = step / (strong - ends[0]) * one.kilograms(one.litres, ends[0])
    fix = corrected(one, ends[0], ends[0] + step)
    density = float(fix.mass_added.m_as("kg")) / float(fix.add_volume.m_as("L"))
    assert fed(ends[0], ends[0] + step) == pytest.approx(drop / density, rel=5e-3)


@given(litres=st.floats(10.0, 20000.0), low=st.floats(0.0, 0.6), more=st.floats(0.0, 0.3), strong=st.floats(0.91, 1.0))
def test_correction_by_volume(litres: float, low: float, more: float, strong: float) -> None:
    """A balance of volumes: what is drained and what is added are the same litres."""
    given_by: dict[str, Any] = {"measured": quantity(low, ""), "target": quantity(low + more, "")}
    found = correction_by_volume(system_volume=quantity(litres, "L"), concentrate=quantity(strong, ""), **given_by)
    added = float(found.m_as("L"))
    assert (litres - added) * low + added * strong == pytest.approx(litres * (low + more), rel=1e-9, abs=1e-9)


@given(one=sums())
def test_a_recipe_needs_no_correction(one: Given) -> None:
    fill = first_fill(
        base=one.base,
        system_volume=one.volume,
        target=one.mix(one.low),
        concentrate=one.product,
        bin_volume=one.volume,
        temperature=one.at,
    )
    made = 100 * float((fill.mass_concentrate / (fill.mass_concentrate + fill.mass_water)).m_as(""))
    made *= float(one.product.mass_fraction.m_as(""))
    fix = corrected(one, made, one.low)
    assert fix.add_volume.m_as("L") == pytest.approx(0.0, abs=1e-9 * one.litres)
    assert fix.drain_volume.m_as("L") == pytest.approx(0.0, abs=1e-9 * one.litres)


@given(one=sums(), basis=st.sampled_from([Basis.MASS, Basis.VOLUME_FINAL, Basis.PRODUCT_VOLUME]))
def test_the_basis_of_the_target_does_not_matter(one: Given, basis: Basis) -> None:
    assume(basis is not Basis.VOLUME_FINAL or not one.base.is_salt)

    def litres(target: Strength) -> float:
        fill = first_fill(
            base=one.base,
            system_volume=one.volume,
            target=target,
            concentrate=one.product,
            bin_volume=one.volume,
            temperature=one.at,
        )
        return float(fill.concentrate_volume.m_as("L"))

    by_weight = one.mix(one.low)
    assert litres(by_weight.to(basis, one.product)) == pytest.approx(litres(by_weight), rel=1e-7)


@given(
    base=st.sampled_from(ANTIFREEZES), required=st.floats(-25.0, 0.0), least=st.one_of(st.none(), st.floats(0.0, 36.0))
)
def test_the_strength_to_mix_is_cold_enough_allowed_and_the_weakest_that_is(
    base: Base, required: float, least: float | None
) -> None:
    product = product_of(base, 0.95)
    minimum = None if least is None else quantity(least, "percent")
    product = Product(base, product.mass_fraction, product.density, minimum=minimum)
    ask = quantity(required, "degC")
    coldest = float(highest_mass_fraction(base=base).m_as("percent"))
    assume(required > float(by_mass(base=base, value=quantity(coldest, "percent")).freezing_point.value.m_as("degC")))
    found = strength_to_mix(base=base, required=ask, product=product)
    w = float(found.strength.value.m_as("percent"))
    needed = float(mass_fraction_for(base=base, freezing_point=ask).m_as("percent"))
    assert w >= needed - 1e-9
    assert w >= (least or 0.0) - 1e-9
    assert not found.raised or w > needed
    assert found.raised or w < needed + 1e-6
    assert judge(strength=found.strength, required=ask, product=product).outcome in {Outcome.PASS, Outcome.WARN}
    weaker = by_mass(base=base, value=quantity(0.99 * w, "percent"))
    if w > 1:
        assert judge(strength=weaker, required=ask, product=product).outcome is Outcome.FAIL
    assert frost_verdict(freezing_point=found.freezing_point.value, required=ask).outcome is not Outcome.FAIL
