"""Heat: energy balance, uncertainty against Monte Carlo, and the verdict on a measurement."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import fluid, heat
from calcs.base import Base
from calcs.errors import NoSolution, OutOfRange, WrongUnit
from calcs.units import Quantity, quantity
from calcs.verdict import Cause, Outcome

PG25 = fluid.properties(
    base=Base.PROPYLENE_GLYCOL, mass_fraction=quantity(25, "percent"), temperature=quantity(0, "degC")
)
WATER = fluid.properties(base=Base.WATER, mass_fraction=quantity(0, ""), temperature=quantity(5, "degC"))


def kelvin(value: float) -> Quantity:
    return quantity(value, "K")


def number(value: Quantity, unit: str) -> float:
    return float(value.m_as(unit))


def measured(flow_limit: float, each: float, spread: float = 3.0, flow: float = 0.788) -> heat.Heat:
    return heat.heat_from_flow(
        flow=quantity(flow, "L/s"),
        t_in=quantity(0, "degC"),
        t_out=quantity(-spread, "degC"),
        properties=PG25,
        u_flow=heat.standard_uncertainty(limit=quantity(flow_limit, "percent")),
        u_pair=heat.pair_uncertainty(limit_each=kelvin(each)),
    )


@pytest.mark.parametrize(
    ("kilowatt", "cop", "watts", "flow"),
    [
        (6, 4.3, 4605, 1.391),
        (8, 4.5, 6222, 1.880),
        (12, 4.6, 9391, 2.837),
        (17, 4.4, 13136, 3.969),
        (12, 2.9, 7862, 2.375),
    ],
)
def test_duty_and_flow_of_the_worked_table(kilowatt: float, cop: float, watts: float, flow: float) -> None:
    # m3/h at 3 K, 25 % propylene glycol at 0 degC.
    duty = heat.source_duty(heating=quantity(kilowatt, "kW"), cop=cop)
    assert number(duty, "W") == pytest.approx(watts, abs=0.6)
    assert number(heat.flow_for(duty=duty, spread=kelvin(3), properties=PG25), "m^3/h") == pytest.approx(flow, abs=6e-4)


@given(watts=st.floats(100, 1e6), spread=st.floats(0.1, 50))
def test_flow_and_spread_are_inverse(watts: float, spread: float) -> None:
    flow = heat.flow_for(duty=quantity(watts, "W"), spread=kelvin(spread), properties=PG25)
    back = heat.spread_for(duty=quantity(watts, "W"), flow=flow, properties=PG25)
    assert number(back, "K") == pytest.approx(spread, rel=1e-9)


@pytest.mark.parametrize(
    ("flow_limit", "each", "percent"),
    [(2, 0.05, 4.3), (2, 0.15, 8.8), (5, 0.15, 10.3), (5, 0.30, 17.5), (5, 0.5, 27.9), (10, 0.5, 29.7)],
)
def test_uncertainty_of_the_worked_table(flow_limit: float, each: float, percent: float) -> None:
    found = measured(flow_limit, each)
    assert number(found.duty, "W") == pytest.approx(9390, abs=5)
    assert 100 * found.relative == pytest.approx(percent, abs=0.06)
    assert number(found.expanded, "W") == pytest.approx(2 * number(found.u, "W"))


@pytest.mark.parametrize(("flow_limit", "each"), [(2, 0.15), (5, 0.5)])
def test_uncertainty_against_monte_carlo(flow_limit: float, each: float) -> None:
    # Rectangular errors thrown 400 000 times: the product rule is first order, good to 1 %.
    rng = np.random.default_rng(7)
    n = 400_000

    def thrown(limit: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        return rng.uniform(-limit, limit, n)

    flow = 1 + thrown(flow_limit / 100)
    difference = 3 + thrown(each) - thrown(each)
    duty = 9390 / 3 * flow * difference * (1 + thrown(0.02))
    assert number(measured(flow_limit, each).u, "W") == pytest.approx(float(np.std(duty)), rel=0.01)


def test_forgetting_the_glycol_is_a_bias() -> None:
    # rho cp 3.972 against water 4.194 MJ/m3K at 20 degC: +5.6 %.
    assert number(PG25.volumetric_heat_capacity, "MJ/m^3/K") == pytest.approx(3.972, abs=5e-4)
    assert 100 * (4.194 / number(PG25.volumetric_heat_capacity, "MJ/m^3/K") - 1) == pytest.approx(5.6, abs=0.05)


def test_direction_shows_in_the_sign() -> None:
    cooling = heat.heat_from_flow(
        flow=quantity(0.788, "L/s"),
        t_in=quantity(-3, "degC"),
        t_out=quantity(0, "degC"),
        properties=PG25,
        u_flow=quantity(1, "percent"),
        u_pair=kelvin(0.1),
        u_heat_capacity=quantity(0, ""),
    )
    assert number(cooling.duty, "W") < 0
    assert cooling.relative > 0
    assert cooling.relative == pytest.approx(2 * math.hypot(0.01, 0.1 / 3))


def test_no_difference_no_heat() -> None:
    with pytest.raises(NoSolution):
        measured(2, 0.15, spread=0)
    with pytest.raises(OutOfRange):
        measured(2, 0.15, spread=60)
    with pytest.raises(OutOfRange):
        measured(2, 0.15, flow=0)


def test_a_temperature_is_not_taken_for_a_difference() -> None:
    with pytest.raises(OutOfRange, match="a difference"):
        heat.flow_for(duty=quantity(9, "kW"), spread=quantity(3, "degC"), properties=PG25)
    with pytest.raises(WrongUnit):
        heat.flow_for(duty=9000, spread=kelvin(3), properties=PG25)  # type: ignore[arg-type]


@pytest.mark.parametrize("cop", [1.0, 0.5, 0.0, -3.0, float("nan"), float("inf")])
def test_impossible_cop(cop: float) -> None:
    with pytest.raises(OutOfRange):
        heat.source_duty(heating=quantity(12, "kW"), cop=cop)


def balance(duty: float, expected: float, relative: float = 0.088) -> tuple[Outcome, Cause]:
    made = heat.Heat(quantity(duty, "W"), quantity(duty * relative / 2, "W"), quantity(duty * relative, "W"), relative)
    found = heat.heat_balance(measured=made, expected=quantity(expected, "W"))
    return found.outcome, found.cause


def test_heat_balance() -> None:
    # Room: sqrt((8.8 %)^2 + (10 %)^2) = 13.3 %.
    assert balance(9390, 9391) == (Outcome.PASS, Cause.NONE)
    assert balance(8300, 9391) == (Outcome.PASS, Cause.NONE)
    assert balance(8000, 9391) == (Outcome.FAIL, Cause.FLOW)
    assert balance(11000, 9391)[0] is Outcome.FAIL
    assert balance(9390, 9391, relative=0.201) == (Outcome.CANNOT_TELL, Cause.READINGS)


def test_heat_balance_with_a_stated_expectation() -> None:
    made = heat.Heat(quantity(9000, "W"), quantity(90, "W"), quantity(180, "W"), 0.02)
    strict = heat.heat_balance(measured=made, expected=quantity(9391, "W"), expanded_expected=quantity(100, "W"))
    assert strict.outcome is Outcome.FAIL
    assert "less than expected" in strict.reason


@pytest.mark.parametrize(
    ("base", "w", "bore", "milli"),
    [
        # Two legs in parallel; computed independently for 9 kW at 3 K over 4 loops.
        (Base.ETHANOL, 24.6, 32.6, 86.1),
        (Base.PROPYLENE_GLYCOL, 25, 32.6, 81.2),
        (Base.POTASSIUM_ACETATE, 23.6, 32.6, 25.3),
        (Base.ETHYLENE_GLYCOL, 25, 26.0, 24.6),
        (Base.METHANOL, 20, 26.0, 19.1),
    ],
)
def test_convective_resistance_of_the_worked_table(base: Base, w: float, bore: float, milli: float) -> None:
    mix = fluid.properties(base=base, mass_fraction=quantity(w, "percent"), temperature=quantity(0, "degC"))
    flow = number(heat.flow_for(duty=quantity(9, "kW"), spread=kelvin(3), properties=mix), "L/s")
    assert 1000 * resistance(mix, flow / 4, bore) == pytest.approx(milli, rel=0.005)


def test_convective_resistance_of_water() -> None:
    assert 1000 * resistance(WATER, 0.7135 / 4, 32.6) == pytest.approx(6.4, abs=0.1)


def resistance(properties: fluid.Properties, flow: float, bore: float) -> float:
    found = heat.convective_resistance(
        flow=quantity(flow, "L/s"), bore=quantity(bore, "mm"), properties=properties, legs=2
    )
    return number(found, "K*m/W")


def test_laminar_resistance_does_not_depend_on_flow_or_bore() -> None:
    assert resistance(PG25, 0.02, 20) == pytest.approx(resistance(PG25, 0.1, 50))


def test_resistance_falls_all_the_way_and_without_a_step() -> None:
    flows = np.linspace(0.05, 1.5, 400)
    found = [resistance(PG25, float(f), 32.6) for f in flows]
    assert all(a >= b * 0.999999 for a, b in pairwise(found))
    assert max(a / b for a, b in pairwise(found)) < 1.3


def test_resistance_needs_a_pipe() -> None:
    with pytest.raises(OutOfRange):
        heat.convective_resistance(flow=quantity(1, "L/s"), bore=quantity(30, "mm"), properties=PG25, legs=0)
