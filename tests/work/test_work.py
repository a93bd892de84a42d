"""The life of a work row: wanted, claimed, made or failed, parked, tried again."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid4

import pytest
from django.core import mail as outbox_of
from django.http import Http404

from jobs.firms.models import AuditEvent, Firm
from jobs.firms.scope import firm_in_scope, scope
from jobs.work import access, actions, handlers, mail, queries
from jobs.work.errors import Fenced, NotParked
from jobs.work.models import Mail, Work, WorkState
from jobs.work.sweep import make_next, sweep
from tests.people import a_firm, a_team

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


def want(firm: Firm, kind: str = "thing", key: str = "") -> Work:
    with scope(firm.pk):
        subject = uuid4()
        return actions.want(kind, key=key or str(subject), subject=subject, at=AT)


def failing(error: Exception) -> Callable[[UUID, datetime], None]:
    def handler(subject: UUID, at: datetime) -> None:
        raise error

    return handler


def test_wanted_twice_is_one_row_and_is_made_once() -> None:
    firm, made = a_firm(), list[UUID]()
    handlers.register("thing", lambda subject, at: made.append(subject))
    first, again = want(firm, key="a"), want(firm, key="a")
    assert first.pk == again.pk
    assert sweep(AT) == 1
    assert sweep(AT) == 0
    assert made == [first.subject]
    first.refresh_from_db()
    assert (first.state, first.done_at, first.progress, first.lease_until) == (WorkState.DONE, AT, 100, None)


def test_two_firms_may_want_the_same_key() -> None:
    one, other = want(a_firm("One"), key="a"), want(a_firm("Other"), key="a")
    assert one.pk != other.pk


def test_a_handler_runs_inside_the_scope_of_its_firm() -> None:
    firms, seen = [a_firm("One"), a_firm("Two")], list[UUID]()
    handlers.register("thing", lambda subject, at: seen.append(firm_in_scope()))
    for firm in firms:
        want(firm)
    sweep(AT)
    assert set(seen) == {firm.pk for firm in firms}


def test_nothing_is_taken_before_its_time() -> None:
    handlers.register("thing", lambda subject, at: None)
    want(a_firm())
    assert sweep(AT - MINUTE) == 0
    assert sweep(AT) == 1


def test_back_off_is_1_5_15_60_and_then_every_60_minutes_until_parked_after_8_tries() -> None:
    firm, tries = a_firm(), 0
    handlers.register("thing", failing(RuntimeError("what a customer wrote")))
    work, at, waits = want(firm), AT, []
    while True:
        assert make_next(at)
        work.refresh_from_db()
        tries += 1
        if work.state == WorkState.PARKED:
            break
        waits.append((work.next_try_at - at) / MINUTE)
        assert not make_next(work.next_try_at - timedelta(seconds=1))
        at = work.next_try_at
    assert tries == 8
    assert waits == [1, 5, 15, 60, 60, 60, 60]
    assert work.error_code == "RuntimeError"
    assert list(queries.parked(firm.pk)) == [work]
    assert not make_next(at + timedelta(days=30))


def test_giving_up_is_told_to_the_managers_by_mail() -> None:
    team = a_team()
    handlers.register("thing", failing(RuntimeError()), label="The thing of a job")
    Work.objects.filter(pk=want(team.firm).pk).update(attempts=7)
    sweep(AT)
    assert [(letter.to, letter.subject) for letter in outbox_of.outbox] == [
        ([team.manager.user.email], "Something could not be made")
    ]
    assert "The thing of a job" in outbox_of.outbox[0].body


def test_what_a_failing_handler_wrote_is_rolled_back() -> None:
    firm = a_firm()

    def handler(subject: UUID, at: datetime) -> None:
        mail.post(to="a@example.test", subject="Half", body="made", at=at)
        raise RuntimeError

    handlers.register("thing", handler)
    want(firm)
    sweep(AT)
    with scope(firm.pk):
        assert not Mail.objects.exists()


def test_a_bad_row_does_not_stop_the_others() -> None:
    firm, made = a_firm(), list[UUID]()
    handlers.register("bad", failing(ValueError()))
    handlers.register("thing", lambda subject, at: made.append(subject))
    want(firm, "bad")
    good = want(firm)
    want(firm, "nobody knows this kind")
    assert sweep(AT) == 3
    assert made == [good.subject]
    assert set(queries.waiting(firm.pk).values_list("error_code", flat=True)) == {"ValueError", "NoHandler"}


def test_a_lease_that_runs_out_is_claimed_again_and_the_late_worker_is_fenced_off() -> None:
    handlers.register("thing", lambda subject, at: None)
    work = want(a_firm())
    late = actions.claim(AT)
    assert late
    assert actions.claim(AT + 2 * MINUTE) is None, "the lease is twice the 60 s of a run"
    taken = actions.claim(AT + 2 * MINUTE + timedelta(seconds=1))
    assert taken
    assert (late.attempts, taken.attempts) == (1, 2)
    with pytest.raises(Fenced):
        actions.finish(late, at=AT + 3 * MINUTE)
    assert not actions.fail(late, at=AT + 3 * MINUTE, error_code="X")
    work.refresh_from_db()
    assert (work.state, work.attempts, work.error_code) == (WorkState.RUNNING, 2, "")
    actions.finish(taken, at=AT + 3 * MINUTE)
    work.refresh_from_db()
    assert work.state == WorkState.DONE


def test_the_late_workers_writes_are_rolled_back() -> None:
    """Its handler comes to an end after the row was given to another worker."""
    firm = a_firm()

    def slow(subject: UUID, at: datetime) -> None:
        mail.post(to="a@example.test", subject="Twice", body="made", at=at)
        Work.objects.filter(kind="thing").update(attempts=2)  # what the other worker's claim does

    handlers.register("thing", slow)
    want(firm)
    assert make_next(AT)
    with scope(firm.pk):
        assert not Mail.objects.exists()


def test_a_row_whose_worker_died_eight_times_is_parked() -> None:
    handlers.register("thing", lambda subject, at: None)
    work, at = want(a_firm()), AT
    for _ in range(8):
        assert actions.claim(at)
        at += 3 * MINUTE
    assert actions.claim(at) is None
    work.refresh_from_db()
    assert (work.state, work.error_code) == (WorkState.PARKED, "WorkerDied")


def test_a_row_that_changed_since_it_was_seen_is_not_claimed(monkeypatch: pytest.MonkeyPatch) -> None:
    want(a_firm())
    seen = queries.claimable(AT)
    assert actions.claim(AT)
    monkeypatch.setattr(actions, "claimable", lambda at: seen)
    assert actions.claim(AT) is None


def test_progress_renews_the_lease_and_stops_a_late_worker() -> None:
    shown = []

    def long(firm: UUID, subject: UUID, at: datetime) -> None:
        actions.progress(40, at=at + MINUTE)
        row = Work.objects.get(subject=subject)
        shown.append((row.progress, row.lease_until))
        Work.objects.filter(pk=row.pk).update(attempts=9)
        with pytest.raises(Fenced):
            actions.progress(80, at=at + MINUTE)

    handlers.register_long("thing", long, seconds=30)
    want(a_firm())
    assert make_next(AT)
    assert shown == [(40, AT + 2 * MINUTE)]


def test_progress_outside_a_claim_does_nothing() -> None:
    actions.progress(40, at=AT)


def test_try_again_grants_eight_more_and_starts_the_back_off_anew() -> None:
    team = a_team()
    handlers.register("thing", failing(RuntimeError()))
    work = want(team.firm)
    Work.objects.filter(pk=work.pk).update(state=WorkState.PARKED, attempts=8)
    with scope(team.firm.pk):
        actions.try_again(access.work_for(team.manager, work.pk), by=team.manager, at=AT)
        assert AuditEvent.objects.get().verb == "work_tried_again"
        with pytest.raises(NotParked):
            actions.try_again(work, by=team.manager, at=AT)
    sweep(AT)
    work.refresh_from_db()
    assert (work.state, work.attempts, work.next_try_at) == (WorkState.WANTED, 9, AT + MINUTE)


def test_another_firms_work_is_404_and_cannot_be_tried_again() -> None:
    team = a_team()
    work = want(team.firm)
    Work.objects.filter(pk=work.pk).update(state=WorkState.PARKED)
    with pytest.raises(Http404):
        access.work_for(team.outsider, work.pk)
    with scope(team.other_firm.pk), pytest.raises(NotParked):
        actions.try_again(work, by=team.outsider, at=AT)
    assert not queries.parked(team.other_firm.pk)


def test_a_kind_has_one_handler() -> None:
    def one(subject: UUID, at: datetime) -> None: ...
    def other(subject: UUID, at: datetime) -> None: ...

    handlers.register("thing", one)
    handlers.register("thing", one)
    with pytest.raises(handlers.TwoHandlers):
        handlers.register("thing", other)
