"""One loop as it is laid: sections in series, and parallel legs between two tees (double U, twin boreholes).

A loop is a tree: a `Run` is a row of parts, a part is a section of pipe (`network.Branch`) or a `Split`, and the legs of a
split are runs again. What it holds, how long its ways are and how a flow shares itself out all follow that one tree.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import pi
from typing import TypeAlias

import numpy as np

from calcs._darcy import Law
from calcs._graph import Graph, solve
from calcs._ranges import positive
from calcs.errors import NoSolution
from calcs.friction import Regime
from calcs.network import Branch, Branches, regimes_of
from calcs.units import Array, Quantity, quantity, si


@dataclass(frozen=True)
class Split:
    """Parallel legs between two tees. The tees' own losses belong to the first and last section of each leg."""

    legs: Sequence[Run | Branch]


@dataclass(frozen=True)
class Run:
    """A path of pipe: sections and splits in series."""

    parts: Sequence[Branch | Split]
    name: str = ""


Pipework: TypeAlias = Run | Branch


@dataclass(frozen=True)
class SectionFlows:
    """What happens in sections of pipe, as arrays in one order. A flow below 0 runs against the order of walking.

    `labels` are the sections' own names, or their places: 2.1.3 is the third part of the first leg of part 2.
    """

    labels: tuple[str, ...]
    flows: Quantity
    velocities: Quantity
    reynolds: Array
    regimes: tuple[Regime, ...]
    drops: Quantity

    @property
    def has_transition(self) -> bool:
        """True when a section runs between Re 2000 and 4000: then its drop is known to 20-25 % only."""
        return Regime.TRANSITION in self.regimes

    @classmethod
    def of(cls, graph: Graph, labels: Sequence[str], flow: Array, law: Law) -> SectionFlows:
        """From the flow in every section of a graph, m3/s."""
        reynolds = np.abs(graph.pipes.reynolds(flow))
        return cls(
            labels=tuple(labels),
            flows=quantity(flow, "m^3/s"),
            velocities=quantity(flow / graph.pipes.area, "m/s"),
            reynolds=reynolds,
            regimes=regimes_of(reynolds),
            drops=quantity(graph.pipes.drop(flow, law), "Pa"),
        )

    def only(self, at: Sequence[int]) -> SectionFlows:
        """Some of the sections, in this order."""
        chosen = np.asarray(at, dtype=np.int64)
        return SectionFlows(
            labels=tuple(self.labels[index] for index in at),
            flows=self.flows[chosen],
            velocities=self.velocities[chosen],
            reynolds=self.reynolds[chosen],
            regimes=tuple(self.regimes[index] for index in at),
            drops=self.drops[chosen],
        )


@dataclass(frozen=True)
class RunFlows:
    """One run at one flow. `conservative_drop` is the higher of the product's law and Churchill's."""

    sections: SectionFlows
    drop: Quantity
    conservative_drop: Quantity

    @property
    def has_transition(self) -> bool:
        """True when a section runs between Re 2000 and 4000."""
        return self.sections.has_transition


def volume(*, run: Pipework) -> Quantity:
    """What a run holds: V = sum of pi/4 d^2 L over all sections, all legs of a split included; in litres.

    Range: lengths and bores above 0. Source: geometry.

    >>> leg, tail = Branch(quantity(200, "m"), quantity(26.0, "mm")), Branch(quantity(20, "m"), quantity(32.6, "mm"))
    >>> round(volume(run=Run([tail, Split([leg, leg]), tail])).magnitude, 1)
    245.8
    """
    return quantity(sum(_volume(section) for section in sections(run=run)) * 1e3, "L")


def longest_path(*, run: Pipework) -> Quantity:
    """Length of the longest way through a run: sections in series add, of a split the longest leg counts; m.

    Range: lengths above 0. Source: geometry.

    >>> short, long = Branch(quantity(90, "m"), quantity(26.0, "mm")), Branch(quantity(120, "m"), quantity(26.0, "mm"))
    >>> longest_path(run=Run([Split([short, long]), short])).magnitude
    210.0
    """
    return quantity(_path(run, max), "m")


def shortest_path(*, run: Pipework) -> Quantity:
    """Length of the shortest way through a run: as `longest_path`, with the shortest leg of every split; m.

    Range: lengths above 0. Source: geometry.

    >>> short, long = Branch(quantity(90, "m"), quantity(26.0, "mm")), Branch(quantity(120, "m"), quantity(26.0, "mm"))
    >>> shortest_path(run=Run([Split([short, long]), short])).magnitude
    180.0
    """
    return quantity(_path(run, min), "m")


def sections(*, run: Pipework) -> tuple[Branch, ...]:
    """Every section of a run in the order of walking, leg by leg (no unit; range: a run with pipe in every leg).

    Source: definition.

    >>> leg = Branch(quantity(200, "m"), quantity(26.0, "mm"), name="leg")
    >>> [section.name for section in sections(run=Run([Split([leg, Run([leg, leg])])]))]
    ['leg', 'leg', 'leg']
    """
    return tuple(section for _, section in _walk(run, ""))


