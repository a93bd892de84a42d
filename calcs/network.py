"""Parallel loops behind one manifold: who gets which flow, and what the pump must give.

Newton on the common pressure drop H with h_i(q_i) = H and sum q_i = Q (Todini's global gradient for a star): a handful of
steps for any number of loops. Floats in SI inside; give arrays wrapped once (`Branches`) when there are many loops.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from calcs._darcy import Law, Pipes
from calcs._ranges import kinematic_si, not_negative, positive
from calcs.errors import NoSolution, OutOfRange, Unsuitable, WrongUnit
from calcs.friction import Regime, check_relative_roughness, default_roughness, regime
from calcs.units import Array, Quantity, quantity, si, si_array

GRAVITY = 9.80665
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
            length=quantity(np.array([si(b.length, "m", "length") for b in branches]), "m"),
            bore=quantity(np.array([si(b.bore, "m", "bore") for b in branches]), "m"),
            fittings_k=np.array([float(b.fittings_k) for b in branches]),
            roughness=quantity(np.array([si(b.roughness or rough, "m", "roughness") for b in branches]), "m"),
        )

    def pipes(self, density: Quantity, viscosity: Quantity) -> Pipes:
        """As checked SI arrays, in one fluid."""
        bore = _all_positive("bore", si_array(self.bore, "m", "bore"))
        rough = si_array(self.roughness, "m", "roughness")
        k = np.asarray(self.fittings_k, dtype=np.float64)
        if not (np.all(np.isfinite(k)) and np.all(k >= 0.0)):
            raise OutOfRange(what="sum of K", value=k.tolist(), low=0, high="any finite value", source="solver")
        length, bore, k, rough = np.broadcast_arrays(
            _all_positive("length", si_array(self.length, "m", "length")), bore, k, rough
        )
        return Pipes(
            length=length,
            bore=bore,
            fittings_k=k,
            relative_roughness=check_relative_roughness(rough / bore),
            density=positive("density", si(density, "kg/m^3", "density")),
            kinematic_viscosity=kinematic_si(viscosity, density),
        )


@dataclass(frozen=True)
class ParabolicPump:
    """Pump curve H = shut_off - (Q / flow_unit)^2 * fall: heads as metres of fluid or as pressure."""

    shut_off: Quantity
    fall: Quantity
    flow_unit: Quantity

    def curve(self, density: float) -> tuple[Callable[[float], float], float, float]:
        """Pressure in Pa of a flow in m3/s, and the flows between which the curve holds."""
        top, fall = _pascal(self.shut_off, density, "shut-off head"), _pascal(self.fall, density, "fall of head")
        unit = positive("flow unit", si(self.flow_unit, "m^3/s", "flow unit"))
        positive("shut-off head", top)
        positive("fall of head", fall)
        return lambda q: top - fall * (q / unit) ** 2, 0.0, unit * float(np.sqrt(top / fall))


@dataclass(frozen=True)
class PointsPump:
    """Pump curve as points read from the maker's sheet, straight lines between; used from its highest point on."""

    flow: Quantity
    head: Quantity

    def curve(self, density: float) -> tuple[Callable[[float], float], float, float]:
        """Pressure in Pa of a flow in m3/s, and the flows between which the curve holds (never extrapolated)."""
        flow = si_array(self.flow, "m^3/s", "pump flow")
        head = np.atleast_1d(np.asarray(_pascals(self.head, density, "pump head")))
        if len(flow) < 2 or len(flow) != len(head) or np.any(np.diff(flow) <= 0.0):
            raise Unsuitable(what="The pump curve", reason="its flows must rise.", instead="Enter two or more points.")
        peak = int(np.argmax(head))
        flow, head = flow[peak:], head[peak:]
        if len(flow) < 2 or np.any(np.diff(head) >= 0.0):
            raise Unsuitable(what="The pump curve", reason="its head must fall.", instead="Check the points.")
        return lambda q: float(np.interp(q, flow, head)), float(flow[0]), float(flow[-1])


