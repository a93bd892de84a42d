"""What a test puts on pipe and fittings."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import stress
from calcs.errors import NotKnown, OutOfRange
from calcs.stress import Gauge, Part
from calcs.units import quantity
from calcs.verdict import Cause, Outcome

WATER = quantity(1000, "kg/m^3")


@pytest.mark.parametrize(
    ("rule", "working", "unit", "asked"),
    [
        ("w400_2", 10, "bar", 15),
        ("w400_2", 12, "bar", 17),
        ("minnesota_4725_7050", 40, "psi", 75),
        ("minnesota_4725_7050", 60, "psi", 90),
        ("cfr_49_192_513", 30, "psi", 50),
    ],
)
def test_required_test_pressure(rule: str, working: float, unit: str, asked: float) -> None:
    found = stress.required_test_pressure(rule=rule, working=quantity(working, unit))
    assert found.to(unit).magnitude == pytest.approx(asked)


def test_height_of_the_gauge() -> None:
    # Field form of a US water utility: 0.434 psi per foot of water; 0.0981 bar per metre.
    low = stress.pressure_at_depth(pressure=quantity(0, "bar"), depth=quantity(100, "ft"), density=WATER)
    assert low.to("psi").magnitude == pytest.approx(43.4, abs=0.1)
    high = stress.pressure_at_depth(pressure=quantity(3, "bar"), depth=quantity(-10, "m"), density=WATER)
    assert high.to("bar").magnitude == pytest.approx(3 - 0.981, abs=0.001)


@pytest.mark.parametrize(
    ("depth", "celsius", "outcome", "cause"),
    [
        (100, 10, Outcome.FAIL, Cause.STRENGTH),
        (50, 10, Outcome.PASS, Cause.NONE),
        (50, 40, Outcome.FAIL, Cause.STRENGTH),
    ],
)
def test_lowest_rated_part_governs(depth: float, celsius: float, outcome: Outcome, cause: Cause) -> None:
    found = stress.stress_check(
        pressure=quantity(7.5, "bar"),
        depth=quantity(depth, "m"),
        density=WATER,
        ratings={"pipe PN 20": quantity(20, "bar"), "fitting PN 16": quantity(16, "bar")},
        temperature=quantity(celsius, "degC"),
    )
    assert (found.outcome, found.cause) == (outcome, cause)
    assert "fitting PN 16" in found.reason


def test_derating_is_marked_as_unconfirmed_data() -> None:
    # Published points of the PE 100 de-rating: 20/30/40 degC -> 1.00/0.87/0.74.
    found = [stress.derating(temperature=quantity(t, "degC")) for t in (5, 20, 30, 40)]
    assert found == pytest.approx([1.0, 1.0, 0.87, 0.74])
    with pytest.raises(OutOfRange, match="wall temperature"):
        stress.derating(temperature=quantity(45, "degC"))


def test_gauge_error_is_class_of_span() -> None:
    assert Gauge(quantity(10, "bar"), quantity(0.1, "bar"), 1.6).limit_of_error.to("bar").magnitude == pytest.approx(
        0.16
    )
    with pytest.raises(NotKnown, match=r"1\.6"):
        _ = Gauge(quantity(10, "bar"), quantity(0.1, "bar"), 1.5).limit_of_error
    with pytest.raises(NotKnown, match="Gauge class"):
        _ = Gauge(quantity(10, "bar"), quantity(0.1, "bar")).limit_of_error


def test_air_stores_hundreds_of_times_the_energy_of_water() -> None:
    # Section 8 of the pressure and purge reference: 0.48 kJ against 162 kJ, 340 times.
    held: dict[str, Any] = {"volume": quantity(167, "L"), "pressure": quantity(7.5, "bar")}
    water = stress.stored_energy(**held, compliance=quantity(1.027e-8, "1/Pa")).to("kJ").magnitude
    air = stress.stored_gas_energy(**held).to("kJ").magnitude
    assert air / water == pytest.approx(340, rel=0.02)


def test_unknown_names_are_told() -> None:
    with pytest.raises(NotKnown, match="Rule"):
        stress.required_test_pressure(rule="none", working=quantity(3, "bar"))
    with pytest.raises(NotKnown, match="rating"):
        stress.stress_check(
            pressure=quantity(3, "bar"),
            depth=quantity(0, "m"),
            density=WATER,
            ratings={},
            temperature=quantity(5, "degC"),
        )


@pytest.mark.parametrize(
    ("od", "wall", "grade", "label"),
    [
        (40, 3.7, "pe100", 16),
        (63, 5.8, "pe100", 16),
        (40, 2.4, "pe100", 10),
        (110, 6.6, "pe100", 10),
        (63, 5.8, "pe80", 12.5),
    ],
)
def test_pipe_rating_is_the_printed_pressure(od: float, wall: float, grade: str, label: float) -> None:
    # PE 100 SDR 11 is sold as PN 16 and SDR 17 as PN 10 (read); real walls are a little thicker than the series.
    found = stress.pipe_rating(od=quantity(od, "mm"), wall=quantity(wall, "mm"), grade=grade)
    assert label <= found.to("bar").magnitude * 1.005
    assert found.to("bar").magnitude <= 1.05 * label


def test_pipe_rating_is_the_mean_hoop_stress() -> None:
    # Thick ring by Lame: the mean of the hoop stress over the wall is p r_i / e, which is p (d - 2e)/(2e); ISO adds p/2.
    p = stress.pipe_rating(od=quantity(50, "mm"), wall=quantity(4.6, "mm")).to("MPa").magnitude
    inner, outer = (50 - 9.2) / 2, 25.0
    r = np.linspace(inner, outer, 20001)
    hoop = p * inner**2 / (outer**2 - inner**2) * (1 + outer**2 / r**2)
    assert float(np.mean(hoop)) + p / 2 == pytest.approx(8.0, rel=1e-4)


PIPE = Part("loop pipe", quantity(16, "bar"), below=quantity(100, "m"), plastic=True, stays=True)
MANIFOLD = Part("manifold", quantity(10, "bar"), stays=True)
RELIEF, VESSEL = Part("relief valve", quantity(3, "bar")), Part("vessel", quantity(6, "bar"))
HEAT_PUMP = Part("heat pump", quantity(10, "bar"), below=quantity(-2, "m"))


def isolation(pressure: float, parts: list[Part], celsius: float = 10.0) -> stress.Isolation:
    return stress.isolate_first(
        pressure=quantity(pressure, "bar"), density=WATER, parts=parts, temperature=quantity(celsius, "degC")
    )


def test_what_to_shut_off_first_is_a_list_of_names() -> None:
    found = isolation(6.1, [PIPE, MANIFOLD, VESSEL, RELIEF, HEAT_PUMP])
    assert found.isolate == ("relief valve", "vessel")
    assert found.verdict.outcome is Outcome.WARN
    assert "relief valve, vessel" in found.verdict.reason
    # 16 bar less 100 m of water is what the gauge may show.
    assert found.governing == "loop pipe"
    assert found.allowed.to("bar").magnitude == pytest.approx(16 - 9.80665, abs=1e-4)


@pytest.mark.parametrize(
    ("pressure", "celsius", "parts", "outcome"),
    [
        (6.0, 10, [PIPE, MANIFOLD], Outcome.PASS),
        (6.2, 10, [PIPE, MANIFOLD], Outcome.FAIL),
        (6.0, 30, [PIPE, MANIFOLD], Outcome.FAIL),
        (9.0, 10, [MANIFOLD, HEAT_PUMP], Outcome.PASS),
        (2.5, 10, [MANIFOLD, RELIEF], Outcome.PASS),
    ],
)
def test_the_part_that_stays_decides(pressure: float, celsius: float, parts: list[Part], outcome: Outcome) -> None:
    found = isolation(pressure, parts, celsius)
    assert found.verdict.outcome is outcome
    assert (pressure <= found.allowed.to("bar").magnitude) is (outcome is Outcome.PASS)


@given(st.floats(0, 12), st.floats(-20, 100), st.floats(5, 38))
def test_isolation_agrees_with_the_single_check(pressure: float, depth: float, celsius: float) -> None:
    part = Part("pipe", quantity(16, "bar"), below=quantity(depth, "m"), plastic=True, stays=True)
    one = stress.stress_check(
        pressure=quantity(pressure, "bar"),
        depth=quantity(depth, "m"),
        density=WATER,
        ratings={"pipe": quantity(16, "bar")},
        temperature=quantity(celsius, "degC"),
    )
    assert isolation(pressure, [part], celsius).verdict.outcome is one.outcome


def test_parts_must_be_told_apart_and_one_must_stay() -> None:
    with pytest.raises(NotKnown, match="own name"):
        isolation(5, [MANIFOLD, MANIFOLD])
    with pytest.raises(NotKnown, match="rating"):
        isolation(5, [RELIEF])
    with pytest.raises(NotKnown, match="rating"):
        isolation(5, [])


@pytest.mark.parametrize(
    ("span", "step", "pressure", "outcome"),
    [
        (10, 0.1, 6, Outcome.PASS),
        (10, 0.1, 2, Outcome.WARN),
        (10, 0.1, 8, Outcome.WARN),
        (6, 0.1, 6.5, Outcome.FAIL),
        (16, 2.0, 6, Outcome.FAIL),
    ],
)
def test_gauge_suits(span: float, step: float, pressure: float, outcome: Outcome) -> None:
    gauge = Gauge(quantity(span, "bar"), quantity(step, "bar"), 1.6)
    found = stress.gauge_suits(gauge=gauge, pressure=quantity(pressure, "bar"))
    assert found.outcome is outcome
    assert found.figures[0].u == pytest.approx(0.016 * span / 3**0.5)
