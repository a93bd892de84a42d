"""The de-aeration run and the visits, through the actions."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta

import pytest

from jobs.firms.scope import scope
from jobs.planning.models import Job, JobState
from jobs.visits import actions, queries
from jobs.visits.errors import RunEnded, VisitClosed
from jobs.visits.models import Run, RunState, Visit, VisitKind, VisitState
from jobs.work.models import Due
from tests import build
from tests.build_entries import Log, happy_log, send
from tests.people import Team

NOW = datetime(2026, 3, 9, 18, 0, tzinfo=UTC)


@contextmanager
def inside(team: Team) -> Iterator[None]:
    with scope(team.firm.pk):
        yield


def started(job: Job, team: Team, upto: str) -> Log:
    """The job as far as `upto`, received; the log goes on from there."""
    log = happy_log(job, upto, crew=team.crew, engineer=team.engineer)
    send(log.entries, sender=team.crew)
    log.entries.clear()
    return log


def due(team: Team) -> datetime | None:
    found = Due.objects.filter(firm=team.firm, kind="deaeration").first()
    return found.due_at if found else None


def test_the_run_starts_with_its_entry(team: Team, job: Job) -> None:
    log = started(job, team, "running")
    with inside(team):
        run = Run.objects.get(job=job)
    assert (run.state, run.last_check_at) == (RunState.RUNNING, None)
    assert run.ends_at - run.started_at == timedelta(days=10)
    assert due(team) == run.ends_at - timedelta(days=1)
    assert abs(run.started_at - log.at) < timedelta(minutes=5)


def test_a_check_is_noted_with_the_entry_that_tells_it(team: Team, job: Job) -> None:
    log = happy_log(job, "checked", crew=team.crew, engineer=team.engineer)
    send(log.entries[:-2], sender=team.crew)
    with inside(team):
        run = Run.objects.get(job=job)
    assert run.last_check_at == datetime.fromisoformat(log.entries[-3]["observed_at"])


def test_checks_and_final_readings_end_the_run(team: Team, job: Job) -> None:
    started(job, team, "checked")
    with inside(team):
        run = Run.objects.get(job=job)
    assert run.state == RunState.STABLE
    log = happy_log(job, "final", crew=team.crew, engineer=team.engineer)
    send(log.entries[-3:], sender=team.crew)
    with inside(team):
        run.refresh_from_db()
    assert run.state == RunState.ENDED
    assert due(team) is None


def test_a_run_is_extended_with_a_reason(team: Team, job: Job) -> None:
    started(job, team, "running")
    with inside(team):
        run = Run.objects.select_related("job").get(job=job)
        later = run.ends_at + timedelta(days=5)
        for to, reason in ((run.ends_at, "Pump stood still for two days"), (later, "pump")):
            with pytest.raises(RunEnded):
                actions.extend_run(run, to=to, reason=reason, by=team.scheduler, at=NOW)
        actions.extend_run(run, to=later, reason="Pump stood still for two days", by=team.scheduler, at=NOW)
        run.refresh_from_db()
        assert run.ends_at == later
        actions.recompute(job, at=NOW, by=None)
        run.refresh_from_db()
    assert run.ends_at == later
    assert due(team) == later - timedelta(days=1)


def test_a_withdrawn_start_ends_the_run(team: Team, job: Job) -> None:
    log = started(job, team, "running")
    with inside(team):
        start = Run.objects.get(job=job).start_entry
    log.add("deaeration_start", "", by=team.engineer, supersedes=str(start), reason="withdrawn")
    assert send(log.entries, sender=team.crew)[0].status == "stored"
    with inside(team):
        assert Run.objects.get(job=job).state == RunState.ENDED
    assert due(team) is None


def test_visits_are_planned_booked_changed_and_closed(team: Team, job: Job) -> None:
    day = NOW.date()
    with inside(team):
        visit = actions.plan_visit(
            job, kind=VisitKind.FILL, planned_date=day, crew=[team.crew], by=team.scheduler, at=NOW
        )
        assert list(queries.visits_of(team.crew, today=day)) == [visit]
        assert not queries.visits_of(team.engineer, today=day).exists()
        actions.book(visit, [team.engineer], by=team.scheduler, at=NOW)
        assert queries.crew_of(visit) == [team.engineer]
        actions.change_visit(
            visit, planned_date=day + timedelta(days=15), crew=[team.engineer], by=team.scheduler, at=NOW
        )
        assert not queries.visits_of(team.engineer, today=day).exists()
        actions.cancel_visit(visit, by=team.scheduler, at=NOW)
        with pytest.raises(VisitClosed):
            actions.finish_visit(visit, by=team.scheduler, at=NOW)
        assert Visit.objects.get().state == VisitState.CANCELLED
        assert queries.booked_on(job) == []


def test_the_first_visit_schedules_the_job(team: Team) -> None:
    job = build.a_job(team.firm, state=JobState.DESIGNED)
    with inside(team):
        actions.plan_visit(job, kind=VisitKind.GROUND, planned_date=NOW.date(), by=team.scheduler, at=NOW)
        job.refresh_from_db()
    assert job.state == JobState.SCHEDULED
