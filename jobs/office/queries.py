"""What the desk reads: the board, the week, the job page. Summary columns only; no ledger is folded for a list."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet, Sum

from jobs.office.trade import Station, stations
from jobs.planning.models import Job, JobState
from jobs.reminders.queries import Open
from jobs.reminders.trade import said
from jobs.sheets.models import Sheet, SheetState
from jobs.visits import queries as visits_queries
from jobs.visits.models import Booking, Progress, Visit, VisitState

OVER = (JobState.APPROVED, JobState.HANDED_OVER, JobState.CANCELLED)
NUMBER = re.compile(r"[0-9]{1,9}")


@dataclass(frozen=True)
class BoardRow:
    job: Job
    line: tuple[Station, ...]
    flags: tuple[tuple[str, str], ...]  # (state class, words)
    next_visit: Visit | None


def jobs_found(text: str, *, show: str) -> QuerySet[Job]:
    """Jobs by number, title, site or customer; `show` is "open", "all" or a state."""
    jobs = Job.objects.select_related("site__customer", "progress").order_by("-number")
    if show == "open":
        jobs = jobs.exclude(state__in=OVER)
    elif show != "all":
        jobs = jobs.filter(state=show)
    if NUMBER.fullmatch(text):
        return jobs.filter(number=int(text))
    if text:
        jobs = jobs.filter(
            Q(title__icontains=text)
            | Q(site__name__icontains=text)
            | Q(site__address__icontains=text)
            | Q(site__customer__name__icontains=text)
        )
    return jobs


def board_rows(jobs: Sequence[Job], *, due: Iterable[Open], today: date) -> list[BoardRow]:
    """A row per job, with what it needs from somebody first in words; `due`: the runs that wait for a check."""
    days = {each.job.pk: each.days_overdue for each in due}
    upcoming = Visit.objects.filter(
        state__in=(VisitState.PLANNED, VisitState.UNDER_WAY), planned_date__gte=today
    ).order_by("planned_date")
    visits: dict[object, Visit] = {}
    for visit in upcoming.filter(job__in=[job.pk for job in jobs]):
        visits.setdefault(visit.job_id, visit)
    return [
        BoardRow(
            job=job,
            line=stations(job.state_before_hold or job.state),
            flags=_flags(job, days.get(job.pk)),
            next_visit=visits.get(job.pk),
        )
        for job in jobs
    ]


def _flags(job: Job, days_overdue: int | None) -> tuple[tuple[str, str], ...]:
    flags: list[tuple[str, str]] = []
    progress: Progress | None = getattr(job, "progress", None)
    if days_overdue is not None:
        words = said(days_overdue).removeprefix("is ")
        flags.append(("fail" if days_overdue > 0 else "due", f"De-aeration check {words}"))
    if progress is not None and progress.sections_covered_early:
        flags.append(("fail", "Covered before release"))
    if progress is not None and progress.held:
        flags.append(("held", f"{progress.held} held"))
    if progress is not None and progress.open_asks:
        flags.append(("due", f"{progress.open_asks} asked of the crew"))
    if job.state == JobState.SUBMITTED:
        flags.append(("due", "Sheet waits for review"))
    if job.state == JobState.ON_HOLD:
        flags.append(("held", job.on_hold_reason or "On hold"))
    return tuple(flags)


def board_counts(due: Iterable[Open]) -> dict[str, int]:
    """The three numbers on top of the board. What could not be read belongs to no job and is counted all the same."""
    entries: int = Progress.objects.aggregate(held=Sum("held"))["held"] or 0
    return {
        "overdue": sum(each.days_overdue > 0 for each in due),
        "held": entries + visits_queries.held_items().count(),
        "sheets": Sheet.objects.filter(state=SheetState.SUBMITTED).count(),
    }


@dataclass
class Day:
    date: date
    visits: list[Visit] = field(default_factory=list)


def week(monday: date) -> list[Day]:
    """Seven days with their visits and crews."""
    days = {monday + timedelta(days=n): Day(monday + timedelta(days=n)) for n in range(7)}
    visits = (
        Visit.objects.select_related("job__site")
        .prefetch_related(Prefetch("bookings", Booking.objects.select_related("member__user")))
        .filter(planned_date__range=(monday, monday + timedelta(days=6)))
        .exclude(state=VisitState.CANCELLED)
        .order_by("planned_date", "job__number")
    )
    for visit in visits:
        days[visit.planned_date].visits.append(visit)
    return list(days.values())


def unbooked() -> QuerySet[Visit]:
    """Planned visits nobody is booked on."""
    booked = Booking.objects.filter(visit=OuterRef("pk"))
    return (
        Visit.objects.select_related("job__site")
        .filter(state=VisitState.PLANNED)
        .exclude(Exists(booked))
        .order_by("planned_date")
    )


def sheets_of(job: Job) -> QuerySet[Sheet]:
    return Sheet.objects.filter(job=job).select_related("approved_by__user", "submitted_by__user").order_by("-revision")
