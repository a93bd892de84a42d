"""Who may write what on the pages of visits, and every state of a visit with every event."""

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
from jobs.visits.errors import JobStopped, VisitClosed
from jobs.visits.models import Booking, Decision, Entry, HeldItem, Run, Visit, VisitKind, VisitState
from tests import build
from tests.build_entries import Log, happy_log, n, photo, send
from tests.people import Team, signed_in

NOW = datetime(2026, 3, 9, 18, 0, tzinfo=UTC)
PLANNED, UNDER_WAY, FINISHED, CANCELLED = (
    VisitState.PLANNED,
    VisitState.UNDER_WAY,
    VisitState.FINISHED,
    VisitState.CANCELLED,
)


def planned(team: Team, job: Job) -> Visit:
    with scope(team.firm.pk):
        return actions.plan_visit(
            job, kind=VisitKind.GROUND, planned_date=date(2026, 3, 9), crew=[team.crew], by=team.scheduler, at=NOW
        )


def held(team: Team, job: Job) -> UUID:
    raw = Log(job, team.crew).add(
        "backfill_release", "S1", watch_pressure=n("2", "bar"), positions_taken=True, photo=photo("S1")
    )
    send([raw], sender=team.crew)
    return UUID(raw["id"])


def item(team: Team, job: Job) -> UUID:
    with scope(team.firm.pk):
        return actions.receive_raw("half a messa", sender=team.crew, device=None, received_at=NOW).pk


def run(team: Team, job: Job) -> UUID:
    send(happy_log(job, "running", crew=team.crew, engineer=team.engineer).entries, sender=team.crew)
    with scope(team.firm.pk):
        return Run.objects.get().pk


def everything(team: Team) -> tuple[Any, ...]:
    """All that these pages may change."""
    with scope(team.firm.pk):
        return (
            sorted(Visit.objects.values_list("pk", "state", "note", "planned_date")), sorted(Booking.objects.values_list("visit", "member")),
            Decision.objects.count(), sorted(Run.objects.values_list("pk", "ends_at", "extended_reason")),
            HeldItem.objects.filter(looked_at=None).count(), Entry.objects.count(),
        )  # fmt: skip


VISIT = {"kind": "fill", "planned_date": "2026-03-12", "note": "Three drums"}
WHY = {"reason": "Seen on site today", "word": "take"}
POSTS: dict[str, tuple[Callable[[Team, Job], Any], dict[str, str]]] = {
    "visit-new": (lambda team, job: job.pk, VISIT), "visit-edit": (lambda team, job: planned(team, job).pk, VISIT),
    "visit-cancel": (lambda team, job: planned(team, job).pk, {}), "visit-finish": (lambda team, job: planned(team, job).pk, {}),
    "held-entry": (held, WHY), "held-item": (item, {}), "run-extend": (run, {"day": "2026-04-20", "reason": "The pump stood still"}),
}  # fmt: skip


@pytest.mark.parametrize("name", POSTS)
def test_only_the_desk_of_this_firm_writes(team: Team, job: Job, name: str) -> None:
    make, sent = POSTS[name]
    url = reverse(f"visits:{name}", args=[make(team, job)])
    before = everything(team)
    outside: list[tuple[Member | None, int]] = [
        (None, 302),
        (team.outsider, 404),
        (team.crew, 403),
        (team.engineer, 403),
    ]
    for who, status in outside:
        client = signed_in(who) if who else Client()
        assert client.post(url, sent).status_code == status, who
        assert everything(team) == before, who
    team.scheduler.is_active = False
    team.scheduler.save()
    assert signed_in(team.scheduler).post(url, sent).status_code in {302, 401, 403, 404}
    assert everything(team) == before
    assert signed_in(team.manager).post(url, sent).status_code == 302
    assert everything(team) != before


@pytest.mark.parametrize("name", POSTS)
def test_a_forged_request_is_turned_away(team: Team, job: Job, name: str) -> None:
    """Without the token of the form nothing is written."""
    make, sent = POSTS[name]
    url = reverse(f"visits:{name}", args=[make(team, job)])
    before = everything(team)
    client = signed_in(team.manager)
    client.handler.enforce_csrf_checks = True
    assert client.post(url, sent).status_code == 403
    assert everything(team) == before


@pytest.mark.parametrize("name", ["visit", "entries", "held"])
def test_pages_that_only_show_take_no_post(team: Team, job: Job, name: str) -> None:
    args = {"visit": [planned(team, job).pk], "entries": [job.pk], "held": []}[name]
    assert signed_in(team.manager).post(reverse(f"visits:{name}", args=args)).status_code == 405


def log_on(visit: Visit, team: Team) -> None:
    raw = Log(visit.job, team.crew).add("note", "", text={"note": "We are here"}, visit=visit.pk)
    (receipt,) = send([raw], sender=team.crew)
    assert receipt.status == "stored"
    visit.refresh_from_db()


