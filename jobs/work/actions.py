"""Work is wanted, claimed, finished, failed, parked, tried again. The row is the queue; nothing here needs a broker."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import F, QuerySet

from jobs.firms import audit
from jobs.firms.models import Member
from jobs.firms.scope import firm_in_scope
from jobs.work import handlers
from jobs.work.bell import bell
from jobs.work.errors import Fenced, NotParked
from jobs.work.models import Due, Work, WorkState
from jobs.work.queries import claimable

BACK_OFF = tuple(timedelta(minutes=minutes) for minutes in (1, 5, 15, 60))
TRIES = 8


@dataclass(frozen=True)
class Claim:
    """A row this worker holds. `attempts` is the fence: whoever claims next raises it."""

    pk: UUID
    kind: str
    firm: UUID
    subject: UUID
    attempts: int


_claim: ContextVar[Claim | None] = ContextVar("claim", default=None)


def want(kind: str, *, key: str, subject: UUID, at: datetime) -> Work:
    """Wants `subject` made, in the caller's transaction, for the firm in scope; once per kind and key, whoever asks again.

    `key` holds ids and numbers only. Call `nudge()` in the front, so that it starts at once.
    """
    work, _ = Work.objects.get_or_create(
        firm_id=firm_in_scope(),
        kind=kind,
        key=key,
        defaults={"subject": subject, "wanted_at": at, "next_try_at": at},
    )
    return work


def falls_due(kind: str, *, subject: UUID, at: datetime | None) -> None:
    """Says when `subject` falls due next, in the caller's transaction; None: not any more."""
    Due.objects.update_or_create(
        firm_id=firm_in_scope(), kind=kind, subject=subject, defaults={"due_at": at, "failures": 0}
    )


def nudge() -> None:
    """After the commit, tells a worker to look. Never blocks, never raises; a lost nudge costs one sweep interval."""
    transaction.on_commit(bell.ring, robust=True)


def claim(at: datetime) -> Claim | None:
    """Takes one row that may be tried now, for the length of its lease; None when nothing waits.

    The update asks for the row exactly as it was seen, so that of two workers one gets it. A row that used up its tries
    without anybody saying why (its worker died each time) is parked instead.
    """
    for seen in claimable(at):
        if seen.attempts >= seen.gives_up_after:
            _change(seen, state=WorkState.PARKED, lease_until=None, error_code=seen.error_code or "WorkerDied")
        elif _change(seen, state=WorkState.RUNNING, attempts=seen.attempts + 1, lease_until=at + _lease(seen.kind)):
            return Claim(seen.pk, seen.kind, seen.firm_id, seen.subject, seen.attempts + 1)
    return None


def _change(seen: Work, **changes: object) -> bool:
    """Compare-and-set: changes the row only if nobody changed it since it was seen."""
    rows = Work.objects.filter(
        pk=seen.pk,
        state=seen.state,
        attempts=seen.attempts,
        next_try_at=seen.next_try_at,
        lease_until=seen.lease_until,
    )
    return rows.update(**changes) == 1


def _lease(kind: str) -> timedelta:
    """Twice the time after which a run counts as hanging."""
    try:
        return timedelta(seconds=2 * handlers.for_work(kind).seconds)
    except handlers.NoHandler:
        return timedelta(seconds=2 * handlers.SECONDS)


@contextmanager
def holding(claimed: Claim) -> Iterator[None]:
    """Lets a handler tell its progress without knowing its row."""
    token = _claim.set(claimed)
    try:
        yield
    finally:
        _claim.reset(token)


def progress(per_cent: int, *, at: datetime) -> None:
    """Called by a long handler: shows how far it is and renews its lease. Raises `Fenced` when another worker has it.

    Does nothing in a handler that was called by hand.
    """
    claimed = _claim.get()
    if claimed and not _held(claimed).update(progress=per_cent, lease_until=at + _lease(claimed.kind)):
        raise Fenced(claimed.kind)


def _held(claimed: Claim) -> QuerySet[Work]:
    return Work.objects.filter(pk=claimed.pk, state=WorkState.RUNNING, attempts=claimed.attempts)


def finish(claimed: Claim, *, at: datetime) -> None:
    """Raises `Fenced` when the lease ran out and another worker took the row; the caller's transaction rolls back."""
    if not _held(claimed).update(state=WorkState.DONE, done_at=at, progress=100, lease_until=None, error_code=""):
        raise Fenced(claimed.kind)


def fail(claimed: Claim, *, at: datetime, error_code: str) -> bool:
    """Puts the row back for later, or parks it after its last try. True when it was parked."""
    work = _held(claimed).first()
    if work is None:
        return False
    left = work.gives_up_after - work.attempts
    parks = left <= 0
    wait = BACK_OFF[min(max(TRIES - 1 - left, 0), len(BACK_OFF) - 1)]
    state = WorkState.PARKED if parks else WorkState.WANTED
    changed = _held(claimed).update(
        state=state, next_try_at=at + wait, lease_until=None, progress=0, error_code=error_code[:40]
    )
    return parks and changed == 1


def try_again(work: Work, *, by: Member, at: datetime) -> None:
    """Grants parked work as many tries as it had. Raises `NotParked`."""
    rows = Work.objects.filter(pk=work.pk, firm_id=by.firm_id, state=WorkState.PARKED)
    if not rows.update(state=WorkState.WANTED, next_try_at=at, gives_up_after=F("attempts") + TRIES):
        raise NotParked("This is no longer given up. Reload the page to see how far it is.")
    audit.record(at=at, actor=by, verb="work_tried_again", subject=work, kind=work.kind)


def push_due(due: Due, *, at: datetime) -> Due | None:
    """Moves a due row ahead before anything is done about it, so that a bad one cannot stop the sweep at every turn.

    None when another sweep has it.
    """
    wait = BACK_OFF[min(due.failures, len(BACK_OFF) - 1)]
    later, failures = at + wait, min(due.failures + 1, 1000)
    if not Due.objects.filter(pk=due.pk, due_at=due.due_at).update(due_at=later, failures=failures):
        return None
    due.due_at, due.failures = later, failures
    return due


def settle_due(pushed: Due, *, again_at: datetime | None) -> None:
    """Writes when the subject falls due next, unless its handler or anybody else has said so meanwhile."""
    Due.objects.filter(pk=pushed.pk, due_at=pushed.due_at).update(due_at=again_at, failures=0)