def flows(
    *, run: Pipework, flow: Quantity, density: Quantity, viscosity: Quantity, law: Law | str = Law.COLEBROOK
) -> RunFlows:
    """How a flow shares itself out in a run: equal drop over all legs of a split, flows adding up at the tees.

    Formula: dp = (f L/d + sum K) rho v^2/2 per section, flows by the global gradient. Units: any of flow; results in
    m3/s, m/s, Pa. Range: flow, lengths, bores above 0, K never negative. Source: Darcy-Weisbach; Todini & Pilati 1988.

    >>> water = {"density": quantity(999.7, "kg/m^3"), "viscosity": quantity(1.306, "mm^2/s")}
    >>> leg, tail = Branch(quantity(200, "m"), quantity(26.0, "mm")), Branch(quantity(20, "m"), quantity(32.6, "mm"))
    >>> found = flows(run=Run([tail, Split([leg, leg]), tail]), flow=quantity(0.6, "L/s"), **water)
    >>> found.sections.flows.to("L/s").magnitude.round(6).tolist(), found.sections.labels
    ([0.6, 0.3, 0.3, 0.6], ('1', '2.1', '2.2', '3'))
    """
    total = positive("flow", si(flow, "m^3/s", "flow"))
    layout = Layout()
    inlet, outlet = layout.node(), layout.node()
    layout.lay(run, inlet, outlet)
    graph = layout.graph(density, viscosity)
    through, heads = solve(graph, inlet, outlet, total, Law(law))
    drop = float(heads[inlet])
    churchill = float(solve(graph, inlet, outlet, total, Law.CHURCHILL)[1][inlet])
    return RunFlows(
        sections=SectionFlows.of(graph, layout.labels, through[graph.link], Law(law)),
        drop=quantity(drop, "Pa"),
        conservative_drop=quantity(max(drop, churchill), "Pa"),
    )


class Layout:
    """Pipework on its way to a `Graph`: nodes are numbers, a link is a chain of sections between two of them."""

    def __init__(self) -> None:
        self.nodes = 0
        self.sections: list[Branch] = []
        self.labels: list[str] = []
        self._link: list[int] = []
        self._ends: list[tuple[int, int]] = []

    def node(self) -> int:
        """A new node."""
        self.nodes += 1
        return self.nodes - 1

    def chain(self, start: int, end: int, named: Sequence[tuple[str, Branch]]) -> int:
        """Sections in series between two nodes; gives the link's number."""
        self._ends.append((start, end))
        for label, section in named:
            self.labels.append(label)
            self.sections.append(section)
            self._link.append(len(self._ends) - 1)
        return len(self._ends) - 1

    def lay(self, run: Pipework, start: int, end: int, place: str = "") -> range:
        """A whole run between two nodes; gives the numbers of its sections."""
        before = len(self.sections)
        rows = list(_rows(run, place))
        nodes = [start, *(self.node() for _ in rows[1:]), end]
        for row, here, there in zip(rows, nodes, nodes[1:], strict=False):
            if isinstance(row, list):
                self.chain(here, there, row)
                continue
            for leg, label in row:
                self.lay(leg, here, there, label)
        return range(before, len(self.sections))

    def graph(self, density: Quantity, viscosity: Quantity) -> Graph:
        """All that was laid, in one fluid. Raises `OutOfRange` for a length, bore or K that no pipe has."""
        ends = np.array(self._ends, dtype=np.int64)
        return Graph(
            pipes=Branches.of(self.sections).pipes(density, viscosity),
            link=np.array(self._link, dtype=np.int64),
            start=ends[:, 0],
            end=ends[:, 1],
            nodes=self.nodes,
        )


_Row: TypeAlias = "list[tuple[str, Branch]] | tuple[tuple[Pipework, str], ...]"


def _rows(run: Pipework, place: str) -> Iterator[_Row]:
    """The parts of a run: neighbouring sections together as a list, the legs of each split as a tuple."""
    if isinstance(run, Branch):
        yield [(run.name or place or "1", run)]
        return
    if not run.parts:
        raise NoSolution(what=f"the run {run.name or place}".rstrip(), reason="it has no pipe.")
    chain: list[tuple[str, Branch]] = []
    for number, part in enumerate(run.parts, start=1):
        label = f"{place}.{number}".lstrip(".")
        if isinstance(part, Branch):
            chain.append((part.name or label, part))
            continue
        if chain:
            yield chain
            chain = []
        yield _legs(part, label)
    if chain:
        yield chain


def _legs(split: Split, label: str) -> tuple[tuple[Pipework, str], ...]:
    if not split.legs:
        raise NoSolution(what=f"the split {label}", reason="it has no leg.")
    return tuple((leg, f"{label}.{number}") for number, leg in enumerate(split.legs, start=1))


def _walk(run: Pipework, place: str) -> Iterator[tuple[str, Branch]]:
    for row in _rows(run, place):
        if isinstance(row, list):
            yield from row
        else:
            for leg, label in row:
                yield from _walk(leg, label)


def _volume(section: Branch) -> float:
    bore = positive("bore", si(section.bore, "m", "bore"))
    return pi / 4.0 * bore**2 * positive("length", si(section.length, "m", "length"))


def _path(run: Pipework, pick: Callable[[Iterator[float]], float]) -> float:
    length = 0.0
    for row in _rows(run, ""):
        if isinstance(row, list):
            length += sum(positive("length", si(section.length, "m", "length")) for _, section in row)
        else:
            length += pick(_path(leg, pick) for leg, _ in row)
    return length
