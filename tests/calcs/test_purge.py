"""Purge flows, the plan of a purge and the judging of a run."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import friction, purge
from calcs.errors import NoSolution, OutOfRange
from calcs.network import Branch, PointsPump
from calcs.purge import PurgeLimits
from calcs.units import quantity
from calcs.verdict import Cause, Outcome

WATER: dict[str, Any] = {"density": quantity(999.7026, "kg/m^3"), "viscosity": quantity(1.3061, "mm^2/s")}


def loop(name: str = "L1", length: float = 200.0, bore: float = 26.0) -> Branch:
    return Branch(quantity(length, "m"), quantity(bore, "mm"), fittings_k=4, name=name)


def header(bore: float, length: float = 60.0) -> Branch:
    return Branch(quantity(length, "m"), quantity(bore, "mm"), name="main header")


@pytest.mark.parametrize(
    ("bore", "litres_per_minute"),
    [(20.4, 11.8), (26.0, 19.1), (32.6, 30.0), (35.2, 35.0), (40.8, 47.1), (51.4, 74.7), (73.6, 153.2), (130.8, 483.7)],
)
def test_flow_for_usual_pipe(bore: float, litres_per_minute: float) -> None:
    # Table 4.2 of the pressure and purge reference (geometry); trade figures agree.
    found = purge.flow_for(bore=quantity(bore, "mm"), velocity=quantity(0.6, "m/s"))
    assert found.to("L/min").magnitude == pytest.approx(litres_per_minute, rel=0.005)


@pytest.mark.parametrize(("bore", "gpm"), [(21.84, 3.6), (27.30, 5.7), (34.49, 9.0), (72.75, 40.2), (137.69, 143.9)])
def test_flow_for_two_feet_per_second_in_us_pipe(bore: float, gpm: float) -> None:
    # US trade figures at 2 ft/s, table of the hydraulics reference section 6.
    found = purge.flow_for(bore=quantity(bore, "mm"), velocity=quantity(2, "ft/s"))
    assert found.to("gpm").magnitude == pytest.approx(gpm, abs=0.06)


@pytest.mark.parametrize(
    ("bore", "slope", "speed"),
    [
        (26.0, 90, 0.54),
        (32.6, 90, 0.61),
        (40.8, 90, 0.68),
        (73.6, 90, 0.91),
        (90.0, 90, 1.01),
        (32.6, 0, 0.47),
        (90.0, 0, 0.78),
    ],
)
def test_clearing_velocity(bore: float, slope: float, speed: float) -> None:
    # Section 4.3 of the pressure and purge reference (formula read from a pumping-station handbook).
    found = purge.clearing_velocity(bore=quantity(bore, "mm"), slope=quantity(slope, "degree"))
    assert found.to("m/s").magnitude == pytest.approx(speed, abs=0.006)


def test_velocity_is_the_inverse_of_flow() -> None:
    flow = purge.flow_for(bore=quantity(26, "mm"), velocity=quantity(0.6, "m/s"))
    assert purge.velocity_of(flow=flow, bore=quantity(26, "mm")).to("m/s").magnitude == pytest.approx(0.6)


def test_one_loop_is_easy_and_does_not_purge_the_header() -> None:
    # Section 6 of the hydraulics reference: 42.2 kPa + 0.6 kPa (2 x 30 m of 51.4 mm), header at 0.154 m/s.
    found = purge.plan(loops=[loop()], header=[header(51.4)], **WATER)
    bare = found.loops[0].pressure.to("kPa").magnitude - 25.0
    assert bare == pytest.approx(42.8, abs=0.2)
    assert found.header[0].velocity_one_loop.to("m/s").magnitude == pytest.approx(0.154, abs=0.001)
    assert any("purge the header as well" in line for line in found.warnings)


@pytest.mark.parametrize(("bore", "opened"), [(32.6, 1), (40.8, 2), (51.4, 2), (61.4, 3), (73.6, 4), (90.0, 6)])
def test_loops_to_open_within_200_kpa(bore: float, opened: int) -> None:
    # Section 6 of the hydraulics reference (2 x 30 m of header): circuits open to stay at or below 200 kPa.
    pump = PointsPump(quantity(np.array([0.0, 30.0]), "m^3/h"), quantity(np.array([200.001, 200.0]), "kPa"))
    limits = PurgeLimits(quantity(0.6, "m/s"), quantity(15, "min"), 3.0, hose_drop=quantity(0, "Pa"))
    loops = [loop(f"L{index}") for index in range(8)]
    found = purge.plan(loops=loops, header=[header(bore)], limits=limits, pump=pump, **WATER)
    assert found.header[0].loops_open == opened


def test_time_is_the_longer_of_minutes_and_turnovers() -> None:
    found = purge.plan(loops=[loop(length=100), loop(length=400)], header=[], **WATER)
    assert found.loops[0].time.to("min").magnitude == pytest.approx(15.0)
    assert found.loops[0].turnovers == pytest.approx(15 * 60 * 0.6 / 100)
    assert found.loops[1].turnovers == pytest.approx(3.0)
    assert found.total_time.to("min").magnitude == pytest.approx(15 + 3 * 400 / 0.6 / 60)


def test_small_pump_is_told() -> None:
    pump = PointsPump(quantity(np.array([0.0, 2.0]), "m^3/h"), quantity(np.array([40.0, 10.0]), "kPa"))
    found = purge.plan(loops=[loop()], header=[header(73.6)], pump=pump, **WATER)
    assert found.loops[0].pump_suffices is False
    assert found.header[0].loops_open is None
    assert any("too small for loop L1" in line for line in found.warnings)
    assert any("cannot purge main header" in line for line in found.warnings)


def test_large_header_going_down_is_told() -> None:
    assert any("downhill" in line for line in purge.plan(loops=[loop()], header=[header(51.4)], **WATER).warnings)
    assert not any("downhill" in line for line in purge.plan(loops=[loop()], header=[header(32.6)], **WATER).warnings)


@given(st.floats(5, 600), st.sampled_from([20.4, 26.0, 32.6]), st.sampled_from([40.8, 73.6]))
def test_loop_pressure_is_loop_and_header_and_hoses(length: float, bore: float, wide: float) -> None:
    found = purge.plan(loops=[loop(length=length, bore=bore)], header=[header(wide)], **WATER).loops[0]
    parts = [
        friction.pressure_drop(
            flow=found.flow, length=branch.length, bore=branch.bore, fittings_k=branch.fittings_k, **WATER
        )
        for branch in (loop(length=length, bore=bore), header(wide))
    ]
    total = sum(part.pressure_drop.to("kPa").magnitude for part in parts) + 25.0
    assert found.pressure.to("kPa").magnitude == pytest.approx(total, rel=1e-9)


@pytest.mark.parametrize(
    ("velocity", "minutes", "turnovers", "outcome", "cause"),
    [
        (0.65, 13, 4, Outcome.FAIL, Cause.DURATION),
        (0.55, 30, 4, Outcome.FAIL, Cause.FLOW),
        (0.65, 16, 2, Outcome.FAIL, Cause.DURATION),
        (0.65, 16, 4, Outcome.PASS, Cause.NONE),
    ],
)
def test_judge_run(velocity: float, minutes: float, turnovers: float, outcome: Outcome, cause: Cause) -> None:
    found = purge.judge_run(
        velocity=quantity(velocity, "m/s"), after_last_bubble=quantity(minutes, "min"), turnovers=turnovers
    )
    assert (found.outcome, found.cause) == (outcome, cause)


def test_bad_input_is_named() -> None:
    with pytest.raises(NoSolution, match="no loop"):
        purge.plan(loops=[], header=[], **WATER)
    with pytest.raises(OutOfRange, match="slope"):
        purge.clearing_velocity(bore=quantity(40, "mm"), slope=quantity(120, "degree"))
    with pytest.raises(OutOfRange, match="bore"):
        purge.flow_for(bore=quantity(0, "mm"), velocity=quantity(0.6, "m/s"))
