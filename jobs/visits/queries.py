"""What is asked of visits: the folded ledger of a job, visits of a person, what is held, what was asked."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db.models import Prefetch, QuerySet

from jobs.firms.models import Member
from jobs.planning.models import Job
from jobs.visits import ledger as ledgers
from jobs.visits.ledger import HoldPoint, Ledger, Line, Standing
from jobs.visits.models import Ask, Booking, Entry, HeldItem, Progress, ReceiptFinding, Run, RunState, Visit, VisitState
from jobs.visits.procedure import STEPS
from jobs.visits.rows import holds, timeline
from jobs.visits.trade import OPEN_FOR_CREW

__all__ = ["HoldPoint", "Ledger", "Line", "Standing", "holds", "timeline"]


def ledger(job: Job) -> Ledger:
    """Every entry of a job with its standing and verdicts, and the state of the work. A fixed number of queries whatever the length."""
    return ledgers.read(job)


def steps_of(job: Job) -> list[dict[str, Any]]:
    """The steps of this job with their labels: what is done, what is left, whose it is when it is not ours."""
    labels = {row["code"]: row["label"] for row in STEPS}
    return [{**step, "label": labels[step["code"]]} for step in ledger(job).folded["steps"]]


def with_crew() -> QuerySet[Visit]:
    crew = Booking.objects.select_related("member__user").order_by("member__user__name")
    return Visit.objects.select_related("job__site").prefetch_related(Prefetch("bookings", crew))


def visits_of(member: Member, *, today: date) -> QuerySet[Visit]:
    """Visits this member is booked on, two weeks back and ahead."""
    return (
        with_crew()
        .filter(bookings__member=member, planned_date__range=(today - OPEN_FOR_CREW, today + OPEN_FOR_CREW))
        .exclude(state=VisitState.CANCELLED)
        .order_by("planned_date", "job__number")
    )


def visits_of_job(job: Job) -> QuerySet[Visit]:
    return with_crew().filter(job=job).order_by("planned_date")


def crew_of(visit: Visit) -> list[Member]:
    bookings = Booking.objects.filter(visit=visit).select_related("member__user").order_by("member__user__name")
    return [booking.member for booking in bookings]


def open_asks(job: Job) -> QuerySet[Ask]:
    return (
        Ask.objects.filter(job=job, answered_at=None)
        .select_related("entry", "to__user", "by__user")
        .order_by("asked_at")
    )


def asks_to(member: Member) -> QuerySet[Ask]:
    """What was sent back to this member and is not answered."""
    return Ask.objects.filter(to=member, answered_at=None).select_related("job", "entry").order_by("asked_at")


def asks_of(job: Job) -> QuerySet[Ask]:
    """All that was ever asked about a job."""
    return Ask.objects.filter(job=job).select_related("entry", "to__user", "by__user").order_by("asked_at")


def held_entries() -> list[Entry]:
    """Entries that wait for the office's word, oldest first, by the summaries of their jobs."""
    ids = [key for held in Progress.objects.filter(held__gt=0).values_list("held_entries", flat=True) for key in held]
    return list(Entry.objects.filter(pk__in=ids).select_related("job", "person__user", "text").order_by("received_at"))


def held_items() -> QuerySet[HeldItem]:
    """What could not become an entry and nobody has looked at."""
    return HeldItem.objects.filter(looked_at=None).select_related("sent_by__user").order_by("received_at")


def receipt_findings(job: Job) -> QuerySet[ReceiptFinding]:
    return ReceiptFinding.objects.filter(entry__job=job).order_by("entry__received_at", "code")


def run_of(job: Job) -> Run | None:
    return Run.objects.filter(job=job).first()


def open_runs() -> QuerySet[Run]:
    return (
        Run.objects.exclude(state=RunState.ENDED)
        .select_related("job__site", "job__scheduler__user")
        .order_by("ends_at")
    )


def progress_of(job: Job) -> Progress | None:
    return Progress.objects.filter(job=job).first()


def booked_on(job: Job) -> list[Member]:
    """Everybody booked on any visit of the job that was not cancelled, by name."""
    bookings = (
        Booking.objects.filter(visit__job=job)
        .exclude(visit__state=VisitState.CANCELLED)
        .select_related("member__user", "member__firm")
    )
    found = {booking.member_id: booking.member for booking in bookings if booking.member.is_active}
    return sorted(found.values(), key=lambda member: member.user.name)


def next_visit_day(job: Job, *, today: date) -> date | None:
    """Day of the next visit that is still planned."""
    visit = (
        Visit.objects.filter(job=job, state=VisitState.PLANNED, planned_date__gte=today)
        .order_by("planned_date")
        .first()
    )
    return visit.planned_date if visit else None
