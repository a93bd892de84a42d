"""The desk's own rules: stations, flags, pages, search, canaries, who sees and presses what, weeks over the year's end."""

from __future__ import annotations

import html
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from jobs.firms import clock
from jobs.firms.models import Member
from jobs.firms.scope import scope
from jobs.office import queries
from jobs.office.trade import LINE, stations
from jobs.planning import actions as planning
from jobs.planning.models import Job, JobState
from jobs.visits import actions as visits
from jobs.visits.models import Visit, VisitKind
from jobs.work.models import Work, WorkState
from tests import build
from tests.people import Team, a_team, signed_in

pytestmark = pytest.mark.django_db

CANARY = '"><script>alert(7)</script><img src=x onerror=alert(7)>{{ 7|add:7 }}'
# Which station a state stands at; None where nothing is reached.
STANDS = {
    "accepted": "Order", "designed": "Design", "scheduled": "Booked", "in_ground": "In ground", "tested": "Tested",
    "backfilled": "Covered", "flushed": "Flushed", "filled": "Filled", "running_in": "Run", "ready": "Readings",
    "submitted": "Sheet", "returned": "Sheet", "approved": None, "handed_over": None, "on_hold": None,
    "cancelled": None,
}  # fmt: skip


@pytest.fixture
def team() -> Team:
    return a_team()


def page_of(client: Client, address: str, **query: Any) -> str:
    answer = client.get(address, query)
    assert answer.status_code == 200
    return answer.content.decode()


def bare(team: Team, **changes: Any) -> Job:
    return build.a_job(team.firm, with_design=False, with_array=False, **changes)


def job_address(job: Job) -> str:
    return reverse("office:job", args=[job.pk])


class TestStations:
    @pytest.mark.parametrize("state", JobState.values)
    def test_every_state_has_its_place(self, state: str) -> None:
        line = stations(state)
        here = [station.label for station in line if station.place == "here"]
        assert here == ([STANDS[state]] if STANDS[state] else [])
        assert [station.label for station in line] == [label for label, _ in LINE]

    @pytest.mark.parametrize("state", JobState.values)
    def test_every_place_is_spoken(self, state: str) -> None:
        assert {station.spoken for station in stations(state)} <= {"done", "now", "to come"}

    def test_an_unknown_state_is_no_station(self) -> None:
        with pytest.raises(ValueError, match="wedged"):
            stations("wedged")


def a_row(**facts: Any) -> Any:
    """What a board row is told from: state and summary columns of one job."""
    progress = {"sections_covered_early": 0, "held": 0, "open_asks": 0} | facts.pop("progress", {})
    usual = {"state": JobState.FLUSHED, "on_hold_reason": "", "progress": SimpleNamespace(**progress)}
    return SimpleNamespace(**(usual | facts))


FLAGS: list[tuple[dict[str, Any], int | None, list[tuple[str, str]]]] = [
    ({}, None, []),
    ({"progress": {"held": 3}}, None, [("held", "3 held")]),
    ({"progress": {"open_asks": 2}}, None, [("due", "2 asked of the crew")]),
    ({"progress": {"sections_covered_early": 1}}, None, [("fail", "Covered before release")]),
    ({"state": JobState.SUBMITTED}, None, [("due", "Sheet waits for review")]),
    ({"state": JobState.ON_HOLD, "on_hold_reason": "Rig broke"}, None, [("held", "Rig broke")]),
    ({"state": JobState.ON_HOLD}, None, [("held", "On hold")]),
    ({}, 3, [("fail", "De-aeration check 3 days overdue")]),
    ({}, 1, [("fail", "De-aeration check 1 day overdue")]),
    ({}, 0, [("due", "De-aeration check due today")]),
    ({"progress": {"held": 1, "open_asks": 1}}, 9,
     [("fail", "De-aeration check 9 days overdue"), ("held", "1 held"), ("due", "1 asked of the crew")]),
]  # fmt: skip


@pytest.mark.parametrize(("facts", "overdue", "flags"), FLAGS)
def test_board_flags(facts: dict[str, Any], overdue: int | None, flags: list[tuple[str, str]]) -> None:
    assert list(queries._flags(a_row(**facts), overdue)) == flags


