"""Who makes what: one handler per kind, registered by the room that owns the kind, in its `apps.ready()`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import cast
from uuid import UUID

Handler = Callable[[UUID, datetime], None]
DueHandler = Callable[[UUID, datetime], datetime | None]
LongHandler = Callable[[UUID, UUID, datetime], None]
SECONDS = 60


class TwoHandlers(RuntimeError):
    """A kind was registered twice, by different functions."""


class NoHandler(RuntimeError):
    """A row is of a kind that no room has registered."""


@dataclass(frozen=True)
class Registered:
    """Exactly one of the three functions is set. `seconds`: after that a run counts as hanging."""

    kind: str
    label: str
    seconds: int
    short: Handler | None = None
    long: LongHandler | None = None
    due: DueHandler | None = None


_work: dict[str, Registered] = {}
_due: dict[str, Registered] = {}


def _add(registry: dict[str, Registered], new: Registered) -> None:
    if registry.get(new.kind, new) != new:
        raise TwoHandlers(new.kind)
    registry[new.kind] = new


def register(kind: str, handler: Handler | DueHandler, *, due: bool = False, label: str = "") -> None:
    """`handler(subject, at)` runs inside the firm's scope, in one transaction with the end of its row: database work only.

    `due`: for rows that fall due; it returns when the subject falls due next, or None.
    """
    text = label or kind.replace("_", " ")
    if due:
        _add(_due, Registered(kind, text, SECONDS, due=handler))
    else:
        _add(_work, Registered(kind, text, SECONDS, short=cast("Handler", handler)))


def register_long(kind: str, handler: LongHandler, *, seconds: int = SECONDS, label: str = "") -> None:
    """`handler(firm, subject, at)` runs outside any transaction and opens short scopes itself: for what takes seconds.

    It may run twice after a crash, so what it makes must be the same both times.
    """
    _add(_work, Registered(kind, label or kind.replace("_", " "), seconds, long=handler))


def for_work(kind: str) -> Registered:
    """Raises `NoHandler`."""
    if kind not in _work:
        raise NoHandler(kind)
    return _work[kind]


def for_due(kind: str) -> Registered:
    """Raises `NoHandler`."""
    if kind not in _due:
        raise NoHandler(kind)
    return _due[kind]


def kinds(*, due: bool) -> frozenset[str]:
    return frozenset(_due if due else _work)


def label(kind: str) -> str:
    """What people call it."""
    found = _work.get(kind) or _due.get(kind)
    return found.label if found else kind.replace("_", " ")
