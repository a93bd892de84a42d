"""What is asked of the ground: the rows of one job, and its plan as frozen facts."""

from __future__ import annotations

from dataclasses import fields
from typing import Any, TypeVar

from django.db.models import QuerySet

from jobs.ground.importer import Known
from jobs.ground.models import Borehole, Header, Loop, Manifold, Section
from jobs.ground.trade import (
    BoreholePlan,
    DesignPlan,
    HeaderPlan,
    LimitPlan,
    LoopPlan,
    ManifoldPlan,
    Plan,
    ProductPlan,
    SectionPlan,
)
from jobs.planning.models import Job
from jobs.planning.queries import design_of, limits
from jobs.sums.parse import shown

P = TypeVar("P", BoreholePlan, DesignPlan, ManifoldPlan, ProductPlan, SectionPlan)


def loops(job: Job) -> QuerySet[Loop]:
    return Loop.objects.filter(job=job).select_related("borehole", "section").order_by("port")


def boreholes(job: Job) -> list[Borehole]:
    """In the order of their numbers: B2 before B10."""
    return sorted(Borehole.objects.filter(job=job), key=lambda row: (len(row.code), row.code))


def borehole_rows(job: Job) -> QuerySet[Borehole]:
    return Borehole.objects.filter(job=job).order_by("code")


def sections(job: Job) -> QuerySet[Section]:
    return Section.objects.filter(job=job).order_by("order", "code")


def header_of(job: Job) -> Header | None:
    return Header.objects.select_related("section").filter(job=job).first()


def manifold_of(job: Job) -> Manifold | None:
    return Manifold.objects.filter(job=job).first()


def like_the_last(job: Job) -> dict[str, Any]:
    """What a new loop starts with: kind, pipe and lengths of the last one."""
    last = Loop.objects.filter(job=job).order_by("-port").first()
    if last is None:
        return {}
    pipe = f"{shown(last.od_mm)}|{shown(last.wall_mm)}|{last.material}"
    return {"pipe": pipe} | {
        name: getattr(last, name) for name in ("kind", "array_m", "lateral_m", "section", "fittings_k")
    }


def like_the_last_borehole(job: Job) -> dict[str, Any]:
    found = boreholes(job)
    return {"depth_m": found[-1].depth_m, "driller": found[-1].driller} if found else {}


def to_put_back(loop: Loop) -> dict[str, Any]:
    """A loop as plain values, from which `actions.put_back_loop` makes it again."""
    own = ("code", "port", "kind", "od_mm", "wall_mm", "material", "array_m", "lateral_m", "fittings_k")
    ids = {
        name: str(value) if value else None
        for name, value in (("borehole", loop.borehole_id), ("section", loop.section_id))
    }
    return {name: getattr(loop, name) for name in own} | ids


def known(job: Job) -> Known:
    """What a list of loops is checked against."""
    manifold = manifold_of(job)
    found = list(Loop.objects.filter(job=job).values_list("code", "port"))
    return Known(
        loops=frozenset(code for code, _ in found),
        ports=frozenset(port for _, port in found),
        boreholes=frozenset(Borehole.objects.filter(job=job).values_list("code", flat=True)),
        sections=frozenset(Section.objects.filter(job=job).values_list("code", flat=True)),
        ports_of_manifold=manifold.ports if manifold else 0,
    )


def plan_of(job: Job) -> Plan:
    """The array as designed, read in a fixed number of queries."""
    design, header, manifold = design_of(job), header_of(job), manifold_of(job)
    return Plan(
        number=job.number,
        title=job.title,
        loops=tuple(_loop(row) for row in loops(job)),
        boreholes=tuple(_same(BoreholePlan, row) for row in boreholes(job)),
        sections=tuple(_same(SectionPlan, row) for row in sections(job)),
        header=_header(header) if header else None,
        manifold=_same(ManifoldPlan, manifold) if manifold else None,
        design=_same(DesignPlan, design) if design else None,
        product=_same(ProductPlan, design.product) if design else None,
        limits=_limits(job),
    )


def _same(kind: type[P], row: Any) -> P:
    """A plan made of the row's fields of the same names."""
    return kind(**{field.name: getattr(row, field.name) for field in fields(kind)})


def _loop(row: Loop) -> LoopPlan:
    return LoopPlan(
        code=row.code,
        port=row.port,
        kind=row.kind,
        borehole=row.borehole.code if row.borehole else "",
        section=row.section.code if row.section else "",
        od_mm=row.od_mm,
        wall_mm=row.wall_mm,
        material=row.material,
        array_m=row.array_m,
        lateral_m=row.lateral_m,
        fittings_k=row.fittings_k,
    )


def _header(row: Header) -> HeaderPlan:
    return HeaderPlan(
        od_mm=row.od_mm,
        wall_mm=row.wall_mm,
        material=row.material,
        length_each_way_m=row.length_each_way_m,
        fittings_k=row.fittings_k,
        section=row.section.code if row.section else "",
    )


def _limits(job: Job) -> LimitPlan:
    found = limits(job.rule_set)
    return LimitPlan(
        purge_velocity_m_s=found["purge_velocity_m_s"].value,
        purge_minutes=found["purge_minutes_after_bubble"].value,
        purge_turnovers=found["purge_turnovers"].value,
        changeover_band_pct=found["changeover_band_pct"].value,
        freeze_margin_k=found["freeze_margin_k"].value,
        freeze_margin_block_k=found["freeze_margin_block_k"].value,
        balance_spread_pct=found["balance_spread_pct"].value,
        purge_source=found["purge_velocity_m_s"].source.label,
        changeover_source=found["changeover_band_pct"].source.label,
    )
