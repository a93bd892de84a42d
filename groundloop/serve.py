"""The embedded default: web server, Celery worker and beat in one process, broker in memory, for one machine.

The truth lies in rows, so a kill -9 loses nothing that was acknowledged: the next start sweeps up what was under way.
"""

from __future__ import annotations

import errno
import fcntl
import os
import signal
import socket
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import IO, Any

from celery import signals
from celery.beat import EmbeddedService
from celery.worker import WorkController
from celery.worker import state as worker_state
from django.conf import settings
from django.core.wsgi import get_wsgi_application
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from waitress import create_server

from groundloop import one_process
from groundloop.celery import app
from groundloop.collected import collect_when_stale

WEB_THREADS = 8
WORKER_THREADS = 2
DRAIN_S = 10  # answers under way when the stop comes
WORK_S = 75  # work under way: longer than the longest lease of a PDF
NOTICE = (
    "This set-up is for one machine: one process, SQLite. For more, set DATABASE_URL and REDIS_URL (docs/running.md)."
)


class CannotServe(Exception):
    """Serving is refused; the message is one sentence that says what to do."""


class Door:
    """The web application, with a count of answers under way, so that a stop can wait for them."""

    def __init__(self, application: Callable[..., Iterable[bytes]]) -> None:
        self._application = application
        self._lock = threading.Lock()
        self._inside = 0
        self._closed = False

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        with self._lock:
            if self._closed:
                start_response("503 Service Unavailable", [("Retry-After", "10"), ("Content-Length", "0")])
                return [b""]
            self._inside += 1
        try:
            answer = self._application(environ, start_response)
        except BaseException:
            self._leave()
            raise
        return _Answer(answer, self._leave)

    def _leave(self) -> None:
        with self._lock:
            self._inside -= 1

    def close(self, *, within_s: float) -> None:
        """Lets nobody in any more, and returns when the last one is out or the time is over."""
        with self._lock:
            self._closed = True
        until = time.monotonic() + within_s
        while self._inside and time.monotonic() < until:
            time.sleep(0.05)
        time.sleep(0.2)  # the last bytes leave through the server's own loop


class _Answer:
    """A response body that tells when the server is done with it."""

    def __init__(self, body: Iterable[bytes], done: Callable[[], None]) -> None:
        self._body = body
        self._done = done

    def __iter__(self) -> Iterator[bytes]:
        return iter(self._body)

    def close(self) -> None:
        try:
            getattr(self._body, "close", lambda: None)()
        finally:
            self._done()


def hold_data_folder() -> IO[str]:
    """Takes the folder for this process; the system lets go of it however the process ends."""
    settings.DATA_DIR.mkdir(parents=True, exist_ok=True)
    held: IO[str] = (settings.DATA_DIR / "in-use").open("a")
    try:
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        held.close()
        raise CannotServe(
            f"Groundloop is already running on {settings.DATA_DIR}: stop it first, or set GROUNDLOOP_DATA to another folder."
        ) from None
    return held


def refuse_unless_ready() -> None:
    if not settings.EMBEDDED:
        raise CannotServe("REDIS_URL is set, so run web, worker and beat separately: see docs/running.md.")
    executor = MigrationExecutor(connection)
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        raise CannotServe("The database is not up to date: run `python3 manage.py migrate`, then start again.")


class OneProcess:
    """Web threads, worker and beat; `run` returns when asked to stop and everything has stopped."""

    def __init__(self, host: str, port: int) -> None:
        self.door = Door(get_wsgi_application())
        self.server = _listen(self.door, host, port)
        self.worker = WorkController(
            app=app,
            pool_cls="threads",
            concurrency=WORKER_THREADS,
            ready_callback=lambda consumer: signals.worker_ready.send(sender=consumer),
            without_heartbeat=True,
            without_mingle=True,
            without_gossip=True,
        )
        self.beat: Any = EmbeddedService(app, thread=True, scheduler_cls="celery.beat:Scheduler")
        self.worker_thread = threading.Thread(target=self.worker.start, name="worker", daemon=True)
        self.stopping = threading.Event()

    def run(self, *, ready: Callable[[], None]) -> None:
        previous = {name: signal.signal(name, self._stop) for name in (signal.SIGINT, signal.SIGTERM)}
        self.worker_thread.start()
        self.beat.start()
        threading.Thread(target=self.server.run, name="web", daemon=True).start()
        ready()
        while not self.stopping.wait(2):
            if not (self.worker_thread.is_alive() and self.beat.is_alive()):
                break
        for name, handler in previous.items():
            signal.signal(name, handler)
        self._end()
        if not self.stopping.is_set():
            raise CannotServe("The background worker broke off, so everything was stopped: start again.")

    def _stop(self, _signal: int, _frame: FrameType | None) -> None:
        self.stopping.set()

    def _end(self) -> None:
        self.door.close(within_s=DRAIN_S)
        worker_state.should_stop = os.EX_OK  # type: ignore[assignment]  # the worker finishes what it has begun
        if self.beat.is_alive():
            self.beat.stop()
        self.worker_thread.join(timeout=WORK_S)


@contextmanager
def _port_refusals(host: str, port: int) -> Iterator[None]:
    try:
        yield
    except OSError as problem:
        if problem.errno == errno.EADDRINUSE:
            raise CannotServe(f"Port {port} is in use: stop what uses it, or choose another with --port.") from None
        raise CannotServe(f"Cannot listen on {host} port {port}: {problem.strerror or problem}.") from None


def refuse_used_port(host: str, port: int) -> None:
    """Asked before a long preparation; the server asks again."""
    with _port_refusals(host, port), socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        probe.bind((host, port))


def _listen(application: Door, host: str, port: int) -> Any:
    with _port_refusals(host, port):
        return create_server(application, host=host, port=port, threads=WEB_THREADS, ident=None)


def serve(host: str, port: int, *, say: Callable[[str], Any]) -> None:
    """Runs the embedded default until SIGTERM or Ctrl-C. Raises `CannotServe`."""
    refuse_unless_ready()
    held = hold_data_folder()
    one_process.inside.set()
    try:
        collect_when_stale()
        process = OneProcess(host, port)
        process.run(ready=lambda: say(f"Groundloop is running at {settings.SITE_URL} - stop it with Ctrl-C.\n{NOTICE}"))
        say("Stopped.")
    finally:
        held.close()
