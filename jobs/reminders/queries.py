"""Which de-aeration runs wait for somebody, computed from the data and not from what was mailed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Exists, OuterRef

from jobs.firms.models import Member
from jobs.planning.models import Job, JobState
from jobs.reminders import trade
from jobs.visits.models import Booking, Run, RunState, VisitState
from jobs.visits.queries import open_runs

# A check counts as the one that was due when it was made the day before or later.
NEAR = timedelta(days=1)
STILL = (JobState.ON_HOLD, JobState.CANCELLED)


@dataclass(frozen=True)
class Open:
    """A run that somebody must go to."""

    run: Run
    job: Job
    days_overdue: int
    level: int

    @property
    def text(self) -> str:
        """One sentence for a banner."""
        return f"The de-aeration check of {self.job.title} {trade.said(self.days_overdue)}."


def is_answered(run: Run) -> bool:
    """A recorded check, nothing else, answers a run that is due."""
    if run.state == RunState.ENDED:
        return True
    return run.last_check_at is not None and run.last_check_at >= run.ends_at - NEAR


def open_reminders(member: Member, *, at: datetime) -> list[Open]:
    """For the desk every run that is due or overdue, for the crew those of jobs they are booked on; worst first."""
    runs = open_runs().filter(ends_at__lte=at + 2 * NEAR).exclude(job__state__in=STILL)
    if not member.works_at_desk:
        booked = Booking.objects.filter(visit__job=OuterRef("job"), member=member).exclude(
            visit__state=VisitState.CANCELLED
        )
        runs = runs.filter(Exists(booked))
    found = []
    for run in runs:
        days = trade.overdue(run.ends_at, at, trade.zone_of(run.job.site.time_zone))
        level = trade.level_of(days)
        if level is not None and not is_answered(run):
            found.append(Open(run, run.job, days, level))
    return sorted(found, key=lambda each: -each.days_overdue)