class TestBoard:
    def test_held_job_tells_its_reason(self, team: Team) -> None:
        job = bare(team)
        with scope(team.firm.pk):
            planning.move_state(
                job, JobState.ON_HOLD, at=build.AT, by=team.scheduler, reason="Waits for the well permit"
            )
        assert "Waits for the well permit" in page_of(signed_in(team.manager), "/")

    def test_what_a_job_needs_stands_in_its_own_row(self, team: Team) -> None:
        late, quiet = bare(team), bare(team)
        day = date(2026, 3, 18)
        with scope(team.firm.pk):
            visit = visits.plan_visit(
                quiet, kind=VisitKind.GROUND, planned_date=day, crew=[team.crew], by=team.scheduler, at=build.AT
            )
            due: Any = [SimpleNamespace(job=late, days_overdue=3)]
            first, second = queries.board_rows([late, quiet], due=due, today=day)
        overdue = ("fail", "De-aeration check 3 days overdue")
        assert (first.job, first.flags, first.next_visit) == (late, (overdue,), None)
        assert (second.job, second.flags, second.next_visit) == (quiet, (), visit)

    def test_pages_hold_forty_and_keep_the_question(self, team: Team) -> None:
        site, rules = build.a_site(team.firm), build.a_rule_set(team.firm)
        for number in range(43):
            bare(team, site=site, rule_set=rules, title=f"Array no. {number:02d}")
        client = signed_in(team.scheduler)
        first, second = (page_of(client, "/", q="Array no", show="all", page=str(n)) for n in (1, 2))
        assert (first.count("board__row"), second.count("board__row")) == (40, 3)
        assert "Page 1 of 2" in first
        assert "Page 2 of 2" in second
        assert "?q=Array%20no&amp;show=all&amp;page=2" in first
        for odd in ("0", "99", "-1", "two", ""):
            assert "board__row" in page_of(client, "/", page=odd)

    @pytest.mark.parametrize(
        "text",
        ["'", "' OR 1=1 --", '"; DROP TABLE planning_job; --', "%", "_", "\\", "²", "٣", "9" * 40, "-1", "1.0", "+"],
    )
    def test_search_takes_any_text(self, team: Team, text: str) -> None:
        bare(team, title="Orchard House array")
        page = page_of(signed_in(team.manager), "/", q=text)
        assert "No job fits" in page
        assert "Orchard House array" not in page

    @pytest.mark.parametrize("show", ["", "open'--", "deleted", "<script>"])
    def test_an_unknown_choice_shows_open_jobs(self, team: Team, show: str) -> None:
        bare(team, title="Long done", state=JobState.APPROVED)
        bare(team, title="Under way")
        page = page_of(signed_in(team.manager), "/", show=show)
        assert "Under way" in page
        assert "Long done" not in page

    def test_search_never_finds_another_firms_job(self, team: Team) -> None:
        build.a_job(team.other_firm, title="Saltmarsh array", with_design=False, with_array=False)
        assert "No job fits" in page_of(signed_in(team.manager), "/", q="Saltmarsh", show="all")

    @pytest.mark.parametrize("state", [JobState.APPROVED, JobState.HANDED_OVER])
    def test_a_finished_job_is_not_asked_for_a_visit(self, team: Team, state: JobState) -> None:
        bare(team, state=state)
        assert "No visit planned" not in page_of(signed_in(team.manager), "/", show="all")

    def test_engineer_lands_where_the_board_is_or_on_the_phone(self, team: Team) -> None:
        answer = signed_in(team.engineer).get("/")
        assert answer.status_code == (200 if team.engineer.works_at_desk else 302)


def harmless(page: str) -> None:
    assert "<script>alert" not in page
    assert "<img src=x" not in page


class TestCanary:
    @pytest.fixture
    def job(self, team: Team) -> Job:
        customer = build.a_customer(team.firm, name=f"C {CANARY}"[:100])
        site = build.a_site(team.firm, customer, name=f"S {CANARY}"[:100], contact_name=CANARY[:60])
        job = bare(team, site=site, title=f"T {CANARY}"[:100])
        with scope(team.firm.pk):
            for crew in ([team.crew], []):
                visits.plan_visit(
                    job,
                    kind=VisitKind.GROUND,
                    planned_date=date(2026, 3, 11),
                    crew=crew,
                    by=team.scheduler,
                    at=build.AT,
                )
        return job

    def test_board(self, team: Team, job: Job) -> None:
        page = page_of(signed_in(team.manager), "/", q=CANARY[:60])
        harmless(page)
        assert html.escape(CANARY[:60]) in page
        page = page_of(signed_in(team.manager), "/")
        harmless(page)
        assert "&lt;script&gt;" in page

    def test_week(self, team: Team, job: Job) -> None:
        page = page_of(signed_in(team.manager), "/week", **{"from": "2026-03-11"})
        harmless(page)
        assert "&lt;script&gt;" in page
        harmless(page_of(signed_in(team.manager), "/week", **{"from": CANARY}))

    def test_job(self, team: Team, job: Job) -> None:
        page = page_of(signed_in(team.crew), job_address(job))
        harmless(page)
        assert page.count("&lt;script&gt;") >= 3

    def test_background(self, team: Team) -> None:
        for state in (WorkState.PARKED, WorkState.WANTED):
            a_work(team, state, kind="mail", error_code="<script>alert(7)</script>"[:40])
        page = page_of(signed_in(team.manager), "/background")
        harmless(page)
        assert "&lt;script&gt;" in page


