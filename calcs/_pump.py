"""What drives and what hinders the whole flow: pump curves with their operating point, and the evaporator's square law."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from calcs._ranges import not_negative, positive
from calcs.errors import NoSolution, Unsuitable, WrongUnit
from calcs.units import Array, Quantity, si, si_array

GRAVITY = 9.80665
Evaporator = tuple[Quantity, Quantity]


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


def operating_flow(pump: Pump, density: float, drop: Callable[[float], float]) -> float:
    """Flow in m3/s at which the pump's head equals the drop in Pa that rises with flow, else `NoSolution`."""
    head, low, high = pump.curve(density)
    low = max(low, 1e-9 * high)

    def surplus(total: float) -> float:
        return head(total) - drop(total)

    if surplus(low) <= 0.0:
        raise NoSolution(what="the pump and this array", reason="the pump cannot overcome the drop at its lowest flow.")
    if surplus(high) >= 0.0:
        raise NoSolution(what="the pump and this array", reason="the curve ends too early: add points at higher flow.")
    return _falling_root(surplus, low, high)


def evaporator_k(evaporator: Evaporator | None) -> float:
    """k of dp = k Q^2 in Pa s2/m6 from the rated (pressure drop, flow); 0 without an evaporator."""
    if evaporator is None:
        return 0.0
    drop, flow = evaporator
    rated = positive("rated flow of the evaporator", si(flow, "m^3/s", "rated flow"))
    return not_negative("rated drop of the evaporator", si(drop, "Pa", "rated drop")) / rated**2


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
