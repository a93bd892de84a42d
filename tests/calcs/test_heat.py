"""Heat: energy balance, uncertainty against Monte Carlo, verdicts; pumping power, means and steadiness."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress

from calcs import fluid, heat
from calcs.base import Base
from calcs.errors import NoSolution, OutOfRange, WrongUnit
from calcs.sources import Status
from calcs.units import Quantity, quantity
from calcs.verdict import Cause, Outcome, Verdict

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


@pytest.mark.parametrize(
    ("efficiency", "watts", "percent", "kwh"),
    [(0.25, 182, 1.5, 437), (0.30, 152, 1.3, 364), (0.40, 114, 0.95, 273), (0.50, 91, 0.76, 218)],
)
def test_pumping_power_of_the_worked_table(efficiency: float, watts: float, percent: float, kwh: float) -> None:
    # Section 5 of the hydraulics reference: 0.788 L/s at 57.7 kPa (45.5 W hydraulic), 12 kW, 2400 h.
    found = pumping(efficiency)
    assert number(found.hydraulic, "W") == pytest.approx(45.5, abs=0.05)
    assert number(found.electric, "W") == pytest.approx(watts, abs=0.6)
    assert 100 * found.share == pytest.approx(percent, abs=0.05)
    assert number(found.energy, "kWh") == pytest.approx(kwh, abs=1)


def pumping(efficiency: float, hours: float = 2400.0, kilowatt: float = 12.0) -> heat.Pumping:
    return heat.pumping_power(
        flow=quantity(0.788, "L/s"),
        pressure_drop=quantity(57.7, "kPa"),
        efficiency=efficiency,
        heating=quantity(kilowatt, "kW"),
        run_time=quantity(hours, "hour"),
    )


def test_a_pump_that_never_stops() -> None:
    # The same section: 8760 h x 114 W, printed as 1000 kWh.
    assert number(pumping(0.40, hours=8760).energy, "kWh") == pytest.approx(1000, rel=0.005)


@pytest.mark.parametrize(
    ("kilowatt", "u", "outcome"),
    [
        (12, 15.0, Outcome.PASS),
        (6.2, 15.0, Outcome.CANNOT_TELL),
        (6.2, 0.5, Outcome.PASS),
        (6.0, 0.5, Outcome.FAIL),
        (4.0, 15.0, Outcome.FAIL),
    ],
)
def test_pumping_share(kilowatt: float, u: float, outcome: Outcome) -> None:
    # 152 W over 6.08 kW is 2.5 %, the house's limit.
    found = heat.judge_pumping(pumping=pumping(0.30, kilowatt=kilowatt), u=quantity(u, "percent"))
    assert found.outcome is outcome, found.reason
    assert bool(found.way_out) is (outcome is Outcome.CANNOT_TELL)
    assert found.source.status is Status.HOUSE_DEFAULT


def test_efficiencies_carry_their_source() -> None:
    # ARI 330: 0.8 W per gpm and foot (read), which is 23.6 %.
    found = heat.pump_efficiencies()
    penalty = heat.efficiency_of_penalty(power=quantity(0.8, "W"), flow=quantity(1, "gpm"), head=quantity(1, "ft"))
    assert found["ari_330"].value == pytest.approx(penalty, abs=1e-4)
    assert all(row.source.text and 0.1 < row.value < 0.6 for row in found.values())


@given(st.floats(0.3, 1.5))
def test_affinity_keeps_the_efficiency(ratio: float) -> None:
    full = heat.Duty(quantity(1, "L/s"), quantity(6, "m"), quantity(120, "W"))
    slow = heat.at_speed(duty=full, ratio=ratio)
    assert number(slow.flow * slow.head / slow.power, "m^4/s/W") == pytest.approx(
        number(full.flow * full.head / full.power, "m^4/s/W")
    )


def test_mean_against_numbers_thrown() -> None:
    # 20 000 means of nine readings: their scatter is the u that one mean tells, on average.
    rng = np.random.default_rng(3)
    thrown = rng.normal(20.0, 0.6, (20_000, 9))
    told = [heat.mean_of(readings=quantity(row, "L/min")) for row in thrown[:400]]
    assert np.sqrt(np.mean([number(one.u, "L/min") ** 2 for one in told])) == pytest.approx(0.2, rel=0.04)
    assert float(np.std(np.mean(thrown, axis=1))) == pytest.approx(0.2, rel=0.02)


def test_reading_again_never_beats_the_instrument() -> None:
    many = heat.mean_of(readings=quantity(np.full(100, 3.0), "L/s"), u=quantity(0.06, "L/s"))
    assert number(many.u, "L/s") == pytest.approx(0.06)
    cold = heat.mean_of(readings=quantity(np.array([-1.0, -1.2]), "degC"), u=kelvin(0.1))
    assert number(cold.value, "degC") == pytest.approx(-1.1)
    assert number(cold.u, "K") == pytest.approx(math.hypot(0.1, 0.1))
    difference = heat.mean_of(readings=quantity(np.array([3.0, 3.2]), "K"))
    assert number(difference.value, "K") == pytest.approx(3.1)
    with pytest.raises(OutOfRange):
        heat.mean_of(readings=quantity(np.array([3.0]), "K"))
    with pytest.raises(WrongUnit):
        heat.mean_of(readings=3.0)  # type: ignore[arg-type]


def watched(minutes: list[float], celsius: list[float], step: float = 0.1) -> Verdict:
    return heat.steadiness(
        times=quantity(np.array(minutes), "min"),
        temperatures=quantity(np.array(celsius), "degC"),
        resolution=kelvin(step),
    )


def test_drift_is_that_of_scipy() -> None:
    minutes, celsius = [0.0, 5, 10, 15, 20, 25], [-1.0, -1.15, -1.1, -1.3, -1.35, -1.5]
    line = linregress(minutes, celsius)
    figure = watched(minutes, celsius, step=0.01).figures[0]
    assert figure.value == pytest.approx(25 * line.slope)
    assert figure.u == pytest.approx(25 * line.stderr)


@pytest.mark.parametrize(
    ("minutes", "celsius", "step", "outcome", "cause"),
    [
        ([0, 5, 10, 15, 20], [-1.0, -1.1, -1.0, -1.0, -1.1], 0.1, Outcome.PASS, Cause.NONE),
        ([0, 5, 10, 15, 20], [-1.0, -1.3, -1.6, -1.9, -2.2], 0.1, Outcome.FAIL, Cause.TEMPERATURE),
        ([0, 10, 20], [-1.0, -1.1, -1.3], 0.1, Outcome.CANNOT_TELL, Cause.READINGS),
        ([0, 10, 20], [-1.0, -1.0, -1.0], 1.0, Outcome.CANNOT_TELL, Cause.READINGS),
        ([0, 3, 6], [-1.0, -1.0, -1.0], 0.1, Outcome.CANNOT_TELL, Cause.DURATION),
        ([0, 20], [-1.0, -1.0], 0.1, Outcome.CANNOT_TELL, Cause.DURATION),
    ],
)
def test_steadiness(minutes: list[float], celsius: list[float], step: float, outcome: Outcome, cause: Cause) -> None:
    found = watched(minutes, celsius, step)
    assert (found.outcome, found.cause) == (outcome, cause), found.figures
    assert bool(found.way_out) is (outcome is Outcome.CANNOT_TELL)


def test_readings_need_their_times() -> None:
    with pytest.raises(OutOfRange, match="times"):
        watched([0, 5], [1, 2, 3])
    with pytest.raises(OutOfRange, match="times"):
        watched([0, 10, 10], [1, 2, 3])
