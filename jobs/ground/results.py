"""The numbers of a job: its plan as quantities through `calcs` and back.

Whatever can be computed is; what is missing or out of range becomes a sentence instead of an error.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any, TypeVar

from calcs import changeover
from calcs import pipe as pipes
from calcs.errors import CalcError
from calcs.friction import default_roughness, roughness_source
from calcs.units import quantity
from jobs.ground import cautions, hydraulics
from jobs.ground.figures import LoopChangeover, LoopNumbers, Numbers, SourceLine, Volumes, as_json
from jobs.ground.hydraulics import pipe_of
from jobs.ground.mix import Mix, fill_of, fluid_of, mix_of, strength_rows
from jobs.ground.queries import plan_of
from jobs.ground.trade import LoopPlan, Plan
from jobs.planning.models import Job

__all__ = ["Numbers", "numbers", "numbers_json", "numbers_of", "strength_rows"]

T = TypeVar("T")


def numbers(job: Job) -> Numbers:
    """All numbers of a job, from its design and what is in the ground."""
    return numbers_of(plan_of(job))


def numbers_json(of: Job | Numbers) -> dict[str, Any]:
    """The same as floats with the unit at the end of each name: for pages, the work pack and the facts."""
    found: dict[str, Any] = as_json(numbers(of) if isinstance(of, Job) else of)
    return found


@lru_cache(maxsize=256)
def numbers_of(plan: Plan) -> Numbers:
    """The numbers of a plan; equal plans are computed once."""
    return _Working(plan).numbers()


@dataclass
class _Working:
    """One run through the calculations; sentences gather in `problems`."""

    plan: Plan
    problems: list[str] = field(default_factory=list)

    def attempt(self, compute: Callable[[], T]) -> T | None:
        """The result, or None with the reason kept as a sentence."""
        try:
            return compute()
        except CalcError as error:
            sentence = str(error)
            if sentence not in self.problems:
                self.problems.append(sentence)
            return None

    def numbers(self) -> Numbers:
        plan = self.plan
        loops = self.attempt(lambda: tuple(_loop(loop) for loop in plan.loops)) or ()
        volumes = self.attempt(lambda: _volumes(plan))
        mix = self.attempt(lambda: mix_of(plan))
        solved = self.attempt(lambda: hydraulics.solve(plan, mix)) if mix and loops else None
        purged = self.attempt(lambda: hydraulics.purge_plan(plan, mix)) if mix and loops else None
        if solved:
            loops = tuple(replace(loop, running=hydraulics.running_of(solved, at)) for at, loop in enumerate(loops))
        if purged:
            loops = tuple(replace(loop, purge=hydraulics.loop_purge(purged, at)) for at, loop in enumerate(loops))
        if mix and loops:
            loops = tuple(replace(loop, changeover=self.changeover(loop, mix)) for loop in loops)
        found = Numbers(
            loops=loops,
            volumes=volumes,
            fluid=self.attempt(lambda: fluid_of(mix)) if mix else None,
            flow=self.attempt(lambda: hydraulics.flow_of(plan, mix, solved)) if mix and solved else None,
            fill=self.attempt(lambda: fill_of(volumes, mix)) if mix and volumes else None,
            purge=hydraulics.purge_of(purged, plan) if purged else None,
            cautions=(),
            missing=_missing(plan),
            problems=tuple(self.problems),
            sources=_sources(plan, mix),
        )
        said = cautions.of(plan, found, mix.warnings if mix else (), purged.warnings if purged else ())
        return replace(found, cautions=said)

    def changeover(self, loop: LoopNumbers, mix: Mix) -> LoopChangeover | None:
        return self.attempt(lambda: hydraulics.changeover_of(self.plan, loop, mix))


def _missing(plan: Plan) -> tuple[str, ...]:
    said = []
    if plan.design is None:
        said.append("Enter the design data: heat pump, fluid and purge unit.")
    if not plan.loops:
        said.append("Add the loops, by hand or from a list.")
    return tuple(said)


def _loop(loop: LoopPlan) -> LoopNumbers:
    pipe, length = pipe_of(loop), quantity(loop.length_m, "m")
    return LoopNumbers(
        code=loop.code,
        port=loop.port,
        pipe=f"{loop.od_mm:g} × {loop.wall_mm:g} mm",
        length=length,
        bore=pipe.bore,
        volume=pipes.volume(pipe=pipe, length=length),
    )


def _volumes(plan: Plan) -> Volumes | None:
    if not plan.loops:
        return None
    loops = pipes.system_volume(
        segments=[pipes.Segment(pipe_of(loop), quantity(loop.length_m, "m")) for loop in plan.loops]
    )
    header = quantity(0.0, "L")
    if plan.header:
        run = pipes.Segment(pipe_of(plan.header), quantity(plan.header.length_each_way_m, "m"), count=2)
        header = pipes.system_volume(segments=[run])
    plant = quantity(plan.design.plant_volume_l if plan.design else 0.0, "L")
    return Volumes(system=loops + header + plant, loops=loops, header=header, plant=plant)


def _sources(plan: Plan, mix: Mix | None) -> tuple[SourceLine, ...]:
    lines = [SourceLine("Pipe volume", "Least wall of the pipe; real pipe holds 2 to 4 % less.")]
    if mix:
        rough = f"wall roughness {default_roughness().m_as('um'):g} µm ({roughness_source().label})"
        lines += [
            SourceLine("Freezing point", mix.strength.freezing_point.source.label),
            SourceLine("Density, heat capacity, viscosity", f"{mix.cold.source.label}; viscosity ±15 %"),
            SourceLine("Pressure drop", f"Darcy-Weisbach with Colebrook-White, {rough}"),
            SourceLine("Purging", plan.limits.purge_source),
            SourceLine("Changeover", f"{changeover.HART.label}; band: {plan.limits.changeover_source}"),
        ]
    return tuple(lines)
