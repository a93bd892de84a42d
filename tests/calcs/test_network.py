"""Parallel loops against EPANET, White's worked example and what must hold for any manifold."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs import friction, network
from calcs.errors import NoSolution, OutOfRange, Unsuitable
from calcs.friction import Regime
from calcs.network import Branch, Branches, ParabolicPump, PointsPump
from calcs.units import quantity
from tests.calcs import epanet

WATER: dict[str, Any] = {"density": quantity(999.7026, "kg/m^3"), "viscosity": quantity(1.3061, "mm^2/s")}
PG25: dict[str, Any] = {"density": quantity(1025.81, "kg/m^3"), "viscosity": quantity(5.376295, "mm^2/s")}
BORES = [0.0204, 0.026, 0.0326, 0.0408]
WATER_TO_COLD_GLYCOL = (1.0e-6, 8.0e-6)


def loop(length: float, bore: float = 26.0, k: float = 4.0) -> Branch:
    return Branch(quantity(length, "m"), quantity(bore, "mm"), fittings_k=k)


def manifold(seed: int) -> epanet.Star:
    """A seeded random manifold of 4 to 60 loops, from laminar to turbulent."""
    dice = random.Random(seed)
    count = dice.randint(4, 60)
    bore = dice.choice(BORES)
    return epanet.Star(
        lengths=[dice.uniform(80, 400) for _ in range(count)],
        bores=[dice.choice([bore, bore, bore, dice.choice(BORES)]) for _ in range(count)],
        fittings_k=[dice.uniform(0, 8) for _ in range(count)],
        roughness=7e-6,
        viscosity=dice.uniform(*WATER_TO_COLD_GLYCOL),
        total=count * dice.uniform(0.08, 0.7) * 1e-3,
    )


def ours(star: epanet.Star, law: str) -> network.Solution:
    return network.solve(
        branches=Branches(
            length=quantity(np.array(star.lengths), "m"),
            bore=quantity(np.array(star.bores), "m"),
            fittings_k=np.array(star.fittings_k) * (epanet.EPANET_K if law == "epanet" else 1.0),
            roughness=quantity(star.roughness, "m"),
        ),
        total_flow=quantity(star.total, "m^3/s"),
        density=quantity(1000.0, "kg/m^3"),
        viscosity=quantity(star.viscosity, "m^2/s"),
        law=law,
    )


@pytest.mark.parametrize("seed", range(24))
def test_same_law_as_epanet(seed: int, tmp_path: Path) -> None:
    star = manifold(seed)
    theirs, found = epanet.solve(star, tmp_path), ours(star, "epanet")
    np.testing.assert_allclose(found.flows.to("m^3/s").magnitude, theirs.flows, rtol=1e-5)
    head = found.manifold_drop.to("Pa").magnitude / 1000.0 / epanet.EPANET_GRAVITY
    assert head == pytest.approx(theirs.head, rel=1e-4)


@pytest.mark.parametrize("seed", range(24))
def test_product_law_stays_near_epanet(seed: int, tmp_path: Path) -> None:
    star = manifold(seed)
    theirs, found = epanet.solve(star, tmp_path), ours(star, "colebrook")
    np.testing.assert_allclose(found.flows.to("m^3/s").magnitude, theirs.flows, rtol=0.015)
    head = found.manifold_drop.to("Pa").magnitude / 1000.0 / epanet.EPANET_GRAVITY
    assert head == pytest.approx(theirs.head, rel=0.02)


def test_seeds_reach_every_regime() -> None:
    seen = {kind for seed in range(24) for kind in ours(manifold(seed), "colebrook").regimes}
    assert seen == set(Regime)


def test_white_example_6_18() -> None:
    # White, Fluid Mechanics, 6.18: 62.5 / 25.9 / 11.4 m3/h at 20.3 m of head; f .0267 / .0246 / .0313.
    branches = Branches(
        length=quantity(np.array([100.0, 150.0, 80.0]), "m"),
        bore=quantity(np.array([8.0, 6.0, 4.0]), "cm"),
        fittings_k=np.zeros(3),
        roughness=quantity(np.array([0.24, 0.12, 0.20]), "mm"),
    )
    fluid: dict[str, Any] = {"density": quantity(1000, "kg/m^3"), "viscosity": quantity(1.02e-6, "m^2/s")}
    found = network.solve(branches=branches, total_flow=quantity(99.8, "m^3/h"), **fluid)
    assert found.flows.to("m^3/h").magnitude == pytest.approx([62.5, 25.9, 11.4], rel=0.005)
    assert found.total_drop.to("Pa").magnitude / 9810 == pytest.approx(20.3, rel=0.005)


@settings(max_examples=60)
@given(
    st.lists(st.tuples(st.floats(1, 1000), st.sampled_from([16.0, 26.0, 40.8, 73.6])), min_size=1, max_size=40),
    st.floats(1e-3, 30.0),
    st.floats(0.5, 32.0),
)
def test_flows_add_up_and_all_loops_lose_the_same(loops: list[tuple[float, float]], total: float, nu: float) -> None:
    fluid: dict[str, Any] = {"density": quantity(1000, "kg/m^3"), "viscosity": quantity(nu, "mm^2/s")}
    branches = [loop(length, bore) for length, bore in loops]
    found = network.solve(branches=branches, total_flow=quantity(total, "L/s"), **fluid)
    flows = found.flows.to("L/s").magnitude
    assert np.sum(flows) == pytest.approx(total, rel=1e-9)
    assert np.all(flows > 0)
    pipes = Branches.of(branches).pipes(**fluid)
    drops = pipes.drop(flows / 1000, friction.Law.COLEBROOK)
    np.testing.assert_allclose(drops, found.manifold_drop.to("Pa").magnitude, rtol=1e-7)


def test_longer_loop_gets_less() -> None:
    found = network.solve(branches=[loop(200), loop(220)], total_flow=quantity(0.7, "L/s"), **WATER)
    first, second = found.flows.magnitude
    assert second < first
    # Turbulent: a loop 10 % longer gets 5.4 % less than the shorter one (hydraulics reference section 5).
    assert second / first - 1 == pytest.approx(-0.054, abs=0.004)
    assert found.spread.low == pytest.approx(-found.spread.high, rel=1e-9)


def test_header_and_evaporator_add_up() -> None:
    runs = [Branch(quantity(20, "m"), quantity(40.8, "mm"), fittings_k=6)] * 2
    found = network.solve(
        branches=[loop(200)] * 3,
        total_flow=quantity(0.788, "L/s"),
        header=runs,
        evaporator=(quantity(20, "kPa"), quantity(0.394, "L/s")),
        **PG25,
    )
    parts = found.manifold_drop + found.header_drop + found.evaporator_drop
    assert found.total_drop.to("Pa").magnitude == pytest.approx(parts.to("Pa").magnitude)
    assert found.evaporator_drop.to("kPa").magnitude == pytest.approx(80.0)
    # 28.5 + 9.3 kPa: hydraulics reference section 5, circulator example.
    assert found.manifold_drop.to("kPa").magnitude == pytest.approx(28.5, abs=0.1)
    assert found.header_drop.to("kPa").magnitude == pytest.approx(9.3, abs=0.05)
    assert found.header_velocities.to("m/s").magnitude == pytest.approx([0.6027, 0.6027], rel=1e-3)


def test_conservative_total_for_a_winter_manifold() -> None:
    # +17 % in the four-loop case near Re 3000 (hydraulics reference section 2).
    found = network.solve(branches=[loop(m) for m in (150, 200, 250, 300)], total_flow=quantity(1.4, "L/s"), **PG25)
    assert found.has_transition
    assert (found.conservative_total_drop / found.total_drop).to("").magnitude == pytest.approx(1.17, abs=0.03)


def test_pump_by_points_meets_the_parabola() -> None:
    flows = np.linspace(0, 5, 60)
    points = PointsPump(quantity(flows, "m^3/h"), quantity(8 - 4 * (flows / 3.6) ** 2, "m"))
    parabola = ParabolicPump(quantity(8, "m"), fall=quantity(4, "m"), flow_unit=quantity(3.6, "m^3/h"))
    found = [network.solve_with_pump(branches=[loop(200)] * 3, pump=p, **PG25) for p in (points, parabola)]
    first, second = (one.total_flow.to("L/s").magnitude for one in found)
    assert first == pytest.approx(second, rel=1e-3)
    head = 8 - 4 * second**2
    assert found[1].total_drop.to("Pa").magnitude == pytest.approx(head * 1025.81 * 9.80665, rel=1e-6)


@pytest.mark.parametrize(("top", "error"), [(0.2, NoSolution), (80.0, NoSolution)])
def test_pump_that_does_not_meet_the_system(top: float, error: type[Exception]) -> None:
    short = PointsPump(quantity(np.array([1.0, 1.2]), "m^3/h"), quantity(np.array([top, top * 0.9]), "m"))
    with pytest.raises(error):
        network.solve_with_pump(branches=[loop(200)], pump=short, **PG25)


@pytest.mark.parametrize(
    ("flows", "heads"), [([1.0], [5.0]), ([2.0, 1.0], [5.0, 4.0]), ([0.0, 1.0, 2.0, 3.0], [5.0, 6.0, 4.0, 4.0])]
)
def test_pump_curve_that_cannot_be_one(flows: list[float], heads: list[float]) -> None:
    pump = PointsPump(quantity(np.array(flows), "m^3/h"), quantity(np.array(heads), "m"))
    with pytest.raises(Unsuitable):
        network.solve_with_pump(branches=[loop(200)], pump=pump, **PG25)


def test_bad_input_is_named() -> None:
    with pytest.raises(NoSolution, match="no loop"):
        network.solve(branches=[], total_flow=quantity(1, "L/s"), **WATER)
    with pytest.raises(OutOfRange, match="total flow"):
        network.solve(branches=[loop(100)], total_flow=quantity(0, "L/s"), **WATER)
    with pytest.raises(OutOfRange, match="sum of K"):
        network.solve(branches=[loop(100, k=-0.1)], total_flow=quantity(1, "L/s"), **WATER)
    with pytest.raises(OutOfRange, match="length"):
        network.solve(branches=[loop(0)], total_flow=quantity(1, "L/s"), **WATER)
