"""Fusion joints: the published socket table, tool temperatures, and the two clocks after fusion."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import joint
from calcs.errors import NotKnown, OutOfRange, Unsuitable
from calcs.joint import Method, Told
from calcs.sources import Status, table
from calcs.units import Quantity, quantity
from calcs.verdict import Cause, Outcome


def mm(value: float) -> Quantity:
    return quantity(value, "mm")


def s(value: float) -> Quantity:
    return quantity(value, "s")


def minutes(value: float) -> Quantity:
    return quantity(value, "min")


@pytest.mark.parametrize(
    ("od", "low", "high", "hold"),
    [
        (25, 6, 10, 30),
        (32, 15, 17, 30),
        (40, 18, 21, 60),
        (50, 20, 23, 60),
        (63, 24, 28, 60),
        (75, 24, 28, 60),
        (90, 28, 32, 75),
        (110, 32, 37, 75),
    ],
)
def test_socket_times_are_those_of_the_reprint(od: float, low: float, high: float, hold: float) -> None:
    # ASTM F2620 as reprinted in a tool maker's manual (read); 5 min before any stress.
    found = joint.socket_times(od=mm(od))
    assert [value.m_as("s") for value in (found.heat_low, found.heat_high, found.hold)] == [low, high, hold]
    assert found.before_stress.m_as("min") == 5
    clock = joint.cooling(method=Method.SOCKET, od=mm(od))
    assert clock.move.m_as("s") == pytest.approx(hold)
    assert clock.pressurise.m_as("s") == pytest.approx(hold + 300)
    assert clock.source.status is Status.READ


def test_no_figure_from_memory_decides_a_joint() -> None:
    rows = [*table("socket_fusion"), *table("joint")]
    assert {row["status"] for row in rows} == {"read"}


@pytest.mark.parametrize(
    ("heated", "held", "outcome"),
    [
        (18, 60, Outcome.PASS),
        (21, 90, Outcome.PASS),
        (17, 60, Outcome.FAIL),
        (22, 60, Outcome.FAIL),
        (20, 59, Outcome.FAIL),
    ],
)
def test_one_socket(heated: float, held: float, outcome: Outcome) -> None:
    found = joint.check_socket(od=mm(40), heated=s(heated), held=s(held))
    assert found.outcome is outcome
    assert ("cut it out" in found.reason) is (outcome is Outcome.FAIL)


@pytest.mark.parametrize(
    ("method", "celsius", "u", "outcome"),
    [
        # 254 to 266 degC and 204 to 232 degC as read.
        (Method.SOCKET, 260, 1, Outcome.PASS),
        (Method.SOCKET, 256, 1, Outcome.CANNOT_TELL),
        (Method.SOCKET, 248, 1, Outcome.FAIL),
        (Method.SOCKET, 270, 1, Outcome.FAIL),
        (Method.BUTT, 218, 2, Outcome.PASS),
        (Method.BUTT, 195, 2, Outcome.FAIL),
    ],
)
def test_tool_temperature(method: Method, celsius: float, u: float, outcome: Outcome) -> None:
    found = joint.check_tool(method=method, temperature=quantity(celsius, "degC"), u=quantity(u, "kelvin"))
    assert found.outcome is outcome
    assert bool(found.way_out) is (outcome is Outcome.CANNOT_TELL)


def test_electrofusion_has_no_tool() -> None:
    with pytest.raises(Unsuitable, match="label"):
        joint.tool_temperature(method=Method.ELECTROFUSION)


def test_electrofusion_and_butt_go_by_what_is_told() -> None:
    label = Told(minutes(10), minutes(30), "label of the fitting")
    found = joint.cooling(method=Method.ELECTROFUSION, told=label)
    assert (found.move.m_as("min"), found.pressurise.m_as("min"), found.source.text) == (10, 30, "label of the fitting")
    for method in (Method.ELECTROFUSION, Method.BUTT):
        with pytest.raises(NotKnown, match="label"):
            joint.cooling(method=method)


def test_the_longer_time_holds_for_a_socket() -> None:
    longer = joint.cooling(method=Method.SOCKET, od=mm(40), told=Told(minutes(2), minutes(10), "maker's sheet"))
    shorter = joint.cooling(method=Method.SOCKET, od=mm(40), told=Told(minutes(0.5), minutes(2), "maker's sheet"))
    assert (longer.move.m_as("min"), longer.pressurise.m_as("min"), longer.source.text) == (2, 10, "maker's sheet")
    assert (shorter.move.m_as("min"), shorter.pressurise.m_as("min")) == (1, 6)


def test_pressure_never_before_moving() -> None:
    found = joint.cooling(method=Method.BUTT, told=Told(minutes(12), minutes(5), "table of the machine"))
    assert found.pressurise.m_as("min") == 12


@given(st.floats(0, 100), st.floats(0, 60), st.floats(0, 60))
def test_the_clocks_run_down(gone: float, move: float, more: float) -> None:
    clock = joint.cooling(method=Method.BUTT, told=Told(minutes(move), minutes(move + more), "table"))
    left = joint.waiting(cooling=clock, elapsed=minutes(gone))
    assert left.move_left.m_as("min") == pytest.approx(max(0, move - gone))
    assert left.pressurise_left.m_as("min") == pytest.approx(max(0, move + more - gone))
    outcome = left.verdict.outcome
    assert (outcome is Outcome.PASS) is (left.pressurise_left.magnitude == 0)
    assert (outcome is Outcome.FAIL) is (left.move_left.magnitude > 0)
    assert outcome is Outcome.PASS or left.verdict.cause is Cause.DURATION


def test_a_mechanical_joint_is_ready_at_once() -> None:
    clock = joint.cooling(method=Method.MECHANICAL)
    assert joint.waiting(cooling=clock, elapsed=minutes(0)).verdict.outcome is Outcome.PASS


def test_what_is_not_in_the_table_is_named() -> None:
    with pytest.raises(NotKnown, match="25, 32, 40"):
        joint.socket_times(od=mm(42))
    with pytest.raises(NotKnown, match="diameter"):
        joint.cooling(method=Method.SOCKET)
    with pytest.raises(OutOfRange):
        joint.waiting(cooling=joint.cooling(method=Method.MECHANICAL), elapsed=minutes(-1))
