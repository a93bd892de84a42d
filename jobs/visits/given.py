"""What a job gives to the fold and the judges: its plan, limits, numbers, instruments, as plain frozen data."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from calcs.pipe import pipe, volume
from calcs.units import quantity, si
from jobs.ground.queries import plan_of
from jobs.ground.results import numbers_json, numbers_of
from jobs.ground.trade import HeaderPlan, LoopPlan, Plan
from jobs.planning.models import Instrument as InstrumentRow
from jobs.planning.models import Job, JobState
from jobs.planning.queries import limits
from jobs.planning.trade import scope_of
from jobs.visits.kinds import Facts, Fluid, Instrument
from jobs.visits.kinds.base import Run as PipeRun
from jobs.visits.models import Run

APPROVED = (JobState.APPROVED, JobState.HANDED_OVER)


def facts_of(job: Job, plan: Plan) -> Facts:
    """All that judges need of a job but its entries."""
    product, design = plan.product, plan.design
    return Facts(
        numbers=numbers_json(numbers_of(plan)),
        limits=limits(job.rule_set),
        fluid=Fluid(
            product.base, product.concentrate_mass_pct, product.density_kg_m3, design.freezing_point_c, product.colour
        )
        if product and design
        else None,
        instruments={str(row.pk): _instrument(row) for row in InstrumentRow.objects.all()},
        design={
            "minimum_flow_l_min": design.minimum_flow_l_min,
            "frost_alarm_c": design.frost_alarm_c,
            "static_height_m": design.static_height_m,
        }
        if design
        else {},
        runs=_runs(plan),
        scope={phase: row.words for phase, row in scope_of(job.scope).items()},
        fill=str(job.fill_procedure),
    )


def _instrument(row: InstrumentRow) -> Instrument:
    return Instrument(
        id=str(row.pk),
        kind=row.kind,
        name=str(row),
        unit=row.unit,
        resolution=row.resolution,
        accuracy=row.accuracy,
        range_high=row.range_high,
        scale=row.scale,
        scale_base=row.scale_base,
        suitable_for_flammable=row.suitable_for_flammable,
    )


def _runs(plan: Plan) -> dict[str, PipeRun]:
    """Loops, and the header there and back as `H`."""
    found = {loop.code: replace(_run(loop, loop.length_m), lateral_m=loop.lateral_m) for loop in plan.loops}
    if plan.header:
        found["H"] = _run(plan.header, 2 * plan.header.length_each_way_m)
    return found


def _run(row: LoopPlan | HeaderPlan, length_m: float) -> PipeRun:
    made = pipe(od=quantity(row.od_mm, "mm"), wall=quantity(row.wall_mm, "mm"), material=row.material)
    held = volume(pipe=made, length=quantity(length_m, "m"))
    return PipeRun(length_m, si(made.bore, "mm", "bore"), row.wall_mm, si(held, "L", "volume"))


def plan_json(plan: Plan) -> dict[str, Any]:
    """The part of the plan that the fold and the phone go by."""
    return {
        "loops": {loop.code: {"borehole": loop.borehole, "section": loop.section} for loop in plan.loops},
        "boreholes": [hole.code for hole in plan.boreholes],
        "sections": [section.code for section in plan.sections],
        "manifold": plan.manifold is not None,
        "header": plan.header is not None,
        "header_section": plan.header.section if plan.header else "",
    }


def codes_of(plan: Plan) -> dict[str, tuple[str, ...]]:
    """Subjects by where a field's choices come from."""
    return {
        "loops": tuple(loop.code for loop in plan.loops),
        "boreholes": tuple(hole.code for hole in plan.boreholes),
        "sections": tuple(section.code for section in plan.sections),
        "header": ("H",) if plan.header else (),
    }


def given_json(job: Job, run: Run | None, facts: Facts, plan: Plan) -> dict[str, Any]:
    """What the fold is told beside entries and plan."""
    sets, inspected = facts.limit("final_sets"), facts.limit("inspection_h")
    return {
        "run_ends_at": run.extended_to.isoformat() if run and run.extended_to else "",
        "final_sets": int(sets.value) if sets else 1,
        "approved": job.state in APPROVED,
        "scope": dict(facts.scope),
        "fill": facts.fill,
        "flammable": facts.fluid is not None and facts.fluid.burns and facts.fill != "water_only",
        "pumps": sorted(one.id for one in facts.instruments.values() if one.suitable_for_flammable),
        "inspection_h": inspected.value if inspected else None,
        "shallow": is_shallow(plan, job.site.frost_depth_m),
    }


def is_shallow(plan: Plan, frost_depth_m: float | None) -> bool:
    """Is there pipe above the frost: a section less deep, or a depth that nobody told."""
    return frost_depth_m is None or any(section.depth_mm < 1000 * frost_depth_m for section in plan.sections)


def plan_for(job: Job) -> Plan:
    return plan_of(job)
