"""The first command a newcomer types: it prepares everything, serves, says how to sign in, and stops."""

from __future__ import annotations

import signal
import socket
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import pytest

from groundloop import pdf_libraries
from groundloop.demo.people import PEOPLE, WORD
from tests.running.browser import Browser
from tests.running.server import ROOT, Process, environment, free_port, wait_until_answers


@dataclass(frozen=True)
class Start:
    """One start of the demo: what it printed, how it ended, who could sign in meanwhile."""

    url: str
    output: str
    exit_code: int
    seconds: float
    signed_in: tuple[str, ...]


def _start(data: Path, log: Path) -> Start:
    port = free_port()
    command = [sys.executable, "manage.py", "demo", "--port", str(port)]
    process = Process(command, environment(data), log)
    url, started = f"http://localhost:{port}", time.monotonic()
    process.start()
    try:
        wait_until_answers(url, process, within_s=400)
        seconds = time.monotonic() - started
        for person in PEOPLE:
            Browser(url).sign_in(person.email, WORD)
        code = process.stop(signal.SIGINT)
    finally:
        if process.running:
            process.kill9()
    return Start(url, process.output(), code, seconds, tuple(person.email for person in PEOPLE))


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("demo")


@pytest.fixture(scope="module")
def first(data: Path) -> Start:
    return _start(data / "data", data / "first.log")


def test_everybody_it_names_can_sign_in(first: Start) -> None:
    assert first.url in first.output
    assert WORD in first.output
    assert [email for email in first.signed_in if email not in first.output] == []


def test_ctrl_c_ends_it_cleanly(first: Start) -> None:
    assert first.exit_code == 0
    assert "Stopped." in first.output
    assert "Traceback" not in first.output


def test_a_second_start_is_quick_and_keeps_what_is_there(first: Start, data: Path) -> None:
    second = _start(data / "data", data / "second.log")
    assert "Loading the demo firm" in first.output
    assert "Loading the demo firm" not in second.output
    assert second.seconds < 20


def test_a_used_port_is_said_before_anything_is_prepared(tmp_path: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        done = subprocess.run(
            [sys.executable, "manage.py", "demo", "--port", str(port)],
            cwd=ROOT, env=environment(tmp_path / "other"), capture_output=True, text=True, timeout=60, check=False,
        )  # fmt: skip
    assert done.returncode == 1
    assert done.stderr.strip().endswith(f"Port {port} is in use: stop what uses it, or choose another with --port.")
    assert "Preparing" not in done.stdout


def test_missing_pdf_libraries_are_named_in_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("jobs.sheets.render.available", lambda: False)
    sentence = pdf_libraries.missing()
    assert sentence.endswith("apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0")
    assert "\n" not in sentence
    monkeypatch.setattr("jobs.sheets.render.available", lambda: True)
    assert pdf_libraries.missing() == ""
