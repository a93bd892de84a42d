"""The ladder in many time zones and through all that may happen to a run, a job or a person meanwhile."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from copy import deepcopy
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from pytest_django import DjangoDbBlocker

from jobs.firms.models import Role
from jobs.firms.scope import scope
from jobs.planning import actions as planning
from jobs.planning.models import Job, JobState
from jobs.reminders import trade
from jobs.reminders.actions import remind
from jobs.reminders.models import Reminder
from jobs.reminders.queries import open_reminders
from jobs.visits import actions as visits
from jobs.visits.models import Run, RunState, VisitKind
from jobs.work.models import Mail
from jobs.work.sweep import fall_due
from tests import build
from tests.build_entries import Log, happy_log, n, send
from tests.people import Team, a_team, member
from tests.standing import standing

# Eight in the morning of the site by UTC, the Friday before and the Monday after its clocks change. Offsets of the zones in
# 2026 as published by each country; the law of a zone may change, and then this table is to be changed with it.
CLOCKS = [
    ("Europe/London", date(2026, 3, 27), 8.0, date(2026, 3, 30), 7.0),
    ("Europe/London", date(2026, 10, 23), 7.0, date(2026, 10, 26), 8.0),
    ("Europe/Berlin", date(2026, 3, 27), 7.0, date(2026, 3, 30), 6.0),
    ("America/New_York", date(2026, 3, 6), 13.0, date(2026, 3, 9), 12.0),
    ("America/New_York", date(2026, 10, 30), 12.0, date(2026, 11, 2), 13.0),
    ("America/St_Johns", date(2026, 3, 6), 11.5, date(2026, 3, 9), 10.5),
    ("Australia/Lord_Howe", date(2026, 4, 3), -3.0, date(2026, 4, 6), -2.5),
    ("Pacific/Auckland", date(2026, 4, 3), -5.0, date(2026, 4, 6), -4.0),
    ("Pacific/Auckland", date(2026, 9, 25), -4.0, date(2026, 9, 28), -5.0),
    ("Asia/Kathmandu", date(2026, 3, 27), 2.25, date(2026, 3, 30), 2.25),
    ("Pacific/Kiritimati", date(2026, 3, 27), -6.0, date(2026, 3, 30), -6.0),
    ("Etc/GMT+12", date(2026, 3, 27), 20.0, date(2026, 3, 30), 20.0),
]


def by_utc(day: date, hours: float) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=UTC) + timedelta(hours=hours)


@pytest.mark.parametrize(("name", "friday", "before", "monday", "after"), CLOCKS)
def test_eight_in_the_morning_of_the_site(name: str, friday: date, before: float, monday: date, after: float) -> None:
    zone, first, second = ZoneInfo(name), by_utc(friday, before), by_utc(monday, after)
    ends = first - timedelta(days=1)
    assert trade.next_time(ends, first - timedelta(hours=1), zone) == first
    assert trade.next_time(ends, first, zone) == second
    for at, day in ((first, friday), (second, monday)):
        assert trade.step(ends, at - timedelta(seconds=1), zone) is None
        found = trade.step(ends, at, zone)
        assert found is not None
        assert found.local_date == day
        assert trade.step(ends, at + timedelta(hours=12), zone) is None


# Days overdue, level, does the desk hear, does the manager: written out as the firm would tell it.
LADDER = [
    (-2, None, False, False), (-1, 0, False, False), (0, 1, False, False), (1, 2, True, False), (2, 3, True, False), (3, 3, True, False),
    (4, 4, True, True), (9, 4, True, True), (10, 5, True, True), (400, 5, True, True),
]  # fmt: skip


@pytest.mark.parametrize(("days", "level", "desk", "manager"), LADDER)
def test_each_step_of_the_ladder(days: int, level: int | None, desk: bool, manager: bool) -> None:
    assert trade.level_of(days) == level
    if level is not None:
        step = trade.Step(date(2026, 3, 23), level, days)
        assert (step.tells_desk, step.tells_manager) == (desk, manager)
        assert level in trade.WORDS


FRIDAY, MONDAY, TUESDAY = (datetime(2026, 3, day, 9, 0, tzinfo=UTC) for day in (20, 23, 24))


@pytest.fixture(scope="module")
def under_way(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[tuple[Team, Log]]:
    """The run is on, and a visit of one person is booked for its check."""
    with standing(django_db_blocker):
        team = a_team()
        build.instruments(team.firm)
        job = build.a_job(team.firm, state=JobState.SCHEDULED, scheduler=team.scheduler)
        with scope(team.firm.pk):
            visits.plan_visit(
                job,
                kind=VisitKind.FOLLOW_UP,
                planned_date=date(2026, 3, 21),
                crew=[team.crew],
                by=team.scheduler,
                at=FRIDAY,
            )
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
    return of_this_test[1]


def heard(team: Team) -> list[str]:
    with scope(team.firm.pk):
        return sorted(mail.to.split(".")[0] for mail in Mail.objects.filter(subject__contains="de-aeration"))


def check(log: Log, team: Team, at: datetime, **more: Any) -> str:
    log.at = at
    raw = log.add(
        "follow_up", by=team.engineer, pressure_on_arrival=n("1.70", "bar"), t_in=n("4", "°C"), t_out=n("1", "°C"), top_up=n("0", "L"),
        strainer="clean", air="none", **more,
    )  # fmt: skip
    (receipt,) = send([raw], sender=team.crew)
    assert receipt.status == "stored"
    return str(raw["id"])


def test_a_check_that_did_not_happen_ends_nothing(team: Team, log: Log) -> None:
    """Withdrawn: the run waits again, and whoever is due hears of it."""
    first = check(log, team, FRIDAY + timedelta(hours=5))
    with scope(team.firm.pk):
        assert open_reminders(team.scheduler, at=MONDAY) == []
    check(log, team, FRIDAY + timedelta(hours=6), supersedes=first, reason="withdrawn")
    with scope(team.firm.pk):
        assert Run.objects.get().last_check_at is None
        assert len(open_reminders(team.scheduler, at=MONDAY)) == 1
    fall_due(MONDAY)
    assert heard(team) == ["cato", "sol"]


def test_an_address_that_takes_no_mail_does_not_silence_the_others(team: Team, log: Log) -> None:
    for bad, at in (("", MONDAY), ("no address", TUESDAY)):
        team.crew.user.email = bad
        team.crew.user.save()
        fall_due(at)
    assert heard(team) == ["sol", "sol"]
    with scope(team.firm.pk):
        assert Reminder.objects.count() == 2


def hold(team: Team, job: Job) -> None:
    planning.move_state(job, JobState.ON_HOLD, at=FRIDAY, by=team.scheduler, reason="Customer away")


def extend(team: Team, job: Job) -> None:
    run = Run.objects.get()
    visits.extend_run(
        run, to=run.ends_at + timedelta(days=14), reason="The pump stood still", by=team.scheduler, at=FRIDAY
    )


def end(team: Team, job: Job) -> None:
    Run.objects.update(state=RunState.ENDED)


def crew_off(team: Team, job: Job) -> None:
    team.crew.is_active = False
    team.crew.save()


def user_off(team: Team, job: Job) -> None:
    team.crew.user.is_active = False
    team.crew.user.save()


def nothing(team: Team, job: Job) -> None:
    pass


@pytest.mark.parametrize(
    ("event", "to"),
    [(nothing, ["cato", "sol"]), (hold, []), (extend, []), (end, []), (crew_off, ["sol"]), (user_off, ["sol"])],
    ids=lambda one: getattr(one, "__name__", ""),
)
def test_what_happens_meanwhile(team: Team, log: Log, event: Callable[[Team, Job], None], to: list[str]) -> None:
    with scope(team.firm.pk):
        log.job.refresh_from_db()
        event(team, log.job)
    fall_due(MONDAY)
    assert heard(team) == to


def test_a_mail_brings_no_mail(team: Team, log: Log) -> None:
    """However often the sweep comes on one day, and whatever of it was sent."""
    for minutes in range(0, 600, 40):
        fall_due(MONDAY + timedelta(minutes=minutes))
        with scope(team.firm.pk):
            remind(Run.objects.get().pk, MONDAY + timedelta(minutes=minutes))
    assert heard(team) == ["cato", "sol"]


def test_managers_hear_from_the_fourth_day_each_once(team: Team, log: Log) -> None:
    both = member(team.firm, Role.MANAGER, Role.SCHEDULER, name="Bea Holt")
    fall_due(datetime(2026, 3, 25, 9, 0, tzinfo=UTC))
    assert heard(team) == sorted(["cato", "mara", "sol", both.user.email.split(".")[0]])


def test_the_sites_clock_counts_and_not_the_firms(team: Team, log: Log) -> None:
    """Kiritimati is fourteen hours ahead of the firm's London: the run ends there on Sunday, 0:45."""
    with scope(team.firm.pk):
        planning.change_site(log.job.site, time_zone="Pacific/Kiritimati", by=team.scheduler, at=FRIDAY)
        (open_run,) = open_reminders(team.scheduler, at=datetime(2026, 3, 21, 9, 0, tzinfo=UTC))
    assert open_run.days_overdue == -1
    fall_due(datetime(2026, 3, 22, 18, 30, tzinfo=UTC))
    with scope(team.firm.pk):
        (row,) = Reminder.objects.all()
        assert (row.local_date, row.days_overdue) == (date(2026, 3, 23), 1)
        assert Mail.objects.filter(body__contains="Sunday 22 March 2026 at 00:45 (site time)").count() == 2
        remind(row.run_id, MONDAY + timedelta(days=1, hours=-1))
        assert Reminder.objects.count() == 1
