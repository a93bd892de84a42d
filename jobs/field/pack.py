"""The work pack: all that a phone needs to do its visits with no signal, put together from the doors below."""

from __future__ import annotations

import hashlib
import json
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from jobs.field.pack_numbers import calc_json, fluid_json
from jobs.field.pack_suits import suits_json
from jobs.field.quick_sums import quick_sums_json
from jobs.field.words import words_json
from jobs.firms.models import Member
from jobs.firms.queries import members_of
from jobs.ground.drawing import array_svg
from jobs.ground.results import numbers_json
from jobs.ground.trade import Plan
from jobs.planning import queries as planning
from jobs.planning.models import Instrument, Job
from jobs.visits import queries as visits
from jobs.visits.kinds import KINDS, Of, kinds_json, units_json
from jobs.visits.models import Visit
from jobs.visits.procedure import procedure_json
from jobs.visits.queries import Ledger, Line, Standing


def pack_for(member: Member, *, at: datetime) -> dict[str, Any]:
    """Everything for this member's visits, and a name for exactly this content."""
    today = at.astimezone(ZoneInfo(member.firm.time_zone)).date()
    booked = list(visits.visits_of(member, today=today))
    jobs = {visit.job_id: visit.job for visit in booked}
    jobs |= {
        ask.job_id: ask.job for ask in visits.asks_to(member)
    }  # whatever was sent back, however long ago the visit
    people = [{"id": str(each.pk), "name": each.user.name} for each in members_of(member.firm_id)]
    made = {
        "person": {"id": str(member.pk), "name": member.user.name, "roles": member.roles},
        "firm": {"id": str(member.firm_id), "name": member.firm.name},
        "people": people,
        "kinds": kinds_json(),
        "units": units_json(),
        "words": words_json(),
        "procedure": procedure_json(),
        "sums": quick_sums_json(),
        "visits": [_visit(visit) for visit in booked],
        "jobs": [_job(job, member) for job in jobs.values()],
    }
    text = json.dumps(made, sort_keys=True, ensure_ascii=False, default=str)
    return {**made, "etag": hashlib.sha256(text.encode()).hexdigest()[:20], "made_at": at.isoformat()}


def _visit(visit: Visit) -> dict[str, Any]:
    return {
        "id": str(visit.pk),
        "job": str(visit.job_id),
        "kind": visit.kind,
        "kind_label": visit.get_kind_display(),
        "planned_date": visit.planned_date.isoformat(),
        "note": visit.note,
        "state": visit.state,
        "people": [booking.member.user.name for booking in visit.bookings.all()],
    }


def _job(job: Job, member: Member) -> dict[str, Any]:
    ledger = visits.ledger(job)
    numbers = numbers_json(job)
    instruments = list(planning.instruments())
    return {
        "id": str(job.pk),
        "number": job.number,
        "title": job.title,
        "state": job.state,
        "site": _site(job),
        **_parts(ledger.plan),
        "numbers": numbers,
        "limits": _limits(job),
        "instruments": [_instrument(each) for each in instruments],
        "suits": suits_json(ledger.facts, planning.method(job.rule_set)[0]),
        "fluid": fluid_json(ledger.plan, numbers, ledger.facts, instruments),
        "calc": calc_json(ledger.facts, ledger.plan),
        "targets": _targets(ledger),
        "plan": ledger.case["plan"],
        "given": ledger.case["given"],
        "cautions": _cautions(ledger),
        "outcomes": dict(ledger.outcomes),
        "entries": [_entry(line, job) for line in ledger.lines],
        "asks": [_ask(each) for each in visits.open_asks(job) if each.to_id == member.pk],
        "svg": str(array_svg(ledger.plan)),
    }


def _site(job: Job) -> dict[str, Any]:
    site = job.site
    return {
        "name": site.name,
        "address": site.address,
        "directions": site.directions,
        "hazards": site.hazards,
        "contact_name": site.contact_name,
        "contact_phone": site.contact_phone,
        "time_zone": site.time_zone,
        "lat": site.latitude,
        "lon": site.longitude,
    }


