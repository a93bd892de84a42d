from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db.models import Max, Q

from jobs.files import queries as files
from jobs.files.models import Upload
from jobs.firms.models import Member
from jobs.visits.models import Entry


class UnknownUpload(Exception):
    """No upload with this id was opened in this firm."""


def receipts(member: Member, *, device: UUID, after_seq: int) -> list[dict[str, Any]]:
    """What the office holds from this phone of this member, so that a lost answer is made good."""
    held = Entry.objects.filter(Q(person=member) | Q(sent_by=member), device=device, device_seq__gt=after_seq)
    return [
        {
            "id": str(entry.pk),
            "seq": entry.device_seq,
            "status": "held" if entry.held else "stored",
            "received_at": entry.received_at.isoformat(),
            "why": entry.held,
        }
        for entry in held.only("pk", "device_seq", "received_at", "held").order_by("device_seq")[:1000]
    ]


def newest_number(device: UUID) -> int:
    """The highest of this phone's own numbers that has come in; 0: nothing yet."""
    newest = Entry.objects.filter(device=device).aggregate(newest=Max("device_seq"))["newest"]
    return int(newest or 0)


def not_here(device: UUID, numbers: frozenset[int]) -> int:
    """How many of this phone's numbers have not come in."""
    if not numbers:
        return 0
    here = Entry.objects.filter(device=device, device_seq__gte=min(numbers)).values_list("device_seq", flat=True)
    return len(numbers.difference(here))


def upload_state(pk: UUID) -> dict[str, Any]:
    """Raises `UnknownUpload`."""
    found = files.upload(pk)
    if found is None:
        raise UnknownUpload
    return told(found)


def told(upload: Upload) -> dict[str, Any]:
    """How far a photo has come, as the phone reads it."""
    return {"offset": upload.offset, "done": upload.file_id is not None, "refused": upload.refused}
