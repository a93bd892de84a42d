"""Purging a header with take-offs: every section needs its own flow, and it must come from the loops beyond it.

Past each take-off less water is left. A header that steps down with its loops is purged by opening all loops beyond the
section; in one of constant bore the last section sees one loop only, which cannot carry that flow: it wants a bypass at the
far end. With reverse return the way back has its far end at the *first* take-off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import pi
from typing import TypeAlias

from calcs import plant
from calcs._ranges import not_negative, positive
from calcs.circuit import Pipework, sections, volume
from calcs.errors import NoSolution
from calcs.network import Branch, Pump
from calcs.plant import Bar, Manifold, Return
from calcs.purge import PurgeLimits, clearing_velocity, lift_pressure, purge_rows
from calcs.units import Quantity, quantity, si

A_LITTLE = 1.0001
_Loops: TypeAlias = list[tuple[int, int]]  # take-off and place of each


@dataclass(frozen=True)
class TakeOff:
    """A section of header (the same pipe out and back) and the loops that take off at its end."""

    section: Branch
    loops: Sequence[Pipework]


@dataclass(frozen=True)
class SectionDuty:
    """What one section asks. `way` is "out", "back" or "both".

    `one_loop` is its velocity with the last loop beyond it open, `all_loops` with all of them, each at the velocity asked
    for. `open_loops` are those to open, from the far end on; None when no choice gives the flow: then a bypass is needed.
    """

    name: str
    way: str
    flow: Quantity
    one_loop: Quantity
    all_loops: Quantity
    open_loops: tuple[str, ...] | None
    pressure: Quantity | None
    time: Quantity
    clearing_velocity: Quantity
    is_large: bool

    @property
    def needs_bypass(self) -> bool:
        """True when the loops beyond it cannot take its flow."""
        return self.open_loops is None


@dataclass(frozen=True)
class HeaderPlan:
    """All sections in order, the way out first, and what to beware of, as sentences."""

    sections: tuple[SectionDuty, ...]
    warnings: tuple[str, ...]


def duties(  # noqa: PLR0913
    *,
    take_offs: Sequence[TakeOff],
    density: Quantity,
    viscosity: Quantity,
    returns: Return = Return.DIRECT,
    limits: PurgeLimits | None = None,
    pump: Pump | None = None,
    lift: Quantity | None = None,
    highest: Quantity | None = None,
    home: Branch | None = None,
) -> HeaderPlan:
    """Flow, loops to open, pressure and time for every section of a header with take-offs.

    Formula: Q = v A in the section; the loops beyond it share Q by the network solver; pressure = loops + header + hoses +
    rho g `lift`; time = max(minutes, turnovers V/Q). Opened are the fewest whose pressure the pump gives and `highest` allows;
    without either, so many that none runs faster than asked. With reverse return `home` is the pipe back from the last
    take-off. Units: any of the right dimension. Range: one take-off or more, each with a loop. Source: UFGS-15741N (0.6 m/s in every section); Darcy-Weisbach; turnovers house default.

    >>> loops = [[Branch(quantity(200, "m"), quantity(26, "mm"), fittings_k=4, name=f"L{n}")] for n in (1, 2)]
    >>> water = {"density": quantity(999.7, "kg/m^3"), "viscosity": quantity(1.306, "mm^2/s")}
    >>> wide, narrow = (Branch(quantity(20, "m"), quantity(bore, "mm"), name=f"{bore} mm") for bore in (32.6, 26.0))
    >>> found = duties(take_offs=[TakeOff(wide, loops[0]), TakeOff(narrow, loops[1])], **water)
    >>> [(each.name, each.open_loops) for each in found.sections]
    [('32.6 mm', ('L2', 'L1')), ('26.0 mm', ('L2',))]
    """
    if not take_offs or not all(each.loops for each in take_offs):
        raise NoSolution(what="the purge of the header", reason="every section needs a take-off with a loop.")
    asked = limits or PurgeLimits.usual()
    header = _Header(tuple(take_offs), density, viscosity, returns, asked, pump, lift, highest, home)
    found = tuple(header.duty(*piece) for piece in header.pieces())
    return HeaderPlan(found, tuple(_warnings(found)))


@dataclass(frozen=True)
class _Header:
    take_offs: tuple[TakeOff, ...]
    density: Quantity
    viscosity: Quantity
    returns: Return
    limits: PurgeLimits
    pump: Pump | None
    lift: Quantity | None
    highest: Quantity | None
    home: Branch | None

    def pieces(self) -> list[tuple[Branch, str, _Loops]]:
        """Every section with the loops whose water passes it, those of its far end first."""
        runs, last = [each.section for each in self.take_offs], len(self.take_offs) - 1
        way = "both" if self.returns is Return.DIRECT else "out"
        found = [(run, way, self.at(range(last, tap - 1, -1))) for tap, run in enumerate(runs)]
        if self.returns is Return.REVERSE:
            back = runs[1:] if self.home is None else [*runs[1:], self.home]
            found += [(run, "back", self.at(range(tap + 1))) for tap, run in enumerate(back)]
        return found

    def at(self, taps: range) -> _Loops:
        return [(tap, place) for tap in taps for place in range(len(self.take_offs[tap].loops))]

    def duty(self, section: Branch, way: str, passing: _Loops) -> SectionDuty:
        speed = positive("velocity", si(self.limits.velocity, "m/s", "velocity"))
        area = _area(section)
        flow = speed * area
        clearing = clearing_velocity(bore=section.bore, slope=quantity(90.0, "degree"))
        large = si(section.bore, "mm", "bore") >= purge_rows()["steep_header_bore"].value
        areas = [self.throat(*each) for each in passing]
        opened, pressure = self.fewest(passing, areas, flow)
        held = si(volume(run=section), "m^3", "volume") * (2.0 if way == "both" else 1.0)
        seconds = max(
            si(self.limits.minutes, "s", "minutes"), positive("turnovers", self.limits.turnovers) * held / flow
        )
        return SectionDuty(
            name=section.name or "a section",
            way=way,
            flow=quantity(flow, "m^3/s").to("L/min"),
            one_loop=quantity(speed * areas[0] / area, "m/s"),
            all_loops=quantity(speed * sum(areas) / area, "m/s"),
            open_loops=None if opened is None else tuple(self.name(*each) for each in opened),
            pressure=None if pressure is None else quantity(pressure, "Pa").to("kPa"),
            time=quantity(seconds, "s").to("min"),
            clearing_velocity=clearing,
            is_large=large and speed < si(clearing, "m/s", "clearing velocity"),
        )

    def fewest(self, passing: _Loops, areas: list[float], flow: float) -> tuple[_Loops | None, float | None]:
        """The fewest loops to open for this flow in m3/s, and the pressure in Pa that they ask."""
        speed = si(self.limits.velocity, "m/s", "velocity")
        judged_by_pressure = self.pump is not None or self.highest is not None
        for count in range(1, len(passing) + 1):
            opened = passing[:count]
            if not judged_by_pressure:
                if flow <= speed * sum(areas[:count]) * A_LITTLE:
                    return opened, self.pressure(opened, flow)
                continue
            pressure = self.pressure(opened, flow)
            if self.is_possible(flow, pressure):
                return opened, pressure
        return None, None

    def is_possible(self, flow: float, pressure: float) -> bool:
        if self.highest is not None and pressure > positive("highest", si(self.highest, "Pa", "highest pressure")):
            return False
        if self.pump is None:
            return True
        head, low, high = self.pump.curve(si(self.density, "kg/m^3", "density"))
        return flow <= high and head(max(flow, low)) >= pressure

    def pressure(self, opened: _Loops, flow: float) -> float:
        """Pa at the purge unit with only these loops open: what lies before the first and behind the last is in series."""
        taps = sorted({tap for tap, _ in opened})
        manifolds = [
            Manifold([self.take_offs[tap].loops[place] for each, place in opened if each == tap]) for tap in taps
        ]
        runs = [each.section for each in self.take_offs]
        stretches = [runs[here + 1 : there + 1] for here, there in pairwise(taps)]
        way_home = runs[taps[-1] + 1 :] + ([] if self.home is None else [self.home])
        found = plant.solve(
            manifolds=manifolds,
            trunk=Bar(stretches, self.returns),
            header=runs[: taps[0] + 1] + (runs[: taps[0] + 1] if self.returns is Return.DIRECT else way_home),
            total_flow=quantity(flow, "m^3/s"),
            density=self.density,
            viscosity=self.viscosity,
        )
        hoses = not_negative("hose drop", si(self.limits.hose_drop, "Pa", "hose drop"))
        lift = quantity(0.0, "m") if self.lift is None else self.lift
        static = lift_pressure(lift=lift, density=self.density)
        return si(found.total_drop, "Pa", "drop") + hoses + si(static, "Pa", "lift")

    def throat(self, tap: int, place: int) -> float:
        """Cross-section in m2 that must move at the purge velocity: the widest section of the loop."""
        return max(_area(section) for section in sections(run=self.take_offs[tap].loops[place]))

    def name(self, tap: int, place: int) -> str:
        return self.take_offs[tap].loops[place].name or f"loop {tap + 1}.{place + 1}"


def _warnings(found: Sequence[SectionDuty]) -> list[str]:
    said = []
    for duty in found:
        name = duty.name if duty.way == "both" else f"{duty.name} ({duty.way})"
        if duty.needs_bypass:
            said.append(
                f"The loops beyond {name} cannot take {duty.flow.magnitude:.0f} L/min: put a bypass across the far end "
                "for the purge."
            )
        elif duty.open_loops is not None and len(duty.open_loops) > 1:
            opened = ", ".join(duty.open_loops)
            said.append(
                f"Purge {name} with {opened} open together: one loop moves it at {duty.one_loop.magnitude:.2f} m/s."
            )
        if duty.is_large:
            needed = duty.clearing_velocity.magnitude
            said.append(
                f"Where {name} runs downhill, air needs {needed:.2f} m/s in a steep fall: vent its high points."
            )
    return said


def _area(section: Branch) -> float:
    return pi / 4.0 * positive("bore", si(section.bore, "m", "bore")) ** 2