def a_work(team: Team, state: str = WorkState.PARKED, **changes: Any) -> Work:
    fields = {"kind": "mail", "key": state, "error_code": "TimeoutError"} | changes
    return Work.objects.create(
        firm=team.firm,
        subject=team.firm.pk,
        state=state,
        attempts=8,
        next_try_at=build.AT,
        wanted_at=build.AT,
        **fields,
    )


def who(team: Team, role: str) -> Member:
    member: Member = getattr(team, role)
    return member


class TestJobPage:
    @pytest.mark.parametrize(("role", "may"), [("manager", True), ("scheduler", True), ("crew", False)])
    def test_only_the_desk_plans_and_changes(self, team: Team, role: str, may: bool) -> None:
        page = page_of(signed_in(who(team, role)), job_address(bare(team)))
        for words in ("Change the order", "Plan a visit", ">Board</a>"):
            assert (words in page) is may, words

    @pytest.mark.parametrize("state", [JobState.APPROVED, JobState.HANDED_OVER])
    def test_nobody_changes_a_finished_job(self, team: Team, state: JobState) -> None:
        page = page_of(signed_in(team.manager), job_address(bare(team, state=state)))
        assert "Change the order" not in page

    @pytest.mark.parametrize("role", ["manager", "scheduler", "engineer", "crew"])
    @pytest.mark.parametrize("state", [JobState.RUNNING_IN, JobState.READY, JobState.SUBMITTED, JobState.APPROVED])
    def test_hand_in_stands_only_where_it_may_be_pressed(self, team: Team, role: str, state: JobState) -> None:
        page = page_of(signed_in(who(team, role)), job_address(bare(team, state=state)))
        assert ("Hand in the sheet" in page) is (state == JobState.READY and role != "crew")

    def test_a_form_carries_its_token(self, team: Team) -> None:
        page = page_of(signed_in(team.manager), job_address(bare(team, state=JobState.READY)))
        assert page.count("csrfmiddlewaretoken") >= page.count('method="post"') > 0

    def test_another_firm_is_told_nothing(self, team: Team) -> None:
        answer = signed_in(team.outsider).get(job_address(bare(team, title="Orchard House array")))
        assert answer.status_code == 404
        assert "Orchard" not in answer.content.decode()

    def test_only_reading_is_allowed(self, team: Team) -> None:
        address = job_address(bare(team))
        for path in (address, "/", "/week", "/background"):
            assert signed_in(team.manager).post(path).status_code == 405


class TestBackground:
    @pytest.mark.parametrize(("role", "code"), [("manager", 200), ("scheduler", 200), ("crew", 403), ("engineer", 403)])
    def test_only_the_desk_sees_it(self, team: Team, role: str, code: int) -> None:
        assert signed_in(who(team, role)).get("/background").status_code == code

    def test_what_does_not_stand_still_is_not_tried_again(self, team: Team) -> None:
        work = a_work(team, WorkState.DONE)
        again = reverse("office:work-again", args=[work.pk])
        assert signed_in(team.manager).get(again).status_code == 405
        signed_in(team.manager).post(again)
        work.refresh_from_db()
        assert work.state == WorkState.DONE

    def test_another_firms_work_is_not_shown(self, team: Team) -> None:
        a_work(team)
        assert "TimeoutError" not in page_of(signed_in(team.outsider), "/background")


WEEKS = [
    ("2025-12-31", date(2025, 12, 29)), ("2026-01-04", date(2025, 12, 29)), ("2026-01-05", date(2026, 1, 5)),
    ("2024-02-29", date(2024, 2, 26)), ("2026-03-29", date(2026, 3, 23)), ("2026-10-25", date(2026, 10, 19)),
]  # fmt: skip


