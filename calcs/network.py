"""Parallel loops behind one manifold: who gets which flow, and what the pump must give.

Newton on the common pressure drop H with h_i(q_i) = H and sum q_i = Q (Todini's global gradient for a star): a handful of
steps for any number of loops. Floats in SI inside; give arrays wrapped once (`Branches`) when there are many loops.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from calcs._darcy import LAMINAR_END, TURBULENT_START, Law, Pipes
from calcs._pump import GRAVITY, Evaporator, ParabolicPump, PointsPump, Pump, evaporator_k, operating_flow
from calcs._ranges import kinematic_si, positive
from calcs.errors import NoSolution, OutOfRange
from calcs.friction import Regime, check_relative_roughness, default_roughness
from calcs.units import Array, Quantity, quantity, si, si_array

__all__ = [
    "GRAVITY",
    "Branch",
    "Branches",
    "Evaporator",
    "Header",
    "ParabolicPump",
    "PointsPump",
    "Pump",
    "Solution",
    "Spread",
    "regimes_of",
    "solve",
    "solve_with_pump",
    "star",
]

MAX_STEPS = 60
CONVERGED = 1e-10


@dataclass(frozen=True)
class Branch:
    """One path of pipe: a loop with its tails, or a run of header. `roughness` None means the default for PE."""

    length: Quantity
    bore: Quantity
    fittings_k: float = 0.0
    roughness: Quantity | None = None
    name: str = ""


@dataclass(frozen=True)
class Branches:
    """Many paths, each property one quantity that wraps an array."""

    length: Quantity
    bore: Quantity
    fittings_k: Array
    roughness: Quantity

    @classmethod
    def of(cls, branches: Sequence[Branch]) -> Branches:
        """From single branches, in their order."""
        rough = default_roughness()
        return cls(
            length=_metres([b.length for b in branches], "length"),
            bore=_metres([b.bore for b in branches], "bore"),
            fittings_k=np.array([float(b.fittings_k) for b in branches]),
            roughness=_metres([b.roughness or rough for b in branches], "roughness"),
        )

    def pipes(self, density: Quantity, viscosity: Quantity) -> Pipes:
        """As checked SI arrays, in one fluid."""
        bore = _all_positive("bore", si_array(self.bore, "m", "bore"))
        rough = si_array(self.roughness, "m", "roughness")
        k = np.asarray(self.fittings_k, dtype=np.float64)
        # A nan is its own least value, and no comparison with it holds.
        if k.size and not (k.min() >= 0.0 and k.max() < np.inf):
            raise OutOfRange(what="sum of K", value=k.tolist(), low=0, high="any finite value", source="solver")
        length = _all_positive("length", si_array(self.length, "m", "length"))
        if not length.shape == bore.shape == k.shape == rough.shape:
            length, bore, k, rough = np.broadcast_arrays(length, bore, k, rough)
        return Pipes(
            length=length,
            bore=bore,
            fittings_k=k,
            relative_roughness=check_relative_roughness(rough / bore),
            density=positive("density", si(density, "kg/m^3", "density")),
            kinematic_viscosity=kinematic_si(viscosity, density),
        )


Header = Branch | Sequence[Branch]


@dataclass(frozen=True)
class Spread:
    """Lowest and highest loop flow as deviation from the mean: -0.09 is 9 % below it."""

    low: float
    high: float


@dataclass(frozen=True)
class Solution:
    """Flows and pressure drops of one operating point; arrays are in the order of the branches."""

    flows: Quantity
    velocities: Quantity
    reynolds: Array
    regimes: tuple[Regime, ...]
    spread: Spread
    total_flow: Quantity
    manifold_drop: Quantity
    header_drop: Quantity
    header_velocities: Quantity
    evaporator_drop: Quantity
    total_drop: Quantity
    conservative_total_drop: Quantity

    @property
    def has_transition(self) -> bool:
        """True when a loop runs between Re 2000 and 4000: then the drop is known to 20-25 % only."""
        return Regime.TRANSITION in self.regimes


@dataclass(frozen=True)
class _System:
    """The plant in SI: loops in parallel, header runs in series, evaporator as k Q^2."""

    loops: Pipes
    header: Pipes | None
    evaporator_k: float

    def header_drops(self, total: float, law: Law) -> Array:
        if self.header is None:
            return np.zeros(0)
        return self.header.drop(np.full(len(self.header.length), total), law)

    def drop(self, total: float, law: Law) -> float:
        _, manifold = star(self.loops, total, law)
        return manifold + float(np.sum(self.header_drops(total, law))) + self.evaporator_k * total**2


def solve(  # noqa: PLR0913
    *,
    branches: Sequence[Branch] | Branches,
    total_flow: Quantity,
    density: Quantity,
    viscosity: Quantity,
    header: Header = (),
    evaporator: Evaporator | None = None,
    law: Law | str = Law.COLEBROOK,
) -> Solution:
    """Flows of parallel loops from their total: h_i(q_i) = H for all i, sum q_i = Q; header runs carry Q in series.

    Range: one loop or more, all lengths, bores and the total flow above 0; K never negative. The evaporator is its rated
    (pressure drop, flow), scaled with the square of the flow. `law="epanet"` is for comparison with EPANET only.
    Source: Todini & Pilati 1988 (global gradient); checked against EPANET 2.2 and White, Fluid Mechanics, ex. 6.18.

    >>> water = {"density": quantity(999.7026, "kg/m^3"), "viscosity": quantity(1.3061, "mm^2/s")}
    >>> loops = [Branch(quantity(length, "m"), quantity(26.0, "mm"), fittings_k=4) for length in (150, 200, 250, 300)]
    >>> solution = solve(branches=loops, total_flow=quantity(2.8, "L/s"), **water)
    >>> solution.flows.to("L/s").magnitude.round(4).tolist(), round(solution.manifold_drop.to("kPa").magnitude, 1)
    ([0.8498, 0.7266, 0.6427, 0.581], 181.6)
    """
    system = _system(branches, header, evaporator, density, viscosity)
    return _solution(system, positive("total flow", si(total_flow, "m^3/s", "total flow")), Law(law))


def solve_with_pump(
    *,
    branches: Sequence[Branch] | Branches,
    pump: Pump,
    density: Quantity,
    viscosity: Quantity,
    header: Header = (),
    evaporator: Evaporator | None = None,
) -> Solution:
    """Operating point: the flow at which the pump's head equals the drop of the system.

    The pump curve falls and the system curve rises, so there is one point; a curve that ends before it is `NoSolution`.
    Units: heads in metres of fluid or pressure. Range as `solve`. Source: definition of the operating point.

    >>> brine = {"density": quantity(1025.81, "kg/m^3"), "viscosity": quantity(5.376295, "mm^2/s")}
    >>> pump = ParabolicPump(quantity(8, "m"), fall=quantity(4, "m"), flow_unit=quantity(3.6, "m^3/h"))
    >>> runs = [Branch(quantity(20, "m"), quantity(40.8, "mm"), fittings_k=6)] * 2
    >>> point = solve_with_pump(branches=[Branch(quantity(200, "m"), quantity(26, "mm"), fittings_k=4)] * 3, pump=pump,
    ...     header=runs, evaporator=(quantity(20, "kPa"), quantity(0.788, "L/s")), **brine)
    >>> round(point.total_flow.to("L/s").magnitude, 3)
    0.777
    """
    system = _system(branches, header, evaporator, density, viscosity)
    flow = operating_flow(pump, system.loops.density, lambda total: system.drop(total, Law.COLEBROOK))
    return _solution(system, flow, Law.COLEBROOK)


def star(loops: Pipes, total: float, law: Law) -> tuple[Array, float]:
    """Flows m3/s and common drop Pa of parallel pipes that share `total` m3/s (SI floats; the solver's core).

    Formula: dq_i = (H - h_i)/h'_i with H = (Q - sum q + sum h/h') / sum(1/h'). Range: total above 0.
    Source: Todini & Pilati 1988.

    >>> one = np.ones(2)
    >>> pair = Pipes(one * [100, 200], one * 0.026, one * 0, one * 0, density=1000.0, kinematic_viscosity=5e-6)
    >>> star(pair, 3e-4, Law.COLEBROOK)[0].round(12).tolist()
    [0.0002, 0.0001]
    """
    weight = loops.bore**2.5 / np.sqrt(loops.length)
    flow = total * weight / np.sum(weight)
    for _ in range(MAX_STEPS):
        drop, slope = loops.drop_and_slope(flow, law)
        inverse = 1.0 / slope
        common = (total - np.sum(flow) + np.sum(drop * inverse)) / np.sum(inverse)
        step = (common - drop) * inverse
        flow = flow + step
        if np.max(np.abs(step)) <= CONVERGED * total / len(flow):
            return flow, float(common)
    raise NoSolution(what="the loop flows", reason="the iteration does not settle; check lengths and bores.")


def regimes_of(reynolds: Array) -> tuple[Regime, ...]:
    """`friction.regime` for an array of Reynolds numbers (dimensionless, 0 or more). Source: as there, and its limits.

    >>> [regime.value for regime in regimes_of(np.array([1999.0, 2000.5, 4000.0]))]
    ['laminar', 'transition', 'turbulent']
    """
    kinds = (reynolds > LAMINAR_END).astype(np.int64) + (reynolds >= TURBULENT_START)
    return tuple(_REGIMES[kind] for kind in kinds.tolist())


_REGIMES = (Regime.LAMINAR, Regime.TRANSITION, Regime.TURBULENT)


def _system(
    branches: Sequence[Branch] | Branches,
    header: Header,
    evaporator: Evaporator | None,
    density: Quantity,
    viscosity: Quantity,
) -> _System:
    many = branches if isinstance(branches, Branches) else Branches.of(branches)
    runs = [header] if isinstance(header, Branch) else list(header)
    loops = many.pipes(density, viscosity)
    if loops.length.size == 0:
        raise NoSolution(what="the loop flows", reason="there is no loop.")
    return _System(loops, Branches.of(runs).pipes(density, viscosity) if runs else None, evaporator_k(evaporator))


class _Point(NamedTuple):
    """One operating point in SI floats, before any unit."""

    flow: Array
    velocity: Array
    reynolds: Array
    regimes: tuple[Regime, ...]
    spread: Spread
    manifold: float
    header: float
    header_velocity: Array
    evaporator: float
    conservative: float

    @property
    def total_drop(self) -> float:
        return self.manifold + self.header + self.evaporator


def _point(system: _System, total: float, law: Law) -> _Point:
    flow, manifold = star(system.loops, total, law)
    reynolds = system.loops.reynolds(flow)
    mean = total / len(flow)
    return _Point(
        flow=flow,
        velocity=flow / system.loops.area,
        reynolds=reynolds,
        regimes=regimes_of(reynolds),
        spread=Spread(float(np.min(flow)) / mean - 1.0, float(np.max(flow)) / mean - 1.0),
        manifold=manifold,
        header=float(np.sum(system.header_drops(total, law))),
        header_velocity=np.zeros(0) if system.header is None else total / system.header.area,
        evaporator=system.evaporator_k * total**2,
        conservative=system.drop(total, Law.CHURCHILL),
    )


def _solution(system: _System, total: float, law: Law) -> Solution:
    found = _point(system, total, law)
    return Solution(
        flows=quantity(found.flow, "m^3/s"),
        velocities=quantity(found.velocity, "m/s"),
        reynolds=found.reynolds,
        regimes=found.regimes,
        spread=found.spread,
        total_flow=quantity(total, "m^3/s"),
        manifold_drop=quantity(found.manifold, "Pa"),
        header_drop=quantity(found.header, "Pa"),
        header_velocities=quantity(found.header_velocity, "m/s"),
        evaporator_drop=quantity(found.evaporator, "Pa"),
        total_drop=quantity(found.total_drop, "Pa"),
        conservative_total_drop=quantity(max(found.total_drop, found.conservative), "Pa"),
    )


def _metres(values: Sequence[Quantity], name: str) -> Quantity:
    """One quantity from many lengths. Like sections share theirs: each object is converted once."""
    found = {id(value): value for value in values}
    metres = {key: si(value, "m", name) for key, value in found.items()}
    return quantity(np.array([metres[id(value)] for value in values]), "m")


def _all_positive(what: str, values: Array) -> Array:
    if values.size and not (values.min() > 0.0 and values.max() < np.inf):
        raise OutOfRange(what=what, value=values.tolist(), low="above 0", high="any finite value", source="solver")
    return values
