"""The one process watches its own parts: when worker or beat breaks off, it does not go on without them."""

from __future__ import annotations

import threading
from typing import Any

import pytest

from groundloop import one_process
from groundloop.env import BadEnvironment
from groundloop.serve import CannotServe, Door, OneProcess


class _Part:
    """A thread's face: alive or not."""

    def __init__(self, *, alive: bool) -> None:
        self.alive, self.calls = alive, list[str]()

    def is_alive(self) -> bool:
        return self.alive

    def start(self) -> None:
        self.calls.append("start")

    def stop(self) -> None:
        self.calls.append("stop")

    def join(self, timeout: float) -> None:
        self.calls.append("join")

    def run(self) -> None:
        self.calls.append("run")


def _process(*, worker: bool, beat: bool) -> OneProcess:
    made: Any = object.__new__(OneProcess)
    made.door, made.server = Door(lambda environ, start_response: []), _Part(alive=True)
    made.worker_thread, made.beat = _Part(alive=worker), _Part(alive=beat)
    made.stopping = threading.Event()
    found: OneProcess = made
    return found


@pytest.mark.parametrize(("worker", "beat"), [(False, True), (True, False)])
def test_a_part_that_breaks_off_ends_all_with_a_sentence(worker: bool, beat: bool) -> None:
    process, said = _process(worker=worker, beat=beat), list[str]()
    with pytest.raises(CannotServe, match="start again"):
        process.run(ready=lambda: said.append("ready"))
    assert said == ["ready"]
    assert ("stop" in process.beat.calls) is beat


def test_asked_to_stop_it_stops_its_parts() -> None:
    process = _process(worker=True, beat=True)
    process.run(ready=process.stopping.set)
    assert process.beat.calls == ["start", "stop"]


def test_gunicorn_needs_redis_and_then_may_run(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.EMBEDDED = True
    one_process.refuse_gunicorn()
    monkeypatch.setenv("SERVER_SOFTWARE", "gunicorn/27.0.1")
    with pytest.raises(BadEnvironment, match="Set REDIS_URL"):
        one_process.refuse_gunicorn()
    settings.EMBEDDED = False
    one_process.refuse_gunicorn()