class TestWeek:
    @pytest.mark.parametrize(("asked", "monday"), WEEKS)
    def test_begins_on_monday(self, team: Team, asked: str, monday: date) -> None:
        answer = signed_in(team.scheduler).get("/week", {"from": asked})
        days = [day.date for day in answer.context["days"]]
        assert days == [monday + timedelta(days=n) for n in range(7)]
        assert (answer.context["before"], answer.context["after"]) == (
            monday - timedelta(days=7),
            monday + timedelta(days=7),
        )

    def test_a_visit_stands_in_one_week_only(self, team: Team) -> None:
        job = bare(team, title="Orchard House array")
        for day in (date(2025, 12, 28), date(2025, 12, 29), date(2026, 1, 4), date(2026, 1, 5)):
            with scope(team.firm.pk):
                visits.plan_visit(
                    job, kind=VisitKind.GROUND, planned_date=day, crew=[team.crew], by=team.scheduler, at=build.AT
                )
        seen = {}
        for monday in ("2025-12-22", "2025-12-29", "2026-01-05"):
            answer = signed_in(team.scheduler).get("/week", {"from": monday})
            seen[monday] = [visit.planned_date.isoformat() for day in answer.context["days"] for visit in day.visits]
        assert seen == {
            "2025-12-22": ["2025-12-28"],
            "2025-12-29": ["2025-12-29", "2026-01-04"],
            "2026-01-05": ["2026-01-05"],
        }

    @pytest.mark.parametrize(
        ("zone", "now", "today"),
        [
            # The night the clocks go forward, and midnight in places that are a day apart.
            ("Europe/London", datetime(2026, 3, 29, 0, 59, tzinfo=UTC), date(2026, 3, 29)),
            ("Europe/London", datetime(2026, 3, 29, 23, 30, tzinfo=UTC), date(2026, 3, 30)),
            ("Europe/London", datetime(2026, 10, 25, 23, 30, tzinfo=UTC), date(2026, 10, 25)),
            ("America/Chicago", datetime(2026, 1, 1, 5, 59, tzinfo=UTC), date(2025, 12, 31)),
            ("Pacific/Auckland", datetime(2025, 12, 31, 11, 30, tzinfo=UTC), date(2026, 1, 1)),
        ],
    )
    def test_today_is_the_firms_day(
        self, team: Team, monkeypatch: pytest.MonkeyPatch, zone: str, now: datetime, today: date
    ) -> None:
        team.firm.time_zone = zone
        team.firm.save()
        client = signed_in(team.scheduler)
        monkeypatch.setattr(clock, "now", lambda: now)
        answer = client.get("/week")
        assert answer.context["today"] == today
        assert answer.context["monday"] == today - timedelta(days=today.weekday())

    @pytest.mark.parametrize("asked", ["0001-01-01", "9999-12-31", "2026-13-01", "'; --", "2026-W01-1"])
    def test_odd_dates_do_not_break_it(self, team: Team, asked: str) -> None:
        assert signed_in(team.scheduler).get("/week", {"from": asked}).status_code == 200

    def test_a_cancelled_visit_is_not_on_the_wall(self, team: Team) -> None:
        job, day = bare(team, title="Orchard House array"), date(2026, 3, 11)
        with scope(team.firm.pk):
            visit = visits.plan_visit(
                job, kind=VisitKind.GROUND, planned_date=day, crew=[], by=team.scheduler, at=build.AT
            )
            Visit.objects.filter(pk=visit.pk).update(state="cancelled")
        page = page_of(signed_in(team.scheduler), "/week", **{"from": "2026-03-11"})
        assert "Orchard House array" not in page

    def test_the_next_visit_is_from_the_firms_day(self, team: Team, monkeypatch: pytest.MonkeyPatch) -> None:
        """At 20:00 in Chicago today's visit still stands on the board, though it is tomorrow in UTC."""
        team.firm.time_zone = "America/Chicago"
        team.firm.save()
        with scope(team.firm.pk):
            visit = visits.plan_visit(
                bare(team), kind=VisitKind.GROUND, planned_date=date(2026, 1, 14), by=team.scheduler, at=build.AT
            )
        client = signed_in(team.scheduler)
        monkeypatch.setattr(clock, "now", lambda: datetime(2026, 1, 15, 2, 0, tzinfo=UTC))
        assert [row.next_visit for row in client.get("/").context["rows"]] == [visit]


@pytest.mark.parametrize("state", JobState.values)
def test_a_visit_is_offered_where_it_can_be_planned(team: Team, state: str) -> None:
    job = bare(team)
    with scope(team.firm.pk):
        Job.objects.filter(pk=job.pk).update(state=state)
    stopped = state in {JobState.CANCELLED, JobState.APPROVED, JobState.HANDED_OVER, JobState.ON_HOLD}
    page = page_of(signed_in(team.scheduler), job_address(job))
    assert (reverse("visits:visit-new", args=[job.pk]) in page) is not stopped
