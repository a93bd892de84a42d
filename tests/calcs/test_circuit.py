"""A loop as a tree of sections: EPANET and the `fluids` library on double U and twin boreholes, and the graph solver itself."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fluids.friction import Colebrook
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs import circuit, friction
from calcs._darcy import Law, Pipes
from calcs._graph import Graph, solve
from calcs.circuit import Run, Split
from calcs.errors import NoSolution, OutOfRange
from calcs.friction import Regime
from calcs.network import Branch
from calcs.units import quantity
from tests.calcs.epanet_graph import drawn, for_epanet
from tests.calcs.epanet_graph import solve as epanet

WATER: dict[str, Any] = {"density": quantity(999.7026, "kg/m^3"), "viscosity": quantity(1.3061, "mm^2/s")}
PG25: dict[str, Any] = {"density": quantity(1025.81, "kg/m^3"), "viscosity": quantity(5.376295, "mm^2/s")}
THOUSAND: dict[str, Any] = {"density": quantity(1000.0, "kg/m^3")}


def pipe(length: float, bore: float = 0.026, k: float = 0.0, name: str = "") -> Branch:
    return Branch(quantity(length, "m"), quantity(bore, "m"), fittings_k=k, name=name)


def twin(left: float, right: float) -> Run:
    """Tails, a tee, two boreholes of unlike depth, a tee, tails."""
    tail = pipe(25.0, 0.0326, 2.0)
    return Run([tail, Split([pipe(left, k=3.0), Run([pipe(12.0, 0.0326), pipe(right, k=3.0)])]), tail], name="twin")


def nested() -> Run:
    """A double U in one leg of a twin."""
    double = Run([pipe(8.0, 0.0326, 1.0), Split([pipe(170.0), pipe(170.0)]), pipe(8.0, 0.0326, 1.0)])
    return Run([pipe(20.0, 0.0408), Split([double, pipe(300.0, 0.0326)]), pipe(20.0, 0.0408)])


@pytest.mark.parametrize(("flow", "nu"), [(0.25, 5.4), (0.5, 3.0), (0.8, 1.3), (1.4, 1.0)])
def test_twin_boreholes_as_epanet(flow: float, nu: float, tmp_path: Path) -> None:
    tail, left, way, right = pipe(25.0, 0.0326, 2.0), pipe(180.0, k=3.0), pipe(12.0, 0.0326), pipe(260.0, k=3.0)
    pipes = [
        drawn("in", "a", tail),
        drawn("a", "b", left),
        drawn("a", "c", way),
        drawn("c", "b", right),
        drawn("b", "out", tail),
    ]
    theirs = epanet(pipes, nu * 1e-6, flow / 1000, tmp_path)
    same = Run([for_epanet(tail), Split([for_epanet(left), Run([way, for_epanet(right)])]), for_epanet(tail)])
    fluid = {"viscosity": quantity(nu, "mm^2/s"), **THOUSAND}
    found = circuit.flows(run=same, flow=quantity(flow, "L/s"), law="epanet", **fluid)
    np.testing.assert_allclose(found.sections.flows.to("m^3/s").magnitude, theirs.flows, rtol=1e-5)
    assert found.drop.to("Pa").magnitude == pytest.approx(theirs.drop, rel=1e-4)
    ours = circuit.flows(run=twin(180.0, 260.0), flow=quantity(flow, "L/s"), **fluid)
    np.testing.assert_allclose(ours.sections.flows.to("m^3/s").magnitude, theirs.flows, rtol=0.015)
    assert ours.drop.to("Pa").magnitude == pytest.approx(theirs.drop, rel=0.02)


def test_nested_splits_as_epanet(tmp_path: Path) -> None:
    short, wide = pipe(8.0, 0.0326), pipe(20.0, 0.0408)
    pipes = [
        drawn("in", "a", wide),
        drawn("a", "c", short),
        drawn("c", "d", pipe(170.0)),
        drawn("c", "d", pipe(170.0)),
        drawn("d", "b", short),
        drawn("a", "b", pipe(300.0, 0.0326)),
        drawn("b", "out", wide),
    ]
    theirs = epanet(pipes, 1.8e-6, 1.1e-3, tmp_path)
    double = Run([short, Split([pipe(170.0), pipe(170.0)]), short])
    run = Run([wide, Split([double, pipe(300.0, 0.0326)]), wide])
    fluid = {"viscosity": quantity(1.8, "mm^2/s"), **THOUSAND}
    found = circuit.flows(run=run, flow=quantity(1.1, "L/s"), law="epanet", **fluid)
    np.testing.assert_allclose(found.sections.flows.to("m^3/s").magnitude, theirs.flows, rtol=1e-5)
    assert found.sections.labels == ("1", "2.1.1", "2.1.2.1", "2.1.2.2", "2.1.3", "2.2", "3")


def test_double_u_by_hand_with_the_library_s_friction() -> None:
    """Half the flow in each leg: tail + leg + tail, f by `fluids.friction.Colebrook`."""
    tail, leg, flow = pipe(20.0, 0.0326, 2.0), pipe(200.0, 0.026, 4.0), 0.9e-3

    def lost(section: Branch, q: float) -> float:
        bore = section.bore.m_as("m")
        speed = q / (np.pi / 4 * bore**2)
        factor = Colebrook(speed * bore / 1.3061e-6, 7e-6 / bore)
        return float((factor * section.length.m_as("m") / bore + section.fittings_k) * 999.7026 * speed**2 / 2)

    found = circuit.flows(run=Run([tail, Split([leg, leg]), tail]), flow=quantity(flow, "m^3/s"), **WATER)
    assert found.drop.to("Pa").magnitude == pytest.approx(2 * lost(tail, flow) + lost(leg, flow / 2), rel=1e-9)
    assert found.sections.flows.to("m^3/s").magnitude == pytest.approx([flow, flow / 2, flow / 2, flow], rel=1e-9)


def test_laminar_legs_share_by_length() -> None:
    run = Run([Split([pipe(100.0), pipe(200.0), pipe(400.0)])])
    found = circuit.flows(run=run, flow=quantity(0.07, "L/s"), **PG25)
    assert set(found.sections.regimes) == {Regime.LAMINAR}
    assert found.sections.flows.to("L/s").magnitude == pytest.approx([0.04, 0.02, 0.01], rel=1e-8)


def test_conservative_drop_is_told_when_a_leg_is_in_transition() -> None:
    run = Run([pipe(20.0, 0.0408), Split([pipe(200.0), pipe(200.0)])])
    found = circuit.flows(run=run, flow=quantity(0.66, "L/s"), **PG25)
    assert found.has_transition
    assert found.conservative_drop.to("Pa").magnitude > 1.1 * found.drop.to("Pa").magnitude


def test_one_section_is_the_pressure_drop_of_one_pipe() -> None:
    section = pipe(200.0, 0.026, 4.0)
    for run in (section, Run([section])):
        found = circuit.flows(run=run, flow=quantity(0.4, "L/s"), **PG25)
        one = friction.pressure_drop(
            flow=quantity(0.4, "L/s"), length=section.length, bore=section.bore, fittings_k=4.0, **PG25
        )
        assert found.drop.to("Pa").magnitude == pytest.approx(one.pressure_drop.to("Pa").magnitude, rel=1e-9)
        assert found.conservative_drop.to("Pa").magnitude == pytest.approx(
            one.conservative_pressure_drop.to("Pa").magnitude, rel=1e-9
        )


def test_volume_and_ways_of_the_tree() -> None:
    run = nested()
    parts = [(20, 0.0408)] * 2 + [(8, 0.0326)] * 2 + [(170, 0.026)] * 2 + [(300, 0.0326)]
    litres = sum(np.pi / 4 * bore**2 * length for length, bore in parts) * 1000
    assert circuit.volume(run=run).to("L").magnitude == pytest.approx(litres)
    assert circuit.longest_path(run=run).to("m").magnitude == pytest.approx(20 + 300 + 20)
    assert circuit.shortest_path(run=run).to("m").magnitude == pytest.approx(20 + 8 + 170 + 8 + 20)
    assert len(circuit.sections(run=run)) == 7


@settings(max_examples=60, deadline=None)
@given(
    legs=st.lists(st.tuples(st.floats(5, 500), st.sampled_from([0.0204, 0.026, 0.0408])), min_size=1, max_size=5),
    flow=st.floats(0.01, 3.0),
    nu=st.floats(0.5, 30.0),
)
def test_all_legs_lose_the_same_and_flows_add_up(legs: list[tuple[float, float]], flow: float, nu: float) -> None:
    run = Run([pipe(10.0, 0.0514), Split([Run([pipe(2.0, bore), pipe(length, bore)]) for length, bore in legs])])
    found = circuit.flows(run=run, flow=quantity(flow, "L/s"), viscosity=quantity(nu, "mm^2/s"), **THOUSAND)
    flows, drops = found.sections.flows.to("L/s").magnitude, found.sections.drops.to("Pa").magnitude
    assert float(np.sum(flows[1::2])) == pytest.approx(flow, rel=1e-8)
    np.testing.assert_allclose(drops[1::2] + drops[2::2], found.drop.to("Pa").magnitude - drops[0], rtol=1e-6)
    assert np.all(flows > 0)


def test_bad_input_is_named() -> None:
    flow = quantity(0.5, "L/s")
    with pytest.raises(NoSolution, match="it has no pipe"):
        circuit.flows(run=Run([], name="L1"), flow=flow, **WATER)
    with pytest.raises(NoSolution, match=r"the split 2: it has no leg"):
        circuit.volume(run=Run([pipe(10.0), Split([])]))
    with pytest.raises(OutOfRange, match="length"):
        circuit.longest_path(run=Run([pipe(0.0)]))
    with pytest.raises(OutOfRange, match="bore"):
        circuit.volume(run=pipe(10.0, -0.026))
    with pytest.raises(OutOfRange, match="flow"):
        circuit.flows(run=pipe(10.0), flow=quantity(0, "L/s"), **WATER)


def random_graph(seed: int) -> tuple[Graph, int, int, float, Law]:
    """Meshes with dead legs, chains and doubles: 1 to 1000 m, 16 to 90 mm, 0.5 to 32 mm2/s, 1e-6 to 3e-2 m3/s."""
    dice = random.Random(seed)
    nodes = dice.randint(2, 20)
    ends = [(dice.randrange(node), node) for node in range(1, nodes)]
    ends += [tuple(dice.sample(range(nodes), 2)) for _ in range(dice.randint(0, 2 * nodes))]  # type: ignore[misc]
    link = [index for index in range(len(ends)) for _ in range(dice.choice([1, 1, 1, 2, 3]))]
    bore = np.array([dice.uniform(0.016, 0.09) for _ in link])
    pipes = Pipes(
        length=np.exp([dice.uniform(0.0, np.log(1000.0)) for _ in link]),
        bore=bore,
        fittings_k=np.array([dice.choice([0.0, 0.0, dice.uniform(0, 20)]) for _ in link]),
        relative_roughness=7e-6 / bore,
        density=1000.0,
        kinematic_viscosity=float(np.exp(dice.uniform(np.log(0.5e-6), np.log(32e-6)))),
    )
    inlet, outlet = dice.sample(range(nodes), 2)
    total = float(np.exp(dice.uniform(np.log(1e-6), np.log(3e-2))))
    start, end = np.array(ends, dtype=np.int64).T
    return Graph(pipes, np.array(link), start, end, nodes), inlet, outlet, total, dice.choice(list(Law))


@pytest.mark.parametrize("first", range(0, 1200, 300))
def test_any_graph_settles(first: int) -> None:
    for seed in range(first, first + 300):
        graph, inlet, outlet, total, law = random_graph(seed)
        flow, heads = solve(graph, inlet, outlet, total, law)
        demand = np.zeros(graph.nodes)
        demand[inlet], demand[outlet] = total, -total
        left = np.bincount(graph.end, flow, minlength=graph.nodes) - np.bincount(
            graph.start, flow, minlength=graph.nodes
        )
        assert np.max(np.abs(left + demand)) <= 1e-8 * total, seed
        lost = graph.drop_and_slope(flow, law)[0]
        assert np.max(np.abs(heads[graph.start] - heads[graph.end] - lost)) <= 1e-8 * heads[inlet], seed


def test_a_dead_leg_carries_nothing_and_does_not_flutter() -> None:
    """Once below the floor of the Reynolds number the drop had the size of the floor, whatever the flow."""
    one = np.ones(3)
    pipes = Pipes(one * 100.0, one * 0.026, one * 0.0, one * 2.7e-4, density=1000.0, kinematic_viscosity=3e-5)
    graph = Graph(pipes, np.arange(3), np.array([0, 0, 1]), np.array([1, 1, 2]), nodes=3)
    flow, heads = solve(graph, 0, 1, 1e-6, Law.EPANET)
    assert flow == pytest.approx([5e-7, 5e-7, 0.0], abs=1e-15)
    assert heads[1] == pytest.approx(heads[2], abs=1e-12)
    tiny = np.array([1e-18, -1e-18, 0.0])
    drop = pipes.drop(tiny, Law.COLEBROOK)
    assert drop == pytest.approx([tiny[0] * 32 * 1000 * 3e-5 * 100 / 0.026**2 / (np.pi / 4 * 0.026**2), -drop[0], 0.0])


def test_a_graph_in_two_parts_is_named() -> None:
    one = np.ones(2)
    pipes = Pipes(one * 100.0, one * 0.026, one * 0.0, one * 0.0, density=1000.0, kinematic_viscosity=1e-6)
    graph = Graph(pipes, np.arange(2), np.array([0, 2]), np.array([1, 3]), nodes=4)
    with pytest.raises(NoSolution, match="not connected"):
        solve(graph, 0, 1, 1e-4, Law.COLEBROOK)
