"""Friction in one pipe against handbook examples, measured pipe and an independent library."""

from __future__ import annotations

import pickle
from typing import Any

import fluids
import numpy as np
import pytest
from fluids.friction import Churchill_1977, oregon_smooth_data
from hypothesis import given
from hypothesis import strategies as st

from calcs import friction
from calcs._darcy import Law, factor_and_slope
from calcs.errors import NotKnown, OutOfRange, WrongUnit
from calcs.friction import Regime
from calcs.units import quantity

WATER: dict[str, Any] = {"density": quantity(999.7026, "kg/m^3"), "viscosity": quantity(1.3061, "mm^2/s")}
PG25: dict[str, Any] = {"density": quantity(1025.81, "kg/m^3"), "viscosity": quantity(5.376295, "mm^2/s")}


def drop(flow_l_s: float, fluid: dict[str, Any] = WATER, length: float = 1.0, bore: float = 26.0) -> friction.Drop:
    return friction.pressure_drop(
        flow=quantity(flow_l_s, "L/s"), length=quantity(length, "m"), bore=quantity(bore, "mm"), **fluid
    )


def factor(re: float, rel: float, law: Law = Law.COLEBROOK) -> float:
    return float(friction.friction_factor(reynolds=re, relative_roughness=rel, law=law))


@pytest.mark.parametrize("re", [4000.0, 5e3, 1e4, 3e4, 1e5, 2e6])
@pytest.mark.parametrize("rel", [0.0, 1e-5, 2.7e-4, 1e-3, 0.02])
def test_turbulent_factor_is_colebrook_as_solved_by_fluids(re: float, rel: float) -> None:
    # fluids 1.3 solves Colebrook by an independent method (Lambert W with a high-precision fallback).
    assert factor(re, rel) == pytest.approx(fluids.friction.Colebrook(re, rel), rel=1e-12)


@pytest.mark.parametrize("re", [300.0, 2300.0, 3000.0, 1e4, 1e6])
def test_conservative_law_is_churchill_as_in_fluids(re: float) -> None:
    assert factor(re, 2.7e-4, Law.CHURCHILL) == pytest.approx(Churchill_1977(re, 2.7e-4), rel=1e-12)


@pytest.mark.parametrize(
    ("re", "cubic_epanet", "cubic"),
    [(2300, 0.02919, 0.02914), (2500, 0.02918, 0.02905), (3000, 0.03322, 0.03282), (3500, 0.03887, 0.03822)],
)
def test_transition_cubic(re: float, cubic_epanet: float, cubic: float) -> None:
    # Table of hydraulics reference section 2 (26 mm, 7 um), computed beside EPANET 2.2's source.
    rel = 7e-6 / 0.026
    assert factor(re, rel, Law.EPANET) == pytest.approx(cubic_epanet, abs=6e-6)
    assert factor(re, rel) == pytest.approx(cubic, abs=6e-6)


def test_transition_against_measured_smooth_pipe() -> None:
    # 59 points of one laboratory pipe (Oregon/Princeton data shipped with fluids): worst 21 % between 2300 and 4000.
    measured = list(zip(*oregon_smooth_data, strict=True))
    between = [factor(re, 0.0) / f - 1 for re, f in measured if 2300 < re < 4000]
    above = [factor(re, 0.0) / f - 1 for re, f in measured if 1e4 < re < 1e5]
    assert len(between) == 11
    assert max(abs(error) for error in between) < 0.22
    assert max(abs(error) for error in above) < 0.05


@pytest.mark.parametrize("law", list(Law))
def test_slope_is_the_derivative(law: Law) -> None:
    re = np.array([50.0, 1500.0, 2500.0, 3900.0, 4100.0, 1e4, 1e5])
    rel = np.full_like(re, 3e-4)
    step = re * 1e-6
    numeric = (factor_and_slope(re + step, rel, law)[0] - factor_and_slope(re - step, rel, law)[0]) / (2 * step)
    np.testing.assert_allclose(factor_and_slope(re, rel, law)[1], numeric, rtol=2e-6, atol=1e-15)


@pytest.mark.parametrize("end", [2000.0, 4000.0])
def test_factor_is_continuous_where_the_laws_meet(end: float) -> None:
    assert factor(end * (1 - 1e-9), 3e-4) == pytest.approx(factor(end * (1 + 1e-9), 3e-4), rel=1e-8)


def test_crane_example_7_1() -> None:
    # Crane TP-410 7.1: water at 30 degC, 200 L/min through 50 mm plastic: Re 100 600, f 0.0179.
    found = friction.pressure_drop(
        flow=quantity(200, "L/min"),
        length=quantity(100, "m"),
        bore=quantity(52.5, "mm"),
        roughness=quantity(1.5, "um"),
        density=quantity(995.65, "kg/m^3"),
        viscosity=quantity(0.7975, "mPa*s"),
    )
    assert found.reynolds == pytest.approx(100_600, rel=0.005)
    assert found.friction_factor == pytest.approx(0.0179, rel=0.015)


