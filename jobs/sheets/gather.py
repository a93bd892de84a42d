"""Reads what a sheet rests on, through the doors of the rooms below, into plain evidence."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

from django.db.models import Q

from jobs.files.queries import by_hashes
from jobs.firms.models import Device, Member
from jobs.ground.drawing import array_svg
from jobs.planning import queries as planning
from jobs.planning.models import Instrument, Job
from jobs.planning.trade import scope_of
from jobs.sheets.evidence import Array, Arrival, Evidence, Hold, Item, Kit, Ordered, Person, Reuse, Standing
from jobs.visits import queries as visits
from jobs.visits.models import Entry, HeldItem
from jobs.visits.procedure import TABLE, kinds_at
from jobs.visits.queries import HoldPoint, Ledger, Line

STANDINGS = {
    "current": Standing.CURRENT,
    "superseded": Standing.SUPERSEDED,
    "held": Standing.HELD,
    "left_out": Standing.VOID,
}


def evidence(job: Job) -> Evidence:
    """Everything, in a fixed number of queries whatever the length of the ledger."""
    ledger = visits.ledger(job)
    items = tuple(_item(line) for line in ledger.lines)
    photos = {sha for item in items for sha in item.photos()}
    devices = {item.device for item in items if item.device}
    method, _ = planning.method(job.rule_set)
    return Evidence(
        ordered=_ordered(job, method),
        array=_array(ledger),
        numbers=ledger.facts.numbers,
        limits=planning.limits(job.rule_set),
        limit_labels={row.code: row.label for group in planning.limit_groups(job.rule_set) for row in group.rows},
        kit=_kit({key for item in items for key in (item.entry.instrument, item.pump()) if key}),
        people=people(Member.objects.filter(pk__in=_people(items)).select_related("user")),
        items=items,
        holds=tuple(_hold(row, items) for row in ledger.hold_points if row.code != "H14"),
        passed={name: row["entry"] for name, row in ledger.folded["facts"].get("tested", {}).items()},
        arrivals=tuple(Arrival(str(row.entry_id), row.code, row.value) for row in visits.receipt_findings(job)),
        photos_here=frozenset(by_hashes(photos)),
        reused=_reused(job, photos),
        waiting_phones=Device.objects.filter(pk__in=devices, waiting__gt=0, revoked_at=None).count(),
        unread_items=HeldItem.objects.filter(device__in=devices, looked_at=None).count(),
        version=job.version,
        scope=scope_of(job.scope),
        fill=str(job.fill_procedure),
    )


def people(members: Iterable[Member]) -> dict[str, Person]:
    return {str(member.pk): Person(str(member.pk), member.user.name, member.role_labels) for member in members}


def _people(items: Iterable[Item]) -> set[str]:
    """Who logged, and who is named as having made a joint."""
    found = {item.entry.person for item in items}
    return found | {welder for item in items if (welder := item.entry.choice("welder"))}


def _item(line: Line) -> Item:
    standing, why = STANDINGS[line.standing.value], line.why
    if line.standing.value == "left_out":
        why = "the office left it out"
    elif standing is Standing.CURRENT and line.reason == "withdrawn":
        standing, why = Standing.VOID, "withdrawn"
    elif standing is Standing.CURRENT and line.void_for and _is_all(line):
        standing, why = Standing.VOID, "undone by later work on the pipe"
    return Item(
        entry=line.logged,
        standing=standing,
        texts=line.texts,
        supersedes=line.supersedes,
        reason=line.reason,
        source=line.source,
        why=why,
        overridden_by=line.overridden_by,
        verdicts=line.verdicts,
        device=line.device,
        void_for=tuple(sorted(line.void_for)),
    )


def _is_all(line: Line) -> bool:
    """A pressure test covers many; it is void only when nothing of what it covers is left."""
    return line.kind != "pressure_end"


def _hold(row: HoldPoint, items: tuple[Item, ...]) -> Hold:
    table = next(one for one in TABLE["hold_points"] if one["code"] == row.code)
    step = next((item for item in items if _passes(item, table, row.subject)), None)
    return Hold(
        code=row.code,
        title=row.label.removeprefix(row.code).strip(),
        subject=row.subject,
        released=row.is_open,
        missing=row.missing,
        step=step.id if step else "",
        override=row.overridden_by,
    )


def _passes(item: Item, table: Mapping[str, Any], subject: str) -> bool:
    """True for an entry that stands past this hold point for this subject."""
    if item.kind not in kinds_at(table) or item.standing is not Standing.CURRENT:
        return False
    named = item.entry.choice(table["subject_from"]) if table.get("subject_from") else item.subject
    return not subject or named == subject


def _kit(ids: set[str]) -> dict[str, Kit]:
    rows = Instrument.objects.filter(pk__in=ids)
    return {
        str(row.pk): Kit(
            id=str(row.pk),
            kind=row.kind,
            name=row.name,
            serial=row.serial,
            unit=row.unit,
            range_high=row.range_high,
            resolution=row.resolution,
            accuracy=row.accuracy,
            scale=row.scale,
            scale_base=row.scale_base,
            calibration_due=row.calibration_due_date.isoformat() if row.calibration_due_date else "",
        )
        for row in rows
    }


def _ordered(job: Job, method: str) -> Ordered:
    site = job.site
    return Ordered(
        number=job.number,
        title=job.title,
        customer=site.customer.name,
        site=site.name,
        address=site.address,
        time_zone=site.time_zone,
        firm=job.firm.name,
        design=_design(job),
        rule_set=str(job.rule_set),
        method=method,
    )


DESIGN = (
    "revision", "freezing_point_c", "cold_fluid_c", "heating_kw", "cop", "rating_point", "spread_k", "minimum_flow_l_min",
    "evaporator_drop_kpa", "evaporator_flow_l_min", "frost_alarm_c", "plant_volume_l", "bin_l", "deaeration_days",
    "static_height_m",
)  # fmt: skip


def _design(job: Job) -> dict[str, Any]:
    design = planning.design_of(job)
    if design is None:
        return {}
    product = design.product
    return {name: getattr(design, name) for name in DESIGN} | {
        "product": product.name,
        "product_base": product.base,
        "concentrate_mass_pct": product.concentrate_mass_pct,
        "density_kg_m3": product.density_kg_m3,
    }


def _array(ledger: Ledger) -> Array:
    plan = ledger.plan
    header = asdict(plan.header) | {"code": "H", "length_m": 2 * plan.header.length_each_way_m} if plan.header else {}
    return Array(
        loops=tuple(asdict(loop) | {"length_m": loop.length_m} for loop in plan.loops),
        boreholes=tuple(asdict(hole) for hole in plan.boreholes),
        sections=tuple(asdict(section) for section in plan.sections),
        header=header,
        manifold=asdict(plan.manifold) if plan.manifold else {},
        svg=str(array_svg(plan)),
    )


def _reused(job: Job, photos: set[str]) -> tuple[Reuse, ...]:
    """Photos of this job that other jobs of the firm name too."""
    if not photos:
        return ()
    asks = Q(payload__has_key="photo") | Q(payload__has_key="gauge")
    others = Entry.objects.exclude(job=job).filter(asks).values_list("job__number", "payload")
    found = {
        (sha, number)
        for number, payload in others.iterator()
        for field in ("photo", "gauge")
        for sha in _hashes(payload.get(field))
        if sha in photos
    }
    return tuple(Reuse(sha, f"job {number}") for sha, number in sorted(found))


def _hashes(answer: Any) -> list[str]:
    value = answer.get("value") if isinstance(answer, Mapping) else None
    return [str(one) for one in value] if isinstance(value, list) else []
