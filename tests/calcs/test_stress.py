"""What a test puts on pipe and fittings."""

from __future__ import annotations

from typing import Any

import pytest

from calcs import stress
from calcs.errors import NotKnown, OutOfRange
from calcs.stress import Gauge
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
