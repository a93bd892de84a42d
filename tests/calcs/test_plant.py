"""Manifolds on a trunk, ladders and chains: EPANET on the same pipework drawn anew, and what must hold for any plant."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from calcs import friction, network, plant
from calcs.circuit import Run, Split
from calcs.errors import NoSolution, OutOfRange
from calcs.friction import Regime
from calcs.network import Branch, ParabolicPump, PointsPump
from calcs.plant import Bar, Manifold, PlantFlows, Return
from calcs.units import quantity
from tests.calcs.epanet_graph import Answer, Drawn, drawn, for_epanet
from tests.calcs.epanet_graph import solve as epanet

PG25: dict[str, Any] = {"density": quantity(1025.81, "kg/m^3"), "viscosity": quantity(5.376295, "mm^2/s")}
LOOP_BORES = [0.0204, 0.026, 0.0326, 0.0408]
WATER_TO_COLD_GLYCOL = (1.0e-6, 8.0e-6)


def pipe(length: float, bore: float, k: float = 0.0, name: str = "") -> Branch:
    """A section of pipe in metres."""
    return Branch(quantity(length, "m"), quantity(bore, "m"), fittings_k=k, name=name)


@dataclass(frozen=True)
class Case:
    """One random plant: manifolds of single-section loops, each on its header, on a trunk; and its fluid and flow."""

    loops: list[list[Branch]]
    headers: list[list[Branch]]
    bars: list[list[Branch] | None]
    bar_returns: list[Return]
    trunk: list[Branch]
    trunk_return: Return
    viscosity: float
    total: float

    @property
    def count(self) -> int:
        return sum(len(loops) for loops in self.loops)

    def ours(self, law: str) -> PlantFlows:
        same = for_epanet if law == "epanet" else _as_it_is
        manifolds = [
            Manifold(
                [same(loop) for loop in loops],
                header=[same(run) for run in header],
                bar=None if bar is None else Bar([same(each) for each in bar], returns),
            )
            for loops, header, bar, returns in zip(self.loops, self.headers, self.bars, self.bar_returns, strict=True)
        ]
        return plant.solve(
            manifolds=manifolds,
            trunk=Bar([same(each) for each in self.trunk], self.trunk_return),
            total_flow=quantity(self.total, "m^3/s"),
            density=quantity(1000.0, "kg/m^3"),
            viscosity=quantity(self.viscosity, "m^2/s"),
            law=law,
        )

    def drawn(self) -> list[Drawn]:
        """Loops first, in order; then headers, bars and trunk."""
        loops, rest = [], _ladder("in", "out", "T", self.trunk, self.trunk_return)
        for number, (mine, header, bar) in enumerate(zip(self.loops, self.headers, self.bars, strict=True)):
            out, back = _tap("in", "out", "T", number, len(self.loops), self.trunk_return)
            for step, run in enumerate(header):
                after = f"M{number}H{step}"
                rest.append(drawn(out, after, run))
                out = after
            returns = self.bar_returns[number]
            rest += _ladder(out, back, f"M{number}", bar or [], returns)
            for at, loop in enumerate(mine):
                place = _tap(out, back, f"M{number}", at, len(mine), returns) if bar is not None else (out, back)
                loops.append(drawn(*place, loop))
        return loops + rest

    def theirs(self, folder: Path) -> Answer:
        return epanet(self.drawn(), self.viscosity, self.total, folder)


def _as_it_is(section: Branch) -> Branch:
    return section


def _tap(start: str, end: str, name: str, at: int, count: int, returns: Return) -> tuple[str, str]:
    """Names of the two nodes of a take-off."""
    last = 0 if returns is Return.DIRECT else count - 1
    return (start if at == 0 else f"{name}o{at}", end if at == last else f"{name}b{at}")


def _ladder(start: str, end: str, name: str, stretches: Sequence[Branch], returns: Return) -> list[Drawn]:
    count = len(stretches) + 1
    taps = [_tap(start, end, name, at, count, returns) for at in range(count)]
    ways = [drawn(taps[at][0], taps[at + 1][0], each) for at, each in enumerate(stretches)]
    return ways + [drawn(taps[at][1], taps[at + 1][1], each) for at, each in enumerate(stretches)]


def case(seed: int) -> Case:
    """A seeded random plant of 4 to 200 loops on one to four manifolds, from laminar to turbulent."""
    dice = random.Random(seed)
    total_loops = dice.choice([dice.randint(4, 24), dice.randint(4, 60), dice.randint(60, 200)])
    count = min(dice.randint(1, 4), total_loops // 2)
    sizes = [total_loops // count + (1 if at < total_loops % count else 0) for at in range(count)]
    each = dice.uniform(0.1, 0.6) * 1e-3
    bore = dice.choice(LOOP_BORES)
    bores = [bore, bore, bore, dice.choice(LOOP_BORES)]
    return Case(
        loops=[[pipe(dice.uniform(80, 400), dice.choice(bores), dice.uniform(0, 8)) for _ in range(n)] for n in sizes],
        headers=[[pipe(dice.uniform(5, 60), _wide(dice, n * each), 3.0)] * dice.choice([1, 2]) for n in sizes],
        bars=[_bar(dice, n, each) if dice.random() < 0.5 else None for n in sizes],
        bar_returns=[dice.choice(list(Return)) for _ in sizes],
        trunk=[pipe(dice.uniform(5, 60), _wide(dice, total_loops * each), 1.0) for _ in sizes[1:]],
        trunk_return=dice.choice(list(Return)),
        viscosity=dice.uniform(*WATER_TO_COLD_GLYCOL),
        total=total_loops * each,
    )


def _wide(dice: random.Random, flow: float) -> float:
    """A bore as a designer would choose it: 0.4 to 1.2 m/s at this flow."""
    return math.sqrt(4.0 * flow / (math.pi * dice.uniform(0.4, 1.2)))


def _bar(dice: random.Random, size: int, each: float) -> list[Branch]:
    bore = _wide(dice, size * each)
    return [pipe(dice.uniform(0.2, 3.0), bore, 0.1) for _ in range(size - 1)]


def flows_of(found: PlantFlows) -> np.ndarray:
    return np.concatenate([each.loop_flows.to("m^3/s").magnitude for each in found.manifolds])


SEEDS = range(24)


@pytest.mark.parametrize("seed", SEEDS)
def test_same_law_as_epanet(seed: int, tmp_path: Path) -> None:
    made = case(seed)
    theirs, found = made.theirs(tmp_path), made.ours("epanet")
    np.testing.assert_allclose(flows_of(found), theirs.flows[: made.count], rtol=1e-5)
    assert found.array_drop.to("Pa").magnitude == pytest.approx(theirs.drop, rel=1e-4)


@pytest.mark.parametrize("seed", SEEDS)
def test_product_law_stays_near_epanet(seed: int, tmp_path: Path) -> None:
    made = case(seed)
    theirs, found = made.theirs(tmp_path), made.ours("colebrook")
    np.testing.assert_allclose(flows_of(found), theirs.flows[: made.count], rtol=0.015)
    assert found.array_drop.to("Pa").magnitude == pytest.approx(theirs.drop, rel=0.02)


def test_seeds_reach_every_regime_size_and_return() -> None:
    made = [case(seed) for seed in SEEDS]
    kinds = {kind for each in made for m in each.ours("colebrook").manifolds for s in m.loops for kind in s.regimes}
    assert kinds == set(Regime)
    assert {len(each.loops) for each in made} == {1, 2, 3, 4}
    assert min(each.count for each in made) < 12
    assert max(each.count for each in made) > 150
    assert {each.trunk_return for each in made if each.trunk} == set(Return)


def ladder(count: int, returns: Return, total: float, law: str) -> PlantFlows:
    same = for_epanet if law == "epanet" else _as_it_is
    bar = Bar([same(pipe(6.0, 0.0514))] * (count - 1), returns)
    loops = [same(pipe(200.0, 0.0262, 4.0))] * count
    fluid: dict[str, Any] = {"density": quantity(1000.0, "kg/m^3"), "viscosity": quantity(5.376295, "mm^2/s")}
    return plant.solve(manifolds=[Manifold(loops, bar=bar)], total_flow=quantity(total, "m^3/s"), law=law, **fluid)


@pytest.mark.parametrize("returns", list(Return))
@pytest.mark.parametrize("count", [2, 3, 12, 40])
def test_ladder_of_one_bore_as_epanet(count: int, returns: Return, tmp_path: Path) -> None:
    total = count * 0.35e-3
    pipes = [
        drawn(*_tap("in", "out", "M", at, count, returns), pipe(200.0, 0.0262, 4.0)) for at in range(count)
    ] + _ladder("in", "out", "M", [pipe(6.0, 0.0514)] * (count - 1), returns)
    theirs = epanet(pipes, 5.376295e-6, total, tmp_path)
    found = ladder(count, returns, total, "epanet")
    np.testing.assert_allclose(flows_of(found), theirs.flows[:count], rtol=1e-5)
    assert found.array_drop.to("Pa").magnitude == pytest.approx(theirs.drop, rel=1e-4)
    bar = found.manifolds[0].bar.flows.to("m^3/s").magnitude
    np.testing.assert_allclose(np.abs(bar), np.abs(theirs.flows[count:]), rtol=1e-5, atol=1e-9)


def test_reverse_return_starves_the_middle_and_direct_the_end() -> None:
    # Hydraulics reference section 5: min/max of the mean .92/1.18 (direct) and .96/1.06 (reverse), middle loops least.
    direct, reverse = (ladder(12, each, 12 * 0.35e-3, "colebrook").manifolds[0] for each in Return)
    assert int(np.argmin(direct.loop_flows.magnitude)) == 11
    assert int(np.argmin(reverse.loop_flows.magnitude)) in {5, 6}
    mirrored = reverse.loop_flows.magnitude
    np.testing.assert_allclose(mirrored, mirrored[::-1], rtol=1e-7)


@pytest.mark.parametrize("returns", list(Return))
def test_chain_of_three_manifolds(returns: Return, tmp_path: Path) -> None:
    sizes, step = (4, 6, 8), pipe(40.0, 0.0736)
    loops = [[pipe(200.0, 0.0262, 4.0)] * count for count in sizes]
    made = Case(loops, [[]] * 3, [None] * 3, [returns] * 3, [step] * 2, returns, 5.376295e-6, 18 * 0.35e-3)
    found, theirs = made.ours("epanet"), made.theirs(tmp_path)
    np.testing.assert_allclose(flows_of(found), theirs.flows[:18], rtol=1e-5)
    assert found.array_drop.to("Pa").magnitude == pytest.approx(theirs.drop, rel=1e-4)


@pytest.mark.parametrize("returns", list(Return))
def test_manifolds_differ_by_the_pipe_between_them(returns: Return) -> None:
    """What the second manifold gets is what the first has, less the way out and (direct) or plus (reverse) the way home."""
    loops, step = [pipe(200.0, 0.0262, 4.0)], pipe(40.0, 0.0736)
    manifolds = [Manifold(loops * 4), Manifold(loops * 6)]
    found = plant.solve(manifolds=manifolds, trunk=Bar([step], returns), total_flow=quantity(3.5, "L/s"), **PG25)
    first, second = found.manifolds

    def lost(flow: Any) -> float:
        drop = friction.pressure_drop(flow=flow, length=step.length, bore=step.bore, **PG25)
        return float(drop.pressure_drop.to("Pa").magnitude)

    way_home = -lost(second.flow) if returns is Return.DIRECT else lost(first.flow)
    wanted = first.drop.to("Pa").magnitude - lost(second.flow) + way_home
    assert second.drop.to("Pa").magnitude == pytest.approx(wanted, rel=1e-9)


def test_double_u_loops_on_two_manifolds(tmp_path: Path) -> None:
    tail, leg = pipe(15.0, 0.0326, 2.0), pipe(180.0, 0.026, 3.0)
    loop = Run([for_epanet(tail), Split([for_epanet(leg), for_epanet(leg)]), for_epanet(tail)], name="double U")
    step, total = pipe(30.0, 0.0514), 2.6e-3
    pipes = []
    for number, (out, back) in enumerate([("in", "out"), ("To1", "Tb1")]):
        for at in range(3):
            a, b = f"a{number}{at}", f"b{number}{at}"
            pipes += [drawn(out, a, tail), drawn(a, b, leg), drawn(a, b, leg), drawn(b, back, tail)]
    pipes += _ladder("in", "out", "T", [step], Return.DIRECT)
    theirs = epanet(pipes, 2e-6, total, tmp_path)
    fluid: dict[str, Any] = {"density": quantity(1000.0, "kg/m^3"), "viscosity": quantity(2.0, "mm^2/s")}
    found = plant.solve(
        manifolds=[Manifold([loop] * 3)] * 2,
        trunk=Bar([for_epanet(step)]),
        total_flow=quantity(total, "m^3/s"),
        law="epanet",
        **fluid,
    )
    sections = np.concatenate([each.flows.to("m^3/s").magnitude for m in found.manifolds for each in m.loops])
    np.testing.assert_allclose(sections, theirs.flows[:24], rtol=1e-5)
    np.testing.assert_allclose(flows_of(found), theirs.flows[:24:4], rtol=1e-5)


def test_a_loop_that_begins_with_its_split_is_counted_whole() -> None:
    leg = pipe(180.0, 0.026)
    found = plant.solve(manifolds=[Manifold([Run([Split([leg, leg])]), leg])], total_flow=quantity(0.9, "L/s"), **PG25)
    assert found.manifolds[0].loop_flows.to("L/s").magnitude == pytest.approx([0.6, 0.3], rel=1e-9)


def test_one_plain_manifold_is_the_star_solver() -> None:
    loops, header = [pipe(m, 0.026, 4.0) for m in (150, 200, 250, 300)], [pipe(20, 0.0408, 6.0)] * 2
    rated = (quantity(20, "kPa"), quantity(0.788, "L/s"))
    both: dict[str, Any] = {"total_flow": quantity(1.4, "L/s"), "evaporator": rated, **PG25}
    star = network.solve(branches=loops, header=header, **both)
    graph = plant.solve(manifolds=[Manifold(loops)], header=header, **both)
    np.testing.assert_allclose(graph.manifolds[0].loop_flows.magnitude, star.flows.magnitude, rtol=1e-9)
    for name in ("header_drop", "evaporator_drop", "total_drop", "conservative_total_drop"):
        assert getattr(graph, name).magnitude == pytest.approx(getattr(star, name).magnitude, rel=1e-9)
    assert graph.has_transition is star.has_transition is True
    assert graph.spread.low == pytest.approx(star.spread.low, rel=1e-8)
    own = plant.solve(manifolds=[Manifold(loops, header=header)], **both)
    assert own.total_drop.magnitude == pytest.approx(star.total_drop.magnitude, rel=1e-9)
    assert own.manifolds[0].header_velocities.magnitude == pytest.approx(star.header_velocities.magnitude)
    assert own.manifolds[0].header_drop.magnitude == pytest.approx(star.header_drop.magnitude, rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(1000, 10**6))
def test_drops_agree_on_every_way_and_flows_add_up(seed: int) -> None:
    made = case(seed)
    assume(made.count <= 60)
    found = made.ours("colebrook")
    assert float(np.sum(flows_of(found))) == pytest.approx(made.total, rel=1e-8)
    for each in found.manifolds:
        lost = np.array([float(np.sum(loop.drops.to("Pa").magnitude)) for loop in each.loops])
        np.testing.assert_allclose(lost, each.loop_drops.to("Pa").magnitude, rtol=1e-6)
        assert each.drop.to("Pa").magnitude >= max(lost) * (1 - 1e-9)
        assert each.spread.low <= 0.0 <= each.spread.high
    assert found.conservative_total_drop >= found.total_drop


def test_pump_on_two_manifolds_meets_the_drop() -> None:
    loops = [pipe(200, 0.026, 4.0)] * 3
    manifolds = [Manifold(loops, name="north"), Manifold(loops, name="south")]
    pump = ParabolicPump(quantity(9, "m"), fall=quantity(1, "m"), flow_unit=quantity(3.6, "m^3/h"))
    found = plant.solve_with_pump(manifolds=manifolds, pump=pump, trunk=Bar([pipe(40, 0.0514)]), **PG25)
    head = 9 - 1 * found.total_flow.to("L/s").magnitude ** 2
    assert found.total_drop.to("Pa").magnitude == pytest.approx(head * 1025.81 * 9.80665, rel=1e-6)
    assert [each.name for each in found.manifolds] == ["north", "south"]
    weak = PointsPump(quantity(np.array([1.0, 1.2]), "m^3/h"), quantity(np.array([0.2, 0.1]), "m"))
    with pytest.raises(NoSolution, match="cannot overcome"):
        plant.solve_with_pump(manifolds=manifolds, pump=weak, **PG25)


def test_bad_input_is_named() -> None:
    loop, flow = pipe(200, 0.026, 4.0), quantity(0.5, "L/s")
    with pytest.raises(NoSolution, match="no manifold"):
        plant.solve(manifolds=[], total_flow=flow, **PG25)
    with pytest.raises(NoSolution, match="north: it has no loop"):
        plant.solve(manifolds=[Manifold([], name="north")], total_flow=flow, **PG25)
    with pytest.raises(NoSolution, match="1 stretches each way for 2 take-offs"):
        plant.solve(manifolds=[Manifold([loop] * 2, bar=Bar([]))], total_flow=flow, **PG25)
    with pytest.raises(NoSolution, match="bar out 1: it has no pipe"):
        plant.solve(manifolds=[Manifold([loop] * 2, bar=Bar([[]]))], total_flow=flow, **PG25)
    with pytest.raises(OutOfRange, match="sum of K"):
        plant.solve(manifolds=[Manifold([pipe(200, 0.026, -0.04)])], total_flow=flow, **PG25)
    with pytest.raises(OutOfRange, match="total flow"):
        plant.solve(manifolds=[Manifold([loop])], total_flow=quantity(0, "L/s"), **PG25)
