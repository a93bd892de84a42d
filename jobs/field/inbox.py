"""The envelope in which a phone sends its entries, read without judging what is inside."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

MOST_ENTRIES = 20
MOST_BYTES = 200_000
SCHEMAS = (1,)


class Unreadable(Exception):
    """This is no envelope; the phone sends its entries singly, then as raw text."""


@dataclass(frozen=True)
class Batch:
    """Entries of one author from one phone. `author` is who wrote them; who sends them is in the session."""

    device: UUID
    device_label: str
    author: UUID
    client_build: str
    schema: int
    sent_at: datetime
    waiting: int
    entries: tuple[Any, ...]


def read_batch(body: bytes) -> Batch:
    """Raises `Unreadable`."""
    sent = read_object(body)
    entries = sent.get("entries")
    if not isinstance(entries, list) or len(entries) > MOST_ENTRIES:
        raise Unreadable(f"Send at most {MOST_ENTRIES} entries at a time.")
    try:
        return Batch(
            device=UUID(str(sent["device"])),
            device_label=str(sent.get("device_label", ""))[:80],
            author=UUID(str(sent["author"])),
            client_build=str(sent.get("client_build", ""))[:40],
            schema=int(sent.get("schema", 1)),
            sent_at=read_time(sent["sent_at"]),
            waiting=whole(sent.get("waiting", 0)),
            entries=tuple(entries),
        )
    except (KeyError, TypeError, ValueError) as error:
        raise Unreadable("The envelope is incomplete.") from error


def read_object(body: bytes) -> dict[str, Any]:
    """A JSON object. Raises `Unreadable`."""
    try:
        sent = json.loads(body)
    except ValueError as error:
        raise Unreadable("This is not JSON.") from error
    if not isinstance(sent, dict):
        raise Unreadable("This is not a JSON object.")
    return sent


def read_time(text: object) -> datetime:
    """An ISO time with its offset; UTC when it has none."""
    found = datetime.fromisoformat(str(text))
    return found if found.tzinfo else found.replace(tzinfo=UTC)


def whole(value: object) -> int:
    """A count as the phone tells it: never below 0, never too large for its column."""
    try:
        return min(max(int(str(value)), 0), 1_000_000)
    except ValueError:
        return 0


def numbers(value: object) -> frozenset[int] | None:
    """The phone's own numbers of entries; none when it does not tell them."""
    if not isinstance(value, list):
        return None
    return frozenset(map(whole, value)) - {0}
