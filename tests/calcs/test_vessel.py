"""Expansion vessel: published arithmetic, Boyle's law by hand, contraction by CoolProp, settling by another solver."""

from __future__ import annotations

from typing import Any

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from calcs import elastic, vessel
from calcs.base import Base
from calcs.errors import Frozen, NoSolution, OutOfRange
from calcs.sources import Status
from calcs.units import Quantity, quantity
from calcs.verdict import Outcome
from calcs.vessel import Charge

PG, EG, ETHANOL = Base.PROPYLENE_GLYCOL, Base.ETHYLENE_GLYCOL, Base.ETHANOL


def litres(value: float) -> Quantity:
    return quantity(value, "L")


def bar(value: float) -> Quantity:
    return quantity(value, "bar")


def degrees(value: float) -> Quantity:
    return quantity(value, "degC")


@pytest.mark.parametrize(
    ("low", "high", "held", "share", "read"),
    [(0.5, 1.5, 100, 0.00779, 1.9), (1, 3, 300, 0.0148, 8.9), (1.5, 3, 500, 0.00499, 6.6)],
)
def test_published_form_without_reserve(low: float, high: float, held: float, share: float, read: float) -> None:
    # Table of a heat pump manual: arithmetic only (its expansions are not those of brine).
    found = vessel.size_without_reserve(expansion=litres(held * share), precharge=bar(low), end=bar(high))
    assert found.m_as("L") == pytest.approx(read, abs=0.06)


def test_worked_vessel_from_fluid_to_window() -> None:
    # Section 7.4 of the pressure reference: 400 L of 25 % propylene glycol, 15 to 25 degC, relief 3 bar.
    grows = vessel.expansion(
        volume=litres(400), base=PG, mass_fraction=quantity(25, "percent"), filled_at=degrees(15), warmest=degrees(25)
    )
    end = vessel.end_pressure(relief=bar(3))
    kept = vessel.reserve(volume=litres(400))
    asked = vessel.size(expansion=grows, reserve=kept, precharge=bar(0.7), end=end)
    window = vessel.fill_window(vessel=Charge(litres(12), bar(0.7)), expansion=grows, reserve=kept, end=end)
    assert grows.m_as("L") == pytest.approx(1.58, abs=0.01)
    assert asked.least.m_as("L") == pytest.approx(8.91, abs=0.02)
    assert (window.low.m_as("bar"), window.high.m_as("bar")) == pytest.approx((1.27, 1.75), abs=0.01)


@given(st.floats(0.1, 10), st.floats(1, 12), st.floats(0.3, 2), st.floats(0.6, 5))
def test_the_window_is_what_boyle_says(grows: float, kept: float, charge: float, over: float) -> None:
    # A vessel of the least size or more: filled at `low` it holds the reserve, filled at `high` it ends at p_e when warm.
    end = charge + over
    asked = vessel.size(expansion=litres(grows), reserve=litres(kept), precharge=bar(charge), end=bar(end))
    nominal = 1.3 * asked.least.m_as("L")
    window = vessel.fill_window(
        vessel=Charge(litres(nominal), bar(charge)), expansion=litres(grows), reserve=litres(kept), end=bar(end)
    )
    low, high = window.low.m_as("bar"), window.high.m_as("bar")
    gas = nominal * (charge + 1)
    assert nominal - gas / (low + 1) == pytest.approx(kept)
    warm = brentq(lambda p: gas / (high + 1) - gas / (p + 1) - grows, -0.5, 1e4)
    assert warm == pytest.approx(end)
    assert charge <= low <= high <= end


def test_the_least_vessel_has_a_window_of_one_pressure() -> None:
    asked = vessel.size(expansion=litres(2), reserve=litres(3), precharge=bar(0.7), end=bar(2.5))
    exact = vessel.fill_window(
        vessel=Charge(asked.least * 1.0000001, bar(0.7)), expansion=litres(2), reserve=litres(3), end=bar(2.5)
    )
    assert exact.low.m_as("bar") == pytest.approx(exact.high.m_as("bar"), abs=1e-5)
    with pytest.raises(NoSolution, match="larger one"):
        vessel.fill_window(
            vessel=Charge(asked.least * 0.99, bar(0.7)), expansion=litres(2), reserve=litres(3), end=bar(2.5)
        )


