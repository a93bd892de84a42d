"""What comes from phones goes in here: entries one by one, photos piece by piece, reports."""

from __future__ import annotations

import json
import logging
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import IntegrityError, InterfaceError, OperationalError, transaction

from jobs.field import queries
from jobs.field.inbox import Batch, numbers, whole
from jobs.files import actions as files
from jobs.files import queries as file_queries
from jobs.files.errors import UploadRefused
from jobs.firms import audit
from jobs.firms.models import Device, Member
from jobs.firms.scope import scope
from jobs.visits import actions as visits

log = logging.getLogger(__name__)


def take_batch(batch: Batch, *, sender: Member, at: datetime) -> list[dict[str, Any]]:
    """Takes what can be taken and keeps the rest for a person; returns when all of it is committed."""
    with scope(sender.firm_id):
        see_device(batch.device, label=batch.device_label, waiting=batch.waiting, at=at)
        return [_take(entry, batch, sender, at) for entry in batch.entries]


def _take(entry: Any, batch: Batch, sender: Member, at: datetime) -> dict[str, Any]:
    """One entry in its own savepoint: a bad one takes none of its neighbours with it."""
    raw = _with_envelope(entry, batch)
    try:
        with transaction.atomic():
            receipt = visits.receive(raw, sender=sender, sent_at=batch.sent_at, received_at=at)
    except (OperationalError, InterfaceError):
        # The database itself is in trouble: no receipt, the phone tries again.
        raise
    except Exception:  # whatever is wrong with it, it is kept
        log.exception("an entry from a phone could not be taken; it is kept for a person to look at")
        return _keep(raw, batch, sender, at)
    return {
        "id": receipt.id,
        "status": receipt.status,
        "received_at": receipt.received_at.isoformat(),
        "why": receipt.why,
    }


def _with_envelope(entry: Any, batch: Batch) -> Any:
    """What stands once on the envelope counts for each entry in it."""
    if not isinstance(entry, dict):
        return entry
    envelope = {
        "device": str(batch.device),
        "author": str(batch.author),
        "client_build": batch.client_build,
        "schema": batch.schema,
    }
    return envelope | entry


def _keep(raw: Any, batch: Batch, sender: Member, at: datetime) -> dict[str, Any]:
    visits.receive_raw(json.dumps(raw, sort_keys=True), sender=sender, device=batch.device, received_at=at)
    minted = raw.get("id") if isinstance(raw, dict) else None
    return {"id": str(minted), "status": "held", "received_at": at.isoformat(), "why": "unreadable"}


def take_raw(body: bytes, *, sender: Member, device: UUID | None, at: datetime) -> None:
    """Keeps whatever was sent. NUL is no text for a database and is written out."""
    text = body.decode("utf-8", errors="backslashreplace").replace("\x00", "\\x00")
    with scope(sender.firm_id):
        visits.receive_raw(text, sender=sender, device=device, received_at=at)


def see_device(device: UUID, *, label: str, waiting: int | None, at: datetime) -> None:
    """Notes that this phone was heard of; `waiting` none leaves the count as it stands."""
    changes: dict[str, Any] = {"last_seen_at": at} | ({} if waiting is None else {"waiting": waiting})
    known = Device.objects.filter(pk=device)
    if known.update(**changes):
        return
    try:
        with transaction.atomic():
            Device.objects.create(pk=device, label=label, first_seen_at=at, **changes)
    except IntegrityError:
        # A phone's first letter and first report may come at one time.
        if not known.update(**changes):
            log.warning("a phone's id is known already outside this firm; its entries are taken all the same")


def hear_report(told: dict[str, Any], *, by: Member, at: datetime) -> None:
    """Keeps what the phone tells of itself; lost readings go to the audit log, where the office finds them."""
    try:
        device = UUID(str(told.get("device")))
    except ValueError:
        return
    see_device(device, label=str(told.get("label", ""))[:80], waiting=_still_waiting(device, told), at=at)
    lost = whole(told.get("lost", 0))
    phone = Device.objects.filter(pk=device).first()
    if lost and phone:
        since = str(told.get("lost_after", ""))[:40]
        audit.record(at=at, actor=by, verb="phone_lost_entries", subject=phone, lost=lost, after=since)


def _still_waiting(device: UUID, told: dict[str, Any]) -> int | None:
    """How much of what the phone tells of has not come in by now: its letters may have overtaken the report.

    None: the report is from before an entry that is here already, and whoever brought that told the newer count.
    """
    waiting = numbers(told.get("open"))
    if waiting is None:  # an older phone tells only how many
        return whole(told.get("waiting", 0))
    # A letter under way holds this row until its entries can be seen.
    Device.objects.select_for_update().filter(pk=device).first()
    if whole(told.get("seq", 0)) < queries.newest_number(device):
        return None
    return queries.not_here(device, waiting)


def open_upload(pk: UUID, told: dict[str, Any], *, at: datetime) -> dict[str, Any]:
    """Opens a photo's upload, or tells how far it came. Raises `UploadRefused`."""
    try:
        size, digest, kind = int(told["size"]), str(told["sha256"]), str(told["content_type"])
    except (KeyError, TypeError, ValueError) as error:
        raise UploadRefused("The photo came without its size and check sum. Take it again.") from error
    return queries.told(files.start_upload(pk, size=size, sha256=digest, content_type=kind, at=at))


def take_piece(pk: UUID, *, offset: int, data: bytes, at: datetime) -> dict[str, Any]:
    """Raises `WrongOffset`, `UploadRefused`, `UnknownUpload`."""
    found = file_queries.upload(pk)
    if found is None:
        raise queries.UnknownUpload
    return queries.told(files.take_piece(found, offset=offset, data=data, at=at))