def test_white_example_6_7() -> None:
    # White, Fluid Mechanics, 6.7: oil 0.2 m3/s, 500 m of 200 mm, eps 0.26 mm: V 6.4 m/s, Re 128 000, f 0.0225, 117 m.
    found = friction.pressure_drop(
        flow=quantity(0.2, "m^3/s"),
        length=quantity(500, "m"),
        bore=quantity(200, "mm"),
        roughness=quantity(0.26, "mm"),
        density=quantity(900, "kg/m^3"),
        viscosity=quantity(1e-5, "m^2/s"),
    )
    assert found.velocity.to("m/s").magnitude == pytest.approx(6.4, rel=0.01)
    assert found.reynolds == pytest.approx(128_000, rel=0.01)
    assert found.pressure_drop.to("Pa").magnitude / 900 / 9.81 == pytest.approx(117, rel=0.02)


def test_fittings_add_velocity_heads() -> None:
    bare = drop(0.3, length=50)
    fitted = friction.pressure_drop(
        flow=quantity(0.3, "L/s"), length=quantity(50, "m"), bore=quantity(26, "mm"), fittings_k=4, **WATER
    )
    speed = 0.3e-3 / (np.pi / 4 * 0.026**2)
    added = (fitted.pressure_drop - bare.pressure_drop).to("Pa").magnitude
    assert added == pytest.approx(4 * 999.7026 * speed**2 / 2, rel=1e-9)


def test_dynamic_viscosity_gives_the_same_drop() -> None:
    dynamic: dict[str, Any] = {"density": PG25["density"], "viscosity": quantity(5.376295e-6 * 1025.81, "Pa*s")}
    assert drop(0.3, dynamic).pressure_drop.magnitude == pytest.approx(
        drop(0.3, PG25).pressure_drop.magnitude, rel=1e-12
    )


def test_conservative_drop_matters_in_transition() -> None:
    # Churchill against the cubic at Re 3000: 0.04317 / 0.03282 (hydraulics reference section 2).
    winter = drop(0.3294, PG25)
    assert winter.regime is Regime.TRANSITION
    ratio = (winter.conservative_pressure_drop / winter.pressure_drop).to("").magnitude
    assert ratio == pytest.approx(0.04317 / 0.03282, rel=0.002)


def test_no_flow_has_no_drop() -> None:
    assert drop(0.0).pressure_drop.magnitude == pytest.approx(0.0, abs=1e-9)


@given(st.floats(1e-4, 5.0), st.floats(1.0001, 1.5), st.floats(10, 150), st.floats(0.8, 40.0))
def test_drop_grows_with_flow(flow: float, more: float, bore: float, viscosity: float) -> None:
    fluid: dict[str, Any] = {"density": quantity(1000, "kg/m^3"), "viscosity": quantity(viscosity, "mm^2/s")}
    low, high = drop(flow, fluid, bore=bore), drop(flow * more, fluid, bore=bore)
    assert high.pressure_drop.magnitude > low.pressure_drop.magnitude
    assert high.conservative_pressure_drop.magnitude > low.conservative_pressure_drop.magnitude
    assert low.conservative_pressure_drop.magnitude >= low.pressure_drop.magnitude


def test_regime_ends() -> None:
    found = [friction.regime(re) for re in (0.0, 2000.0, 2000.1, 3999.9, 4000.0)]
    assert [kind.value for kind in found] == ["laminar", "laminar", "transition", "transition", "turbulent"]


@pytest.mark.parametrize(
    "change",
    [
        {"bore": quantity(0, "mm")},
        {"length": quantity(-1, "m")},
        {"flow": quantity(-0.1, "L/s")},
        {"flow": quantity(float("nan"), "L/s")},
        {"roughness": quantity(2, "mm")},
        {"fittings_k": -1.0},
        {"viscosity": quantity(0, "mm^2/s")},
    ],
)
def test_out_of_range_is_named(change: dict[str, Any]) -> None:
    usual: dict[str, Any] = {
        "flow": quantity(0.3, "L/s"),
        "length": quantity(10, "m"),
        "bore": quantity(26, "mm"),
        **WATER,
    }
    with pytest.raises(OutOfRange) as caught:
        friction.pressure_drop(**(usual | change))
    again = pickle.loads(pickle.dumps(caught.value))  # noqa: S301
    assert str(again) == str(caught.value)


def test_wrong_units_and_materials_are_named() -> None:
    with pytest.raises(WrongUnit, match="flow"):
        friction.pressure_drop(flow=quantity(1, "m/s"), length=quantity(1, "m"), bore=quantity(26, "mm"), **WATER)
    with pytest.raises(WrongUnit, match="viscosity"):
        friction.reynolds(flow=quantity(1, "L/s"), bore=quantity(26, "mm"), viscosity=quantity(1, "mPa*s"))
    with pytest.raises(NotKnown, match="PE"):
        friction.default_roughness("polyethylene")


def test_roughness_default_says_what_it_is() -> None:
    assert friction.default_roughness().to("um").magnitude == pytest.approx(7.0)
    assert "house default" in friction.roughness_source().label


def test_array_of_factors_keeps_its_shape() -> None:
    found = friction.friction_factor(reynolds=np.array([[500.0, 3e3], [1e4, 1e5]]), relative_roughness=1e-4)
    assert isinstance(found, np.ndarray)
    assert found.shape == (2, 2)
    assert found[0, 0] == pytest.approx(64 / 500)
