"""A phone's log: how one entry is written down and sent, the pictures it speaks of, the instruments it was read with."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any
from uuid import UUID, uuid5

from groundloop.demo.pictures import picture
from jobs.firms.models import Member
from jobs.firms.scope import scope
from jobs.planning.models import Instrument, Job
from jobs.visits import actions
from jobs.visits.receiving import Receipt

# Monday morning; the clocks change three weeks later, inside no run of the main job.
START = datetime(2026, 3, 9, 7, 30, tzinfo=UTC)
DEVICE = UUID("6f1d2c3b-4a59-4e68-8776-9584a3b2c1d0")


def n(text: str, unit: str) -> dict[str, Any]:
    """A number as typed."""
    return {"text": text, "value": float(text.replace(",", ".")), "unit": unit}


PHOTOS = (
    *(f"{what} S{number}" for what in ("trench", "before backfill") for number in range(1, 10)),
    "services",
    "penetration",
    "plant room",
    "label",
)


@cache
def sha256_of(name: str) -> str:
    return hashlib.sha256(picture(name)).hexdigest()


def photo(name: str) -> dict[str, Any]:
    """A photo as it travels: the hash of its bytes."""
    return {"value": [sha256_of(name)]}


def photos_of(payload: Mapping[str, Any]) -> list[str]:
    """The hashes of the photos an entry speaks of."""
    found = payload.get("photo") or {}
    return list(found.get("value") or [])


def known_photos(job: Job, hashes: Iterable[str]) -> list[str]:
    """The names of those pictures of the story of this job that have these hashes."""
    wanted = set(hashes)
    return [name for what in PHOTOS if sha256_of(name := f"{what}, job {job.number}") in wanted]


def value(answer: Any) -> dict[str, Any]:
    """A short answer as it travels; dicts are taken as they are."""
    if isinstance(answer, dict):
        return answer
    if isinstance(answer, datetime):
        return {"value": answer.isoformat()}
    return {"value": list(answer) if isinstance(answer, list | tuple) else answer}


@dataclass
class Log:
    """A phone's log: numbers its entries and keeps its own clock. Ids are the same at every run."""

    job: Job
    author: Member
    device: UUID = DEVICE
    at: datetime = START
    seq: int = 0
    instruments: Mapping[str, str] = field(default_factory=dict)  # kind -> id
    entries: list[dict[str, Any]] = field(default_factory=list)

    def photo(self, what: str) -> dict[str, Any]:
        """A photo of this job; no two jobs share one."""
        return photo(f"{what}, job {self.job.number}")

    def add(
        self, kind: str, subject: str = "", *, after: float = 1, text: Mapping[str, Any] | None = None, **answers: Any
    ) -> dict[str, Any]:
        """One entry `after` minutes later; `by`, `supersedes`, `reason`, `at` are of the envelope."""
        self.at += timedelta(minutes=after)
        self.seq += 1
        envelope = {
            name: answers.pop(name) for name in ("by", "supersedes", "reason", "instrument", "visit") if name in answers
        }
        entry = {
            "id": str(uuid5(self.device, f"{self.job.pk} {self.seq}")),
            "job": str(self.job.pk),
            "visit": str(envelope["visit"]) if envelope.get("visit") else None,
            "kind": kind,
            "subject": subject,
            "payload": {name: value(answer) for name, answer in answers.items()},
            "text": dict(text or {}),
            "observed_at": self.at.isoformat(),
            "recorded_at": (self.at + timedelta(seconds=20)).isoformat(),
            "tz": "Europe/London",
            "seq": self.seq,
            "supersedes": envelope.get("supersedes"),
            "reason": envelope.get("reason", ""),
            "instrument": self.instruments.get(envelope.get("instrument", "")),
            "source": "typed",
            "schema": 1,
            "device": str(self.device),
            "author": str(envelope.get("by", self.author).pk),
            "client_build": "test",
        }
        self.entries.append(entry)
        return entry


def send(entries: Iterable[Mapping[str, Any]], *, sender: Member, received_at: datetime | None = None) -> list[Receipt]:
    """Sends them one by one, as the inbox does; received ten seconds after each was typed unless a time is given."""
    receipts = []
    for entry in entries:
        at = received_at or datetime.fromisoformat(entry["recorded_at"]) + timedelta(seconds=10)
        with scope(sender.firm_id):
            receipts.append(actions.receive(dict(entry), sender=sender, sent_at=at, received_at=at))
    return receipts


def tools(firm: UUID) -> dict[str, str]:
    """One instrument of each kind by id: of several, the one with the finest steps."""
    with scope(firm, writes=False):
        rows = sorted(Instrument.objects.all(), key=lambda row: -(row.resolution or 1.0))
        return {row.kind: str(row.pk) for row in rows}