def _parts(plan: Plan) -> dict[str, Any]:
    return {
        "loops": [
            {
                "code": loop.code,
                "port": loop.port,
                "kind": loop.kind,
                "borehole": loop.borehole,
                "section": loop.section,
                "length_m": loop.length_m,
                "lateral_m": loop.lateral_m,
                "od_mm": loop.od_mm,
                "wall_mm": loop.wall_mm,
            }
            for loop in plan.loops
        ],
        "sections": [{"code": each.code, "title": each.title, "depth_mm": each.depth_mm} for each in plan.sections],
        "boreholes": [{"code": each.code, "title": f"{each.depth_m:g} m"} for each in plan.boreholes],
        "header": {"section": plan.header.section} if plan.header else None,
    }


def _cautions(ledger: Ledger) -> dict[str, list[str]]:
    """By kind, where this job has others than usual: a fluid that burns."""
    said = {code: kind.cautions_for(ledger.facts) for code, kind in KINDS.items()}
    return {code: list(words) for code, words in said.items() if words != KINDS[code].cautions}


def _limits(job: Job) -> dict[str, dict[str, Any]]:
    """By code in the order of the work, each with where it comes from: an unconfirmed figure says so."""
    return {
        row.code: {
            "label": row.label,
            "group": group.name,
            "value": row.value,
            "unit": row.unit,
            "source": row.source.label,
            "status": row.source.status.value,
        }
        for group in planning.limit_groups(job.rule_set)
        for row in group.rows
    }


def _instrument(row: Instrument) -> dict[str, Any]:
    return {
        "id": str(row.pk),
        "kind": row.kind,
        "name": row.name,
        "serial": row.serial,
        "unit": row.unit,
        "resolution": row.resolution,
        "accuracy": row.accuracy,
        "range_high": row.range_high,
        "scale": row.scale,
        "scale_base": row.scale_base,
        "suitable_for_flammable": row.suitable_for_flammable,
        "calibration_due_date": row.calibration_due_date.isoformat() if row.calibration_due_date else None,
    }


def _targets(ledger: Ledger) -> dict[str, dict[str, list[dict[str, Any]]]]:
    """What each kind should come to on this job, by kind and subject; an empty subject stands for every one."""
    plan = ledger.plan
    loops, header = [loop.code for loop in plan.loops], ["H"] if plan.header else []
    codes = {
        Of.LOOP: loops,
        Of.LOOP_OR_HEADER: [*loops, *header],
        Of.BOREHOLE: [hole.code for hole in plan.boreholes],
        Of.SECTION: [section.code for section in plan.sections],
    }
    found: dict[str, dict[str, list[dict[str, Any]]]] = {}
    for code, kind in KINDS.items():
        for subject in codes.get(kind.of, [""]):
            rows = [target.as_json() for target in kind.targets(ledger.facts, subject)]
            if rows:
                found.setdefault(code, {})[subject] = rows
    return found


def _entry(line: Line, job: Job) -> dict[str, Any]:
    """As it travels, with what the office thinks of it."""
    logged = line.logged
    decision = "left_out" if line.standing is Standing.LEFT_OUT else "taken" if line.overridden_by == "office" else ""
    return {
        "id": line.id,
        "job": str(job.pk),
        "visit": line.visit or None,
        "kind": line.kind,
        "subject": line.subject,
        "payload": dict(logged.payload),
        "text": dict(line.texts),
        "observed_at": logged.observed_at.isoformat(),
        "recorded_at": logged.recorded_at.isoformat(),
        "received_at": line.received_at.isoformat(),
        "seq": line.seq,
        "device": line.device,
        "supersedes": line.supersedes or None,
        "reason": line.reason,
        "instrument": logged.instrument or None,
        "source": line.source,
        "person_name": line.person,
        "held": line.held,
        "why": line.why,
        "decision": decision,
        "verdicts": [_verdict(verdict) for verdict in line.verdicts],
    }


def _verdict(verdict: Any) -> dict[str, Any]:
    return {
        "outcome": verdict.outcome.value,
        "reason": verdict.reason,
        "way_out": verdict.way_out,
        "source": verdict.source.label if verdict.source else "",
    }


def _ask(ask: Any) -> dict[str, Any]:
    return {
        "id": str(ask.pk),
        "entry": str(ask.entry_id),
        "field": ask.field,
        "text": ask.text,
        "by": ask.by.user.name,
        "asked_at": ask.asked_at.isoformat(),
    }
