"""Darcy-Weisbach in SI floats: friction laws with their slopes, as used by `friction` and `network`.

All laws are 64/Re up to 2000 and, but for Churchill, a cubic from 2000 to 4000 that meets both ends in value and slope:
pressure drop then grows strictly and smoothly with flow, so that a parallel network has one solution (Dunlop 1991, as in
EPANET 2.2). `Array` in, `Array` out; nothing here knows a unit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import TypeAlias

import numpy as np

from calcs.units import Array

LAMINAR_END = 2000.0
TURBULENT_START = 4000.0
_SPAN = TURBULENT_START - LAMINAR_END
_C = 2.0 / np.log(10.0)


class Law(StrEnum):
    """Which formula holds above Re 4000. `CHURCHILL` covers all Re by itself and reads high between 2000 and 4000."""

    COLEBROOK = "colebrook"
    EPANET = "epanet"
    CHURCHILL = "churchill"


FactorAndSlope: TypeAlias = tuple[Array, Array]


def colebrook(re: Array, rel: Array) -> FactorAndSlope:
    """f and df/dRe of Colebrook-White 1939: Haaland's start and three Newton steps on x = 1/sqrt(f)."""
    a = rel / 3.7
    b = 2.51 / re
    x = -1.8 * np.log10(a**1.11 + 6.9 / re)
    for _ in range(3):
        inner = a + b * x
        x = x - (x + 2.0 * np.log10(inner)) / (1.0 + _C * b / inner)
    inner = a + b * x
    x_slope = _C * b * x / (re * inner) / (1.0 + _C * b / inner)
    return x**-2, -2.0 * x**-3 * x_slope


def swamee_jain(re: Array, rel: Array, constant: float = 5.74) -> FactorAndSlope:
    """f and df/dRe of Swamee & Jain 1976, which EPANET uses from Re 4000 on. Also printed with 6.97^0.9 for the 5.74."""
    tail = constant / re**0.9
    inner = rel / 3.7 + tail
    log = np.log10(inner)
    factor = 0.25 / log**2
    return factor, 2.0 * factor / log * (0.9 * tail / re) / (inner * np.log(10.0))


def churchill(re: Array, rel: Array) -> FactorAndSlope:
    """f and df/dRe of Churchill 1977, all Re > 0."""
    small = (7.0 / re) ** 0.9 + 0.27 * rel
    root = -2.457 * np.log(small)
    a, b = root**16, (37530.0 / re) ** 16
    laminar, rest = (8.0 / re) ** 12, (a + b) ** -1.5
    factor = 8.0 * (laminar + rest) ** (1.0 / 12.0)
    a_slope = 16.0 * root**15 * 2.457 * 0.9 * (7.0 / re) ** 0.9 / (small * re)
    rest_slope = -1.5 * (a + b) ** -2.5 * (a_slope - 16.0 * b / re)
    return factor, factor / 12.0 / (laminar + rest) * (-12.0 * laminar / re + rest_slope)


_TURBULENT: dict[Law, Callable[[Array, Array], FactorAndSlope]] = {Law.COLEBROOK: colebrook, Law.EPANET: swamee_jain}


def turbulent_start(rel: Array, law: Law) -> FactorAndSlope:
    """f and df/dRe at Re 4000, where the cubic ends: the same for a pipe whatever flows in it."""
    return _TURBULENT[law](np.full_like(rel, TURBULENT_START), rel)


def factor_and_slope(re: Array, rel: Array, law: Law, end: FactorAndSlope | None = None) -> FactorAndSlope:
    """Darcy factor and df/dRe at Re > 0 by `law`; `re` and `rel` (roughness over bore) have one shape.

    `end` is `turbulent_start`, for who has it at hand: an iteration asks for the same pipes again and again.
    """
    if law is Law.CHURCHILL:
        return churchill(re, rel)
    end = turbulent_start(rel, law) if end is None else end
    above = re >= TURBULENT_START
    factor, slope = _TURBULENT[law](np.maximum(re, TURBULENT_START), rel) if np.any(above) else end
    laminar = re <= LAMINAR_END
    if not np.all(above | laminar):
        between, between_slope = _cubic(re, *end)
        factor, slope = np.where(above, factor, between), np.where(above, slope, between_slope)
    return np.where(laminar, 64.0 / re, factor), np.where(laminar, -64.0 / re**2, slope)


def _cubic(re: Array, end: Array, end_slope: Array) -> FactorAndSlope:
    """Hermite cubic from (2000, 64/2000) to (4000, end), with the slopes of both neighbours."""
    t = np.clip((re - LAMINAR_END) / _SPAN, 0.0, 1.0)
    start, start_slope = 64.0 / LAMINAR_END, -64.0 / LAMINAR_END**2 * _SPAN
    arrive = end_slope * _SPAN
    c2 = 3.0 * (end - start) - 2.0 * start_slope - arrive
    c3 = 2.0 * (start - end) + start_slope + arrive
    value = start + t * (start_slope + t * (c2 + t * c3))
    return value, (start_slope + t * (2.0 * c2 + 3.0 * c3 * t)) / _SPAN


@dataclass(frozen=True)
class Pipes:
    """Parallel pipes as arrays in SI: length m, bore m, sum of loss coefficients, relative roughness; one fluid."""

    length: Array
    bore: Array
    fittings_k: Array
    relative_roughness: Array
    density: float
    kinematic_viscosity: float

    @property
    def area(self) -> Array:
        """Cross-section of the bore, m2."""
        return np.pi / 4.0 * self.bore**2

    def reynolds(self, flow: Array) -> Array:
        """Re of a flow in m3/s."""
        return 4.0 * flow / (np.pi * self.bore * self.kinematic_viscosity)

    def drop_and_slope(self, flow: Array, law: Law) -> FactorAndSlope:
        """Pressure drop Pa and d(drop)/d(flow) Pa/(m3/s), odd in the flow: dp = (f L/D + K) rho v^2/2."""
        unit = self.reynolds(np.ones_like(flow))
        signed = flow * unit
        # Straight through zero below the floor: a dead leg carries none, and must not flutter between two signs.
        re = np.maximum(np.abs(signed), 1e-9)
        factor, slope = factor_and_slope(re, self.relative_roughness, law, self._end(law))
        dynamic = self.density * self.kinematic_viscosity**2 / (2.0 * self.bore**2)
        friction = self.length / self.bore
        drop = dynamic * re * signed * (friction * factor + self.fittings_k)
        rise = dynamic * (friction * (2.0 * re * factor + re**2 * slope) + 2.0 * self.fittings_k * re)
        return drop, rise * unit

    def _end(self, law: Law) -> FactorAndSlope | None:
        if law not in self._ends:
            self._ends[law] = None if law is Law.CHURCHILL else turbulent_start(self.relative_roughness, law)
        return self._ends[law]

    @cached_property
    def _ends(self) -> dict[Law, FactorAndSlope | None]:
        return {}

    def drop(self, flow: Array, law: Law) -> Array:
        """Pressure drop in Pa."""
        return self.drop_and_slope(flow, law)[0]
