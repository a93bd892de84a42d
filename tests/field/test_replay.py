"""One batch that comes many times at the same moment, with real commits. PostgreSQL shows what SQLite's one writer hides."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from functools import partial
from typing import Any

import pytest

from jobs.field import actions, inbox
from jobs.firms.models import Device
from jobs.firms.scope import scope
from jobs.visits.models import Entry, EntryText, HeldItem
from tests.build_entries import Log, happy_log
from tests.field.desk import a_booked_job, batch
from tests.people import Team, a_team
from tests.real_db import Environment, at_once, real_db  # noqa: F401 - a fixture

TIMES = 20


def take(sent: bytes, team: Team) -> list[dict[str, Any]]:
    return actions.take_batch(inbox.read_batch(sent), sender=team.crew, at=datetime.now(UTC))


def log_of(team: Team) -> Log:
    log = happy_log(a_booked_job(team), "papers", crew=team.crew)
    for number in range(8):
        log.add("note", "", text={"note": f"Note {number}"})
    return log


@pytest.mark.usefixtures("real_db")
def test_the_same_batch_twenty_times_at_once_is_one_row_each() -> None:
    team = a_team()
    entries = log_of(team).entries
    sent = json.dumps(batch(entries, team.crew.pk)).encode()

    answers = at_once(*[partial(take, sent, team)] * TIMES)

    statuses = [[each["status"] for each in answer] for answer in answers]
    assert {status for answer in statuses for status in answer} <= {"stored", "duplicate"}
    for column in zip(*statuses, strict=True):
        assert column.count("stored") == 1
    with scope(team.firm.pk, writes=False):
        assert sorted(map(str, Entry.objects.values_list("pk", flat=True))) == sorted(each["id"] for each in entries)
        assert (EntryText.objects.count(), HeldItem.objects.count(), Device.objects.count()) == (8, 0, 1)
