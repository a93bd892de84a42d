"""Balancing: valves against EPANET and the fluids library, the price, two levels, indicators and the judged spread."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import fluids
import fluids.control_valve
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq, fsolve

from calcs import balance
from calcs._darcy import Law
from calcs.balance import Indicator, Manifold
from calcs.errors import NoSolution, NotKnown, OutOfRange
from calcs.network import Branch, Branches, star
from calcs.units import Quantity, quantity
from calcs.verdict import Cause, Outcome
from tests.calcs import epanet

BRINE: dict[str, Any] = {"density": quantity(1025.81, "kg/m^3"), "viscosity": quantity(5.376295, "mm^2/s")}
WATER15: dict[str, Any] = {"density": quantity(999.1, "kg/m^3"), "viscosity": quantity(1.139, "mm^2/s")}
LENGTHS = (160, 180, 200, 220, 240, 280)
BORE = 0.026


def loops(lengths: Sequence[float], bore: float = 26.0) -> list[Branch]:
    return [Branch(quantity(length, "m"), quantity(bore, "mm"), fittings_k=4) for length in lengths]


def array(values: Sequence[float], unit: str) -> Quantity:
    return quantity(np.array(values, dtype=float), unit)


def equal(total: float = 2.1, count: int = 6) -> Quantity:
    return balance.equal_flows(total=quantity(total, "L/s"), loops=count)


MADE = balance.settings(loops=loops(LENGTHS), flows=equal(), **BRINE)


@given(st.floats(0.05, 5), st.floats(1, 100), st.floats(900, 1200))
def test_kv_is_that_of_the_fluids_library(litres: float, kilopascal: float, density: float) -> None:
    # Kv -> K of an outside library, and the drop of that K.
    kv = balance.flow_coefficient(
        flow=quantity(litres, "L/s"), pressure_drop=quantity(kilopascal, "kPa"), density=quantity(density, "kg/m^3")
    ).m_as("m^3/hour")
    speed = litres / 1e3 / (np.pi / 4 * BORE**2)
    theirs = fluids.Kv_to_K(kv, BORE) * density * speed**2 / 2
    # The library rounds the constant to 1.6e9.
    exact = 2 * (np.pi / 4) ** 2 * 3600**2 * 100
    assert theirs * exact / 1.6e9 == pytest.approx(kilopascal * 1e3, rel=1e-9)


def test_kv_and_drop_are_inverse() -> None:
    drop = balance.valve_drop(flow=quantity(1, "m^3/hour"), flow_coefficient=quantity(2, "m^3/hour"), **density(1026))
    back = balance.flow_coefficient(flow=quantity(1, "m^3/hour"), pressure_drop=drop, **density(1026))
    assert back.m_as("m^3/hour") == pytest.approx(2)


def density(value: float) -> dict[str, Quantity]:
    return {"density": quantity(value, "kg/m^3")}


def test_price_of_the_worked_manifold() -> None:
    # Section 5 of the hydraulics reference (computed by other code): 63.3 kPa open, 87.75 kPa as set.
    assert MADE.loop_drops.m_as("kPa").tolist() == pytest.approx([48.81, 54.80, 60.79, 66.78, 72.77, 84.75], abs=0.006)
    assert MADE.common_drop.m_as("kPa") == pytest.approx(87.75, abs=0.006)
    assert MADE.price.m_as("kPa") == pytest.approx(87.75 - 63.3, abs=0.06)
    assert np.min(MADE.valve_drops.m_as("kPa")) == pytest.approx(3)


def test_epanet_gives_every_loop_its_flow(tmp_path: Path) -> None:
    # EPANET 2.2 with the valves as minor losses: its law (Swamee-Jain) moves flows by 1.5 % at most.
    kv = MADE.flow_coefficients.m_as("m^3/hour")
    k = 4 + 2 * (np.pi / 4 * BORE**2) ** 2 * 3600**2 * 100 / kv**2
    network = epanet.Star(LENGTHS, [BORE] * 6, k.tolist(), 7e-6, 5.376295e-6, 2.1e-3)
    found = epanet.solve(network, tmp_path)
    assert found.flows * 1e3 == pytest.approx(0.35, rel=0.015)
    assert found.head * 1025.81 * epanet.EPANET_GRAVITY == pytest.approx(MADE.common_drop.m_as("Pa"), rel=0.02)


@pytest.mark.parametrize(
    ("fluid", "total", "low", "high"), [(BRINE, 2.1, 0.0, 0.0), (WATER15, 2.1, -2.1, 2.9), (BRINE, 1.26, -0.6, 0.9)]
)
def test_setting_in_another_fluid_and_at_part_flow(
    fluid: dict[str, Any], total: float, low: float, high: float
) -> None:
    # The same section: water at 15 degC -2.1 to +2.9 %, 60 % flow -0.6 to +0.9 %.
    found = balance.carried_to(loops=loops(LENGTHS), setting=MADE, total=quantity(total, "L/s"), **fluid)
    assert 100 * np.min(found.deviation) == pytest.approx(low, abs=0.06)
    assert 100 * np.max(found.deviation) == pytest.approx(high, abs=0.06)
    assert np.sum(found.flows.m_as("L/s")) == pytest.approx(total)
    assert np.all(found.low < found.deviation)
    assert np.all(found.deviation < found.high)


def test_viscosity_factor_covers_the_sizing_equation() -> None:
    # IEC 60534-2-1 as coded in an open library; globe trim, 25 % propylene glycol at 0 degC.
    least = balance.balance_rows()["viscosity_factor_low"].value
    for litres in (0.15, 0.25, 0.35):
        for kilopascal in (5, 10, 20, 40):
            kv = 3.6 * litres / (kilopascal / 100 / 1.02581) ** 0.5
            for bore in (15, 20):
                turbulence = fluids.control_valve.Reynolds_valve(5.376e-6, 3.6 * litres, bore, 0.9, 0.46, kv)
                factor = fluids.control_valve.Reynolds_factor(0.9, kv, bore, turbulence, full_trim=False)
                assert least <= factor < 1
                assert 1000 < turbulence < 1e4


def test_valves_that_pass_less_in_the_cold_stay_inside_the_band() -> None:
    # Every valve by its own factor, thrown at random: no flow may leave the band.
    found = balance.carried_to(loops=loops(LENGTHS), setting=MADE, total=quantity(2.1, "L/s"), **BRINE)
    pipes = balance._pipes(loops(LENGTHS), **BRINE)
    rng = np.random.default_rng(5)
    kv = MADE.flow_coefficients.m_as("m^3/hour")
    for _ in range(200):
        flows = star(balance._throttled(pipes, kv * rng.uniform(0.82, 1, 6)), 2.1e-3, Law.COLEBROOK)[0]
        away = flows / 0.35e-3 - 1
        assert np.all((found.low - 1e-9 <= away) & (away <= found.high + 1e-9))


def test_chosen_flows() -> None:
    wanted = array([0.30, 0.35, 0.40], "L/s")
    made = balance.settings(loops=loops((150, 200, 250)), flows=wanted, **BRINE)
    back = balance.carried_to(loops=loops((150, 200, 250)), setting=made, total=quantity(1.05, "L/s"), **BRINE)
    assert back.flows.m_as("L/s").tolist() == pytest.approx([0.30, 0.35, 0.40], rel=1e-9)


def test_two_levels_give_every_loop_of_every_manifold_its_flow() -> None:
    # Solved again by scipy: all paths between the same two points, valves as Kv, flows unknown.
    reach, groups = (20.0, 60.0, 100.0), ((160, 200), (180, 220, 260), (200,))
    manifolds = [
        Manifold(
            f"M{i}",
            loops(lengths),
            equal(0.35 * len(lengths), len(lengths)),
            [Branch(quantity(m, "m"), quantity(51.4, "mm"))],
        )
        for i, (m, lengths) in enumerate(zip(reach, groups, strict=True))
    ]
    found = balance.two_levels(manifolds=manifolds, **BRINE)
    assert np.min(found.manifold_valve_drops.m_as("kPa")) == pytest.approx(3)
    headers = Branches.of([Branch(quantity(m, "m"), quantity(51.4, "mm")) for m in reach]).pipes(**BRINE)
    pipes = Branches.of(loops([m for lengths in groups for m in lengths])).pipes(**BRINE)
    owner = np.repeat(np.arange(3), [len(lengths) for lengths in groups])
    loop_kv = np.concatenate([one.flow_coefficients.m_as("m^3/hour") for one in found.loops])
    head_kv = found.manifold_valves.m_as("m^3/hour")

    def valve(flow: np.ndarray, kv: np.ndarray) -> np.ndarray:
        return np.asarray(1e5 * 1.02581 * (3600 * flow / kv) ** 2)

    def residual(flows: np.ndarray) -> np.ndarray:
        q = np.abs(flows) * 1e-3
        totals = np.bincount(owner, q).astype(np.float64)
        trunk = headers.drop(totals, Law.COLEBROOK) + valve(totals, head_kv)
        path = pipes.drop(q, Law.COLEBROOK) + valve(q, loop_kv) + trunk[owner]
        return np.append(np.diff(path), 1e8 * (np.sum(q) - 2.1e-3))

    start = np.array([0.3, 0.4, 0.36, 0.33, 0.38, 0.33])
    assert fsolve(residual, start).tolist() == pytest.approx([0.35] * 6, rel=1e-6)


def test_shared_pipe_counts() -> None:
    near = Manifold("near", loops((200,)), equal(0.35, 1))
    far = Manifold("far", loops((200,)), equal(0.35, 1), before=quantity(8, "kPa"))
    found = balance.two_levels(manifolds=[near, far], **BRINE)
    assert found.manifold_valve_drops.m_as("kPa").tolist() == pytest.approx([11, 3])
    assert found.names == ("near", "far")
    run = [Branch(quantity(60, "m"), quantity(40.8, "mm"))]
    alone = balance.two_levels(manifolds=[near, Manifold("far", loops((200,)), equal(0.35, 1), run)], **BRINE)
    both = balance.two_levels(
        manifolds=[near, Manifold("far", loops((200,)), equal(0.35, 1), run, quantity(8, "kPa"))], **BRINE
    )
    assert (both.common_drop - alone.common_drop).m_as("kPa") == pytest.approx(8)


@pytest.mark.parametrize(("rho", "body"), [(1026, 8000), (1026, 2700), (960, 8000), (1100, 1300)])
def test_float_against_a_balance_of_forces(rho: float, body: float) -> None:
    # Weight less lift = drag: the float stands at one height where the open ring passes rate(water) or rate(fluid).
    def speed(fluid: float) -> float:
        return float(brentq(lambda v: 0.5 * fluid * v**2 * 1.2 * 1e-4 - 9.81 * 1e-6 * (body - fluid), 1e-6, 100))

    found = balance.corrected(
        kind=Indicator.FLOAT,
        reading=quantity(20, "L/min"),
        viscosity=quantity(1.3, "mm^2/s"),
        float_density=quantity(body, "kg/m^3"),
        **density(rho),
    )
    assert found.factor == pytest.approx(speed(rho) / speed(1000), rel=1e-9)


def test_cold_brine_is_doubted_more() -> None:
    thin, thick = (
        balance.corrected(
            kind=Indicator.SPRING, reading=quantity(20, "L/min"), viscosity=quantity(v, "mm^2/s"), **density(1026)
        )
        for v in (1.3, 5.4)
    )
    assert (thin.is_viscous, thick.is_viscous) == (False, True)
    assert thick.u.m_as("L/min") == pytest.approx(thin.u.m_as("L/min") * 2**0.5)
    assert thin.u.m_as("L/min") == pytest.approx(0.1 * thin.flow.m_as("L/min") / 3**0.5)


def test_float_needs_its_density() -> None:
    case: dict[str, Any] = {"reading": quantity(20, "L/min"), "viscosity": quantity(1, "mm^2/s"), **density(1026)}
    with pytest.raises(NotKnown, match="maker's sheet"):
        balance.corrected(kind=Indicator.FLOAT, **case)
    with pytest.raises(OutOfRange, match="float"):
        balance.corrected(kind=Indicator.FLOAT, float_density=quantity(1010, "kg/m^3"), **case)


@pytest.mark.parametrize(
    ("read", "u", "outcome", "cause"),
    [
        ([20, 20, 20], 1.2, Outcome.PASS, Cause.NONE),
        ([21.4, 19, 20], 1.2, Outcome.PASS, Cause.NONE),
        ([22.2, 19, 20], 1.2, Outcome.WARN, Cause.FLOW),
        ([24, 19, 20], 1.2, Outcome.FAIL, Cause.FLOW),
        ([0, 20, 20], 1.2, Outcome.FAIL, Cause.FLOW),
        ([22.8, 20, 20], 1.2, Outcome.CANNOT_TELL, Cause.READINGS),
        # A plain indicator of +-10 %, doubted once: set well, it finishes the job, if with a warning.
        ([20.4, 20, 19.6], 5.8, Outcome.WARN, Cause.FLOW),
        ([22.0, 20, 19.6], 5.8, Outcome.CANNOT_TELL, Cause.READINGS),
        ([28.0, 20, 19.6], 5.8, Outcome.FAIL, Cause.FLOW),
    ],
)
def test_judged_spread(read: list[float], u: float, outcome: Outcome, cause: Cause) -> None:
    found = balance.judge(
        flows=array(read, "L/min"),
        targets=array([20, 20, 20], "L/min"),
        u=quantity(u, "percent"),
        names=["A", "B", "C"],
    )
    assert (found.outcome, found.cause) == (outcome, cause), found.reason
    assert bool(found.way_out) is (outcome is Outcome.CANNOT_TELL)
    assert [figure.name for figure in found.figures] == ["A", "B", "C"]


@given(st.lists(st.floats(15, 25), min_size=2, max_size=8), st.sampled_from([0.1, 0.5, 1.0]))
def test_rounding_a_meter_never_turns_a_pass(read: list[float], step: float) -> None:
    def outcome(values: Sequence[float]) -> Outcome:
        # u of one reading is at least what its step makes of it.
        u = quantity(100 * max(0.012, step / 12**0.5 / 15), "percent")
        return balance.judge(flows=array(values, "L/min"), targets=array([20.0] * len(values), "L/min"), u=u).outcome

    rounded = [round(value / step) * step for value in read]
    assert {outcome(read), outcome(rounded)} != {Outcome.PASS, Outcome.FAIL}


def test_what_cannot_be_set_is_named() -> None:
    with pytest.raises(OutOfRange, match="flows"):
        balance.settings(loops=loops((100, 200)), flows=array([0.3], "L/s"), **BRINE)
    with pytest.raises(OutOfRange, match="flows"):
        balance.settings(loops=loops((100, 200)), flows=array([0.3, 0.0], "L/s"), **BRINE)
    with pytest.raises(NoSolution, match="no loop"):
        balance.settings(loops=[], flows=array([], "L/s"), **BRINE)
    with pytest.raises(NoSolution, match="no manifold"):
        balance.two_levels(manifolds=[], **BRINE)
    with pytest.raises(OutOfRange, match="loops"):
        balance.equal_flows(total=quantity(1, "L/s"), loops=0)
    with pytest.raises(OutOfRange, match="flows"):
        balance.judge(flows=array([1, 2], "L/s"), targets=array([1], "L/s"), u=quantity(1, "percent"))
    with pytest.raises(OutOfRange, match="settings"):
        balance.carried_to(loops=loops((100, 200)), setting=MADE, total=quantity(1, "L/s"), **BRINE)
