"""What came from a phone becomes a row: as an entry, or kept as it came. Used by `actions` alone."""

from __future__ import annotations

import hashlib
import json
import reprlib
import secrets
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

from jobs.firms.models import Member, Role
from jobs.firms.scope import firm_in_scope
from jobs.ground.trade import Plan
from jobs.planning import trade as planning_trade
from jobs.planning.models import Job
from jobs.visits import given, trade
from jobs.visits.envelope import Envelope, text_hash
from jobs.visits.kinds import KINDS, Kind
from jobs.visits.kinds.check import complaint, subject_fits
from jobs.visits.ledger import Ledger, read
from jobs.visits.models import Entry, EntryText, HeldItem, ReceiptFinding, Unread, Visit


@dataclass(frozen=True)
class Receipt:
    """What the phone is told. Only `stored` and `duplicate` say that the office has exactly this entry."""

    id: str
    status: str
    received_at: datetime
    why: str = ""


@dataclass(frozen=True)
class Arrival:
    """How an entry came in."""

    sender: Member
    sent_at: datetime
    received_at: datetime

    @property
    def offset_s(self) -> float:
        """How far the phone's clock is behind."""
        return round((self.received_at - self.sent_at).total_seconds(), 3)


@dataclass
class Incoming:
    """An entry on its way into the ledger."""

    read: Envelope
    arrival: Arrival
    job: Job
    person: Member
    visit: Visit | None
    plan: Plan
    salt: str = field(default_factory=lambda: secrets.token_hex(16))


def keep(body: str, *, why: Unread, device: UUID | None, sender: Member, at: datetime) -> HeldItem:
    """Keeps what could not become an entry, once however often it comes."""
    digest = hashlib.sha256(body.encode("utf-8", "surrogatepass")).hexdigest()
    found = HeldItem.objects.filter(content_hash=digest).first()
    if found:
        return found
    item = HeldItem(
        why=why,
        body=body.encode("utf-8", "backslashreplace").decode().replace("\x00", "\\x00"),
        device=device,
        sent_by=sender,
        received_at=at,
        content_hash=digest,
    )
    item.save()
    return item


def as_text(raw: Any) -> str:
    """As JSON, whatever it is; what is nested too deep for that is kept as Python prints it, cut short inside."""
    try:
        return json.dumps(raw, ensure_ascii=True, sort_keys=True, default=str)
    except (RecursionError, TypeError, ValueError):
        return reprlib.repr(raw)


def person_of(author: UUID) -> Member | None:
    return Member.objects.select_related("user").filter(pk=author, firm_id=firm_in_scope()).first()


def same_content(row: Entry, read: Envelope) -> bool:
    """Is this the entry that is stored under the id? Erased text cannot be compared and counts as the same."""
    if row.content_hash != read.content_hash:
        return False
    side = EntryText.objects.filter(entry=row).first()
    if side is None:
        return bool(row.text_hash) or not read.text
    return text_hash(side.salt, read.text) == row.text_hash


def hold_code(new: Incoming) -> str:
    """Why the office has to look, whatever the order of the work; empty: nothing is wrong with the entry itself."""
    read, kind = new.read, KINDS.get(new.read.kind)
    if read.schema > trade.SCHEMA:
        return "schema"
    if kind is None:
        return "kind"
    if new.job.state in planning_trade.CLOSED:
        return "closed"
    if not new.person.is_active or not _may(new.person, kind.roles):
        return "rights"
    return "visit" if read.visit and new.visit is None else _complaint(read, kind, given.codes_of(new.plan))


def _complaint(read: Envelope, kind: Kind, codes: dict[str, tuple[str, ...]]) -> str:
    if not subject_fits(kind, read.subject, codes):
        return "subject"
    return "" if read.reason == "withdrawn" else complaint(kind, read.payload, read.text, codes)


def may_count(row: Entry) -> bool:
    """May the office let a held entry count: it can be read, also when it is held for something else."""
    kind = KINDS.get(row.kind)
    if kind is None or not trade.may_be_taken(row.held):
        return False
    codes = given.codes_of(given.plan_for(row.job))
    return row.reason == "withdrawn" or trade.may_be_taken(complaint(kind, row.payload, {}, codes))


def _may(person: Member, roles: tuple[str, ...]) -> bool:
    """The manager may log what anybody may, phoned in or from paper."""
    return person.has_role(Role.MANAGER, *(Role(role) for role in roles))


