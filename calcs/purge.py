"""Driving the air out: the flow each section needs, what one open loop does for the header, and for how long.

Purging is two duties. Loops are purged one by one; a header is purged only when enough loops are open at once, because a
flow that fills one loop hardly moves in the larger bore.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi, radians, sin, sqrt

import numpy as np

from calcs._darcy import Law, Pipes
from calcs._ranges import between, not_negative, positive
from calcs.errors import NoSolution
from calcs.network import GRAVITY, Branch, Branches, Pump, star
from calcs.sources import Limit, Source, Status, limits
from calcs.units import Quantity, quantity, si
from calcs.verdict import Cause, Figure, Outcome, Verdict

CLEARING = Source("pumping-station handbook: v = (0.825 + 0.25 sqrt(sin slope)) sqrt(g D)", Status.READ)


@dataclass(frozen=True)
class PurgeLimits:
    """What a purge must reach; the defaults are those of `house_limits`, a rule set may give its own."""

    velocity: Quantity
    minutes: Quantity
    turnovers: float
    hose_drop: Quantity

    @classmethod
    def usual(cls) -> PurgeLimits:
        """The limits of the table."""
        rows = purge_rows()
        return cls(
            velocity=_as_quantity(rows["velocity"]),
            minutes=_as_quantity(rows["minutes_after_last_bubble"]),
            turnovers=rows["turnovers"].value,
            hose_drop=_as_quantity(rows["hose_and_strainer"]),
        )


@dataclass(frozen=True)
class LoopDuty:
    """One loop open alone. `pressure` is what the purge unit must give at its outlet; `time` the longer of both rules."""

    name: str
    flow: Quantity
    velocity: Quantity
    pressure: Quantity
    transit_time: Quantity
    turnovers: float
    time: Quantity
    clearing_velocity: Quantity
    pump_suffices: bool | None


@dataclass(frozen=True)
class HeaderDuty:
    """One header section: the flow it needs, its velocity with one loop open, and how many loops must be open."""

    name: str
    flow: Quantity
    velocity_one_loop: Quantity
    loops_open: int | None
    pressure: Quantity | None
    turnovers: float
    clearing_velocity: Quantity
    is_large: bool


@dataclass(frozen=True)
class PurgePlan:
    """Duties of one purge with what to beware of, as sentences."""

    loops: tuple[LoopDuty, ...]
    header: tuple[HeaderDuty, ...]
    total_time: Quantity
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Fall:
    """The falling section of largest bore: the velocity and flow that clear it, and whether the purge reaches them."""

    name: str
    bore: Quantity
    clearing_velocity: Quantity
    flow: Quantity
    is_carried: bool


def purge_rows() -> dict[str, Limit]:
    """The purge limits with their sources (units in the rows; range: keys of the table).

    Source: `calcs/data/house_limits.csv`.

    >>> purge_rows()["velocity"].value
    0.6
    """
    return limits("house_limits", "purge")


def flow_for(*, bore: Quantity, velocity: Quantity) -> Quantity:
    """Q = v pi D^2 / 4, as L/min. Range: bore above 0, velocity 0 or more. Source: geometry.

    >>> round(flow_for(bore=quantity(26.0, "mm"), velocity=quantity(0.6, "m/s")).magnitude, 1)
    19.1
    """
    area = pi / 4.0 * positive("bore", si(bore, "m", "bore")) ** 2
    return quantity(not_negative("velocity", si(velocity, "m/s", "velocity")) * area, "m^3/s").to("L/min")


def velocity_of(*, flow: Quantity, bore: Quantity) -> Quantity:
    """v = 4 Q / (pi D^2) in m/s. Range: bore above 0, flow 0 or more. Source: geometry.

    >>> flow = flow_for(bore=quantity(26.0, "mm"), velocity=quantity(0.6, "m/s"))
    >>> round(velocity_of(flow=flow, bore=quantity(51.4, "mm")).magnitude, 3)
    0.154
    """
    area = pi / 4.0 * positive("bore", si(bore, "m", "bore")) ** 2
    return quantity(not_negative("flow", si(flow, "m^3/s", "flow")) / area, "m/s")


def clearing_velocity(*, bore: Quantity, slope: Quantity) -> Quantity:
    """v = (0.825 + 0.25 sqrt(sin slope)) sqrt(g D): the velocity that carries air down a pipe falling by `slope`.

    Units: m/s. Range: slope 0 (level) to 90 degrees (down-leg of a U-tube), bore above 0; pipes of 50 mm and less are
    little studied. Source: pumping-station handbook (read).

    >>> round(clearing_velocity(bore=quantity(32.6, "mm"), slope=quantity(90, "degree")).magnitude, 3)
    0.608
    """
    d = positive("bore", si(bore, "m", "bore"))
    angle = between("slope", si(slope, "degree", "slope"), 0.0, 90.0, CLEARING.text)
    return quantity((0.825 + 0.25 * sqrt(sin(radians(angle)))) * sqrt(GRAVITY * d), "m/s")


def lift_pressure(*, lift: Quantity, density: Quantity) -> Quantity:
    """p = rho g h in kPa: what it takes to raise the water to the end of the return hose, above that in the tank.

    Range: lift 0 or more (an end below the water gives nothing back: the hose runs free), density above 0. Source:
    hydrostatics. While a dry loop fills, its own highest point counts instead.

    >>> round(lift_pressure(lift=quantity(1.5, "m"), density=quantity(999.7, "kg/m^3")).magnitude, 1)
    14.7
    """
    height = not_negative("lift", si(lift, "m", "lift"))
    return quantity(positive("density", si(density, "kg/m^3", "density")) * GRAVITY * height, "Pa").to("kPa")


def worst_fall(*, falling: Sequence[Branch], velocity: Quantity, slope: Quantity | None = None) -> Fall:
    """The section that decides whether air is carried *down*: of those in which the water falls, the one of largest bore.

    Formula: `clearing_velocity` of that bore at `slope` (straight down if not given), and the flow that gives it. Units: m/s, L/min. Range: one section or
    more; slope 0 to 90 degrees. Source: pumping-station handbook (read); in narrower pipe the same velocity clears more easily.

    >>> legs = [Branch(quantity(100, "m"), quantity(26.0, "mm")), Branch(quantity(20, "m"), quantity(51.4, "mm"), name="riser")]
    >>> found = worst_fall(falling=legs, velocity=quantity(0.6, "m/s"))
    >>> found.name, round(found.clearing_velocity.magnitude, 2), found.is_carried
    ('riser', 0.76, False)
    """
    if not falling:
        raise NoSolution(what="the worst fall", reason="there is no section in which the water falls.")
    widest = max(falling, key=lambda section: si(section.bore, "m", "bore"))
    asked = clearing_velocity(bore=widest.bore, slope=quantity(90.0, "degree") if slope is None else slope)
    v = not_negative("velocity", si(velocity, "m/s", "velocity"))
    return Fall(
        name=widest.name,
        bore=widest.bore,
        clearing_velocity=asked,
        flow=flow_for(bore=widest.bore, velocity=asked),
        is_carried=v >= si(asked, "m/s", "clearing velocity"),
    )


def plan(  # noqa: PLR0913
    *,
    loops: Sequence[Branch],
    header: Sequence[Branch],
    density: Quantity,
    viscosity: Quantity,
    limits: PurgeLimits | None = None,
    pump: Pump | None = None,
    lift: Quantity | None = None,
) -> PurgePlan:
    """Flow, velocity, pressure and time to purge every loop alone and every header section.

    Formula: Q = v A per section; time = max(minutes, turnovers * transit); pressure = loop + header + hoses at that flow,
    and rho g `lift` where the return hose ends above the water in the tank. For a header with take-offs: `purge_header`.
    A header section needs the fewest equal loops open whose drop the pump can overcome at Q (None: this pump cannot).
    Units: any of the right dimension. Range: one loop or more. Source: UFGS-15741N (0.6 m/s in every section, 15 min
    after the last bubbles); Darcy-Weisbach as in `friction`.

    >>> water = {"density": quantity(999.7, "kg/m^3"), "viscosity": quantity(1.306, "mm^2/s")}
    >>> found = plan(loops=[Branch(quantity(200, "m"), quantity(26, "mm"), fittings_k=4, name="L1")],
    ...     header=[Branch(quantity(60, "m"), quantity(51.4, "mm"), name="header")], **water)
    >>> round(found.loops[0].flow.to("L/s").magnitude, 3), round(found.header[0].velocity_one_loop.magnitude, 3)
    (0.319, 0.154)
    """
    if not loops:
        raise NoSolution(what="the purge plan", reason="there is no loop.")
    work = _Work(loops, header, density, viscosity, limits or PurgeLimits.usual(), pump)
    if lift is not None:
        work.outside += si(lift_pressure(lift=lift, density=density), "Pa", "lift")
    duties = tuple(work.loop_duty(index) for index in range(len(loops)))
    sections = tuple(work.header_duty(index, duties) for index in range(len(header)))
    seconds = sum(si(duty.time, "s", "time") for duty in duties)
    return PurgePlan(duties, sections, quantity(seconds, "s").to("min"), tuple(_warnings(duties, sections, work)))


def judge_run(
    *, velocity: Quantity, after_last_bubble: Quantity, turnovers: float, limits: PurgeLimits | None = None
) -> Verdict:
    """Was this purge fast and long enough: velocity, minutes after the last bubble and turnovers against the limits.

    Units: m/s, min, -. Range: none negative. Source: UFGS-15741N (read); turnovers are a house default.

    >>> judge_run(velocity=quantity(0.65, "m/s"), after_last_bubble=quantity(13, "min"), turnovers=4).cause.value
    'duration'
    """
    asked = limits or PurgeLimits.usual()
    v, least = not_negative("velocity", si(velocity, "m/s", "velocity")), si(asked.velocity, "m/s", "velocity limit")
    ran = not_negative("minutes", si(after_last_bubble, "min", "time after the last bubble"))
    needed = si(asked.minutes, "min", "minutes")
    rows = purge_rows()
    figures = (
        Figure("velocity", v, "m/s", limit=least),
        Figure("time after the last bubble", ran, "min", limit=needed),
        Figure("turnovers", not_negative("turnovers", turnovers), "", limit=asked.turnovers),
    )
    if v < least:
        reason = f"The water moved at {v:.2f} m/s; air is carried out from {least:.2f} m/s on."
        return Verdict(Outcome.FAIL, reason, Cause.FLOW, figures=figures, source=rows["velocity"].source)
    if ran < needed:
        reason = f"It ran {ran:.0f} min after the last bubble; {needed:.0f} min are needed."
        source = rows["minutes_after_last_bubble"].source
        return Verdict(Outcome.FAIL, reason, Cause.DURATION, figures=figures, source=source)
    if turnovers < asked.turnovers:
        reason = f"The volume went round {turnovers:.1f} times; {asked.turnovers:.0f} are needed."
        return Verdict(Outcome.FAIL, reason, Cause.DURATION, figures=figures, source=rows["turnovers"].source)
    return Verdict(Outcome.PASS, "Fast enough and long enough.", figures=figures, source=rows["velocity"].source)


class _Work:
    """The plan's arithmetic in SI floats."""

    def __init__(
        self,
        loops: Sequence[Branch],
        header: Sequence[Branch],
        density: Quantity,
        viscosity: Quantity,
        asked: PurgeLimits,
        pump: Pump | None,
    ) -> None:
        self.names = [loop.name for loop in loops]
        self.header_names = [section.name for section in header]
        self.loops = Branches.of(loops).pipes(density, viscosity)
        self.header: Pipes | None = Branches.of(header).pipes(density, viscosity) if header else None
        self.sections = (
            []
            if self.header is None
            else list(zip(self.header.bore.tolist(), self.header.length.tolist(), strict=True))
        )
        self.velocity = positive("velocity", si(asked.velocity, "m/s", "velocity"))
        self.seconds = positive("minutes", si(asked.minutes, "s", "minutes"))
        self.turnovers = positive("turnovers", asked.turnovers)
        self.outside = not_negative("hose drop", si(asked.hose_drop, "Pa", "hose drop"))
        self.large_bore = si(_as_quantity(purge_rows()["steep_header_bore"]), "m", "bore")
        self.pump = None if pump is None else pump.curve(self.loops.density)

    def drop(self, open_loops: int, total: float, first: int = 0) -> float:
        """Pa at the purge unit with some loops open, the header in series and the hoses."""
        chosen = slice(first, first + open_loops)
        pipes = Pipes(
            self.loops.length[chosen],
            self.loops.bore[chosen],
            self.loops.fittings_k[chosen],
            self.loops.relative_roughness[chosen],
            self.loops.density,
            self.loops.kinematic_viscosity,
        )
        through = star(pipes, total, Law.COLEBROOK)[1]
        if self.header is not None:
            through += float(np.sum(self.header.drop(np.full(len(self.header.length), total), Law.COLEBROOK)))
        return through + self.outside

    def can(self, flow: float, pressure: float) -> bool | None:
        """Does the pump give that pressure at that flow; None without a curve."""
        if self.pump is None:
            return None
        head, low, high = self.pump
        return flow <= high and head(max(flow, low)) >= pressure

    def loop_duty(self, index: int) -> LoopDuty:
        bore, length = float(self.loops.bore[index]), float(self.loops.length[index])
        flow = self.velocity * pi / 4.0 * bore**2
        transit = length / self.velocity
        pressure = self.drop(1, flow, index)
        seconds = max(self.seconds, self.turnovers * transit)
        return LoopDuty(
            name=self.names[index],
            flow=quantity(flow, "m^3/s").to("L/min"),
            velocity=quantity(self.velocity, "m/s"),
            pressure=quantity(pressure, "Pa").to("kPa"),
            transit_time=quantity(transit, "s"),
            turnovers=seconds / transit,
            time=quantity(seconds, "s").to("min"),
            clearing_velocity=_down_leg(bore),
            pump_suffices=self.can(flow, pressure),
        )

    def header_duty(self, index: int, duties: tuple[LoopDuty, ...]) -> HeaderDuty:
        bore, length = self.sections[index]
        area = pi / 4.0 * bore**2
        flow = self.velocity * area
        one = max(si(duty.flow, "m^3/s", "flow") for duty in duties)
        opened, pressure = self.fewest_open(flow)
        return HeaderDuty(
            name=self.header_names[index],
            flow=quantity(flow, "m^3/s").to("L/min"),
            velocity_one_loop=quantity(one / area, "m/s"),
            loops_open=opened,
            pressure=None if pressure is None else quantity(pressure, "Pa").to("kPa"),
            turnovers=self.seconds * self.velocity / length,
            clearing_velocity=_down_leg(bore),
            is_large=bore >= self.large_bore and self.velocity < si(_down_leg(bore), "m/s", "clearing velocity"),
        )

    def fewest_open(self, flow: float) -> tuple[int | None, float | None]:
        """How many loops to open, and the pressure then; without a pump curve: so many that none runs faster than asked."""
        for opened in range(1, len(self.names) + 1):
            pressure = self.drop(opened, flow)
            area = float(np.sum(self.loops.area[:opened]))
            enough = self.can(flow, pressure)
            if enough or (enough is None and flow / area <= self.velocity * 1.0001):
                return opened, pressure
        if self.pump is None:
            return len(self.names), self.drop(len(self.names), flow)
        return None, None


