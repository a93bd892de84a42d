"""Pages of visits, asked as manager, scheduler, crew, engineer and outsider."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

import pytest
from django.test import Client
from django.urls import reverse

from jobs.firms.models import Member
from jobs.firms.scope import scope
from jobs.planning.models import Job, JobState
from jobs.visits import actions, queries
from jobs.visits.models import Booking, Decision, Entry, HeldItem, Run, Visit, VisitKind, VisitState
from tests import build
from tests.build_entries import Log, happy_log, n, photo, send
from tests.people import Team, signed_in

NOW = datetime(2026, 3, 9, 18, 0, tzinfo=UTC)


@pytest.fixture
def visit(team: Team, job: Job) -> Visit:
    with scope(team.firm.pk):
        return actions.plan_visit(
            job, kind=VisitKind.GROUND, planned_date=date(2026, 3, 9), crew=[team.crew], note="Bring the long ladder",
            by=team.scheduler, at=NOW,
        )  # fmt: skip


@pytest.fixture
def held(team: Team, job: Job) -> UUID:
    """A release without a test."""
    log = Log(job, team.crew)
    raw = log.add("backfill_release", "S1", watch_pressure=n("2.0", "bar"), positions_taken=True, photo=photo("S1"))
    send(log.entries, sender=team.crew)
    return UUID(raw["id"])


@pytest.fixture
def item(team: Team) -> HeldItem:
    with scope(team.firm.pk):
        return actions.receive_raw("<b>half a messa", sender=team.crew, device=None, received_at=NOW)


@pytest.fixture
def run(team: Team, job: Job) -> Run:
    send(happy_log(job, "running", crew=team.crew, engineer=team.engineer).entries, sender=team.crew)
    with scope(team.firm.pk):
        return Run.objects.get()


def status(who: Member | None, url: str, *, post: bool = False) -> int:
    client = signed_in(who) if who else Client()
    return (client.post(url) if post else client.get(url)).status_code


# Manager, scheduler, crew (booked), engineer (not booked).
DESK = (200, 200, 403, 403)
ALL = (200, 200, 200, 200)


def everybody(team: Team, url: str) -> tuple[int, ...]:
    assert status(team.outsider, url) == 404, "another firm's"
    assert status(None, url) == 302, "nobody signed in"
    return tuple(status(who, url) for who in team.insiders)


def test_who_may_see_what(team: Team, job: Job, visit: Visit, held: UUID, item: HeldItem) -> None:
    seen = {
        "visits:visit-new": (job.pk, DESK),
        "visits:entries": (job.pk, ALL),
        "visits:visit": (visit.pk, (200, 200, 200, 403)),
        "visits:visit-edit": (visit.pk, DESK),
        "visits:held-entry": (held, DESK),
        "visits:held-item": (item.pk, DESK),
    }
    for name, (pk, expected) in seen.items():
        assert everybody(team, reverse(name, args=[pk])) == expected, name
    assert tuple(status(who, reverse("visits:held")) for who in team.insiders) == DESK


def test_who_may_extend_a_run(team: Team, run: Run) -> None:
    assert everybody(team, reverse("visits:run-extend", args=[run.pk])) == DESK


@pytest.mark.parametrize("name", ["visits:visit-cancel", "visits:visit-finish"])
def test_who_may_close_a_visit(team: Team, visit: Visit, name: str) -> None:
    url = reverse(name, args=[visit.pk])
    assert status(team.scheduler, url) == 405
    assert [status(who, url, post=True) for who in (team.outsider, team.crew, team.engineer)] == [404, 403, 403]
    with scope(team.firm.pk):
        assert Visit.objects.get().state == VisitState.PLANNED
    assert status(team.scheduler, url, post=True) == 302
    with scope(team.firm.pk):
        assert Visit.objects.get().state in {VisitState.CANCELLED, VisitState.FINISHED}


def test_the_scheduler_plans_a_visit_and_books_the_crew(team: Team, job: Job) -> None:
    sent = {
        "kind": "fill",
        "planned_date": "2026-03-12",
        "crew": [str(team.crew.pk), str(team.engineer.pk)],
        "note": "Three drums",
    }
    answer = signed_in(team.scheduler).post(reverse("visits:visit-new", args=[job.pk]), sent)
    assert answer.status_code == 302
    with scope(team.firm.pk):
        visit = Visit.objects.get()
        assert (visit.kind, visit.planned_date, visit.note) == ("fill", date(2026, 3, 12), "Three drums")
        assert set(queries.crew_of(visit)) == {team.crew, team.engineer}


def test_nobody_of_another_firm_can_be_booked(team: Team, job: Job) -> None:
    sent = {"kind": "fill", "planned_date": "2026-03-12", "crew": [str(team.outsider.pk)]}
    answer = signed_in(team.scheduler).post(reverse("visits:visit-new", args=[job.pk]), sent)
    assert answer.status_code == 200
    assert "Look at these again" in answer.content.decode()
    with scope(team.firm.pk):
        assert not Visit.objects.exists()


def test_a_visit_is_changed(team: Team, visit: Visit) -> None:
    client, url = signed_in(team.scheduler), reverse("visits:visit-edit", args=[visit.pk])
    assert "Bring the long ladder" in client.get(url).content.decode()
    client.post(
        url, {"kind": "ground", "planned_date": "2026-03-10", "crew": [str(team.engineer.pk)], "note": "Short one"}
    )
    with scope(team.firm.pk):
        found = Visit.objects.get()
        assert (found.planned_date, found.note) == (date(2026, 3, 10), "Short one")
        assert [row.member_id for row in Booking.objects.all()] == [team.engineer.pk]


def test_a_cancelled_visit_is_not_changed(team: Team, visit: Visit) -> None:
    with scope(team.firm.pk):
        actions.cancel_visit(visit, by=team.scheduler, at=NOW)
    url = reverse("visits:visit-edit", args=[visit.pk])
    answer = signed_in(team.scheduler).post(url, {"kind": "ground", "planned_date": "2026-03-10", "note": ""})
    assert "This visit is cancelled. Plan a new one." in answer.content.decode()


def test_the_timeline_shows_all_and_how_it_stands(team: Team, job: Job, held: UUID) -> None:
    log = Log(job, team.crew, seq=60)
    first = log.add("note", "", text={"note": "<script>alert(1)</script>"})
    log.add("note", "", text={"note": "Gate code 4471"}, supersedes=first["id"], reason="typo")
    log.add("covered", "S1")
    send(log.entries, sender=team.crew)
    page = signed_in(team.manager).get(reverse("visits:entries", args=[job.pk])).content.decode()
    assert "Held: hold point H6 Backfill is not released" in page
    assert "<s><strong>Note</strong>" in page
    assert "Gate code 4471" in page
    assert "<script>alert" not in page
    assert "S1 is not inside a passed pressure test." in page


def test_the_timeline_shows_verdicts_with_their_source(team: Team, job: Job) -> None:
    send(happy_log(job, "tested", crew=team.crew).entries, sender=team.crew)
    page = signed_in(team.crew).get(reverse("visits:entries", args=[job.pk])).content.decode()
    assert "The pressure falls no more than a sound pipe&#x27;s own creep." in page
    assert "WRc lineage" in page


@pytest.mark.parametrize(("word", "is_taken"), [("take", True), ("leave", False)])
def test_the_office_decides_a_held_entry(team: Team, held: UUID, word: str, is_taken: bool) -> None:
    client, url = signed_in(team.manager), reverse("visits:held-entry", args=[held])
    assert "Release for backfill" in client.get(reverse("visits:held")).content.decode()
    short = client.post(url, {"word": word, "reason": "ok"})
    assert short.status_code == 200
    assert client.post(url, {"word": word, "reason": "Seen on site by the manager"}).status_code == 302
    with scope(team.firm.pk):
        decision = Decision.objects.get()
    assert (decision.taken, decision.by_id, decision.entry_id) == (is_taken, team.manager.pk, held)
    assert "No entry is held." in client.get(reverse("visits:held")).content.decode()
    assert "Your word" not in client.get(url).content.decode()


def test_what_could_not_be_read_is_shown_as_text_and_taken_off_the_list(team: Team, item: HeldItem) -> None:
    client, url = signed_in(team.scheduler), reverse("visits:held-item", args=[item.pk])
    page = client.get(url).content.decode()
    assert "&lt;b&gt;half a messa" in page
    assert client.post(url).status_code == 302
    assert "Everything that came from phones could be read." in client.get(reverse("visits:held")).content.decode()
    with scope(team.firm.pk):
        assert HeldItem.objects.get().looked_at is not None


def test_a_run_is_extended_on_its_page(team: Team, run: Run) -> None:
    client, url = signed_in(team.scheduler), reverse("visits:run-extend", args=[run.pk])
    day = (run.ends_at + timedelta(days=4)).date()
    early = client.post(url, {"day": (run.ends_at - timedelta(days=4)).date(), "reason": "Pump stood still"})
    assert "Choose a day after the present end of the run." in early.content.decode()
    assert client.post(url, {"day": day, "reason": "Pump stood still for two days"}).status_code == 302
    with scope(team.firm.pk):
        assert Run.objects.get().ends_at == run.ends_at + timedelta(days=4)


def test_the_held_list_takes_as_many_queries_for_3_as_for_30(
    team: Team, job: Job, django_assert_max_num_queries: Callable[..., Any]
) -> None:
    client, url = signed_in(team.manager), reverse("visits:held")

    def fill(count: int) -> int:
        log = Log(job, team.crew, seq=count * 100)
        for number in range(count):
            log.add("moon_phase", "", phase="full", size=n(str(number), "m"))
        send(log.entries, sender=team.crew)
        with django_assert_max_num_queries(30) as counted:
            client.get(url)
        return len(counted)

    fill(1)
    few = fill(3)
    assert fill(30) == few
    with scope(team.firm.pk):
        assert Entry.objects.count() == 34


def test_another_firms_jobs_do_not_show_on_the_held_list(team: Team, held: UUID) -> None:
    build.a_job(team.other_firm, state=JobState.SCHEDULED)
    page = signed_in(team.outsider).get(reverse("visits:held")).content.decode()
    assert "No entry is held." in page
