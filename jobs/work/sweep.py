"""Does what is due: due rows first, then work rows, one by one, each inside the scope of its firm.

Two sweeps at once do no harm: a row is claimed by one of them.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import datetime
from uuid import UUID

from jobs.firms.models import Role
from jobs.firms.queries import members_of
from jobs.firms.scope import scope
from jobs.work import actions, handlers, mail
from jobs.work.errors import Fenced
from jobs.work.models import Due
from jobs.work.queries import due_by

Run = Callable[[Callable[[], None], int], None]
log = logging.getLogger(__name__)


def inline(job: Callable[[], None], seconds: int) -> None:  # noqa: ARG001  (a guard has the same arguments)
    job()


def sweep(at: datetime, *, run: Run = inline) -> int:
    """All that is due at `at`; how many rows were taken up. Also what tests and the simulated clock call."""
    taken = fall_due(at, run=run)
    while make_next(at, run=run):
        taken += 1
    return taken


def fall_due(at: datetime, *, run: Run = inline) -> int:
    """Lets the owners of the kinds act on what has fallen due, firm by firm."""
    taken = 0
    for due in due_by(at):
        pushed = actions.push_due(due, at=at)
        if pushed:
            taken += 1
            _settle(pushed, at, run)
    return taken


def _settle(pushed: Due, at: datetime, run: Run) -> None:
    try:
        registered = handlers.for_due(pushed.kind)
        run(lambda: _act(registered, pushed, at), registered.seconds)
    except Exception as error:  # noqa: BLE001  (one bad row never stops the others)
        _say(pushed.kind, pushed.pk, error)


def _act(registered: handlers.Registered, pushed: Due, at: datetime) -> None:
    with scope(pushed.firm_id):
        if registered.due:
            actions.settle_due(pushed, again_at=registered.due(pushed.subject, at))


def make_next(at: datetime, *, run: Run = inline) -> bool:
    """Claims one row and makes it; False when nothing waits."""
    claimed = actions.claim(at)
    if claimed is None:
        return False
    try:
        registered = handlers.for_work(claimed.kind)
        run(lambda: _make(registered, claimed, at), registered.seconds)
    except Fenced:
        log.info("work %s was taken over by another worker", claimed.pk)
    except Exception as error:  # noqa: BLE001  (one bad row never stops the others)
        _say(claimed.kind, claimed.pk, error)
        if actions.fail(claimed, at=at, error_code=type(error).__name__):
            _tell_managers(claimed, at)
    return True


def _make(registered: handlers.Registered, claimed: actions.Claim, at: datetime) -> None:
    with actions.holding(claimed):
        if registered.long:
            registered.long(claimed.firm, claimed.subject, at)
            actions.finish(claimed, at=at)
        elif registered.short:
            with scope(claimed.firm):
                registered.short(claimed.subject, at)
                actions.finish(claimed, at=at)


def _tell_managers(claimed: actions.Claim, at: datetime) -> None:
    """A mail that cannot be sent is only shown on the page: another mail would not arrive either."""
    if claimed.kind == mail.KIND:
        return
    with scope(claimed.firm):
        for manager in members_of(claimed.firm, Role.MANAGER):
            mail.post(
                to=manager.user.email,
                subject="Something could not be made",
                body=f"{handlers.label(claimed.kind)}: given up after several tries.\n"
                "Open the page Background work and press Try again; if it fails again, tell whoever runs this service.\n",
                at=at,
            )


def _say(kind: str, pk: UUID, error: Exception) -> None:
    """The kind, the row and the class of the error; its text may hold what people wrote."""
    log.warning("%s %s failed: %s", kind, pk, type(error).__name__)
    log.debug("%s %s", kind, pk, exc_info=error)
