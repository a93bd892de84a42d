"""Writes of visits: entries received, held ones decided, visits planned and booked, runs extended, people erased."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any, TypedDict, Unpack
from uuid import UUID

from django.db import transaction

from jobs.firms import audit
from jobs.firms.models import Member
from jobs.planning import actions as planning
from jobs.planning.models import Job, JobState
from jobs.planning.trade import NotOurs, may_be_visited
from jobs.visits import envelope, given, ledger, receiving, trade
from jobs.visits.errors import JobStopped, NotHeld, RunEnded, Unreadable, VisitClosed
from jobs.visits.models import (
    Ask,
    Booking,
    Decision,
    Entry,
    EntryText,
    Erasure,
    HeldItem,
    Run,
    RunState,
    Unread,
    Visit,
    VisitKind,
    VisitState,
)
from jobs.visits.receiving import Arrival, Incoming, Receipt
from jobs.visits.summing import DUE, sum_up

__all__ = ["DUE", "Receipt"]

OPEN = (VisitState.PLANNED, VisitState.UNDER_WAY)


def receive(raw: Any, *, sender: Member, sent_at: datetime, received_at: datetime) -> Receipt:
    """Takes one entry from a phone, inside an open scope. Never refuses: what cannot become an entry is kept and held."""
    arrival = Arrival(sender, sent_at, received_at)
    try:
        read = envelope.read(raw)
        _ = read.content_hash
    except Unreadable:
        return _kept(raw, Unread.UNREADABLE, arrival)
    with transaction.atomic():
        stored = Entry.objects.filter(pk=read.id).first()
        if stored:
            return _again(stored, read, raw, arrival)
        job = Job.objects.select_for_update(of=("self",)).filter(pk=read.job).first()
        if job is None:
            return _kept(raw, Unread.NO_JOB, arrival)
        person = receiving.person_of(read.author)
        if person is None:
            return _kept(raw, Unread.NO_PERSON, arrival)
        visit = Visit.objects.filter(pk=read.visit, job=job).first() if read.visit else None
        return _store(Incoming(read, arrival, job, person, visit, given.plan_for(job)), raw)


def _store(new: Incoming, raw: Any) -> Receipt:
    row, folded = receiving.judged(new)
    found = receiving.insert(row, new)
    if found is None:
        return _kept(raw, Unread.CONFLICT, new.arrival, why="id_taken")
    if not receiving.same_content(found, new.read):
        return _conflict(raw, new.arrival, str(found.pk))
    receiving.note_arrival(found)
    at = new.arrival.received_at
    if not found.held or found.held.startswith("hold_point:"):
        _answer_asks(found, at)
    if new.visit and new.visit.state == VisitState.PLANNED:
        new.visit.state = VisitState.UNDER_WAY
        new.visit.save(update_fields=["state"])
    sum_up(new.job, folded, at=at, by=new.person)
    return Receipt(str(found.pk), "held" if found.held else "stored", at, found.held)


def _again(stored: Entry, read: envelope.Envelope, raw: Any, arrival: Arrival) -> Receipt:
    if receiving.same_content(stored, read):
        return Receipt(str(stored.pk), "duplicate", stored.received_at, stored.held)
    return _conflict(raw, arrival, str(stored.pk))


def _conflict(raw: Any, arrival: Arrival, key: str) -> Receipt:
    """Same id, other content: both are kept, a person looks at the second."""
    _kept(raw, Unread.CONFLICT, arrival)
    return Receipt(key, "id_conflict", arrival.received_at, "another entry has this number")


def _kept(raw: Any, reason: Unread, arrival: Arrival, *, why: str = "") -> Receipt:
    told = raw if isinstance(raw, dict) else {}
    device = _uuid(told.get("device"))
    receiving.keep(receiving.as_text(raw), why=reason, device=device, sender=arrival.sender, at=arrival.received_at)
    return Receipt(str(told.get("id", "")), "held", arrival.received_at, why or reason.value)


def _uuid(value: Any) -> UUID | None:
    try:
        return UUID(str(value))
    except ValueError:
        return None


def receive_raw(body: str, *, sender: Member, device: UUID | None, received_at: datetime) -> HeldItem:
    """Keeps anything, as it came."""
    with transaction.atomic():
        return receiving.keep(body, why=Unread.UNREADABLE, device=device, sender=sender, at=received_at)


def _answer_asks(row: Entry, at: datetime) -> None:
    """A correction answers what was asked about the entry that it corrects."""
    if row.supersedes:
        Ask.objects.filter(job=row.job, entry_id=row.supersedes, answered_at=None).update(
            answered_by_entry=row.pk, answered_at=at
        )


def ask(entry: Entry, *, field: str, text: str, to: Member, by: Member, at: datetime) -> Ask:
    """Sends one field of an entry back to the crew."""
    with transaction.atomic():
        made = Ask(job=entry.job, entry=entry, field=field, text=text.strip()[:500], to=to, by=by, asked_at=at)
        made.save()
        audit.record(at=at, actor=by, verb="asked", subject=entry, field=field)
        recompute(entry.job, at=at, by=by)
    return made


def decide(entry: Entry, *, taken: bool, reason: str, by: Member, at: datetime) -> Decision:
    """The office's word on a held entry: it counts after all, or is left out. Raises `NotHeld`."""
    if taken and not receiving.may_count(entry):
        raise NotHeld("This entry cannot be read, so it cannot count. Leave it out and have it logged again.")
    with transaction.atomic():
        if str(entry.pk) not in ledger.read(entry.job).folded["held"]:
            raise NotHeld("This entry is not held any more. Reload the page.")
        made = Decision(entry=entry, taken=taken, reason=reason.strip(), by=by, at=at)
        made.save()
        audit.record(at=at, actor=by, verb="held_taken" if taken else "held_left_out", subject=entry, held=entry.held)
        recompute(entry.job, at=at, by=by)
    return made