def _warnings(loops: tuple[LoopDuty, ...], header: tuple[HeaderDuty, ...], work: _Work) -> list[str]:
    said = []
    for section in header:
        slow = si(section.velocity_one_loop, "m/s", "velocity")
        if slow < work.velocity:
            said.append(
                f"One open loop moves the water in {section.name or 'the header'} at only {slow:.2f} m/s: "
                "purge the header as well, with several loops open."
            )
        if section.loops_open is None:
            said.append(
                f"This pump cannot purge {section.name or 'the header'}: use a larger one or vent its high points."
            )
        if section.is_large:
            said.append(
                f"Where {section.name or 'the header'} runs downhill, {work.velocity:.2f} m/s may not carry the air down "
                f"({section.clearing_velocity.magnitude:.2f} m/s in a steep fall): vent its high points or purge faster."
            )
    said += [
        f"This pump is too small for loop {duty.name}: it needs {duty.flow.magnitude:.0f} L/min "
        f"at {duty.pressure.magnitude:.0f} kPa."
        for duty in loops
        if duty.pump_suffices is False
    ]
    return said


def _down_leg(bore: float) -> Quantity:
    return clearing_velocity(bore=quantity(bore, "m"), slope=quantity(90.0, "degree"))


def _as_quantity(limit: Limit) -> Quantity:
    return quantity(limit.value, limit.unit)
