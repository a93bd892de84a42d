"""Numbers that a phone gave to entries which never came: told to the office, because the phone cannot."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Any
from uuid import UUID

from django.db.models import Count, F, Max

from jobs.firms.models import Device
from jobs.visits.models import Entry, HeldItem


@dataclass(frozen=True)
class Gap:
    """`first` to `last` have not come in; `since`: when the entry before them was typed, none when they are the first."""

    phone: str
    first: int
    last: int
    since: datetime | None

    @property
    def numbers(self) -> str:
        return str(self.first) if self.first == self.last else f"{self.first} to {self.last}"


def gaps() -> list[Gap]:
    """Of all phones of the firm in scope. A fixed number of queries, and rows are read only of phones that have a gap."""
    numbered = Entry.objects.values("device").annotate(most=Max("device_seq"), here=Count("device_seq", distinct=True))
    doubtful = [row["device"] for row in numbered.filter(most__gt=F("here"))]
    if not doubtful:
        return []
    labels = dict(Device.objects.filter(pk__in=doubtful).values_list("pk", "label"))
    came: dict[UUID, dict[int, datetime | None]] = defaultdict(lambda: {0: None})
    for device, body in HeldItem.objects.filter(device__in=doubtful).values_list("device", "body"):
        if device:
            came[device].update(dict.fromkeys(_numbers(body)))
    rows = Entry.objects.filter(device__in=doubtful).order_by("device_seq")
    for device, number, at in rows.values_list("device", "device_seq", "recorded_at"):
        came[device][number] = at
    return [gap for device in doubtful for gap in _of(labels.get(device) or str(device)[:8], came[device])]


def _of(phone: str, came: dict[int, datetime | None]) -> Iterator[Gap]:
    for before, after in pairwise(sorted(came)):
        if after - before > 1:
            yield Gap(phone, before + 1, after - 1, came[before])


def _numbers(body: str) -> Iterable[int]:
    """What could not become an entry came in all the same, by itself or inside the last resort's envelope."""
    try:
        raw: Any = json.loads(body)
    except ValueError:
        return
    for each in (raw, raw.get("entry")) if isinstance(raw, dict) else ():
        number = each.get("seq") if isinstance(each, dict) else None
        if isinstance(number, int) and number > 0:
            yield number