def row_of(new: Incoming, held: str) -> Entry:
    """The row, not saved yet."""
    read, known = new.read, KINDS.get(new.read.kind)
    names = known.names if known else frozenset(read.payload)
    unknown = {name: value for name, value in read.payload.items() if name not in names}
    extra = {**read.extra, **({"payload": unknown} if unknown else {})}
    if read.visit and new.visit is None:
        extra["visit"] = str(read.visit)
    return Entry(
        id=read.id,
        job=new.job,
        visit=new.visit,
        kind=read.kind,
        subject=read.subject,
        payload={name: value for name, value in read.payload.items() if name in names},
        extra=extra,
        source=read.source,
        supersedes=read.supersedes,
        reason=read.reason,
        instrument=read.instrument,
        person=new.person,
        sent_by=new.arrival.sender,
        device=read.device,
        device_seq=read.seq,
        schema=read.schema,
        client_build=read.client_build,
        observed_at=read.observed_at,
        recorded_at=read.recorded_at,
        received_at=new.arrival.received_at,
        clock_offset_s=new.arrival.offset_s,
        time_zone=read.tz,
        content_hash=read.content_hash,
        text_hash=text_hash(new.salt, read.text),
        held=held[:60],
    )


def judged(new: Incoming) -> tuple[Entry, Ledger]:
    """The row with its hold code, and the ledger with this entry in it."""
    row = row_of(new, hold_code(new))
    folded = read(new.job, plus=row, plan=new.plan)
    row.held = folded.folded["held"].get(str(row.pk), row.held)[:60]
    return row, folded


def insert(row: Entry, new: Incoming) -> Entry | None:
    """The row as it stands in the database under this id, ours or not; None when another firm has the id."""
    Entry.objects.bulk_create([row], ignore_conflicts=True)
    found: Entry | None = Entry.objects.filter(pk=row.pk).first()
    if found and new.read.text and found.text_hash == row.text_hash:
        EntryText(entry=found, person=new.person, salt=new.salt, body=new.read.text).save()
    return found


def _after_the_last(row: Entry, before: Entry | None) -> list[tuple[str, float | None]]:
    """How it follows on the phone's entry before it: numbers left out, and a clock that was put back or forward."""
    found: list[tuple[str, float | None]] = []
    if before and row.device_seq - before.device_seq > 1:
        found.append(("seq_gap", float(row.device_seq - before.device_seq - 1)))
    back = (before.recorded_at - row.recorded_at).total_seconds() if before else 0.0
    moved = _moved(row)
    if back > trade.PUT_BACK_S or moved < -trade.PUT_BACK_S:
        found.append(("put_back", max(back, -moved)))
    elif moved > trade.PUT_BACK_S:
        found.append(("put_forward", moved))
    return found


def _moved(row: Entry) -> float:
    """By how many seconds the phone saw its own clock put forward since its entry before: two times alone cannot tell."""
    told = row.extra.get("clock_moved_s")
    return float(told) if isinstance(told, int | float) and abs(told) < trade.CLOCK_LOST_S else 0.0


def note_arrival(row: Entry) -> None:
    """What can only be judged now: clock, late or early typing, who sent it, gaps and repeats in the phone's numbering."""
    typed_after = (row.recorded_at - row.observed_at).total_seconds()
    found: list[tuple[str, float | None]] = []
    if abs(row.clock_offset_s) > trade.CLOCK_OFF_S:
        found.append(("clock", row.clock_offset_s))
    if typed_after > trade.LATE_S:
        found.append(("late", typed_after))
    if -typed_after > trade.AHEAD_S:
        found.append(("future", -typed_after))
    kind = KINDS.get(row.kind)
    if row.sent_by_id != row.person_id and kind and not _may(row.sent_by, kind.roles):
        found.append(("sender", None))
    others = Entry.objects.filter(device=row.device).exclude(pk=row.pk)
    if others.filter(device_seq=row.device_seq).exists():
        found.append(("seq_repeat", float(row.device_seq)))
    found += _after_the_last(row, others.filter(device_seq__lt=row.device_seq).order_by("-device_seq").first())
    ReceiptFinding.objects.bulk_create([ReceiptFinding(entry=row, code=code, value=value) for code, value in found])