@pytest.mark.parametrize(("relief", "end"), [(2.5, 2.0), (3, 2.5), (5, 4.5), (6, 5.4), (10, 9)])
def test_end_pressure(relief: float, end: float) -> None:
    # EN 12828 annex D, from memory.
    assert vessel.end_pressure(relief=bar(relief)).m_as("bar") == pytest.approx(end)


def test_precharge_carries_the_column() -> None:
    low = vessel.precharge(height=quantity(0, "m"), density=quantity(1020, "kg/m^3"))
    high = vessel.precharge(height=quantity(10, "m"), density=quantity(1000, "kg/m^3"), margin=bar(0.2))
    assert low.m_as("bar") == pytest.approx(0.7)
    assert high.m_as("bar") == pytest.approx(0.981 + 0.2, abs=0.001)


@pytest.mark.parametrize(
    ("base", "name", "percent", "cold", "warm", "share"),
    [
        (PG, "MPG", 25, -5, 25, 0.96),
        (PG, "MPG", 33, -5, 25, 1.24),
        (PG, "MPG", 33, 0, 20, 0.83),
        (EG, "MEG", 25, -5, 25, 0.87),
        (EG, "MEG", 30, 0, 20, 0.67),
        (EG, "MEG", 30, 5, 30, 0.95),
        (ETHANOL, "MEA", 25, -5, 25, 1.39),
        (ETHANOL, "MEA", 25, 10, 20, 0.51),
    ],
)
def test_contraction_is_that_of_coolprop(
    base: Base, name: str, percent: float, cold: float, warm: float, share: float
) -> None:
    # Section 7.2 of the pressure reference prints it in % of the volume at the warm end; here straight from CoolProp.
    def theirs(celsius: float) -> float:
        return float(PropsSI("D", "T", celsius + 273.15, "P", 3e5, f"INCOMP::{name}[{percent / 100}]"))

    found = vessel.thermal_change(
        volume=litres(100),
        base=base,
        mass_fraction=quantity(percent, "percent"),
        start=degrees(cold),
        end=degrees(warm),
    )
    # Ethanol is read from another table than CoolProp's polynomial: 0.02 % of the volume.
    assert found.fluid.m_as("L") == pytest.approx(100 * (theirs(cold) / theirs(warm) - 1), abs=0.02)
    assert found.fluid.m_as("L") == pytest.approx(share, abs=0.03)


def test_a_cold_loop_may_gain_pressure() -> None:
    # 400 L of 25 % propylene glycol from 15 to -5 degC: fluid -2.24 L, pipe -3.1 L at 1.3e-4 per K (section 7.3).
    case: dict[str, Any] = {
        "volume": litres(400),
        "base": PG,
        "mass_fraction": quantity(25, "percent"),
        "start": degrees(15),
        "end": degrees(-5),
    }
    found = vessel.thermal_change(**case)
    assert found.fluid.m_as("L") == pytest.approx(-2.24, abs=0.02)
    assert found.pipe_low.m_as("L") == pytest.approx(-3.12, abs=0.01)
    assert 0 < found.net_low.m_as("L") < found.net_high.m_as("L")
    buried = vessel.thermal_change(**case, share=0.0)
    assert buried.net_high.m_as("L") == pytest.approx(buried.fluid.m_as("L"))


def test_frozen_fluid_is_named() -> None:
    with pytest.raises(Frozen):
        vessel.expansion(
            volume=litres(400),
            base=PG,
            mass_fraction=quantity(10, "percent"),
            filled_at=degrees(-15),
            warmest=degrees(20),
        )


SEALED: dict[str, Any] = {
    "start": bar(1.5),
    "since": quantity(0.5, "hour"),
    "volume": litres(400),
    "bore_to_wall": 8.81,
    "temperature": degrees(23),
}


