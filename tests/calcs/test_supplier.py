"""A supplier's table: read by straight lines, turned round, and refused when it cannot be right."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import fluid, supplier
from calcs.base import Base
from calcs.errors import NotKnown, OutOfRange, Unsuitable
from calcs.sources import table
from calcs.strength import Basis, Product, Strength, by_mass
from calcs.supplier import SupplierRow, SupplierTable
from calcs.units import quantity

EG = Base.ETHYLENE_GLYCOL
PRODUCT = Product(EG, quantity(95, "percent"), quantity(1125, "kg/m^3"))


def made(*rows: tuple[float, float, float | None], basis: Basis = Basis.MASS) -> SupplierTable:
    lines = [SupplierRow(quantity(x, "percent"), quantity(t, "degC"), b) for x, t, b in rows]
    return supplier.supplier_table(base=EG, basis=basis, rows=lines, product=PRODUCT)


SHEET = made((20, -7.0, 13.0), (30, -13.0, 19.5), (40, -22.0, 25.5))


def test_the_ashrae_table_typed_in_as_a_supplier_table_gives_ashrae() -> None:
    rows = [r for r in table("ashrae_freezing") if r["fluid"] == EG.value and 20 <= float(r["mass_pct"]) <= 40]
    sheet = made(*((float(r["mass_pct"]), float(r["T_freeze_C"]), None) for r in rows))
    for w in (21.5, 30, 38.2):
        mix = by_mass(base=EG, value=quantity(w, "percent"))
        # For ethylene glycol from 20 % on, ASHRAE is the warmer curve.
        assert supplier.freezing_point(table=sheet, strength=mix).value.m_as("degC") == pytest.approx(
            fluid.freezing_point(base=EG, mass_fraction=mix.value).value.m_as("degC"), abs=1e-9
        )


@given(t=st.floats(-22, -7))
def test_there_and_back(t: float) -> None:
    mix = supplier.strength_for(table=SHEET, freezing_point=quantity(t, "degC"))
    assert supplier.freezing_point(table=SHEET, strength=mix).value.m_as("degC") == pytest.approx(t, abs=1e-9)


def test_a_product_percentage_is_understood() -> None:
    sheet = made((25, -11.0, None), (40, -21.0, None), basis=Basis.PRODUCT_VOLUME)
    mix = Strength(quantity(30, "percent"), Basis.PRODUCT_VOLUME, EG, PRODUCT)
    by_weight = mix.to(Basis.MASS)
    same = [supplier.freezing_point(table=sheet, strength=s).value.m_as("degC") for s in (mix, by_weight)]
    assert same[0] == pytest.approx(-11 - 10 / 3)
    assert same[1] == pytest.approx(same[0], abs=1e-9)


def test_the_supplier_is_used_and_the_general_curves_are_told() -> None:
    mix = by_mass(base=EG, value=quantity(30, "percent"))
    found = supplier.freezing_point(table=SHEET, strength=mix)
    assert found.value.m_as("degC") == pytest.approx(-13.0)
    assert found.source is SHEET.source
    general = fluid.freezing_point(base=EG, mass_fraction=mix.value)
    assert [c.source for c in found.curves[1:]] == [c.source for c in general.curves]
    assert found.low == general.low


def test_brix_of_the_product() -> None:
    mix = supplier.strength_from_brix(table=SHEET, brix=22.5)
    assert mix.value.m_as("percent") == pytest.approx(35)
    with pytest.raises(OutOfRange):
        supplier.strength_from_brix(table=SHEET, brix=12)
    with pytest.raises(NotKnown):
        supplier.strength_from_brix(table=made((20, -7, None), (30, -13, 19)), brix=19)


def test_outside_the_rows() -> None:
    for w in (19.9, 40.1):
        with pytest.raises(OutOfRange):
            supplier.freezing_point(table=SHEET, strength=by_mass(base=EG, value=quantity(w, "percent")))
    with pytest.raises(OutOfRange):
        supplier.strength_for(table=SHEET, freezing_point=quantity(-30, "degC"))


@pytest.mark.parametrize(
    "rows",
    [
        [(20, -7, None)],
        [(20, 7, None), (30, -13, None)],
        [(30, -13, None), (20, -7, None)],
        [(20, -13, None), (30, -7, None)],
        [(20, -7, None), (20, -8, None)],
        [(20, -7, 19), (30, -13, 13)],
    ],
)
def test_a_table_that_cannot_be_right_is_refused(rows: list[tuple[float, float, float | None]]) -> None:
    with pytest.raises(Unsuitable):
        made(*rows)


def test_the_table_of_another_antifreeze_is_refused() -> None:
    mix = by_mass(base=Base.PROPYLENE_GLYCOL, value=quantity(30, "percent"))
    with pytest.raises(Unsuitable, match="ethylene glycol"):
        supplier.freezing_point(table=SHEET, strength=mix)


def protected(*rows: tuple[float, float, float | None]) -> SupplierTable:
    lines = [
        SupplierRow(quantity(x, "percent"), quantity(t, "degC"), None, None if p is None else quantity(p, "degC"))
        for x, t, p in rows
    ]
    return supplier.supplier_table(base=Base.PROPYLENE_GLYCOL, basis=Basis.VOLUME_FINAL, rows=lines)


def test_frost_protection_is_read_by_the_table_of_the_product() -> None:
    # A trade article (read) has -26 degC ice and -29.7 degC frost protection at 45 volume % of one propylene glycol fluid; the
    # other row is invented.
    sheet = protected((30, -13.0, -15.0), (45, -26.0, -29.7))
    mix = supplier.strength_from_protection(table=sheet, protection=quantity(-29.7, "degC"))
    assert mix.value.m_as("percent") == pytest.approx(45)
    assert supplier.freezing_point(table=sheet, strength=mix).value.m_as("degC") == pytest.approx(-26.0)
    with pytest.raises(OutOfRange):
        supplier.strength_from_protection(table=sheet, protection=quantity(-31, "degC"))
    with pytest.raises(NotKnown, match="Frost protection"):
        supplier.strength_from_protection(table=SHEET, protection=quantity(-15, "degC"))


@given(p=st.floats(-29.7, -15.0))
def test_frost_protection_there_and_back(p: float) -> None:
    sheet = protected((30, -13.0, -15.0), (45, -26.0, -29.7))
    mix = supplier.strength_from_protection(table=sheet, protection=quantity(p, "degC"))
    assert sheet.shield(float(mix.value.m_as(""))) == pytest.approx(p, abs=1e-9)
    # Taken for the ice point it would promise more protection than there is.
    assert supplier.freezing_point(table=sheet, strength=mix).value.m_as("degC") > p


def test_frost_protection_is_never_warmer_than_the_ice() -> None:
    with pytest.raises(Unsuitable, match="Check the columns"):
        protected((30, -15.0, -13.0), (45, -26.0, -29.7))
    with pytest.raises(Unsuitable, match="Check the rows"):
        protected((30, -13.0, -29.7), (45, -26.0, -29.0))
