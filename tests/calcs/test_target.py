"""How strong to mix: the weakest mix that is cold enough and that its supplier allows."""

from __future__ import annotations

import pytest

from calcs.base import Base
from calcs.errors import OutOfRange, Unsuitable
from calcs.fluid import mass_fraction_for
from calcs.sources import Status
from calcs.strength import Basis, Product, Strength, by_mass
from calcs.supplier import SupplierRow, SupplierTable, supplier_table
from calcs.target import Target, judge, strength_to_mix
from calcs.units import Quantity, quantity
from calcs.verdict import Cause, Outcome

EG, PG = Base.ETHYLENE_GLYCOL, Base.PROPYLENE_GLYCOL


def percent(value: float) -> Quantity:
    return quantity(value, "percent")


def celsius(value: float) -> Quantity:
    return quantity(value, "degC")


def product(base: Base = EG, minimum: float | None = None) -> Product:
    return Product(base, percent(95), quantity(1125, "kg/m^3"), minimum=None if minimum is None else percent(minimum))


def sheet(*rows: tuple[float, float]) -> SupplierTable:
    lines = [SupplierRow(percent(w), celsius(t)) for w, t in rows]
    return supplier_table(base=EG, basis=Basis.MASS, rows=lines, product=product(minimum=22))


def mass(found: Target) -> float:
    return float(found.strength.mass_fraction.m_as("percent"))


# Antifreeze reference, section 4.4: -8 to -10 degC on a glycol is raised to 25 volume %: EG about 27 mass %, -12 degC; PG about
# 25.7 mass %, -10 degC. Per final volume propylene glycol comes out at 25.4.
@pytest.mark.parametrize(("base", "w", "frost"), [(EG, 26.9, -12.0), (PG, 25.4, -9.8)])
def test_a_mild_target_is_raised_for_the_inhibitor(base: Base, w: float, frost: float) -> None:
    found = strength_to_mix(base=base, required=celsius(-8))
    assert found.raised
    assert mass(found) == pytest.approx(w, abs=0.05)
    assert found.freezing_point.value.m_as("degC") == pytest.approx(frost, abs=0.1)
    assert found.surplus.m_as("K") == pytest.approx(-8 - frost, abs=0.1)
    assert found.source.status is Status.READ
    assert "least strength, 25.0 % by volume of the finished mix" in found.warnings[0]


@pytest.mark.parametrize(("base", "required", "w"), [(EG, -15, 31.3), (PG, -15, 33.3), (Base.ETHANOL, -15, 24.6),
                                                     (Base.METHANOL, -15, 20.0), (Base.POTASSIUM_FORMATE, -12, 20.5)])  # fmt: skip
def test_a_cold_target_is_the_strength_of_the_inverse_table(base: Base, required: float, w: float) -> None:
    """Antifreeze reference, section 2.1, inverse table: CRC, ASHRAE and polynomial (computed independently)."""
    found = strength_to_mix(base=base, required=celsius(required))
    assert not found.raised
    assert mass(found) == pytest.approx(w, abs=0.1)
    assert found.surplus.m_as("K") == pytest.approx(0.0, abs=1e-6)
    assert found.warnings == ()


def test_the_supplier_may_allow_less_or_ask_for_more() -> None:
    needed = float(mass_fraction_for(base=EG, freezing_point=celsius(-8)).m_as("percent"))
    less = strength_to_mix(base=EG, required=celsius(-8), product=product(minimum=15))
    assert mass(less) == pytest.approx(needed)
    assert not less.raised
    more = strength_to_mix(base=EG, required=celsius(-8), product=product(minimum=33))
    assert mass(more) == pytest.approx(33)
    assert more.raised
    assert any("colder than required" in text for text in more.warnings)
    salt = strength_to_mix(base=Base.POTASSIUM_ACETATE, required=celsius(-2))
    assert (salt.raised, salt.minimum) == (False, None)


def test_the_supplier_table_wins() -> None:
    table = sheet((20, -6.0), (30, -12.0), (40, -20.0))
    found = strength_to_mix(base=EG, required=celsius(-14), table=table)
    assert mass(found) == pytest.approx(32.5)
    assert found.freezing_point.source is table.source
    # Milder than its first row, the sheet's first row; then the least strength of its own product, 22 %.
    mild = strength_to_mix(base=EG, required=celsius(-3), table=table)
    assert mass(mild) == pytest.approx(22)
    assert mild.freezing_point.value.m_as("degC") == pytest.approx(-7.2)
    assert mild.source is product().source


def test_weak_ethanol_is_told_of_a_biocide_as_an_unconfirmed_figure() -> None:
    weak, strong = (strength_to_mix(base=Base.ETHANOL, required=celsius(t)) for t in (-5, -15))
    assert "not a requirement" in weak.warnings[0]
    assert strong.warnings == ()


def chosen(w: float, required: float, **more: object) -> tuple[Outcome, str]:
    found = judge(
        strength=by_mass(base=EG, value=percent(w)), required=celsius(required), **more  # type: ignore[arg-type]
    )  # fmt: skip
    assert (found.cause is Cause.NONE) is (found.outcome is Outcome.PASS)
    assert bool(found.way_out) is (found.outcome is not Outcome.PASS)
    return found.outcome, found.reason


def test_a_chosen_strength_is_judged() -> None:
    assert chosen(32, -15)[0] is Outcome.PASS
    outcome, reason = chosen(28, -15)
    assert outcome is Outcome.FAIL
    assert reason == "It freezes at -12.7 °C; -15.0 °C is required."
    outcome, reason = chosen(26, -8)
    assert outcome is Outcome.FAIL
    assert "below the least strength" in reason
    assert chosen(26, -8, product=product(minimum=20))[0] is Outcome.PASS
    outcome, reason = chosen(40, -15)
    assert outcome is Outcome.WARN
    assert "7.3 K colder" in reason
    assert chosen(32.4, -14, table=sheet((20, -6.0), (30, -12.0), (40, -20.0)))[0] is Outcome.FAIL


def test_what_is_no_question_is_refused() -> None:
    with pytest.raises(Unsuitable, match="no antifreeze"):
        strength_to_mix(base=Base.WATER, required=celsius(-5))
    with pytest.raises(Unsuitable, match="propylene glycol"):
        strength_to_mix(base=PG, required=celsius(-5), product=product(EG))
    with pytest.raises(Unsuitable, match="ethylene glycol"):
        strength_to_mix(base=PG, required=celsius(-5), table=sheet((20, -6.0), (30, -12.0)))
    with pytest.raises(OutOfRange):
        strength_to_mix(base=EG, required=celsius(-70))
    with pytest.raises(OutOfRange):
        strength_to_mix(base=EG, required=celsius(1))
    with pytest.raises(OutOfRange, match="least strength"):
        product(minimum=96)


def test_the_least_strength_is_on_any_basis() -> None:
    """A sheet that asks for 25 volume % of product is 26.1 mass % of a 95 % product."""
    made = product()
    asked = Strength(percent(25), Basis.PRODUCT_VOLUME, EG, made).mass_fraction
    kept = strength_to_mix(base=EG, required=celsius(-5), product=product(minimum=float(asked.m_as("percent"))))
    assert mass(kept) == pytest.approx(95 * 0.25 * 1125 / (0.25 * 1125 + 0.75 * 998.2), abs=1e-9)
