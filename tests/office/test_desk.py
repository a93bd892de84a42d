"""The desk, asked as everybody."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.firms.scope import scope
from jobs.planning.models import JobState
from jobs.visits import actions as visits
from jobs.visits.models import VisitKind
from tests import build
from tests.build_entries import happy_entries, send
from tests.people import Team, a_team, signed_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def team() -> Team:
    return a_team()


def queries_of(client: Client, address: str) -> int:
    with CaptureQueriesContext(
        connection,
    ) as seen:
        assert client.get(address).status_code == 200
    # On PostgreSQL the scope tells row security its firm; that is no query of the page.
    return len([query for query in seen.captured_queries if "set_config" not in query["sql"]])


class TestBoard:
    def test_shows_own_jobs_with_where_they_stand(self, team: Team) -> None:
        build.a_job(team.firm, title="Orchard House array")
        build.a_job(team.other_firm, title="Somebody else's array")
        page = signed_in(team.scheduler).get("/").content.decode()
        assert "Orchard House array" in page
        assert "Somebody else" not in page
        assert 'aria-current="step"><span class="line__label">Design</span>' in page

    def test_crew_goes_to_the_phone(self, team: Team) -> None:
        answer = signed_in(team.crew).get("/")
        assert (answer.status_code, answer["Location"]) == (302, reverse("field:shell"))

    def test_nobody_signed_in_is_asked_to(self, client: Client) -> None:
        assert client.get("/")["Location"].startswith(reverse("account_login"))

    @pytest.mark.parametrize(("text", "found"), [("Nether", True), ("1", True), ("Hazel", True), ("Kirkwall", False)])
    def test_finds_by_number_site_and_customer(self, team: Team, text: str, found: bool) -> None:
        build.a_job(team.firm, title="Orchard House array")
        page = signed_in(team.manager).get("/", {"q": text}).content.decode()
        assert ("Orchard House array" in page) is found
        assert ("No job fits" in page) is not found

    def test_closed_jobs_are_asked_for(self, team: Team) -> None:
        build.a_job(team.firm, title="Long done", state=JobState.APPROVED)
        client = signed_in(team.manager)
        assert "Long done" not in client.get("/").content.decode()
        assert "Long done" in client.get("/", {"show": "all"}).content.decode()
        assert "Long done" in client.get("/", {"show": "approved"}).content.decode()

    def test_says_what_needs_somebody(self, team: Team) -> None:
        job = build.a_job(team.firm)
        build.instruments(team.firm)
        send(happy_entries(job, "running", crew=team.crew, engineer=team.engineer), sender=team.crew)
        page = signed_in(team.scheduler).get("/").content.decode()
        assert "days overdue" in page
        assert f"The de-aeration check of {job.title} is" in page  # the banner on top

    def test_what_could_not_be_read_is_counted_and_one_press_away(self, team: Team) -> None:
        with scope(team.firm.pk):
            visits.receive_raw("not json", sender=team.crew, device=None, received_at=build.AT)
        page = signed_in(team.scheduler).get("/").content.decode()
        held = page[page.index(reverse("visits:held")) :]
        assert '<span class="value">1</span>' in held[:120]

    @pytest.mark.parametrize("text", ["²", "9" * 5000, "\x00", "٣"])
    def test_odd_text_finds_nothing_and_breaks_nothing(self, team: Team, text: str) -> None:
        assert signed_in(team.scheduler).get("/", {"q": text}).status_code == 200

    def test_empty_board_says_how_to_begin(self, team: Team) -> None:
        assert "Set up the first job" in signed_in(team.scheduler).get("/").content.decode()

    def test_rows_cost_no_queries(self, team: Team) -> None:
        site, rules = build.a_site(team.firm), build.a_rule_set(team.firm)
        for _ in range(3):
            build.a_job(team.firm, site=site, rule_set=rules, with_design=False, with_array=False)
        client = signed_in(team.scheduler)
        few = queries_of(client, "/")
        for _ in range(27):
            build.a_job(team.firm, site=site, rule_set=rules, with_design=False, with_array=False)
        assert queries_of(client, "/") == few <= 14


class TestWeek:
    def test_shows_visits_with_their_crew(self, team: Team) -> None:
        job = build.a_job(team.firm)
        day = date(2026, 3, 11)
        with scope(team.firm.pk):
            visits.plan_visit(
                job, kind=VisitKind.GROUND, planned_date=day, crew=[team.crew], by=team.scheduler, at=build.AT
            )
            visits.plan_visit(job, kind=VisitKind.FILL, planned_date=day, crew=[], by=team.scheduler, at=build.AT)
        page = signed_in(team.scheduler).get("/week", {"from": "2026-03-11"}).content.decode()
        assert "Cato Birch" in page
        assert "Nobody booked" in page
        assert "Week of 9 March 2026" in page

    @pytest.mark.parametrize("text", ["32-13", "0001-01-01", "9999-12-31"])
    def test_a_bad_date_is_this_week(self, team: Team, text: str) -> None:
        client = signed_in(team.manager)
        odd, plain = (client.get("/week", query).context["monday"] for query in ({"from": text}, {}))
        assert odd == plain

    def test_crew_may_not(self, team: Team) -> None:
        assert signed_in(team.crew).get("/week").status_code == 403

    def test_visits_cost_no_queries(self, team: Team) -> None:
        job, client = build.a_job(team.firm), signed_in(team.scheduler)

        def plan(count: int) -> None:
            with scope(team.firm.pk):
                for n in range(count):
                    day = date(2026, 3, 9) + timedelta(days=n % 7)
                    visits.plan_visit(
                        job, kind=VisitKind.GROUND, planned_date=day, crew=[team.crew], by=team.scheduler, at=build.AT
                    )

        plan(3)
        few = queries_of(client, "/week?from=2026-03-09")
        plan(27)
        assert queries_of(client, "/week?from=2026-03-09") == few


class TestJobPage:
    def test_everyone_of_the_firm_sees_it_nobody_else_does(self, team: Team) -> None:
        job = build.a_job(team.firm)
        address = reverse("office:job", args=[job.pk])
        for who in team.insiders:
            assert signed_in(who).get(address).status_code == 200
        assert signed_in(team.outsider).get(address).status_code == 404

    def test_has_numbers_holds_and_what_was_logged(self, team: Team) -> None:
        job = build.a_job(team.firm)
        build.instruments(team.firm)
        send(happy_entries(job, "covered", crew=team.crew), sender=team.crew)
        page = signed_in(team.manager).get(reverse("office:job", args=[job.pk])).content.decode()
        for words in ("System volume", "838", "48.3", "H6 Backfill", "Watch pressure", "All 57 entries in order"):
            assert words in page, words

    def test_covered_before_release_is_told(self, team: Team) -> None:
        job = build.a_job(team.firm)
        build.instruments(team.firm)
        entries = happy_entries(job, "covered", crew=team.crew)
        kept = [entry for entry in entries if entry["kind"] in {"trench_section", "joint", "covered"}]
        send(kept, sender=team.crew)
        page = signed_in(team.scheduler).get(reverse("office:job", args=[job.pk])).content.decode()
        assert "Covered before release: S1, S2, S3" in page

    def test_a_job_without_design_says_what_is_missing(self, team: Team) -> None:
        job = build.a_job(team.firm, with_design=False, with_array=False)
        page = signed_in(team.scheduler).get(reverse("office:job", args=[job.pk])).content.decode()
        assert "Still missing" in page

    def test_entries_cost_no_queries(self, team: Team) -> None:
        build.instruments(team.firm)
        short, long = build.a_job(team.firm), build.a_job(team.firm)
        send(happy_entries(short, "joined", crew=team.crew), sender=team.crew)
        send(happy_entries(long, "purged", crew=team.crew), sender=team.crew)
        client = signed_in(team.manager)
        queries_of(client, reverse("office:job", args=[short.pk]))
        few = queries_of(client, reverse("office:job", args=[short.pk]))
        assert queries_of(client, reverse("office:job", args=[long.pk])) == few


class TestWhenTheWorkStops:
    def test_hold_and_resume_are_on_the_job_page(self, team: Team) -> None:
        job = build.a_job(team.firm)
        address, hold = reverse("office:job", args=[job.pk]), reverse("planning:job-hold", args=[job.pk])
        desk = signed_in(team.scheduler)
        assert hold in desk.get(address).content.decode()
        desk.post(hold, {"reason": "Drive is flooded"})
        page = desk.get(address).content.decode()
        assert "Drive is flooded" in page
        assert reverse("planning:job-resume", args=[job.pk]) in page
        assert 'aria-current="step"><span class="line__label">Design</span>' in page

    def test_only_a_manager_is_offered_to_cancel_and_the_crew_nothing(self, team: Team) -> None:
        job = build.a_job(team.firm)
        address, cancel = reverse("office:job", args=[job.pk]), reverse("planning:job-cancel", args=[job.pk])
        assert cancel in signed_in(team.manager).get(address).content.decode()
        assert cancel not in signed_in(team.scheduler).get(address).content.decode()
        assert "If the work stops" not in signed_in(team.crew).get(address).content.decode()


class TestBackground:
    def test_shows_what_was_given_up_and_tries_again(self, team: Team) -> None:
        from jobs.work.models import Work, WorkState  # noqa: PLC0415

        work = Work.objects.create(
            kind="mail", key="1", firm=team.firm, subject=team.firm.pk, state=WorkState.PARKED, attempts=8,
            error_code="TimeoutError", next_try_at=build.AT, wanted_at=build.AT,
        )  # fmt: skip
        client = signed_in(team.manager)
        assert "TimeoutError" in client.get("/background").content.decode()
        again = reverse("office:work-again", args=[work.pk])
        assert signed_in(team.outsider).post(again).status_code == 404
        assert signed_in(team.crew).post(again).status_code == 403
        assert client.post(again).status_code == 302
        work.refresh_from_db()
        assert work.state == WorkState.WANTED


def test_line_of_every_state() -> None:
    """A job stands at one station at most, and everything before it is passed."""
    from jobs.office.trade import stations  # noqa: PLC0415

    for state in JobState.values:
        places = [station.place for station in stations(state)]
        assert places.count("here") <= 1
        assert places == sorted(places, key=["passed", "here", "ahead"].index)
    assert {station.place for station in stations(JobState.APPROVED)} == {"passed"}
    assert {station.place for station in stations(JobState.CANCELLED)} == {"ahead"}
