from __future__ import annotations

from datetime import UTC, datetime
from uuid import UUID

from django.db import connection
from django.db.models import Q, QuerySet

from jobs.work.models import Due, Work, WorkState

AT_ONCE = 50


def claimable(at: datetime) -> list[Work]:
    """Rows that may be tried now: waiting and due, or in work with the lease run out. Oldest first."""
    may = Q(state=WorkState.WANTED, next_try_at__lte=at) | Q(state=WorkState.RUNNING, lease_until__lt=at)
    return list(Work.objects.filter(may).order_by("next_try_at", "wanted_at")[:AT_ONCE])


def due_by(at: datetime) -> list[Due]:
    """What has fallen due, firm by firm."""
    return list(Due.objects.filter(due_at__lte=at).order_by("firm_id", "due_at"))


def waiting(firm: UUID) -> QuerySet[Work]:
    """What is still to be made for this firm, and what is in work."""
    states = (WorkState.WANTED, WorkState.RUNNING)
    return Work.objects.filter(firm_id=firm, state__in=states).order_by("next_try_at")


def parked(firm: UUID) -> QuerySet[Work]:
    """What was given up after several tries."""
    return Work.objects.filter(firm_id=firm, state=WorkState.PARKED).order_by("wanted_at")


def work_on(kind: str, key: str, firm: UUID) -> Work | None:
    """The row for this key, to show how far it is."""
    return Work.objects.filter(firm_id=firm, kind=kind, key=key).first()


def database_time() -> datetime:
    """The clock all workers share."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SELECT clock_timestamp()")
            found: datetime = cursor.fetchone()[0]
            return found
        cursor.execute("SELECT strftime('%Y-%m-%dT%H:%M:%f', 'now')")
        return datetime.fromisoformat(cursor.fetchone()[0]).replace(tzinfo=UTC)