def look_at(item: HeldItem, *, by: Member, at: datetime) -> None:
    """A person has looked at what could not be read."""
    with transaction.atomic():
        item.looked_at = at
        item.save(update_fields=["looked_at"])
        audit.record(at=at, actor=by, verb="held_item_seen", subject=item)


def recompute(job: Job, *, at: datetime, by: Member | None) -> None:
    """Progress, run and state of a job anew from its entries."""
    with transaction.atomic():
        job.refresh_from_db()
        sum_up(job, ledger.read(job), at=at, by=by)


def recompute_all(*, at: datetime) -> int:
    """Every job of the firm in scope that has entries; gives their number."""
    jobs = Job.objects.filter(pk__in=Entry.objects.values("job")).select_related("rule_set")
    for job in jobs:
        recompute(job, at=at, by=None)
    return len(jobs)


def set_scope(job: Job, *, scope: Mapping[str, NotOurs], fill: str, by: Member, at: datetime) -> None:
    """Whose the phases are and how the array is filled; what follows from the entries is worked out anew. Raises `Refused`."""
    with transaction.atomic():
        planning.set_scope(job, scope=scope, fill=fill, by=by, at=at)
        recompute(job, at=at, by=by)


class VisitFields(TypedDict, total=False):
    kind: VisitKind
    planned_date: date
    note: str


def plan_visit(
    job: Job, *, by: Member, at: datetime, crew: Iterable[Member] = (), **fields: Unpack[VisitFields]
) -> Visit:
    """Plans a visit and books its crew; the first one makes a designed job scheduled. Raises `JobStopped`."""
    if not may_be_visited(job.state):
        raise JobStopped(f"This job is {job.get_state_display().lower()}, so no visit can be planned.")
    with transaction.atomic():
        visit = Visit(job=job, **fields)
        visit.save()
        _book(visit, crew)
        if job.state == JobState.DESIGNED:
            planning.move_state(job, JobState.SCHEDULED, at=at, by=by)
        planning.touch(job)
        told = {"kind": str(visit.kind), "date": visit.planned_date.isoformat()}
        audit.record(at=at, actor=by, verb="visit_planned", subject=visit, **told)
    return visit


def change_visit(
    visit: Visit, *, by: Member, at: datetime, crew: Iterable[Member], **fields: Unpack[VisitFields]
) -> None:
    """Another kind, date, note or crew. Raises `VisitClosed`."""
    _must_be_open(visit)
    with transaction.atomic():
        changed = planning.change(visit, fields)
        _book(visit, crew)
        planning.touch(visit.job)
        audit.record(at=at, actor=by, verb="visit_changed", subject=visit, fields=changed)


def book(visit: Visit, crew: Iterable[Member], *, by: Member, at: datetime) -> None:
    """Books exactly these people. Raises `VisitClosed`."""
    change_visit(visit, by=by, at=at, crew=crew)


def cancel_visit(visit: Visit, *, by: Member, at: datetime) -> None:
    """Raises `VisitClosed`."""
    _must_be_open(visit)
    _close(visit, VisitState.CANCELLED, "visit_cancelled", by=by, at=at)


def finish_visit(visit: Visit, *, by: Member, at: datetime) -> None:
    """Raises `VisitClosed`."""
    _must_be_open(visit)
    _close(visit, VisitState.FINISHED, "visit_finished", by=by, at=at)


def _close(visit: Visit, state: VisitState, verb: str, *, by: Member, at: datetime) -> None:
    with transaction.atomic():
        visit.state = state
        visit.save(update_fields=["state"])
        planning.touch(visit.job)
        audit.record(at=at, actor=by, verb=verb, subject=visit)


def _must_be_open(visit: Visit) -> None:
    if visit.state not in OPEN:
        raise VisitClosed(f"This visit is {visit.get_state_display().lower()}. Plan a new one.")


def _book(visit: Visit, crew: Iterable[Member]) -> None:
    wanted = {member.pk: member for member in crew}
    Booking.objects.filter(visit=visit).exclude(member__in=wanted).delete()
    have = set(Booking.objects.filter(visit=visit).values_list("member", flat=True))
    Booking.objects.bulk_create(
        [Booking(visit=visit, member=member) for pk, member in wanted.items() if pk not in have]
    )


def extend_run(run: Run, *, to: datetime, reason: str, by: Member, at: datetime) -> None:
    """A later end of the de-aeration run, with a reason. Raises `RunEnded`."""
    if run.state == RunState.ENDED:
        raise RunEnded("This run has ended; there is nothing to extend.")
    if to <= run.ends_at:
        raise RunEnded("Choose a day after the present end of the run.")
    if to > run.ends_at + trade.LONGEST_EXTENSION:
        raise RunEnded("Choose a day within a year of the present end of the run.")
    if len(reason.strip()) < trade.LEAST_REASON:
        raise RunEnded("Say why in ten characters or more.")
    with transaction.atomic():
        run.extended_to, run.extended_reason = to, reason.strip()
        run.save(update_fields=["extended_to", "extended_reason"])
        audit.record(at=at, actor=by, verb="run_extended", subject=run, to=to.isoformat())
        recompute(run.job, at=at, by=by)


def erase_person(person: Member, *, by: Member, at: datetime) -> int:
    """Deletes what this person wrote and signed; the entries stay and still verify. Gives the number of texts."""
    with transaction.atomic():
        Erasure(person=person, at=at).save()
        gone, _ = EntryText.objects.filter(person=person).delete()
        audit.record(at=at, actor=by, verb="person_erased", subject=person, texts=gone)
    return gone
