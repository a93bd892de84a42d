"""The thin front that the broker's messages reach. Everything it needs stands in rows."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from celery import shared_task
from celery.signals import worker_ready
from django.conf import settings

from jobs.firms import clock
from jobs.work import queries
from jobs.work import sweep as rows
from jobs.work.guard import guarded


def _time() -> datetime:
    """The database's time, so that a worker whose clock is wrong cannot take rows others hold; or the simulated one."""
    return clock.now() if settings.CLOCK_FILE else queries.database_time()


@shared_task(name="jobs.work.tasks.sweep")
def sweep(**_later: Any) -> None:
    """What is due, then what waits, until nothing does."""
    rows.fall_due(_time(), run=guarded)
    while rows.make_next(_time(), run=guarded):
        pass


@worker_ready.connect
def sweep_at_start(**_: Any) -> None:
    """What the time without a worker has left."""
    sweep.apply_async(expires=60)
