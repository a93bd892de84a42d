"""The web application's door: who is inside is waited for, who comes later is sent away."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable
from typing import Any

import pytest

from groundloop.serve import Door


def _slow(entered: threading.Event, leave: threading.Event) -> Callable[..., Iterable[bytes]]:
    def application(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        entered.set()
        leave.wait(5)
        start_response("200 OK", [])
        return [b"answer"]

    return application


def _ask(door: Door, said: list[str]) -> bytes:
    answer = door({}, lambda status, headers: said.append(status))
    try:
        return b"".join(answer)
    finally:
        getattr(answer, "close", lambda: None)()


def test_closing_waits_for_who_is_inside() -> None:
    entered, leave, said, bodies = threading.Event(), threading.Event(), list[str](), list[bytes]()
    door = Door(_slow(entered, leave))
    asker = threading.Thread(target=lambda: bodies.append(_ask(door, said)))
    asker.start()
    assert entered.wait(5)
    threading.Timer(0.4, leave.set).start()
    started = time.monotonic()
    door.close(within_s=5)
    assert time.monotonic() - started >= 0.4
    asker.join()
    assert (said, bodies) == (["200 OK"], [b"answer"])


def test_closing_does_not_wait_for_ever() -> None:
    entered, leave = threading.Event(), threading.Event()
    door = Door(_slow(entered, leave))
    asker = threading.Thread(target=lambda: _ask(door, []))
    asker.start()
    assert entered.wait(5)
    started = time.monotonic()
    door.close(within_s=0.3)
    assert time.monotonic() - started < 2
    leave.set()
    asker.join()


def test_a_closed_door_says_when_to_come_back() -> None:
    said: list[Any] = []
    door = Door(lambda environ, start_response: [b"never"])
    door.close(within_s=0)
    assert b"".join(door({}, lambda status, headers: said.append((status, dict(headers)["Retry-After"])))) == b""
    assert said == [("503 Service Unavailable", "10")]


def test_an_application_that_breaks_does_not_hold_the_door() -> None:
    def broken(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        raise LookupError

    door = Door(broken)
    with pytest.raises(LookupError):
        _ask(door, [])
    started = time.monotonic()
    door.close(within_s=5)
    assert time.monotonic() - started < 1
