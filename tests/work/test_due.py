"""Rows that fall due: pushed ahead first, then acted upon, then set to when they fall due next."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid4

import pytest

from jobs.firms.models import Firm
from jobs.firms.scope import firm_in_scope, scope
from jobs.work import actions, handlers
from jobs.work.models import Due
from jobs.work.sweep import sweep
from tests.people import a_firm

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
DAY, MINUTE = timedelta(days=1), timedelta(minutes=1)


def due(firm: Firm, at: datetime | None = AT, kind: str = "watering", subject: UUID | None = None) -> Due:
    thing = subject or uuid4()
    with scope(firm.pk):
        actions.falls_due(kind, subject=thing, at=at)
    return Due.objects.get(kind=kind, subject=thing, firm=firm)


def test_falls_due_once_and_then_when_its_handler_says() -> None:
    firm, acted = a_firm(), []

    def handler(subject: UUID, at: datetime) -> datetime | None:
        acted.append((firm_in_scope(), subject, at))
        return at + DAY

    handlers.register("watering", handler, due=True)
    row = due(firm)
    assert sweep(AT - MINUTE) == 0
    assert sweep(AT) == 1
    assert sweep(AT) == 0
    row.refresh_from_db()
    assert row.due_at == AT + DAY
    assert acted == [(firm.pk, row.subject, AT)]


def test_a_later_word_moves_it_and_none_ends_it() -> None:
    firm = a_firm()
    row = due(firm)
    assert due(firm, AT + DAY, subject=row.subject).pk == row.pk
    assert sweep(AT) == 0
    due(firm, None, subject=row.subject)
    assert sweep(AT + 10 * DAY) == 0


def test_a_bad_due_row_is_pushed_ahead_before_anything_else_and_never_given_up() -> None:
    firm, seen = a_firm(), []

    def bad(subject: UUID, at: datetime) -> datetime | None:
        seen.append(Due.objects.get(subject=subject).due_at)
        raise ValueError

    handlers.register("watering", bad, due=True)
    row, at = due(firm), AT
    waits = []
    for _ in range(10):
        sweep(at)
        row.refresh_from_db()
        assert row.due_at
        waits.append((row.due_at - at) / MINUTE)
        at = row.due_at
    assert waits == [1, 5, 15, 60, 60, 60, 60, 60, 60, 60]
    assert seen[0] == AT + MINUTE, "the handler must find the row pushed ahead already"
    assert row.failures == 10


def test_success_forgets_the_failures() -> None:
    handlers.register("watering", lambda subject, at: at + DAY, due=True)
    row = due(a_firm())
    Due.objects.filter(pk=row.pk).update(failures=3)
    sweep(AT)
    row.refresh_from_db()
    assert (row.failures, row.due_at) == (0, AT + DAY)


def test_a_word_of_the_handler_about_its_own_row_counts() -> None:
    """It says when, and returns None as if nothing fell due any more."""

    def handler(subject: UUID, at: datetime) -> datetime | None:
        actions.falls_due("watering", subject=subject, at=at + 2 * DAY)
        return None

    handlers.register("watering", handler, due=True)
    row = due(a_firm())
    sweep(AT)
    row.refresh_from_db()
    assert row.due_at == AT + 2 * DAY


def test_of_two_sweeps_one_acts() -> None:
    row = due(a_firm())
    seen_by_both = Due.objects.get(pk=row.pk)
    assert actions.push_due(row, at=AT)
    assert actions.push_due(seen_by_both, at=AT) is None


def test_a_bad_row_of_one_firm_does_not_stop_another_firms() -> None:
    acted: list[UUID] = []

    def handler(subject: UUID, at: datetime) -> datetime | None:
        if subject == bad.subject:
            raise ValueError
        acted.append(subject)
        return None

    handlers.register("watering", handler, due=True)
    bad, good = due(a_firm("One")), due(a_firm("Two"))
    sweep(AT)
    assert acted == [good.subject]
