"""Workers side by side, hanging and dying ones, on a database that really commits."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from uuid import UUID, uuid4

import pytest

from jobs.firms.scope import scope
from jobs.work import actions, handlers, queries, tasks
from jobs.work.errors import TookTooLong
from jobs.work.guard import guarded
from jobs.work.models import Work, WorkState
from jobs.work.sweep import make_next, sweep
from tests.people import a_firm
from tests.real_db import Environment, at_once, real_db

__all__ = ["real_db"]
pytestmark = pytest.mark.usefixtures("real_db")
AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
ROOT = Path(__file__).resolve().parents[2]


def want(kind: str, count: int = 1) -> list[UUID]:
    firm, subjects = a_firm(), [uuid4() for _ in range(count)]
    with scope(firm.pk):
        for subject in subjects:
            actions.want(kind, key=str(subject), subject=subject, at=AT)
    return subjects


def test_four_workers_make_each_thing_exactly_once() -> None:
    made: list[UUID] = []
    handlers.register("thing", lambda subject, at: made.append(subject))
    subjects = want("thing", 40)
    taken = at_once(*[lambda: sweep(AT)] * 4)
    assert sorted(made) == sorted(subjects)
    assert sum(taken) == 40
    assert set(Work.objects.values_list("state", "attempts")) == {(WorkState.DONE, 1)}


def test_four_workers_race_for_one_row() -> None:
    for _ in range(10):
        want("thing")
        start = threading.Barrier(4)

        def race() -> actions.Claim | None:
            start.wait()  # noqa: B023
            return actions.claim(AT)

        assert sum(claimed is not None for claimed in at_once(*[race] * 4)) == 1


def test_of_eight_requests_for_the_same_key_one_makes_the_row() -> None:
    firm, subject, start = a_firm(), uuid4(), threading.Barrier(8)

    def ask() -> UUID:
        start.wait()
        with scope(firm.pk):
            return actions.want("thing", key="same", subject=subject, at=AT).pk

    assert len(set(at_once(*[ask] * 8))) == 1
    assert Work.objects.count() == 1


def test_a_hanging_handler_does_not_hold_up_the_others() -> None:
    """It is left behind after its time; the row comes again later, and what it brings in the end is fenced off."""
    go, made = threading.Event(), []

    def hang(firm: UUID, subject: UUID, at: datetime) -> None:
        assert go.wait(20)

    handlers.register_long("hanging", hang, seconds=1)
    handlers.register("thing", lambda subject, at: made.append(subject))
    (hanging,) = want("hanging")
    (good,) = want("thing")
    began = time.monotonic()
    while make_next(AT, run=guarded):
        pass
    assert time.monotonic() - began < 5
    assert made == [good]
    row = Work.objects.get(subject=hanging)
    assert (row.state, row.error_code) == (WorkState.WANTED, "TookTooLong")
    go.set()
    for thread in [thread for thread in threading.enumerate() if thread.name == "handler"]:
        thread.join(5)
    row.refresh_from_db()
    assert row.state == WorkState.WANTED, "the late end counts for nothing"


def test_the_guard_hands_on_results_and_errors() -> None:
    with pytest.raises(IndexError):
        guarded(list[None]().pop, 5)
    with pytest.raises(TookTooLong):
        guarded(lambda: time.sleep(0.5), 0.05)
    guarded(lambda: None, 5)


DIES = """
import os, signal, django
django.setup()
from datetime import datetime
from jobs.work import handlers
from jobs.work.sweep import sweep
handlers.register("poison", lambda subject, at: os.kill(os.getpid(), signal.SIGKILL))
sweep(datetime.fromisoformat("{at}"))
"""


def worker_that_dies(at: datetime, environment: Environment) -> int:
    """A process of its own that kills itself in the middle of the handler."""
    env = {**os.environ, **environment, "DJANGO_SETTINGS_MODULE": "groundloop.settings"}
    code = DIES.format(at=at.isoformat())
    return subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=env, check=False, timeout=60).returncode


def test_a_worker_killed_in_mid_handler_delays_and_loses_nothing(real_db: Environment) -> None:
    made: list[UUID] = []
    (subject,) = want("poison")
    assert worker_that_dies(AT, real_db) == -signal.SIGKILL
    row = Work.objects.get()
    assert (row.state, row.attempts) == (WorkState.RUNNING, 1)
    handlers.register("poison", lambda subject, at: made.append(subject))
    assert sweep(AT + timedelta(seconds=60)) == 0
    assert sweep(AT + timedelta(seconds=121)) == 1
    assert made == [subject]


def test_the_task_takes_the_databases_time_not_the_workers(monkeypatch: pytest.MonkeyPatch) -> None:
    there, here = queries.database_time(), datetime.now(UTC)
    assert abs(there - here) < timedelta(seconds=30)
    monkeypatch.setattr("jobs.firms.clock.now", lambda: here + timedelta(hours=1))
    assert abs(tasks._time() - here) < timedelta(seconds=30)


def test_the_task_does_what_waits_and_bears_arguments_of_a_later_version() -> None:
    made: list[UUID] = []
    handlers.register("thing", lambda subject, at: made.append(subject))
    subjects = want("thing", 3)
    tasks.sweep(something_new=1)
    assert sorted(made) == sorted(subjects)
