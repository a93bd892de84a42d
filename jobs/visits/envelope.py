"""One entry as it travels: read without judging, and put into the one form whose hash tells whether it is the same."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

import rfc8785

from jobs.visits.errors import Unreadable

KNOWN = frozenset(
    {
        "id", "job", "visit", "kind", "subject", "payload", "text", "observed_at", "recorded_at", "tz", "seq", "supersedes",
        "reason", "instrument", "source", "schema", "device", "author", "client_build",
    }
)  # fmt: skip
MOST_SEQ = 2**53
# A phone whose clock was reset starts at 1970; beyond these years no calendar sum can be made.
YEARS = range(1970, 2201)
LONGEST = {"kind": 40, "subject": 40, "source": 20, "reason": 20, "tz": 60}


@dataclass(frozen=True)
class Envelope:
    """What is read from an entry; `extra` is what this server does not know."""

    id: UUID
    job: UUID
    visit: UUID | None
    kind: str
    subject: str
    payload: dict[str, Any]
    text: dict[str, Any]
    observed_at: datetime
    recorded_at: datetime
    tz: str
    seq: int
    supersedes: UUID | None
    reason: str
    instrument: UUID | None
    source: str
    schema: int
    device: UUID
    author: UUID
    client_build: str
    extra: dict[str, Any]

    @property
    def content_hash(self) -> str:
        """Of all that was said but the side text; how and by whom it was sent does not count."""
        return hashlib.sha256(canonical(self._content())).hexdigest()

    def _content(self) -> dict[str, Any]:
        return {
            "id": str(self.id),
            "job": str(self.job),
            "visit": _text(self.visit),
            "kind": self.kind,
            "subject": self.subject,
            "payload": self.payload,
            "observed_at": self.observed_at.astimezone(UTC).isoformat(),
            "recorded_at": self.recorded_at.astimezone(UTC).isoformat(),
            "tz": self.tz,
            "seq": self.seq,
            "supersedes": _text(self.supersedes),
            "reason": self.reason,
            "instrument": _text(self.instrument),
            "source": self.source,
            "schema": self.schema,
            "device": str(self.device),
            "author": str(self.author),
            "extra": self.extra,
        }


def text_hash(salt: str, text: dict[str, Any]) -> str:
    """sha256 over salt and canonical JSON, so that the text can go and the entry still verifies."""
    return hashlib.sha256(salt.encode() + canonical(text)).hexdigest() if text else ""


def canonical(value: Any) -> bytes:
    """RFC 8785. Raises `Unreadable` for numbers and text that have no such form."""
    try:
        found: bytes = rfc8785.dumps(value)
    except (rfc8785.CanonicalizationError, RecursionError, UnicodeError) as error:
        raise Unreadable("This has no canonical form.") from error
    return found


def read(raw: Any) -> Envelope:
    """Raises `Unreadable`: then it is kept as it came."""
    if not isinstance(raw, dict):
        raise Unreadable("This is not a JSON object.")
    try:
        found = _read(raw)
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise Unreadable("The entry is incomplete.") from error
    words = [found.kind, found.subject, found.tz, found.reason, found.source, found.client_build]
    if b"\\u0000" in canonical([found.payload, found.text, found.extra, *words]):
        raise Unreadable("There is a NUL in the text.")
    return found


def _read(raw: dict[str, Any]) -> Envelope:
    return Envelope(
        id=UUID(str(raw["id"])),
        job=UUID(str(raw["job"])),
        visit=_uuid(raw.get("visit")),
        kind=_word(raw, "kind"),
        subject=_word(raw, "subject"),
        payload=_object(raw["payload"]),
        text=_object(raw.get("text") or {}),
        observed_at=_time(raw["observed_at"]),
        recorded_at=_time(raw["recorded_at"]),
        tz=_word(raw, "tz"),
        seq=_whole(raw["seq"], MOST_SEQ),
        supersedes=_uuid(raw.get("supersedes")),
        reason=_word(raw, "reason"),
        instrument=_uuid(raw.get("instrument")),
        source=_word(raw, "source") or "typed",
        schema=_whole(raw.get("schema", 1), 32_767),
        device=UUID(str(raw["device"])),
        author=UUID(str(raw["author"])),
        client_build=str(raw.get("client_build") or "")[:40],
        extra={key: value for key, value in raw.items() if key not in KNOWN},
    )


def _word(raw: dict[str, Any], name: str) -> str:
    value = raw.get(name) or ""
    if not isinstance(value, str) or len(value) > LONGEST[name]:
        raise ValueError(name)
    return value


def _object(value: Any) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise TypeError("not an object")
    return value


def _whole(value: Any, most: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= most:
        raise ValueError("not a count")
    return value


def _time(value: Any) -> datetime:
    found = datetime.fromisoformat(str(value))
    if found.tzinfo is None:
        raise ValueError("a time without its zone")
    if found.astimezone(UTC).year not in YEARS:
        raise ValueError("a time that no clock shows")
    return found


def _uuid(value: Any) -> UUID | None:
    return None if value in (None, "") else UUID(str(value))


def _text(value: UUID | None) -> str | None:
    return None if value is None else str(value)