Pump = ParabolicPump | PointsPump
Header = Branch | Sequence[Branch]
Evaporator = tuple[Quantity, Quantity]


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
    head, low, high = pump.curve(system.loops.density)
    low = max(low, 1e-9 * high)

    def surplus(total: float) -> float:
        return head(total) - system.drop(total, Law.COLEBROOK)

    if surplus(low) <= 0.0:
        raise NoSolution(what="the pump and this array", reason="the pump cannot overcome the drop at its lowest flow.")
    if surplus(high) >= 0.0:
        raise NoSolution(what="the pump and this array", reason="the curve ends too early: add points at higher flow.")
    return _solution(system, _falling_root(surplus, low, high), Law.COLEBROOK)


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
            return flow, float(np.max(loops.drop(flow, law)))
    raise NoSolution(what="the loop flows", reason="the iteration does not settle; check lengths and bores.")


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
    return _System(loops, Branches.of(runs).pipes(density, viscosity) if runs else None, _evaporator_k(evaporator))


def _evaporator_k(evaporator: Evaporator | None) -> float:
    if evaporator is None:
        return 0.0
    drop, flow = evaporator
    rated = positive("rated flow of the evaporator", si(flow, "m^3/s", "rated flow"))
    return not_negative("rated drop of the evaporator", si(drop, "Pa", "rated drop")) / rated**2


def _solution(system: _System, total: float, law: Law) -> Solution:
    flow, manifold = star(system.loops, total, law)
    header = system.header_drops(total, law)
    evaporator = system.evaporator_k * total**2
    all_told = manifold + float(np.sum(header)) + evaporator
    reynolds = system.loops.reynolds(flow)
    mean = total / len(flow)
    runs = np.zeros(0) if system.header is None else total / system.header.area
    return Solution(
        flows=quantity(flow, "m^3/s"),
        velocities=quantity(flow / system.loops.area, "m/s"),
        reynolds=reynolds,
        regimes=tuple(regime(re) for re in reynolds.tolist()),
        spread=Spread(float(np.min(flow)) / mean - 1.0, float(np.max(flow)) / mean - 1.0),
        total_flow=quantity(total, "m^3/s"),
        manifold_drop=quantity(manifold, "Pa"),
        header_drop=quantity(float(np.sum(header)), "Pa"),
        header_velocities=quantity(runs, "m/s"),
        evaporator_drop=quantity(evaporator, "Pa"),
        total_drop=quantity(all_told, "Pa"),
        conservative_total_drop=quantity(max(all_told, system.drop(total, Law.CHURCHILL)), "Pa"),
    )


def _falling_root(falling: Callable[[float], float], low: float, high: float) -> float:
    """Zero of a falling function between two flows: false position, halving the end that stays (Illinois)."""
    at_low, at_high = falling(low), falling(high)
    stayed = 0
    for _ in range(200):
        middle = (low * at_high - high * at_low) / (at_high - at_low)
        value = falling(middle)
        if abs(value) <= 1e-6 or high - low <= 1e-13 * high:
            return middle
        if value > 0.0:
            low, at_low = middle, value
            at_high = at_high / 2.0 if stayed > 0 else at_high
            stayed = 1
        else:
            high, at_high = middle, value
            at_low = at_low / 2.0 if stayed < 0 else at_low
            stayed = -1
    raise NoSolution(what="the pump and this array", reason="the operating point does not settle.")


def _pascals(head: Quantity, density: float, name: str) -> Array:
    """A head in metres of fluid or a pressure, in Pa."""
    try:
        return si_array(head, "Pa", name)
    except WrongUnit:
        return si_array(head, "m", name) * density * GRAVITY


def _pascal(head: Quantity, density: float, name: str) -> float:
    return float(_pascals(head, density, name)[0])


def _all_positive(what: str, values: Array) -> Array:
    if not (np.all(np.isfinite(values)) and np.all(values > 0.0)):
        raise OutOfRange(what=what, value=values.tolist(), low="above 0", high="any finite value", source="solver")
    return values
