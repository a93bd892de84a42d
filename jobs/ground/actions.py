"""Writes of the ground: loops, boreholes, sections, header, manifold. Each raises the job's version."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypedDict, Unpack

from django.db import transaction

from jobs.firms.audit import record
from jobs.firms.models import FirmOwned, Member
from jobs.ground import trade
from jobs.ground.errors import LoopRefused
from jobs.ground.importer import LoopRow
from jobs.ground.models import Borehole, Header, Loop, Manifold, Section
from jobs.planning import actions as planning
from jobs.planning.actions import DesignFields
from jobs.planning.models import Design, Job, JobState
from jobs.planning.queries import crew_has_begun, design_of


class LoopFields(TypedDict, total=False):
    code: str
    port: int
    kind: str
    borehole: Borehole | None
    section: Section | None
    od_mm: float
    wall_mm: float
    material: str
    array_m: float
    lateral_m: float
    fittings_k: float


class BoreholeFields(TypedDict, total=False):
    code: str
    depth_m: float
    driller: str


class SectionFields(TypedDict, total=False):
    code: str
    title: str
    length_m: float
    depth_mm: float
    width_mm: float
    order: int


class HeaderFields(TypedDict, total=False):
    od_mm: float
    wall_mm: float
    material: str
    length_each_way_m: float
    fittings_k: float
    section: Section | None


class ManifoldFields(TypedDict, total=False):
    ports: int
    place: str
    rating_bar: float | None


def set_design(job: Job, *, by: Member, at: datetime, **fields: Unpack[DesignFields]) -> Design:
    """The design data; with loops in place the job is then designed. Raises `JobClosed`."""
    with transaction.atomic():
        design = planning.set_design(job, by=by, at=at, **fields)
        _settle_state(job, at=at, by=by)
    return design


def add_loop(job: Job, *, by: Member, at: datetime, **fields: Unpack[LoopFields]) -> Loop:
    """Code and port are the next free ones unless given. Raises `LoopRefused`, `JobClosed`."""
    planning.must_be_open(job)
    with transaction.atomic():
        loop = Loop(job=job, **_with_free_places(job, dict(fields)))
        _check_place(loop)
        loop.save()
        _changed(job, loop, "loop_added", by=by, at=at, code=loop.code)
    return loop


def change_loop(loop: Loop, *, by: Member, at: datetime, **fields: Unpack[LoopFields]) -> None:
    """Raises `LoopRefused` when the code or port is taken, `JobClosed`."""
    planning.must_be_open(loop.job)
    if fields.get("code", loop.code) != loop.code:
        _must_be_before_ground(loop.job, "The code of a loop")
    with transaction.atomic():
        _check_place(
            Loop(pk=loop.pk, job=loop.job, code=fields.get("code", loop.code), port=fields.get("port", loop.port))
        )
        changed = planning.change(loop, fields)
        _changed(loop.job, loop, "loop_changed", by=by, at=at, fields=changed)


def remove_loop(loop: Loop, *, by: Member, at: datetime) -> None:
    """Only before the crew has begun. Raises `LoopRefused`."""
    _remove(loop, loop.job, "loop_removed", by=by, at=at)


def put_back_loop(job: Job, kept: Mapping[str, Any], *, by: Member, at: datetime) -> Loop:
    """A removed loop again, from `queries.to_put_back`. Raises `LoopRefused` when its place was taken meanwhile."""
    fields: Any = {name: kept[name] for name in LoopFields.__annotations__ if name not in {"borehole", "section"}}
    fields["borehole"] = Borehole.objects.filter(job=job, pk=kept["borehole"]).first()
    fields["section"] = Section.objects.filter(job=job, pk=kept["section"]).first()
    return add_loop(job, by=by, at=at, **fields)


def import_loops(job: Job, rows: Sequence[LoopRow], *, by: Member, at: datetime) -> list[Loop]:
    """All rows or none; a borehole that is new to the job is added with its depth. Raises `LoopRefused`, `JobClosed`."""
    planning.must_be_open(job)
    with transaction.atomic():
        holes = _with_new_boreholes(job, rows, by=by, at=at)
        sections = {section.code: section for section in Section.objects.filter(job=job)}
        places = _Places.of(job)
        loops = []
        for row in rows:
            places.take(row.code, row.port)
            loops.append(Loop(job=job, **_fields_of(row, holes.get(row.borehole), sections.get(row.section))))
        made = Loop.objects.bulk_create(loops)
        _changed(job, job, "loops_imported", by=by, at=at, codes=[loop.code for loop in made])
    return made


def _with_new_boreholes(job: Job, rows: Sequence[LoopRow], *, by: Member, at: datetime) -> dict[str, Borehole]:
    """Every borehole of the job by code, after those that only the list names were added."""
    have = {hole.code: hole for hole in Borehole.objects.filter(job=job)}
    for row in rows:
        if row.borehole and row.borehole not in have:
            depth = row.depth_m or row.array_m / 2
            have[row.borehole] = add_borehole(job, by=by, at=at, code=row.borehole, depth_m=depth)
    return have


def _fields_of(row: LoopRow, borehole: Borehole | None, section: Section | None) -> LoopFields:
    return {
        "code": row.code,
        "port": row.port,
        "kind": row.kind,
        "borehole": borehole,
        "section": section,
        "od_mm": row.od_mm,
        "wall_mm": row.wall_mm,
        "material": row.material,
        "array_m": row.array_m,
        "lateral_m": row.lateral_m,
        "fittings_k": row.fittings_k,
    }


def add_borehole(job: Job, *, by: Member, at: datetime, **fields: Unpack[BoreholeFields]) -> Borehole:
    """The code is the next free one unless given."""
    planning.must_be_open(job)
    with transaction.atomic():
        fields.setdefault("code", trade.next_code("B", _codes(Borehole, job)))
        borehole = Borehole(job=job, **fields)
        _check_code(borehole, borehole.code)
        borehole.save()
        _changed(job, borehole, "borehole_added", by=by, at=at, code=borehole.code)
    return borehole


def change_borehole(borehole: Borehole, *, by: Member, at: datetime, **fields: Unpack[BoreholeFields]) -> None:
    """Raises `LoopRefused` when the code is taken or stands already, `JobClosed`."""
    planning.must_be_open(borehole.job)
    _check_new_code(borehole, fields.get("code", borehole.code), "The code of a borehole")
    with transaction.atomic():
        changed = planning.change(borehole, fields)
        _changed(borehole.job, borehole, "borehole_changed", by=by, at=at, fields=changed)


def remove_borehole(borehole: Borehole, *, by: Member, at: datetime) -> None:
    """Raises `LoopRefused` when a loop runs in it, or once the crew has begun."""
    if Loop.objects.filter(borehole=borehole).exists():
        raise LoopRefused(f"A loop runs in {borehole.code}; change or remove that loop first.")
    _remove(borehole, borehole.job, "borehole_removed", by=by, at=at)


def add_section(job: Job, *, by: Member, at: datetime, **fields: Unpack[SectionFields]) -> Section:
    """The code is the next free one unless given; sections keep the order in which they were added."""
    planning.must_be_open(job)
    with transaction.atomic():
        taken = _codes(Section, job)
        fields.setdefault("code", trade.next_code("S", taken))
        fields.setdefault("order", len(taken) + 1)
        section = Section(job=job, **fields)
        _check_code(section, section.code)
        section.save()
        _changed(job, section, "section_added", by=by, at=at, code=section.code)
    return section


def change_section(section: Section, *, by: Member, at: datetime, **fields: Unpack[SectionFields]) -> None:
    """Raises `LoopRefused` when the code is taken or stands already, `JobClosed`."""
    planning.must_be_open(section.job)
    _check_new_code(section, fields.get("code", section.code), "The code of a section")
    with transaction.atomic():
        changed = planning.change(section, fields)
        _changed(section.job, section, "section_changed", by=by, at=at, fields=changed)


def remove_section(section: Section, *, by: Member, at: datetime) -> None:
    """Raises `LoopRefused` when a pipe lies in it, or once the crew has begun."""
    if Loop.objects.filter(section=section).exists() or Header.objects.filter(section=section).exists():
        raise LoopRefused(f"A pipe lies in {section.code}; move it to another section first.")
    _remove(section, section.job, "section_removed", by=by, at=at)


def set_header(job: Job, *, by: Member, at: datetime, **fields: Unpack[HeaderFields]) -> Header:
    planning.must_be_open(job)
    with transaction.atomic():
        header = Header.objects.filter(job=job).first() or Header(job=job)
        _put(header, fields)
        _changed(job, header, "header_set", by=by, at=at, fields=sorted(fields))
    return header


def set_manifold(job: Job, *, by: Member, at: datetime, **fields: Unpack[ManifoldFields]) -> Manifold:
    """Raises `LoopRefused` when a loop sits on a port that the manifold would not have."""
    planning.must_be_open(job)
    highest = Loop.objects.filter(job=job).order_by("-port").first()
    if highest and "ports" in fields and fields["ports"] < highest.port:
        raise LoopRefused(f"{highest.code} is on port {highest.port}; the manifold needs at least that many ports.")
    with transaction.atomic():
        manifold = Manifold.objects.filter(job=job).first() or Manifold(job=job)
        _put(manifold, fields)
        _changed(job, manifold, "manifold_set", by=by, at=at, fields=sorted(fields))
    return manifold


def _put(row: FirmOwned, fields: Any) -> None:
    for name, value in fields.items():
        setattr(row, name, value)
    row.save()


def _changed(job: Job, row: FirmOwned, verb: str, *, by: Member, at: datetime, **detail: Any) -> None:
    planning.touch(job)
    record(at=at, actor=by, verb=verb, subject=row, job=str(job.pk), **detail)
    _settle_state(job, at=at, by=by)


def _settle_state(job: Job, *, at: datetime, by: Member) -> None:
    """Accepted and designed follow from whether there is a design with a loop."""
    has_design = Loop.objects.filter(job=job).exists() and design_of(job) is not None
    if job.state == JobState.ACCEPTED and has_design:
        planning.move_state(job, JobState.DESIGNED, at=at, by=by)
    elif job.state == JobState.DESIGNED and not has_design:
        planning.move_state(job, JobState.ACCEPTED, at=at, by=by)


def _must_be_before_ground(job: Job, what: str) -> None:
    planning.must_be_open(job)
    if crew_has_begun(job):
        raise LoopRefused(f"{what} stands once the crew has begun; log on site what was built instead.")


def _remove(row: Loop | Borehole | Section, job: Job, verb: str, *, by: Member, at: datetime) -> None:
    _must_be_before_ground(job, f"{row.code}")
    with transaction.atomic():
        record(at=at, actor=by, verb=verb, subject=row, job=str(job.pk), code=row.code)
        row.delete()
        planning.touch(job)
        _settle_state(job, at=at, by=by)


def _codes(kind: type[Loop | Borehole | Section], job: Job) -> set[str]:
    return set(kind.objects.filter(job=job).values_list("code", flat=True))


def _with_free_places(job: Job, fields: dict[str, Any]) -> dict[str, Any]:
    taken: Sequence[tuple[str, int]] = list(Loop.objects.filter(job=job).values_list("code", "port"))
    fields.setdefault("code", trade.next_code("L", {code for code, _ in taken}))
    fields.setdefault("port", trade.next_port({port for _, port in taken}))
    return fields


def _check_place(loop: Loop) -> None:
    """Raises `LoopRefused` when another loop of the job has this code or port."""
    _Places.of(loop.job, besides=loop).take(loop.code, loop.port)


@dataclass
class _Places:
    """Codes and ports of a job that are taken."""

    codes: set[str]
    ports: set[int]
    manifold_ports: int | None

    @classmethod
    def of(cls, job: Job, besides: Loop | None = None) -> _Places:
        others = Loop.objects.filter(job=job)
        if besides is not None:
            others = others.exclude(pk=besides.pk)
        taken = list(others.values_list("code", "port"))
        manifold = Manifold.objects.filter(job=job).first()
        return cls({code for code, _ in taken}, {port for _, port in taken}, manifold.ports if manifold else None)

    def take(self, code: str, port: int) -> None:
        """Takes a place for a loop. Raises `LoopRefused`."""
        if code in self.codes:
            raise LoopRefused(f"There is a loop {code} already; give this one another code.")
        if port in self.ports:
            raise LoopRefused(f"Port {port} is taken; put {code} on another port.")
        if self.manifold_ports is not None and port > self.manifold_ports:
            raise LoopRefused(f"The manifold has {self.manifold_ports} ports; {code} cannot sit on port {port}.")
        self.codes.add(code)
        self.ports.add(port)


def _check_code(row: Borehole | Section, code: str) -> None:
    if type(row).objects.filter(job=row.job, code=code).exclude(pk=row.pk).exists():
        raise LoopRefused(f"There is a {code} already; give this one another code.")


def _check_new_code(row: Borehole | Section, code: str, what: str) -> None:
    """Entries of the crew speak of these codes, so they stand once it has begun."""
    if code != row.code:
        _must_be_before_ground(row.job, what)
        _check_code(row, code)
