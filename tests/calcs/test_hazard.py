"""Flash points and oxygen demand against the figures of the sources."""

from __future__ import annotations

import pytest

from calcs import hazard
from calcs.base import Base
from calcs.errors import NotKnown, OutOfRange
from calcs.units import quantity


@pytest.mark.parametrize(
    ("base", "demand"),
    [
        (Base.ETHYLENE_GLYCOL, 1.29),
        (Base.PROPYLENE_GLYCOL, 1.68),
        (Base.ETHANOL, 2.08),
        (Base.METHANOL, 1.50),
        (Base.GLYCEROL, 1.22),
        (Base.POTASSIUM_ACETATE, 0.65),
        (Base.POTASSIUM_FORMATE, 0.19),
    ],
)
def test_oxygen_demand(base: Base, demand: float) -> None:
    # Stoichiometry worked by hand, to two digits.
    assert hazard.oxygen_demand(base=base).m_as("") == pytest.approx(demand, abs=0.006)


def test_no_oxygen_demand_for_carbonate() -> None:
    with pytest.raises(NotKnown):
        hazard.oxygen_demand(base=Base.POTASSIUM_CARBONATE)


def test_flash_point_between_rows_and_outside() -> None:
    # GESTIS: 20 % 36 degC, 30 % 29 degC; a sheet of a loop fluid has 32 degC at 22.6 mass % = 27.6 volume %.
    found = hazard.flash_point(base=Base.ETHANOL, volume_fraction=quantity(25, "percent"))
    assert found.m_as("degC") == pytest.approx(32.5)
    for share in (4, 101):
        with pytest.raises(OutOfRange):
            hazard.flash_point(base=Base.ETHANOL, volume_fraction=quantity(share, "percent"))
    with pytest.raises(NotKnown):
        hazard.flash_point(base=Base.METHANOL, volume_fraction=quantity(20, "percent"))
