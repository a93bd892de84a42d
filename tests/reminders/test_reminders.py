"""Reminders through the sweep: one row per run and local date, one mail per person with it, and what ends them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from copy import deepcopy
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pytest_django import DjangoDbBlocker

from jobs.firms.models import Role
from jobs.firms.scope import scope
from jobs.planning import actions as planning
from jobs.planning.models import Job, JobState
from jobs.reminders.actions import remind
from jobs.reminders.models import Reminder
from jobs.reminders.queries import open_reminders
from jobs.visits import actions as visits
from jobs.visits.models import Run, RunState, Visit, VisitKind
from jobs.work import handlers
from jobs.work.models import Due, Mail
from jobs.work.sweep import fall_due
from tests import build
from tests.build_entries import Log, happy_log, n, send
from tests.people import Team, a_team, member
from tests.standing import standing

# Started Wednesday 11 March 2026; ten days on is Saturday 21 March.
FRIDAY, MONDAY, TUESDAY = (datetime(2026, 3, day, 9, 0, tzinfo=UTC) for day in (20, 23, 24))


@contextmanager
def inside(team: Team) -> Iterator[None]:
    with scope(team.firm.pk):
        yield


@pytest.fixture(scope="module")
def under_way(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[tuple[Team, Log]]:
    """The run is on, and a visit for its check is booked."""
    with standing(django_db_blocker):
        team = a_team()
        build.instruments(team.firm)
        job = build.a_job(team.firm, state=JobState.SCHEDULED, scheduler=team.scheduler)
        with inside(team):
            visits.plan_visit(
                job, kind=VisitKind.FOLLOW_UP, planned_date=date(2026, 3, 21), crew=[team.crew, team.engineer],
                by=team.scheduler, at=FRIDAY,
            )  # fmt: skip
        log = happy_log(job, "running", crew=team.crew, engineer=team.engineer)
        send(log.entries, sender=team.crew)
        log.entries.clear()
        yield team, log


@pytest.fixture
def of_this_test(under_way: tuple[Team, Log], db: None) -> tuple[Team, Log]:
    """A copy, so that no test meets what another one changed."""
    return deepcopy(under_way)


@pytest.fixture
def team(of_this_test: tuple[Team, Log]) -> Team:
    return of_this_test[0]


@pytest.fixture
def log(of_this_test: tuple[Team, Log]) -> Log:
    """The log goes on from there."""
    return of_this_test[1]


@pytest.fixture
def job(log: Log) -> Job:
    return log.job


@pytest.fixture
def run(team: Team, log: Log) -> Run:
    with inside(team):
        found: Run = Run.objects.get()
    assert found.ends_at.date() == date(2026, 3, 21)
    return found


def rows(team: Team) -> list[tuple[date, int, int]]:
    with inside(team):
        return [(row.local_date, row.level, row.days_overdue) for row in Reminder.objects.order_by("local_date")]


def mailed(team: Team) -> list[str]:
    """To whom, by first name, in order of address."""
    with inside(team):
        return sorted(mail.to.split(".")[0] for mail in Mail.objects.filter(subject__contains="de-aeration"))


def due_at(team: Team) -> datetime | None:
    found = Due.objects.get(firm=team.firm, kind="deaeration")
    return found.due_at


def test_the_kind_has_its_handler() -> None:
    assert handlers.for_due("deaeration").due is remind


def test_nothing_is_said_before_it_is_time(team: Team, run: Run) -> None:
    fall_due(datetime(2026, 3, 19, 12, 0, tzinfo=UTC))
    assert rows(team) == []
    assert mailed(team) == []


def test_the_day_before_only_the_crew_hears(team: Team, run: Run) -> None:
    fall_due(run.ends_at - timedelta(days=1))
    assert rows(team) == [(date(2026, 3, 20), 0, 0)]
    assert mailed(team) == ["cato", "edda"]


def test_a_due_day_on_a_weekend_is_said_on_monday(team: Team, run: Run) -> None:
    for day in (21, 22):
        fall_due(datetime(2026, 3, day, 11, 0, tzinfo=UTC))
    assert rows(team) == []
    fall_due(MONDAY)
    assert rows(team) == [(date(2026, 3, 23), 3, 2)]
    assert mailed(team) == ["cato", "edda", "sol"]


def test_from_the_fourth_day_the_manager_hears_too(team: Team, run: Run) -> None:
    fall_due(datetime(2026, 3, 25, 9, 0, tzinfo=UTC))
    assert rows(team) == [(date(2026, 3, 25), 4, 4)]
    assert mailed(team) == ["cato", "edda", "mara", "sol"]


def test_many_sweeps_of_one_day_say_it_once(team: Team, run: Run) -> None:
    for hour in (8, 9, 12, 19):
        fall_due(datetime(2026, 3, 23, hour, 0, tzinfo=UTC))
        with inside(team):
            remind(run.pk, datetime(2026, 3, 23, hour, 30, tzinfo=UTC))
    assert rows(team) == [(date(2026, 3, 23), 3, 2)]
    assert mailed(team) == ["cato", "edda", "sol"]


def test_after_an_outage_one_mail_tells_the_whole_delay(team: Team, run: Run) -> None:
    fall_due(datetime(2026, 4, 3, 9, 0, tzinfo=UTC))
    assert rows(team) == [(date(2026, 4, 3), 5, 13)]
    with inside(team):
        mail = Mail.objects.filter(to=team.crew.user.email).get()
    assert mail.subject == "Job 1 Orchard House array: de-aeration check is 13 days overdue"
    assert "ends on Saturday 21 March 2026 at 10:" in mail.body
    assert "it is 13 days overdue" in mail.body
    assert due_at(team) == datetime(2026, 4, 6, 7, 0, tzinfo=UTC)


def test_by_day_it_goes_on_until_somebody_goes(team: Team, run: Run) -> None:
    at = run.ends_at - timedelta(days=1)
    while at < datetime(2026, 3, 31, tzinfo=UTC):
        fall_due(at)
        at += timedelta(minutes=90)
    assert [row[0].day for row in rows(team)] == [20, 23, 24, 25, 26, 27, 30]


def test_a_recorded_check_ends_it(team: Team, log: Log, run: Run) -> None:
    fall_due(MONDAY)
    log.at = MONDAY + timedelta(hours=2)
    log.add(
        "follow_up", by=team.engineer, instrument="gauge", pressure_on_arrival=n("1.70", "bar"), t_in=n("4", "°C"), t_out=n("1", "°C"),
        top_up=n("0", "L"), strainer="clean", air="none",
    )  # fmt: skip
    (receipt,) = send(log.entries, sender=team.crew)
    assert (receipt.status, receipt.why) == ("stored", "")
    with inside(team):
        assert open_reminders(team.scheduler, at=TUESDAY) == []
    fall_due(TUESDAY)
    assert len(rows(team)) == 1
    assert due_at(team) is None


def test_a_check_in_the_middle_of_the_run_does_not(team: Team, log: Log, run: Run) -> None:
    log.at = datetime(2026, 3, 16, 9, 0, tzinfo=UTC)
    log.add(
        "follow_up", by=team.engineer, instrument="gauge", pressure_on_arrival=n("1.70", "bar"), t_in=n("4", "°C"), t_out=n("1", "°C"),
        top_up=n("0", "L"), strainer="clean", air="none",
    )  # fmt: skip
    (receipt,) = send(log.entries, sender=team.crew)
    assert receipt.status == "stored"
    fall_due(MONDAY)
    assert len(rows(team)) == 1


def test_a_held_check_does_not_end_it(team: Team, log: Log, run: Run) -> None:
    log.at = MONDAY
    log.add(
        "follow_up",
        by=team.engineer,
        pressure_on_arrival=n("99", "bar"),
        top_up=n("0", "L"),
        strainer="clean",
        air="none",
    )
    (receipt,) = send(log.entries, sender=team.crew)
    assert receipt.status == "held"
    fall_due(TUESDAY)
    assert len(rows(team)) == 1


def test_an_extension_starts_the_ladder_anew(team: Team, run: Run) -> None:
    fall_due(MONDAY)
    with inside(team):
        run = Run.objects.select_related("job").get()
        visits.extend_run(
            run, to=run.ends_at + timedelta(days=10), reason="The pump stood still", by=team.scheduler, at=MONDAY
        )
    fall_due(TUESDAY)
    assert len(rows(team)) == 1
    fall_due(datetime(2026, 3, 31, 9, 0, tzinfo=UTC))
    assert rows(team)[1:] == [(date(2026, 3, 31), 1, 0)]


def test_being_seen_ends_nothing(team: Team, run: Run) -> None:
    fall_due(MONDAY)
    with inside(team):
        for _ in range(2):
            (seen,) = open_reminders(team.scheduler, at=MONDAY)
    assert (seen.text, seen.level) == ("The de-aeration check of Orchard House array is 2 days overdue.", 3)
    fall_due(TUESDAY)
    assert len(rows(team)) == 2


def test_a_cancelled_job_is_left_alone_and_one_on_hold_waits(team: Team, job: Job, run: Run) -> None:
    with inside(team):
        job.refresh_from_db()
        planning.move_state(job, JobState.ON_HOLD, at=MONDAY, by=team.scheduler, reason="Customer away")
    fall_due(MONDAY)
    assert rows(team) == []
    assert due_at(team) is not None
    with inside(team):
        assert open_reminders(team.scheduler, at=MONDAY) == []
        planning.move_state(job, JobState.CANCELLED, at=MONDAY, by=team.scheduler)
    fall_due(TUESDAY)
    assert rows(team) == []
    assert due_at(team) is None


def test_without_a_crew_the_scheduler_hears_from_the_first_day(team: Team, run: Run) -> None:
    with inside(team):
        for visit in job_visits():
            visits.cancel_visit(visit, by=team.scheduler, at=FRIDAY)
    fall_due(FRIDAY + timedelta(hours=3))
    assert mailed(team) == ["sol"]


def job_visits() -> list[Visit]:
    return list(Visit.objects.select_related("job"))


def test_who_left_the_firm_gets_no_mail(team: Team, run: Run) -> None:
    team.crew.is_active = False
    team.crew.save()
    team.scheduler.is_active = False
    team.scheduler.save()
    other = member(team.firm, Role.SCHEDULER, name="Ivo Marsh")
    fall_due(MONDAY)
    assert mailed(team) == ["edda", other.user.email.split(".")[0]]


def test_one_person_with_many_roles_gets_one_mail(team: Team, run: Run) -> None:
    team.engineer.roles = [role.value for role in Role]
    team.engineer.save()
    fall_due(datetime(2026, 3, 25, 9, 0, tzinfo=UTC))
    assert mailed(team) == ["cato", "edda", "mara", "sol"]


def test_banners_are_for_who_can_do_something(team: Team, run: Run) -> None:
    stranger = member(team.firm, Role.CREW, name="Pia Lund")
    with inside(team):
        counts = {who.user.name: len(open_reminders(who, at=MONDAY)) for who in (*team.insiders, stranger)}
    assert counts == {"Mara Fenwick": 1, "Sol Harrow": 1, "Cato Birch": 1, "Edda Pine": 1, "Pia Lund": 0}
    with scope(team.other_firm.pk):
        assert open_reminders(team.outsider, at=MONDAY) == []


def test_a_mail_that_cannot_be_written_leaves_no_row(team: Team, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Row and mails are one: else a day would be lost."""

    def fails(**_: object) -> None:
        raise OSError("disk full")

    monkeypatch.setattr("jobs.work.mail.post", fails)
    fall_due(MONDAY)
    assert rows(team) == []
    monkeypatch.undo()
    fall_due(MONDAY + timedelta(hours=2))
    assert len(rows(team)) == 1


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    zone=st.sampled_from(["Europe/London", "Pacific/Auckland", "America/St_Johns"]),
    hours=st.lists(st.integers(-40, 24 * 20), min_size=1, max_size=25),
)
def test_never_two_of_one_date(team: Team, run: Run, zone: str, hours: list[int]) -> None:
    """Whatever the sweeps, their order, the zone and the change of the clocks."""
    with inside(team):
        Reminder.objects.all().delete()
        Mail.objects.all().delete()
        site = run.job.site
        site.time_zone = zone
        site.save()
        for hour in hours:
            remind(run.pk, run.ends_at + timedelta(hours=hour))
        dates = list(Reminder.objects.values_list("local_date", flat=True))
        assert len(set(dates)) == len(dates)
        assert all(day.weekday() < 5 for day in dates)
        assert Mail.objects.count() == sum(len(row.members) for row in Reminder.objects.all())
        for row in Reminder.objects.all():
            assert len(set(row.members)) == len(row.members)


def test_an_ended_run_is_silent(team: Team, run: Run) -> None:
    with inside(team):
        Run.objects.update(state=RunState.ENDED)
        assert remind(run.pk, MONDAY) is None
    assert rows(team) == []