@pytest.mark.parametrize("hours", [2.0, 12.0, 100.0, 8766.0])
def test_without_a_vessel_the_wall_relaxes(hours: float) -> None:
    # The relaxation of PPI's table, but for the water, which gives back 6 % as it expands.
    alone = elastic.sealed_pressure(start=bar(1.5), since=quantity(0.5, "hour"), time=quantity(hours, "hour"))
    found = vessel.settled_pressure(time=quantity(hours, "hour"), **SEALED)
    assert alone.m_as("bar") < found.m_as("bar") < 1.04 * alone.m_as("bar") + 0.01


@pytest.mark.parametrize(
    ("nominal", "charge", "added"), [(12, 0.7, 0.0), (8, 1.0, 0.0), (25, 0.5, -0.3), (12, 0.7, 0.4)]
)
def test_settling_by_another_solver(nominal: float, charge: float, added: float) -> None:
    # Litres by litres: room made by creep, fluid given back, gas by Boyle; E from PPI's printed 565 and 379 MPa.
    early, late = 12.5 * 565, 12.5 * 379
    modulus = 10 * float(elastic.water_modulus(temperature=degrees(23)).m_as("MPa"))

    def short(p: float) -> float:
        gas = nominal * (charge + 1) * (1 / (p + 1) - 1 / 2.5)
        room = 400 * 8.81 * (p / late - 1.5 / early)
        water = 400 * (1.5 - p) / modulus
        return gas + water + added - room

    found = vessel.settled_pressure(
        time=quantity(100, "hour"), vessel=Charge(litres(nominal), bar(charge)), added=litres(added), **SEALED
    )
    assert found.m_as("bar") == pytest.approx(brentq(short, -0.5, 10), abs=1e-6)


def test_a_vessel_keeps_the_pressure_up_and_an_empty_one_does_not() -> None:
    year = quantity(8766, "hour")
    none = vessel.settled_pressure(time=year, **SEALED).m_as("bar")
    held = vessel.settled_pressure(time=year, vessel=Charge(litres(18), bar(0.7)), **SEALED).m_as("bar")
    empty = vessel.settled_pressure(time=year, vessel=Charge(litres(18), bar(3.0)), **SEALED).m_as("bar")
    assert none < held < 1.5
    assert empty == pytest.approx(none)


def test_nothing_changes_in_no_time() -> None:
    found = vessel.settled_pressure(time=SEALED["since"], vessel=Charge(litres(12), bar(0.7)), **SEALED)
    assert found.m_as("bar") == pytest.approx(1.5)


def test_a_circuit_that_empties_is_named() -> None:
    with pytest.raises(NoSolution, match="settled"):
        vessel.settled_pressure(time=quantity(2, "hour"), added=litres(-50), **SEALED)


@pytest.mark.parametrize(
    ("pressure", "step", "outcome"),
    [
        (1.5, 0.1, Outcome.PASS),
        (1.3, 0.1, Outcome.WARN),
        (1.3, 0.02, Outcome.PASS),
        (1.2, 0.1, Outcome.FAIL),
        (1.8, 0.1, Outcome.FAIL),
    ],
)
def test_fill_pressure(pressure: float, step: float, outcome: Outcome) -> None:
    window = vessel.FillWindow(bar(1.27), bar(1.75))
    found = vessel.judge_fill(pressure=bar(pressure), window=window, resolution=bar(step))
    assert found.outcome is outcome
    assert found.source.status is Status.MEMORY


def test_impossible_pressures() -> None:
    with pytest.raises(NoSolution, match="pre-charge"):
        vessel.size(expansion=litres(1), reserve=litres(3), precharge=bar(2.5), end=bar(2.5))
    with pytest.raises(OutOfRange):
        vessel.end_pressure(relief=bar(0.3))
    with pytest.raises(NoSolution, match="reserve"):
        vessel.fill_window(vessel=Charge(litres(2), bar(0.7)), expansion=litres(1), reserve=litres(3), end=bar(2.5))
