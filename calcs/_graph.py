"""Flows in any network of pipes, in SI floats: links of sections in series between nodes, solved by the global gradient.

Todini & Pilati's method: one Newton step gives all flows and all heads at once. Drop grows strictly with flow in every link,
so the flows are the minimum of a convex function and a step that goes too far shows in its slope and is shortened: the
iteration settles from anywhere. Nothing here knows a unit; the matrix is dense, which suits a few hundred nodes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeAlias

import numpy as np

from calcs._darcy import FactorAndSlope, Law, Pipes
from calcs.errors import NoSolution
from calcs.units import Array

Whole: TypeAlias = np.ndarray[Any, np.dtype[np.int64]]
MAX_STEPS = 100
SETTLED = 1e-9
SHORTER = 12


@dataclass(frozen=True)
class Graph:
    """Sections of pipe in the order of their links, and the two nodes of every link (flow counts from start to end).

    `link` gives the link of each section and never falls; every link has one section or more. Nodes are numbered from 0.
    """

    pipes: Pipes
    link: Whole
    start: Whole
    end: Whole
    nodes: int

    @cached_property
    def firsts(self) -> Whole:
        """Where each link's sections begin."""
        return np.searchsorted(self.link, np.arange(len(self.start)))

    def drop_and_slope(self, flow: Array, law: Law) -> FactorAndSlope:
        """Drop in Pa and its slope of every link at these link flows: sections in series add up."""
        drop, slope = self.pipes.drop_and_slope(flow[self.link], law)
        return np.add.reduceat(drop, self.firsts), np.add.reduceat(slope, self.firsts)


def solve(graph: Graph, inlet: int, outlet: int, total: float, law: Law) -> tuple[Array, Array]:
    """Flows m3/s of the links and pressures Pa of the nodes (0 at the outlet) when `total` goes in here and out there.

    Raises `NoSolution` when a part of the network is not connected or the iteration does not settle.
    """
    _connected(graph)
    network = _Newton(graph, inlet, outlet, total)
    flow, heads = network.laminar_start()
    drop, slope = graph.drop_and_slope(flow, law)
    for _ in range(MAX_STEPS):
        heads, step = network.step(flow, heads, drop, slope)
        if np.max(np.abs(step)) <= SETTLED * total:
            return flow + step, heads
        flow, drop, slope = _not_too_far(graph, flow, drop, step, law)
    raise NoSolution(what="the flows", reason="the iteration does not settle; check lengths and bores.")


class _Newton:
    """The linear part of the problem: which link meets which node, and what goes in and out."""

    def __init__(self, graph: Graph, inlet: int, outlet: int, total: float) -> None:
        self.graph = graph
        self.outlet = outlet
        self.total = total
        self.demand = np.zeros(graph.nodes)
        self.demand[inlet] += total
        self.demand[outlet] -= total
        self.unknown = np.delete(np.arange(graph.nodes), outlet)

    def surplus(self, flow: Array) -> Array:
        """What arrives at every node and does not leave it, m3/s."""
        count = self.graph.nodes
        arriving = np.bincount(self.graph.end, flow, minlength=count)
        return arriving - np.bincount(self.graph.start, flow, minlength=count) + self.demand

    def raised(self, conductance: Array, surplus: Array) -> Array:
        """By how much the pressures rise so that these surpluses flow off through links of this conductance."""
        start, end, count = self.graph.start, self.graph.end, self.graph.nodes
        at = np.concatenate([start * count + start, end * count + end, start * count + end, end * count + start])
        worth = np.concatenate([conductance, conductance, -conductance, -conductance])
        matrix = np.bincount(at, worth, minlength=count * count).reshape(count, count)
        heads = np.zeros(count)
        inner = np.ix_(self.unknown, self.unknown)
        try:
            heads[self.unknown] = np.linalg.solve(matrix[inner], surplus[self.unknown])
        except np.linalg.LinAlgError:
            raise NoSolution(what="the flows", reason="the pipes differ too much to compute them together.") from None
        return heads

    def laminar_start(self) -> tuple[Array, Array]:
        """Flows as if all were laminar, which balance at every node, and the pressures that go with them."""
        tiny = np.full(len(self.graph.start), 1e-12 * self.total)
        _, slope = self.graph.drop_and_slope(tiny, Law.COLEBROOK)
        heads = self.raised(1.0 / slope, self.demand)
        return (heads[self.graph.start] - heads[self.graph.end]) / slope, heads

    def step(self, flow: Array, heads: Array, drop: Array, slope: Array) -> tuple[Array, Array]:
        """New pressures, and by how much every flow changes.

        The pressures are improved, not computed anew, so that rounding in one step is mended by the next.
        """
        start, end = self.graph.start, self.graph.end
        local = (heads[start] - heads[end] - drop) / slope
        heads = heads + self.raised(1.0 / slope, self.surplus(flow + local))
        return heads, (heads[start] - heads[end] - drop) / slope


def _not_too_far(graph: Graph, flow: Array, drop: Array, step: Array, law: Law) -> tuple[Array, Array, Array]:
    """Flows after the step, or after a part of it, with their drops and slopes.

    The flows minimise the sum of the integrals of drop over flow. Along the step its slope is sum(drop * step): where that
    has turned over to more than it was, the step went past the minimum.
    """
    before = abs(float(np.sum(drop * step)))
    for _ in range(SHORTER):
        there = flow + step
        drop, slope = graph.drop_and_slope(there, law)
        if float(np.sum(drop * step)) <= before:
            break
        step = step / 2.0
    return there, drop, slope


def _connected(graph: Graph) -> None:
    """Every node can be reached from the first, else `NoSolution`."""
    reached = np.zeros(graph.nodes, dtype=bool)
    reached[0] = True
    for _ in range(graph.nodes):
        fresh = reached[graph.start] != reached[graph.end]
        if not np.any(fresh):
            break
        reached[graph.start[fresh]] = reached[graph.end[fresh]] = True
    if not np.all(reached):
        raise NoSolution(what="the flows", reason="a part of the pipework is not connected to the rest.")
