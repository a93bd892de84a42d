"""What is kept beside the ledger and can always be made again from it: progress, the run, the state of the job."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from django.db.models import Max

from jobs.firms.models import Member
from jobs.planning import actions as planning
from jobs.planning import trade as planning_trade
from jobs.planning.models import Job, JobState
from jobs.visits.ledger import Ledger
from jobs.visits.models import Ask, Entry, Progress, Run, RunState
from jobs.visits.procedure import GOOD
from jobs.work.actions import falls_due

DUE = "deaeration"
# The crew hears of it a day ahead.
AHEAD = timedelta(days=1)
# The office may let any number of days count; a calendar cannot.
LONGEST_S = timedelta(days=3650).total_seconds()


def sum_up(job: Job, ledger: Ledger, *, at: datetime, by: Member | None) -> None:
    """Everything that follows from the entries, written in the caller's transaction."""
    sum_run(job, ledger)
    planning.touch(job)
    move(job, ledger.folded["state"], at=at, by=by)
    sum_progress(job, ledger)


def sum_progress(job: Job, ledger: Ledger) -> None:
    Progress.objects.update_or_create(
        job=job,
        defaults={
            "version": job.version,
            "entries": len(ledger.lines),
            "held": len(ledger.folded["held"]),
            "held_entries": sorted(ledger.folded["held"]),
            "open_asks": Ask.objects.filter(job=job, answered_at=None).count(),
            "waits_for": ledger.waits_for,
            "sections_covered_early": len(ledger.covered_early),
            "last_entry_at": Entry.objects.filter(job=job).aggregate(last=Max("received_at"))["last"],
        },
    )


def sum_run(job: Job, ledger: Ledger) -> None:
    """The de-aeration run as the entries tell it, and when somebody is due."""
    told, run = ledger.folded["run"], Run.objects.filter(job=job).first()
    if not told:
        if run and run.state != RunState.ENDED:
            run.state = RunState.ENDED
            run.save(update_fields=["state"])
            falls_due(DUE, subject=run.pk, at=None)
        return
    run = run or Run(job=job)
    before = (run.ends_at, run.state, run.last_check_at)
    run.start_entry = told["entry"]
    run.started_at = datetime.fromtimestamp(told["started"], tz=UTC)
    run.ends_at = datetime.fromtimestamp(min(told["ends"], told["started"] + LONGEST_S), tz=UTC)
    checks = ledger.of("follow_up")
    run.last_check_at = checks[-1].logged.observed_at if checks else None
    run.state = _state(ledger)
    run.save()
    if before != (run.ends_at, run.state, run.last_check_at):
        falls_due(DUE, subject=run.pk, at=None if run.state == RunState.ENDED else run.ends_at - AHEAD)


def _state(ledger: Ledger) -> RunState:
    if ledger.subjects("read"):
        return RunState.ENDED
    return RunState.STABLE if ledger.outcomes.get("run") in GOOD else RunState.RUNNING


def move(job: Job, reached: str, *, at: datetime, by: Member | None) -> None:
    """Moves the job to what the facts say, as long as it is on site; a sheet in review stays where it is."""
    on_site = {JobState.DESIGNED, JobState.SCHEDULED, *(JobState(state) for state in planning_trade.SITE)}
    if not reached or job.state not in on_site or job.state == reached:
        return
    if job.state == JobState.DESIGNED:
        planning.move_state(job, JobState.SCHEDULED, at=at, by=by)
    planning.move_state(job, JobState(reached), at=at, by=by)
