"""The whole ground side: manifolds with their loops and headers on one pipe from the heat pump, and who gets which flow.

A `Bar` is the pipe between take-offs: between the loops of one manifold (a ladder), or between manifolds on a trunk. With
*direct* return the first take-off is also the last on the way home; with *reverse* return the first out is the first in, and
the water of every take-off goes equally far. Even so a bar of one bore leaves the middle take-offs the least.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

import numpy as np

from calcs._darcy import Law, Pipes
from calcs._graph import Graph
from calcs._graph import solve as settle
from calcs._pump import Evaporator, Pump, evaporator_k, operating_flow
from calcs._ranges import positive
from calcs.circuit import Layout, Pipework, SectionFlows
from calcs.errors import NoSolution
from calcs.network import Branch, Branches, Header, Spread
from calcs.units import Array, Quantity, quantity, si


class Return(StrEnum):
    """Which way the water goes home from the take-offs."""

    DIRECT = "direct"
    REVERSE = "reverse"


@dataclass(frozen=True)
class Bar:
    """Pipe between take-offs, one stretch fewer than there are take-offs; `back` None means the same pipe on the way back.

    Stretch i lies between take-offs i and i + 1, on both ways. With reverse return the pipe that brings the water home from
    the last take-off carries the whole flow: it belongs to the header in series.
    """

    out: Sequence[Header]
    returns: Return = Return.DIRECT
    back: Sequence[Header] | None = None


@dataclass(frozen=True)
class Manifold:
    """Loops with their own header (out and back, in series). Without a bar the drop between its take-offs is left out."""

    loops: Sequence[Pipework]
    header: Header = ()
    bar: Bar | None = None
    name: str = ""


@dataclass(frozen=True)
class ManifoldFlows:
    """One manifold at the operating point; arrays are in the order of its loops.

    `drop` is between its two ends (loops and bar), `header_drop` that of its own header, both ways together. `loops` tells
    every section and leg, `bar` the stretches between take-offs, all of the way out first.
    """

    name: str
    flow: Quantity
    loop_flows: Quantity
    loop_drops: Quantity
    loops: tuple[SectionFlows, ...]
    spread: Spread
    drop: Quantity
    header_drop: Quantity
    header_velocities: Quantity
    bar: SectionFlows


@dataclass(frozen=True)
class PlantFlows:
    """One operating point of the whole plant. `spread` is over all loops, from the mean loop.

    `array_drop` is between the two ends of the trunk, all behind it included; header and evaporator come on top.
    """

    manifolds: tuple[ManifoldFlows, ...]
    spread: Spread
    total_flow: Quantity
    array_drop: Quantity
    trunk: SectionFlows
    header_drop: Quantity
    header_velocities: Quantity
    evaporator_drop: Quantity
    total_drop: Quantity
    conservative_total_drop: Quantity

    @property
    def has_transition(self) -> bool:
        """True when a section of a loop runs between Re 2000 and 4000: then the drop is known to 20-25 % only."""
        return any(loop.has_transition for manifold in self.manifolds for loop in manifold.loops)


def solve(  # noqa: PLR0913
    *,
    manifolds: Sequence[Manifold],
    total_flow: Quantity,
    density: Quantity,
    viscosity: Quantity,
    trunk: Bar | None = None,
    header: Header = (),
    evaporator: Evaporator | None = None,
    law: Law | str = Law.COLEBROOK,
) -> PlantFlows:
    """Flows of all loops of all manifolds from the total flow.

    Formula: dp = (f L/d + sum K) rho v^2/2 per section, flows adding up at every tee; `header` and evaporator carry the
    whole flow in series, the trunk lies between the manifolds. Units: any of the right dimension; results m3/s, m/s, Pa.
    Range: lengths, bores, total flow above 0; K never negative (a tee may show one: see `fittings`); a few hundred
    take-offs on bars. Source: Todini & Pilati 1988 (global gradient); checked against EPANET 2.2.

    >>> water = {"density": quantity(999.7, "kg/m^3"), "viscosity": quantity(1.306, "mm^2/s")}
    >>> loops = [Branch(quantity(200, "m"), quantity(26, "mm"), fittings_k=4)] * 4
    >>> step = Branch(quantity(40, "m"), quantity(40.8, "mm"))
    >>> both = solve(manifolds=[Manifold(loops), Manifold(loops)], trunk=Bar([step]), total_flow=quantity(2.4, "L/s"), **water)
    >>> [round(each.flow.to("L/s").magnitude, 3) for each in both.manifolds]
    [1.344, 1.056]
    """
    plant = _Plant.of(manifolds, trunk, header, evaporator, density, viscosity)
    return plant.flows(positive("total flow", si(total_flow, "m^3/s", "total flow")), Law(law))


def solve_with_pump(  # noqa: PLR0913
    *,
    manifolds: Sequence[Manifold],
    pump: Pump,
    density: Quantity,
    viscosity: Quantity,
    trunk: Bar | None = None,
    header: Header = (),
    evaporator: Evaporator | None = None,
) -> PlantFlows:
    """Operating point of a pump on the whole plant: its head equals the total drop.

    Units: heads in metres of fluid or pressure. Range as `solve`; a curve that ends before the point is `NoSolution`.
    Source: definition of the operating point.

    >>> brine = {"density": quantity(1025.81, "kg/m^3"), "viscosity": quantity(5.376295, "mm^2/s")}
    >>> from calcs.network import ParabolicPump
    >>> pump = ParabolicPump(quantity(8, "m"), fall=quantity(4, "m"), flow_unit=quantity(3.6, "m^3/h"))
    >>> loops = [Branch(quantity(200, "m"), quantity(26, "mm"), fittings_k=4)] * 3
    >>> runs = [Branch(quantity(20, "m"), quantity(40.8, "mm"), fittings_k=6)] * 2
    >>> point = solve_with_pump(manifolds=[Manifold(loops, header=runs)], pump=pump,
    ...     evaporator=(quantity(20, "kPa"), quantity(0.788, "L/s")), **brine)
    >>> round(point.total_flow.to("L/s").magnitude, 3)
    0.777
    """
    plant = _Plant.of(manifolds, trunk, header, evaporator, density, viscosity)
    flow = operating_flow(pump, plant.density, lambda total: plant.drop(total, Law.COLEBROOK))
    return plant.flows(flow, Law.COLEBROOK)


class _Laid(NamedTuple):
    """Where one manifold lies in the graph: its two ends, its sections by their numbers, and the ends of every loop."""

    name: str
    ends: tuple[int, int]
    header: range
    bar: range
    loops: tuple[range, ...]
    taps: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class _Plant:
    """The plant in SI: a graph between the two ends of the trunk, header runs in series, evaporator as k Q^2."""

    graph: Graph
    labels: tuple[str, ...]
    laid: tuple[_Laid, ...]
    trunk: range
    header: Pipes | None
    evaporator_k: float

    @classmethod
    def of(
        cls,
        manifolds: Sequence[Manifold],
        trunk: Bar | None,
        header: Header,
        evaporator: Evaporator | None,
        density: Quantity,
        viscosity: Quantity,
    ) -> _Plant:
        if not manifolds:
            raise NoSolution(what="the flows", reason="there is no manifold.")
        layout = Layout()
        ends = layout.node(), layout.node()
        taps, stretches = _lay_bar(layout, trunk, len(manifolds), ends, "trunk")
        laid = tuple(_lay_manifold(layout, *each) for each in zip(manifolds, taps, strict=True))
        runs = _runs(header)
        return cls(
            graph=layout.graph(density, viscosity),
            labels=tuple(layout.labels),
            laid=laid,
            trunk=stretches,
            header=Branches.of(runs).pipes(density, viscosity) if runs else None,
            evaporator_k=evaporator_k(evaporator),
        )

    @property
    def density(self) -> float:
        return self.graph.pipes.density

    def settled(self, total: float, law: Law) -> tuple[Array, Array]:
        """Flows of the links and pressures of the nodes; the first two nodes are the ends of the trunk."""
        return settle(self.graph, 0, 1, total, law)

    def header_drops(self, total: float, law: Law) -> Array:
        if self.header is None:
            return np.zeros(0)
        return self.header.drop(np.full(len(self.header.length), total), law)

    def in_series(self, total: float, law: Law) -> float:
        """Drop of what carries the whole flow, Pa."""
        return float(np.sum(self.header_drops(total, law))) + self.evaporator_k * total**2

    def drop(self, total: float, law: Law) -> float:
        return float(self.settled(total, law)[1][0]) + self.in_series(total, law)

    def flows(self, total: float, law: Law) -> PlantFlows:
        through, heads = self.settled(total, law)
        sections = SectionFlows.of(self.graph, self.labels, through[self.graph.link], law)
        each = tuple(self.manifold_flows(laid, sections, through, heads) for laid in self.laid)
        drop = float(heads[0]) + self.in_series(total, law)
        return PlantFlows(
            manifolds=each,
            spread=_spread(np.concatenate([np.asarray(manifold.loop_flows.magnitude) for manifold in each])),
            total_flow=quantity(total, "m^3/s"),
            array_drop=quantity(float(heads[0]), "Pa"),
            trunk=sections.only(self.trunk),
            header_drop=quantity(float(np.sum(self.header_drops(total, law))), "Pa"),
            header_velocities=quantity(np.zeros(0) if self.header is None else total / self.header.area, "m/s"),
            evaporator_drop=quantity(self.evaporator_k * total**2, "Pa"),
            total_drop=quantity(drop, "Pa"),
            conservative_total_drop=quantity(max(drop, self.drop(total, Law.CHURCHILL)), "Pa"),
        )

    def manifold_flows(self, laid: _Laid, sections: SectionFlows, through: Array, heads: Array) -> ManifoldFlows:
        loop_flows = np.array([self.entering(*each, through) for each in zip(laid.loops, laid.taps, strict=True)])
        header = sections.only(laid.header)
        return ManifoldFlows(
            name=laid.name,
            flow=quantity(float(np.sum(loop_flows)), "m^3/s"),
            loop_flows=quantity(loop_flows, "m^3/s"),
            loop_drops=quantity(np.array([heads[out] - heads[back] for out, back in laid.taps]), "Pa"),
            loops=tuple(sections.only(numbers) for numbers in laid.loops),
            spread=_spread(loop_flows),
            drop=quantity(float(heads[laid.ends[0]] - heads[laid.ends[1]]), "Pa"),
            header_drop=quantity(float(np.sum(header.drops.magnitude)), "Pa"),
            header_velocities=header.velocities,
            bar=sections.only(laid.bar),
        )

    def entering(self, numbers: range, ends: tuple[int, int], through: Array) -> float:
        """Flow of one loop: all that leaves its take-off into one of its own links (a loop may begin with a split)."""
        links = np.unique(self.graph.link[numbers.start : numbers.stop])
        return float(np.sum(through[links][self.graph.start[links] == ends[0]]))


def _lay_manifold(layout: Layout, manifold: Manifold, tap: tuple[int, int]) -> _Laid:
    if not manifold.loops:
        raise NoSolution(what=f"the manifold {manifold.name}".rstrip(), reason="it has no loop.")
    runs = _runs(manifold.header)
    ends = (layout.node(), tap[1]) if runs else tap
    header = _lay_stretch(layout, tap[0], ends[0], runs, "header") if runs else range(0)
    taps, bar = _lay_bar(layout, manifold.bar, len(manifold.loops), ends, "bar")
    loops = tuple(
        layout.lay(loop, *each, loop.name or f"{number}")
        for number, (loop, each) in enumerate(zip(manifold.loops, taps, strict=True), start=1)
    )
    return _Laid(manifold.name, ends, header, bar, loops, taps)


def _lay_bar(
    layout: Layout, bar: Bar | None, count: int, ends: tuple[int, int], called: str
) -> tuple[tuple[tuple[int, int], ...], range]:
    """Both ways of a bar between its two ends: the take-offs, and its stretches by number, all of the way out first."""
    if bar is None:
        return (ends,) * count, range(0)
    back = bar.out if bar.back is None else bar.back
    if len(bar.out) != count - 1 or len(back) != count - 1:
        reason = f"it needs {count - 1} stretches each way for {count} take-offs."
        raise NoSolution(what=f"the {called}", reason=reason)
    outs = [ends[0], *(layout.node() for _ in back)]
    between = [layout.node() for _ in back]
    backs = [ends[1], *between] if bar.returns is Return.DIRECT else [*between, ends[1]]
    before = len(layout.sections)
    for number, stretch in enumerate(bar.out):
        _lay_stretch(layout, outs[number], outs[number + 1], _runs(stretch), f"{called} out {number + 1}")
    for number, stretch in enumerate(back):
        here, there = (number + 1, number) if bar.returns is Return.DIRECT else (number, number + 1)
        _lay_stretch(layout, backs[here], backs[there], _runs(stretch), f"{called} back {number + 1}")
    return tuple(zip(outs, backs, strict=True)), range(before, len(layout.sections))


def _lay_stretch(layout: Layout, start: int, end: int, runs: Sequence[Branch], called: str) -> range:
    if not runs:
        raise NoSolution(what=f"the {called}", reason="it has no pipe.")
    before = len(layout.sections)
    layout.chain(start, end, [(run.name or called, run) for run in runs])
    return range(before, len(layout.sections))


def _runs(header: Header) -> list[Branch]:
    return [header] if isinstance(header, Branch) else list(header)


def _spread(flows: Array) -> Spread:
    mean = float(np.mean(flows))
    return Spread(float(np.min(flows)) / mean - 1.0, float(np.max(flows)) / mean - 1.0)
