"""The service as it really runs, started and killed from a test: the one process, or web, worker and beat apart."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path
from typing import Any, Self

from tests.running.browser import Browser

ROOT = Path(__file__).resolve().parents[2]
START_S = 60
STOP_S = 40
SETUP = """
import django
django.setup()
from django.core.management import call_command
from groundloop.collected import collect_when_stale
from groundloop.demo.people import make_firm
from jobs.firms import clock
call_command("migrate", verbosity=0)
collect_when_stale()
make_firm(clock.now())
"""


def environment(data: Path, **changes: str) -> dict[str, str]:
    """Nothing of the outer set-up leaks into the one under test."""
    outer = {"DATABASE_URL", "REDIS_URL", "DJANGO_SETTINGS_MODULE", "GROUNDLOOP_TEST_DB", "GROUNDLOOP_CLOCK_FILE"}
    kept = {name: value for name, value in os.environ.items() if name not in outer}
    return {
        **kept,
        "GROUNDLOOP_DATA": str(data),
        "PYTHONUNBUFFERED": "1",
        "WORK_SWEEP_SECONDS": "2",
        **changes,
    }


def make_template(folder: Path, **changes: str) -> None:
    """A migrated database with the demo firm's three people, and the gathered static files."""
    run_python(SETUP, environment(folder, **changes))


def run_python(code: str, env: dict[str, str]) -> str:
    """What this code prints in a fresh process of the project."""
    env = {"DJANGO_SETTINGS_MODULE": "groundloop.settings", **env}
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env=env, capture_output=True, text=True, check=False, timeout=180
    )
    if done.returncode:
        raise AssertionError(done.stderr[-4000:])
    return done.stdout


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


class Process:
    """One process with its own process group and log."""

    def __init__(self, command: list[str], env: dict[str, str], log: Path) -> None:
        self.command, self.env, self.log = command, env, log
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        with self.log.open("ab") as out:
            self.process = subprocess.Popen(
                self.command, cwd=ROOT, env=self.env, stdout=out, stderr=subprocess.STDOUT, start_new_session=True
            )

    def send(self, number: signal.Signals) -> None:
        if self.process is not None and self.process.poll() is None:
            os.killpg(self.process.pid, number)

    def wait(self, within_s: float = STOP_S) -> int:
        assert self.process is not None, "never started"
        return self.process.wait(timeout=within_s)

    def stop(self, number: signal.Signals = signal.SIGTERM) -> int:
        """The exit code of a clean stop."""
        self.send(number)
        return self.wait()

    def kill9(self) -> None:
        self.send(signal.SIGKILL)
        self.wait()

    def pids(self) -> list[int]:
        """Itself and all that it has started, as long as they are of its group."""
        assert self.process is not None, "never started"
        found = []
        for entry in Path("/proc").iterdir():
            with suppress(ProcessLookupError):  # gone meanwhile
                if entry.name.isdigit() and os.getpgid(int(entry.name)) == self.process.pid:
                    found.append(int(entry.name))
        return found

    @property
    def running(self) -> bool:
        return self.process is not None and self.process.poll() is None

    def output(self) -> str:
        return self.log.read_text(encoding="utf-8", errors="replace") if self.log.exists() else ""


class Server:
    """`manage.py serve` on a free port with a data folder of its own."""

    def __init__(self, data: Path, **changes: str) -> None:
        self.data = data
        self.port = free_port()
        self.base_url = f"http://localhost:{self.port}"
        self.env = environment(data, SITE_URL=self.base_url, **changes)
        command = [sys.executable, "manage.py", "serve", "--port", str(self.port)]
        self.process = Process(command, self.env, data / "server.log")

    def start(self) -> Self:
        self.process.start()
        wait_until_answers(self.base_url, self.process)
        return self

    def stop(self) -> int:
        return self.process.stop()

    def kill9(self) -> None:
        self.process.kill9()

    def restart(self) -> Self:
        if self.process.running:
            self.stop()
        return self.start()

    def python(self, code: str) -> str:
        """Runs code against the same data in another process, with Django set up."""
        return run_python(f"import django; django.setup()\n{code}", self.env)

    def rows(self, sql: str, *parameters: Any) -> list[tuple[Any, ...]]:
        """Read straight from the SQLite file, past all of the service's own code."""
        connection = sqlite3.connect(f"file:{self.data / 'groundloop.sqlite3'}?mode=ro", uri=True, timeout=20)
        try:
            return connection.execute(sql, parameters).fetchall()
        finally:
            connection.close()

    def browser(self, email: str = "", password: str = "") -> Browser:
        """A client with cookies; signed in when an e-mail is given."""
        browser = Browser(self.base_url)
        if email:
            browser.sign_in(email, password)
        return browser


def wait_until_answers(base_url: str, process: Process, within_s: float = START_S) -> None:
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        if not process.running:
            raise AssertionError(f"ended at once:\n{process.output()[-4000:]}")
        if Browser(base_url, timeout_s=2).answers("/healthz"):
            return
        time.sleep(0.1)
    raise AssertionError(f"no answer in {within_s} s:\n{process.output()[-4000:]}")


def copy_of(template: Path, folder: Path) -> Path:
    """A fresh copy, because the ledgers' triggers forbid to empty a used one."""
    shutil.copytree(template, folder, dirs_exist_ok=True)
    return folder


def wait_for_port(port: int, within_s: float = 10) -> None:
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)
    raise AssertionError(f"nothing listens on port {port}")
