"""Flow, pressure, purging and changeover of a planned array."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from calcs import changeover, heat, network, purge
from calcs import pipe as pipes
from calcs.units import Quantity, quantity
from jobs.ground.figures import Flow, HeaderPurge, LoopChangeover, LoopFlow, LoopNumbers, LoopPurge, Purge
from jobs.ground.mix import Mix
from jobs.ground.trade import Plan


def pipe_of(row: Any) -> pipes.Pipe:
    return pipes.pipe(od=quantity(row.od_mm, "mm"), wall=quantity(row.wall_mm, "mm"), material=row.material)


def _branch(row: Any, length_m: float, name: str) -> network.Branch:
    return network.Branch(quantity(length_m, "m"), pipe_of(row).bore, fittings_k=row.fittings_k, name=name)


def _branches(plan: Plan) -> list[network.Branch]:
    return [_branch(loop, loop.length_m, loop.code) for loop in plan.loops]


def _header(plan: Plan) -> list[network.Branch]:
    """Out and back in series."""
    return [_branch(plan.header, 2 * plan.header.length_each_way_m, "the main header")] if plan.header else []


def _duty_and_flow(mix: Mix) -> tuple[Quantity, Quantity]:
    duty = heat.source_duty(heating=quantity(mix.design.heating_kw, "kW"), cop=mix.design.cop)
    return duty, heat.flow_for(duty=duty, spread=quantity(mix.design.spread_k, "K"), properties=mix.cold)


def solve(plan: Plan, mix: Mix) -> network.Solution:
    """At the flow for the spread, or the heat pump's minimum when that is higher."""
    design = mix.design
    _, flow = _duty_and_flow(mix)
    least = quantity(design.minimum_flow_l_min or 0.0, "L/min")
    rated = None
    if design.evaporator_drop_kpa is not None and design.evaporator_flow_l_min is not None:
        rated = (quantity(design.evaporator_drop_kpa, "kPa"), quantity(design.evaporator_flow_l_min, "L/min"))
    return network.solve(
        branches=_branches(plan),
        total_flow=max(flow, least),
        density=mix.cold.density,
        viscosity=mix.cold.viscosity,
        header=_header(plan),
        evaporator=rated,
    )


def flow_of(plan: Plan, mix: Mix, solved: network.Solution) -> Flow:
    duty, flow = _duty_and_flow(mix)
    has_evaporator = mix.design.evaporator_drop_kpa is not None and mix.design.evaporator_flow_l_min is not None
    return Flow(
        is_transition=solved.has_transition,
        source_duty=duty,
        flow_for_spread=flow,
        design_flow=solved.total_flow,
        spread=heat.spread_for(duty=duty, flow=solved.total_flow, properties=mix.cold),
        manifold_drop=solved.manifold_drop,
        header_drop=solved.header_drop,
        header_velocity=solved.header_velocities[0] if plan.header else None,
        evaporator_drop=solved.evaporator_drop if has_evaporator else None,
        total_drop=solved.total_drop,
        conservative_drop=solved.conservative_total_drop,
        lowest_loop=quantity(100 * solved.spread.low, "percent"),
        highest_loop=quantity(100 * solved.spread.high, "percent"),
    )


def running_of(solved: network.Solution, at: int) -> LoopFlow:
    flow, total, count = solved.flows[at], solved.total_flow, len(solved.regimes)
    share = float((flow / total).m_as("dimensionless"))
    return LoopFlow(
        reynolds=float(solved.reynolds[at]),
        regime=solved.regimes[at].value,
        flow=flow,
        velocity=solved.velocities[at],
        share=quantity(100 * share, "percent"),
        deviation=quantity(100 * (share * count - 1), "percent"),
        drop=solved.manifold_drop,
    )


def _purge_limits(plan: Plan) -> purge.PurgeLimits:
    return replace(
        purge.PurgeLimits.usual(),
        velocity=quantity(plan.limits.purge_velocity_m_s, "m/s"),
        minutes=quantity(plan.limits.purge_minutes, "min"),
        turnovers=plan.limits.purge_turnovers,
    )


def _purge_pump(plan: Plan) -> network.PointsPump | None:
    """One known point of the purge unit: at less flow it gives at least that pressure."""
    design = plan.design
    if design is None or not design.purge_pump_l_min or not design.purge_pump_kpa:
        return None
    flow = quantity(np.array([0.0, design.purge_pump_l_min]), "L/min")
    head = quantity(np.array([design.purge_pump_kpa * (1 + 1e-9), design.purge_pump_kpa]), "kPa")
    return network.PointsPump(flow, head)


def purge_plan(plan: Plan, mix: Mix) -> purge.PurgePlan:
    """Both duties: every loop alone, and the header."""
    return purge.plan(
        loops=_branches(plan),
        header=_header(plan),
        density=mix.filling.density,
        viscosity=mix.filling.viscosity,
        limits=_purge_limits(plan),
        pump=_purge_pump(plan),
    )


def loop_purge(found: purge.PurgePlan, at: int) -> LoopPurge:
    duty = found.loops[at]
    return LoopPurge(
        turnovers=duty.turnovers,
        pump_suffices=duty.pump_suffices,
        flow=duty.flow,
        velocity=duty.velocity,
        pressure=duty.pressure,
        time=duty.time,
    )


def purge_of(found: purge.PurgePlan, plan: Plan) -> Purge:
    header = found.header[0] if found.header else None
    duties = [duty.pump_suffices for duty in found.loops]
    enough = None if _purge_pump(plan) is None else all(duties) and (header is None or header.loops_open is not None)
    return Purge(
        pump_suffices=enough,
        time=found.total_time,
        header=_header_purge(header) if header else None,
    )


def _header_purge(duty: purge.HeaderDuty) -> HeaderPurge:
    return HeaderPurge(
        loops_open=duty.loops_open,
        flow=duty.flow,
        velocity_one_loop=duty.velocity_one_loop,
        pressure=duty.pressure,
    )


def changeover_of(plan: Plan, loop: LoopNumbers, mix: Mix) -> LoopChangeover:
    """At the purge flow, or at what the purge unit gives when that is less; the front is half water, half mix."""
    velocity = quantity(plan.limits.purge_velocity_m_s, "m/s")
    flow = purge.flow_for(bore=loop.bore, velocity=velocity)
    if mix.design.purge_pump_l_min:
        flow = min(flow, quantity(mix.design.purge_pump_l_min, "L/min"))
    seen = changeover.expected(
        length=loop.length,
        bore=loop.bore,
        flow=flow,
        density=mix.interface.density,
        viscosity=mix.interface.viscosity,
        band=plan.limits.changeover_band_pct / 100,
    )
    return LoopChangeover(
        reynolds=seen.reynolds,
        is_sharp=seen.is_sharp,
        flow=flow,
        transit=seen.transit_time,
        first_colour=seen.first_colour,
        full_colour=seen.full_colour,
        mixed=seen.mixed_volume,
        band=quantity(100 * seen.band, "percent"),
    )
