"""The embedded default as it runs: one process that starts, refuses, drains and stops."""

from __future__ import annotations

import signal
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from groundloop.demo.people import PEOPLE, WORD
from tests.running.server import ROOT, Server, environment, run_python


def test_serves_signs_in_and_stops_cleanly_on_sigterm(served: Server) -> None:
    assert served.browser().get("/readyz").json() == {"status": "ok", "problems": []}
    for person in PEOPLE:
        served.browser(person.email, WORD)
    started = time.monotonic()
    assert served.stop() == 0
    assert time.monotonic() - started < 10
    assert "Stopped." in served.process.output()
    assert "Traceback" not in served.process.output()


def test_ctrl_c_stops_it_too(served: Server) -> None:
    assert served.process.stop(signal.SIGINT) == 0
    assert "Traceback" not in served.process.output()


def test_says_that_it_is_for_one_machine(served: Server) -> None:
    assert "for one machine" in served.process.output()


def test_a_used_port_gets_one_sentence(live_database: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        done = _serve(live_database, "--port", str(port))
    assert done.returncode == 1
    assert done.stderr.strip() == (
        f"CommandError: Port {port} is in use: stop what uses it, or choose another with --port."
    )


def test_a_second_one_on_the_same_data_is_refused(served: Server) -> None:
    done = _serve(served.data, "--port", "0")
    assert done.returncode == 1
    assert "already running" in done.stderr
    assert served.browser().answers("/healthz")


def test_waiting_migrations_are_refused_with_a_sentence(tmp_path: Path) -> None:
    done = _serve(tmp_path, "--port", "0")
    assert done.returncode == 1
    assert "manage.py migrate" in done.stderr
    assert "Traceback" not in done.stderr


def test_with_redis_it_refuses_to_be_the_one_process(live_database: Path) -> None:
    done = _serve(live_database, "--port", "0", REDIS_URL="redis://127.0.0.1:1/0", SECRET_KEY="x" * 50)
    assert done.returncode == 1
    assert "separately" in done.stderr


@pytest.mark.parametrize("command", [["celery", "-A", "groundloop.celery", "worker"], ["gunicorn", "groundloop.wsgi"]])
def test_other_processes_on_the_broker_in_memory_are_refused(command: list[str], live_database: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", *command],
        cwd=ROOT, env=environment(live_database), capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode != 0
    assert "Set REDIS_URL" in done.stdout + done.stderr


def test_worker_and_beat_do_work_without_being_told(served: Server) -> None:
    """A row that another process wrote rings no bell here; only the beat's sweep can find it."""
    time.sleep(3)  # the sweep at the start is over
    served.python(MAIL)
    _until(lambda: _states(served) == ["done"], within_s=15)
    assert len(list((served.data / "mail").iterdir())) == 1


def test_after_kill_9_what_was_wanted_is_made_at_the_next_start(served: Server) -> None:
    served.kill9()
    served.python(MAIL)
    assert _states(served) == ["wanted"]
    served.start()
    _until(lambda: _states(served) == ["done"], within_s=15)


def test_an_answer_under_way_is_finished_before_the_stop(served: Server) -> None:
    """The sign-in waits for the write lock that the test holds; SIGTERM comes meanwhile, then the lock is let go."""
    browser, failed = served.browser(), list[BaseException]()

    def sign_in() -> None:
        try:
            browser.sign_in(PEOPLE[0].email, WORD)
        except BaseException as problem:  # noqa: BLE001  (handed to the test)
            failed.append(problem)

    lock = sqlite3.connect(served.data / "groundloop.sqlite3", isolation_level=None)
    lock.execute("BEGIN IMMEDIATE")
    asker = threading.Thread(target=sign_in)
    asker.start()
    time.sleep(1)
    served.process.send(signal.SIGTERM)
    time.sleep(1)
    assert served.process.running
    lock.execute("COMMIT")
    lock.close()
    asker.join(timeout=15)
    assert served.process.wait() == 0
    # The page after the sign-in is a request of its own, and it comes after the stop.
    assert not failed or isinstance(failed[0], OSError), failed
    assert served.rows("SELECT count(*) FROM django_session") == [(1,)]
    assert any(cookie.name == "groundloop" for cookie in browser.cookies), "the answer never arrived"


def test_static_files_are_gathered_again_only_when_one_changed(live_database: Path) -> None:
    code = "import django; django.setup(); from groundloop.collected import collect_when_stale as c; print(c(), c())"
    assert run_python(code, environment(live_database)).split() == ["False", "False"]
    (live_database / "static-stamp").write_text("older")
    assert run_python(code, environment(live_database)).split() == ["True", "False"]


MAIL = """
from jobs.firms import clock
from jobs.firms.models import Firm
from jobs.firms.scope import scope
from jobs.work import mail
firm = Firm.objects.get()
with scope(firm.pk):
    mail.post(to="somebody@example.test", subject="A run is overdue", body="Look at it.", at=clock.now())
"""


def _serve(data: Path, *arguments: str, **changes: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "manage.py", "serve", *arguments],
        cwd=ROOT, env=environment(data, **changes), capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip


def _states(served: Server) -> list[str]:
    return [state for (state,) in served.rows("SELECT state FROM work_work")]


def _until(holds: object, *, within_s: float) -> None:
    until = time.monotonic() + within_s
    assert callable(holds)
    while not holds():
        assert time.monotonic() < until, f"not within {within_s} s"
        time.sleep(0.1)
