"""Reminds people of a de-aeration run: one row per run and local date, one mail per person with it."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime
from uuid import UUID

from django.conf import settings
from django.db import transaction

from jobs.firms.models import Member, Role
from jobs.firms.queries import members_of
from jobs.firms.scope import firm_in_scope
from jobs.planning.models import JobState
from jobs.reminders import trade
from jobs.reminders.models import Reminder
from jobs.reminders.queries import is_answered
from jobs.reminders.trade import Step
from jobs.visits.models import Run
from jobs.visits.queries import booked_on
from jobs.work import mail
from jobs.work.errors import BadAddress


def remind(subject: UUID, at: datetime) -> datetime | None:
    """The handler of what falls due: reminds when it is time, and says when it is time again; None: never more.

    What was missed in an outage is not made up for: today's row tells how long it is overdue.
    """
    run = Run.objects.select_related("job__site", "job__scheduler__user").filter(pk=subject).first()
    if run is None or is_answered(run) or run.job.state == JobState.CANCELLED:
        return None
    zone = trade.zone_of(run.job.site.time_zone)
    step = trade.step(run.ends_at, at, zone)
    if step and run.job.state != JobState.ON_HOLD:
        make(run, step, at=at)
    return trade.next_time(run.ends_at, at, zone)


def make(run: Run, step: Step, *, at: datetime) -> Reminder | None:
    """The row of this local date with its mails; None when it is there already."""
    with transaction.atomic():
        people = recipients(run, step)
        row = Reminder(
            run=run,
            local_date=step.local_date,
            level=step.level,
            days_overdue=max(step.days_overdue, 0),
            made_at=at,
            members=[str(person.pk) for person in people],
        )
        Reminder.objects.bulk_create([row], ignore_conflicts=True)
        if not Reminder.objects.filter(pk=row.pk).exists():
            return None
        for person in people:
            # One address that takes no mail must not keep the others from hearing; the banner stays for all.
            with suppress(BadAddress):
                mail.post(to=person.user.email, subject=_subject(run, step), body=_body(run, step, person), at=at)
    return row


def recipients(run: Run, step: Step) -> list[Member]:
    """Who is booked; from the day after with the scheduler, from the fourth with the managers. Each once."""
    crew = [person for person in booked_on(run.job) if person.works_in_field]
    found = {person.pk: person for person in crew}
    if step.tells_desk or not crew:
        found |= {person.pk: person for person in _desk(run)}
    if step.tells_manager:
        found |= {person.pk: person for person in members_of(firm_in_scope(), Role.MANAGER)}
    return sorted((person for person in found.values() if person.user.is_active), key=lambda person: person.user.email)


def _desk(run: Run) -> list[Member]:
    scheduler = run.job.scheduler
    return [scheduler] if scheduler.is_active else members_of(firm_in_scope(), Role.SCHEDULER)


def _subject(run: Run, step: Step) -> str:
    return mail.one_line(f"Job {run.job.number} {run.job.title}: de-aeration check {trade.said(step.days_overdue)}")[
        :200
    ]


def _body(run: Run, step: Step, person: Member) -> str:
    job, site = run.job, run.job.site
    ends = run.ends_at.astimezone(trade.zone_of(site.time_zone))
    page = f"{settings.SITE_URL}/field/" if not person.works_at_desk else f"{settings.SITE_URL}/jobs/{job.pk}/"
    when = f"{ends:%A} {ends.day} {ends:%B %Y} at {ends:%H:%M} (site time)"
    lines = [
        f"The de-aeration run of job {job.number} {job.title}, {site.name}, ends on {when}.",
        "" if step.days_overdue <= 0 else f"No check has been logged since: it {trade.said(step.days_overdue)}.",
        f"The check {trade.WORDS[step.level]}.",
        "It stops when a check is logged on the phone, or the run is extended with a reason.",
        page,
    ]
    return "\n\n".join(line for line in lines if line) + "\n"
