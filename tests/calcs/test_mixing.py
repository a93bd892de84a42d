"""Mixing: mass is kept, inverses meet, bins add up, and the worked recipes of the trade come out."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import mixing
from calcs.base import Base
from calcs.errors import Frozen, NoSolution, OutOfRange, Unsuitable, WrongUnit
from calcs.strength import Basis, Product, Strength, by_mass, pure
from calcs.units import Quantity, quantity

EG = Base.ETHYLENE_GLYCOL
LIQUIDS = [EG, Base.PROPYLENE_GLYCOL, Base.ETHANOL, Base.METHANOL, Base.GLYCEROL]
WATER_20 = 998.2


def mix(base: Base, w: float) -> Strength:
    return by_mass(base=base, value=quantity(w, "percent"))


def litres(value: float) -> Quantity:
    return quantity(value, "L")


def number(value: Quantity, unit: str) -> float:
    return float(value.m_as(unit))


def fill(
    base: Base = EG,
    volume: float = 600,
    w: float = 31.4,
    bin_litres: float = 180,
    concentrate: Product | None = None,
    **more: Quantity,
) -> mixing.FirstFill:
    return mixing.first_fill(
        base=base,
        system_volume=litres(volume),
        target=mix(base, w),
        concentrate=concentrate or pure(base=base),
        bin_volume=litres(bin_litres),
        **more,
    )


@given(base=st.sampled_from(LIQUIDS), w=st.floats(1, 55), volume=st.floats(5, 50000))
def test_a_first_fill_keeps_mass_and_strength(base: Base, w: float, volume: float) -> None:
    found = fill(base, volume, w, bin_litres=500)
    antifreeze, water = number(found.mass_concentrate, "kg"), number(found.mass_water, "kg")
    assert 100 * antifreeze / (antifreeze + water) == pytest.approx(w, rel=1e-9)
    rho = number(pure(base=base).density, "kg/m^3")
    assert number(found.concentrate_volume, "m^3") * rho == pytest.approx(antifreeze, rel=1e-9)
    assert number(found.water_volume, "m^3") * WATER_20 == pytest.approx(water, rel=1e-9)
    poured = number(found.concentrate_volume + found.water_volume, "L")
    assert poured - number(found.contraction, "L") == pytest.approx(volume, rel=1e-9)


@given(base=st.sampled_from(LIQUIDS), volume=st.floats(5, 5000), size=st.floats(20, 1000))
def test_batches_add_up_and_fit_the_bin(base: Base, volume: float, size: float) -> None:
    found = fill(base, volume, 25, bin_litres=size)
    for total, part in [(volume, "volume"), (number(found.water_volume, "L"), "water")]:
        assert sum(number(getattr(b, part), "L") for b in found.batches) == pytest.approx(total, rel=1e-9)
    assert sum(number(b.concentrate, "L") for b in found.batches) == pytest.approx(
        number(found.concentrate_volume, "L"), rel=1e-9
    )
    assert len(found.batches) == max(1, math.ceil(volume / size - 1e-9))
    assert all(0 < number(b.volume, "L") <= size * (1 + 1e-9) for b in found.batches)


def test_a_rounding_error_is_not_another_bin() -> None:
    assert 2.1 / 0.7 > 3
    assert len(fill(volume=2100, bin_litres=700).batches) == 3


@pytest.mark.parametrize(
    ("base", "w", "shrinks"),
    [
        (EG, 20, 0.47),
        (EG, 40, 0.96),
        (Base.PROPYLENE_GLYCOL, 30, 1.42),
        (Base.ETHANOL, 25, 2.65),
        (Base.METHANOL, 20, 1.85),
    ],
)
def test_contraction_of_the_worked_table(base: Base, w: float, shrinks: float) -> None:
    # Percent of the volumes poured, computed independently.
    found = fill(base, 600, w)
    poured = number(found.concentrate_volume + found.water_volume, "L")
    assert 100 * number(found.contraction, "L") / poured == pytest.approx(shrinks, abs=0.011)


def test_a_plain_percentage_of_litres_would_be_wrong() -> None:
    # 600 L x 24.6 %: 32.4 L short for ethanol, 12.5 L too much for ethylene glycol at 31.4 %.
    assert number(fill(Base.ETHANOL, 600, 24.6).concentrate_volume, "L") - 147.6 == pytest.approx(32.4, abs=0.1)
    assert number(fill(EG, 600, 31.4).concentrate_volume, "L") - 188.4 == pytest.approx(-12.5, abs=0.1)


def test_target_may_be_on_any_basis() -> None:
    by_volume = mix(EG, 31.4).to(Basis.VOLUME_FINAL)
    found = mixing.first_fill(
        base=EG, system_volume=litres(600), target=by_volume, concentrate=pure(base=EG), bin_volume=litres(180)
    )
    assert number(found.concentrate_volume, "L") == pytest.approx(175.91, abs=0.1)
    assert number(found.concentrate_volume, "L") / 600 == pytest.approx(number(by_volume.value, ""), rel=1e-9)


def test_colder_litres_hold_more_mass() -> None:
    # Density of EG 31.4 % rises by 4.4e-4 per kelvin at most; the recipe follows it.
    warm, cold = fill(), fill(temperature=quantity(5, "degC"))
    rise = number(cold.mass_concentrate, "kg") / number(warm.mass_concentrate, "kg") - 1
    assert 0.003 < rise < 0.007
    assert number(cold.contraction, "L") == pytest.approx(number(warm.contraction, "L"), abs=1.5)


def test_drums() -> None:
    found = fill()
    drums = found.drums(drum_volume=litres(60))
    assert drums.count == 3
    assert number(drums.left_over, "L") == pytest.approx(180 - 175.91, abs=0.1)
    assert found.freezing_point.value.m_as("degC") == pytest.approx(-15.0, abs=0.1)


@pytest.mark.parametrize(("left", "w"), [(40, 29.4), (60, 28.4), (90, 26.9)])
def test_residual_water_of_the_worked_cases(left: float, w: float) -> None:
    found = mixing.strength_after(system_volume=litres(600), poured=mix(EG, 31.4), residual_water=litres(left))
    assert number(found.value, "percent") == pytest.approx(w, abs=0.06)


@given(base=st.sampled_from(LIQUIDS), w=st.floats(2, 35), share=st.floats(0, 0.3))
def test_aiming_for_residual_water_meets_the_target(base: Base, w: float, share: float) -> None:
    volume, left = litres(600), litres(600 * share)
    aim = mixing.strength_to_aim_for(target=mix(base, w), system_volume=volume, residual_water=left)
    after = mixing.strength_after(poured=aim, system_volume=volume, residual_water=left)
    assert number(after.value, "percent") == pytest.approx(w, abs=1e-6)
    assert number(aim.value, "percent") >= w - 1e-9


def test_first_fill_allows_for_residual_water() -> None:
    found = fill(residual_water=litres(60))
    assert number(found.mixed_volume, "L") == pytest.approx(540)
    assert number(found.target.value, "percent") == pytest.approx(31.4)
    again = mixing.strength_after(system_volume=litres(600), poured=found.poured, residual_water=litres(60))
    assert number(again.value, "percent") == pytest.approx(31.4, abs=1e-6)
    antifreeze = number(found.mass_concentrate, "kg")
    total = antifreeze + number(found.mass_water, "kg") + 0.06 * WATER_20
    assert 100 * antifreeze / total == pytest.approx(31.4, abs=1e-6)


def test_too_much_residual_water_has_no_solution() -> None:
    with pytest.raises(NoSolution, match="Drain more water"):
        mixing.strength_to_aim_for(system_volume=litres(600), target=mix(EG, 31.4), residual_water=litres(400))
    weak = Product(EG, quantity(33, "percent"), quantity(1042, "kg/m^3"))
    with pytest.raises(NoSolution):
        fill(concentrate=weak, residual_water=litres(60))
    with pytest.raises(OutOfRange):
        fill(residual_water=litres(600))


@given(
    parts=st.lists(st.tuples(st.floats(0.1, 1000), st.floats(0, 60)), min_size=1, max_size=6),
    base=st.sampled_from(LIQUIDS),
)
def test_a_blend_lies_between_its_parts(parts: list[tuple[float, float]], base: Base) -> None:
    blended = mixing.blend(parts=[mixing.Part(litres(v), mix(base, w)) for v, w in parts])
    found = number(blended.value, "percent")
    strengths = [w for _, w in parts]
    assert min(strengths) - 1e-9 <= found <= max(strengths) + 1e-9


def test_blending_freezing_points_would_be_too_cold() -> None:
    # Mean of the freezing points of 45 and 15 %: 2.7 K too cold.
    pair = [mixing.Part(litres(100), mix(EG, w)) for w in (45, 15)]
    true = mixing.blend(parts=pair).freezing_point
    mean = sum(number(p.strength.freezing_point.curves[0].value, "degC") for p in pair) / 2
    assert number(true.curves[0].value, "degC") - mean == pytest.approx(2.7, abs=0.2)


def test_a_blend_with_water_and_of_nothing() -> None:
    half = mixing.blend(parts=[mixing.Part(litres(100), mix(EG, 30)), mixing.Part(litres(100), mix(Base.WATER, 0))])
    kilos = 103.77
    assert number(half.value, "percent") == pytest.approx(30 * kilos / (kilos + 99.82), abs=0.01)
    with pytest.raises(NoSolution):
        mixing.blend(parts=[])
    with pytest.raises(Unsuitable, match="two cannot be measured"):
        mixing.blend(
            parts=[mixing.Part(litres(1), mix(EG, 30)), mixing.Part(litres(1), mix(Base.PROPYLENE_GLYCOL, 30))]
        )


STRENGTHS = st.one_of(st.just(0.0), st.floats(0.01, 50))


@given(base=st.sampled_from(LIQUIDS), measured=STRENGTHS, target=STRENGTHS)
def test_a_correction_ends_at_its_target(base: Base, measured: float, target: float) -> None:
    found = correct(base, measured, target)
    drained, added = number(found.drain_volume, "m^3"), number(found.add_volume, "m^3")
    density, concentrate = density_of(base), number(pure(base=base).density, "kg/m^3")
    w_c, rho_c = (1.0, concentrate) if found.adding else (0.0, WATER_20)
    antifreeze = (0.6 - drained) * density(measured) * measured / 100 + added * rho_c * w_c
    mass = (0.6 - drained) * density(measured) + added * rho_c
    assert 100 * antifreeze / mass == pytest.approx(target, abs=1e-6)
    assert mass == pytest.approx(0.6 * density(target), rel=1e-9)
    never = found.adding is None and target == 0 and measured > 0
    assert (found.feed_and_bleed is None) is never
    if found.feed_and_bleed is not None:
        assert 0 <= number(found.add_volume, "L") <= number(found.feed_and_bleed, "L") + 1e-6


def correct(base: Base, measured: float, target: float) -> mixing.Correction:
    return mixing.correction(
        base=base,
        system_volume=litres(600),
        measured=mix(base, measured),
        target=mix(base, target),
        concentrate=pure(base=base),
    )


def density_of(base: Base) -> Callable[[float], float]:
    """rho(w) at 20 degC out of a one-litre recipe: mass of a litre."""

    def density(w: float) -> float:
        found = fill(base, 1, w, bin_litres=10)
        return 1000 * (number(found.mass_concentrate, "kg") + number(found.mass_water, "kg"))

    return density


@pytest.mark.parametrize(("given_w", "asked"), [(25, 31.4), (36, 31.4), (30, 10)])
def test_feed_and_bleed_is_a_mixing_tank(given_w: float, asked: float) -> None:
    # Euler steps of a full, mixed vessel: what is fed pushes the same volume of the mix out.
    feed = correct(EG, given_w, asked).feed_and_bleed
    assert feed is not None
    fed = number(feed, "L")
    density = density_of(EG)
    rho_c, w_c = (1113.5, 1.0) if asked > given_w else (WATER_20, 0.0)
    w, steps = given_w / 100, 2000
    for _ in range(steps):
        mass = 0.6 * density(100 * w)
        w += fed / steps / 1000 * rho_c * (w_c - w) / mass
    assert 100 * w == pytest.approx(asked, abs=0.01)


def test_nothing_to_correct() -> None:
    found = correct(EG, 30, 30)
    assert found.feed_and_bleed is not None
    assert number(found.drain_volume, "L") == number(found.add_volume, "L") == number(found.feed_and_bleed, "L") == 0


def test_feeding_never_reaches_the_strength_of_what_is_fed() -> None:
    product = Product(EG, quantity(40, "percent"), density_of_product(40))
    found = mixing.correction(
        base=EG, system_volume=litres(600), measured=mix(EG, 25), target=mix(EG, 40), concentrate=product
    )
    assert found.feed_and_bleed is None
    assert number(found.drain_volume, "L") == pytest.approx(600)
    assert number(found.add_volume, "L") == pytest.approx(600)


def density_of_product(w: float) -> Quantity:
    return quantity(density_of(EG)(w), "kg/m^3")


def test_short_form_needs_volume_percent() -> None:
    # Fed with mass % it gives 51.2 L where 47.8 L is right (EG 25 -> 31.4).
    short = mixing.correction_by_volume(
        system_volume=litres(600),
        measured=quantity(25, "percent"),
        target=quantity(31.4, "percent"),
        concentrate=quantity(100, "percent"),
    )
    assert number(short, "L") == pytest.approx(51.2, abs=0.05)
    with pytest.raises(OutOfRange):
        mixing.correction_by_volume(
            system_volume=litres(600),
            measured=quantity(28, "percent"),
            target=quantity(23, "percent"),
            concentrate=quantity(100, "percent"),
        )


def test_a_salt_is_mixed_from_its_product() -> None:
    base = Base.POTASSIUM_FORMATE
    found = fill(base, 500, 24, concentrate=Product(base, quantity(48, "percent"), quantity(1332, "kg/m^3")))
    assert number(found.mass_concentrate, "kg") == pytest.approx(number(found.mass_water, "kg"), rel=1e-9)


def test_what_cannot_be_mixed_is_refused() -> None:
    with pytest.raises(Unsuitable, match="weaker than the target"):
        fill(w=40, concentrate=Product(EG, quantity(35, "percent"), quantity(1045, "kg/m^3")))
    with pytest.raises(Unsuitable, match="weaker than the target"):
        mixing.correction(
            base=EG,
            system_volume=litres(600),
            measured=mix(EG, 25),
            target=mix(EG, 40),
            concentrate=Product(EG, quantity(35, "percent"), quantity(1045, "kg/m^3")),
        )
    with pytest.raises(Unsuitable):
        fill(concentrate=pure(base=Base.ETHANOL))
    with pytest.raises(Frozen):
        fill(temperature=quantity(-1, "degC"))


@pytest.mark.parametrize("volume", [0, -5, float("nan"), float("inf")])
def test_impossible_volumes(volume: float) -> None:
    with pytest.raises(OutOfRange):
        fill(volume=volume)
    with pytest.raises(OutOfRange):
        fill(bin_litres=volume)


def test_bare_numbers_are_refused() -> None:
    with pytest.raises(WrongUnit, match="system volume"):
        mixing.strength_after(system_volume=600, poured=mix(EG, 30), residual_water=litres(1))  # type: ignore[arg-type]


LEAST = Product(EG, quantity(95, "percent"), quantity(1125, "kg/m^3"), minimum=quantity(26, "percent"))


def corrected_with(product: Product, target: float) -> mixing.Correction:
    return mixing.correction(
        base=EG, system_volume=litres(600), measured=mix(EG, 35), target=mix(EG, target), concentrate=product
    )


def test_nothing_is_mixed_below_the_least_strength_of_the_supplier() -> None:
    assert number(fill(w=26, concentrate=LEAST).poured.value, "percent") == pytest.approx(26)
    with pytest.raises(Unsuitable, match=r"26\.0 mass % at least"):
        fill(w=25.9, concentrate=LEAST)
    with pytest.raises(Unsuitable, match="inhibitor"):
        mixing.strength_to_aim_for(
            system_volume=litres(600), target=mix(EG, 20), residual_water=litres(20), concentrate=LEAST
        )
    with pytest.raises(Unsuitable, match="inhibitor"):
        corrected_with(LEAST, 20)
    # Flushing the antifreeze out again is another matter.
    assert number(corrected_with(LEAST, 0).drain_volume, "L") == pytest.approx(600)


def test_drums_of_a_correction() -> None:
    # Ethylene glycol 25 -> 31.4 %, 600 L: 47.8 L to add after draining, 49.8 L to feed.
    fix = correct(EG, 25, 31.4)
    assert fix.drums(drum_volume=litres(25)).count == 2
    assert number(fix.drums(drum_volume=litres(25)).left_over, "L") == pytest.approx(2.2, abs=0.06)
    assert number(fix.drums(drum_volume=litres(25), feeding=True).left_over, "L") == pytest.approx(0.2, abs=0.06)
    thinned = correct(EG, 36, 31.4).drums(drum_volume=litres(25))
    assert (thinned.count, number(thinned.left_over, "L")) == (0, 0)
    with pytest.raises(NoSolution, match="Drain and add"):
        correct(EG, 30, 0).drums(drum_volume=litres(25), feeding=True)