def change(visit: Visit, team: Team) -> None:
    actions.change_visit(visit, by=team.scheduler, at=NOW, crew=[team.engineer], note="Another")


def book(visit: Visit, team: Team) -> None:
    actions.book(visit, [team.engineer], by=team.scheduler, at=NOW)


def cancel(visit: Visit, team: Team) -> None:
    actions.cancel_visit(visit, by=team.scheduler, at=NOW)


def finish(visit: Visit, team: Team) -> None:
    actions.finish_visit(visit, by=team.scheduler, at=NOW)


Event = Callable[[Visit, Team], None]
# From, event, to; None: refused with a sentence.
MOVES: list[tuple[VisitState, Event, VisitState | None]] = [
    (PLANNED, log_on, UNDER_WAY), (UNDER_WAY, log_on, UNDER_WAY), (FINISHED, log_on, FINISHED), (CANCELLED, log_on, CANCELLED),
    (PLANNED, change, PLANNED), (UNDER_WAY, change, UNDER_WAY), (FINISHED, change, None), (CANCELLED, change, None),
    (PLANNED, book, PLANNED), (UNDER_WAY, book, UNDER_WAY), (FINISHED, book, None), (CANCELLED, book, None),
    (PLANNED, cancel, CANCELLED), (UNDER_WAY, cancel, CANCELLED), (FINISHED, cancel, None), (CANCELLED, cancel, None),
    (PLANNED, finish, FINISHED), (UNDER_WAY, finish, FINISHED), (FINISHED, finish, None), (CANCELLED, finish, None),
]  # fmt: skip


def test_the_table_of_moves_is_whole() -> None:
    assert len({(state, event) for state, event, _ in MOVES}) == len(VisitState) * 5


@pytest.mark.parametrize(
    ("state", "event", "to"), MOVES, ids=[f"{state} {event.__name__}" for state, event, _ in MOVES]
)
def test_every_state_and_every_event(
    team: Team, job: Job, state: VisitState, event: Event, to: VisitState | None
) -> None:
    visit = planned(team, job)
    with scope(team.firm.pk):
        visit.state = state
        visit.save()
        version = Job.objects.get().version
        if to is None:
            with pytest.raises(VisitClosed, match=r"^This visit is (finished on site|cancelled)\. Plan a new one\.$"):
                event(visit, team)
            assert queries.crew_of(visit) == [team.crew]
        else:
            event(visit, team)
        assert Visit.objects.get().state == (to or state)
        assert (Job.objects.get().version > version) is (to is not None)


def test_an_entry_of_another_jobs_visit_starts_nothing(team: Team, job: Job) -> None:
    visit = planned(team, job)
    other = Log(job, team.crew, seq=4).add("note", "", text={"note": "x"}, visit=UUID(int=7))
    (receipt,) = send([other], sender=team.crew)
    assert receipt.why == "visit"
    with scope(team.firm.pk):
        visit.refresh_from_db()
    assert visit.state == PLANNED


def test_the_end_of_a_run_may_move_by_a_year_at_most(team: Team, job: Job) -> None:
    key = run(team, job)
    with scope(team.firm.pk):
        ends = Run.objects.get(pk=key).ends_at
    page = signed_in(team.manager).post(
        reverse("visits:run-extend", args=[key]),
        {"day": (ends + timedelta(days=400)).date(), "reason": "A slip of the keys"},
    )
    assert "Choose a day within a year of the present end of the run." in page.content.decode()


@pytest.mark.parametrize("state", [JobState.CANCELLED, JobState.APPROVED, JobState.HANDED_OVER, JobState.ON_HOLD])
def test_no_visit_is_planned_on_a_job_that_stands_still(team: Team, state: JobState) -> None:
    job = build.a_job(team.firm)
    job.state = state
    with pytest.raises(JobStopped, match="no visit can be planned"):
        planned(team, job)
    with scope(team.firm.pk):
        assert not Visit.objects.exists()


def test_the_author_has_the_right_and_who_sent_it_is_noted(team: Team, job: Job) -> None:
    """Settings are the engineer's: the crew's phone may bring them, which the sheet asks about."""
    settings, start = (Log(job, team.engineer, seq=seq) for seq in (90, 80))
    by_crew = settings.add("source_settings", "", frost_alarm=n("-9", "°C"))
    own = start.add("source_settings", "", frost_alarm=n("-9", "°C"))
    shared = Log(job, team.engineer, seq=70).add("note", "", text={"note": "Seen"})
    with scope(team.firm.pk):
        for entry, sender in ((shared, team.crew), (own, team.engineer), (by_crew, team.crew)):
            actions.receive(entry, sender=sender, sent_at=NOW, received_at=NOW)
        noted = [str(row.entry_id) for row in queries.receipt_findings(job) if row.code == "sender"]
        assert noted == [by_crew["id"]]
        assert Entry.objects.get(pk=by_crew["id"]).held != "rights"
