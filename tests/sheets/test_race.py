"""Approval against entries that arrive at the same moment, with real commits."""

from __future__ import annotations

import json
from datetime import timedelta
from functools import partial

import pytest

from jobs.firms.scope import scope
from jobs.sheets import actions, queries
from jobs.sheets.errors import JobChanged, SheetRefused
from jobs.sheets.models import Sheet, SheetState
from jobs.visits.models import Entry
from tests.build_entries import send
from tests.people import a_team
from tests.real_db import Environment, at_once, real_db  # noqa: F401 - a fixture
from tests.sheets.world import World, handed_in

ROUNDS = 4


def approve(world: World, sheet: Sheet) -> str:
    with scope(world.team.firm.pk):
        try:
            actions.approve(sheet, seen_version=sheet.seen_version, by=world.team.manager, at=world.at)
        except JobChanged:
            return "changed"
        except SheetRefused:
            return "refused"
    return "approved"


def note(world: World) -> str:
    entry = world.log.add("note", "", text={"note": "Came at the same moment."})
    return send([entry], sender=world.team.crew, received_at=world.at)[0].status


@pytest.mark.usefixtures("real_db")
def test_an_entry_is_seen_or_told_as_late_and_never_lost() -> None:
    world = handed_in(a_team())
    for _ in range(ROUNDS):
        world.at += timedelta(hours=1)
        sheet = world.sheet()
        world.settle(sheet)
        said, status = at_once(partial(approve, world, sheet), partial(note, world))
        assert status in {"stored", "held"}
        assert said in {"approved", "changed"}
        with world.scope():
            total = Entry.objects.filter(job=world.job).count()
        after = world.sheet()
        if said == "changed":
            assert after.state == SheetState.SUBMITTED
            assert after.entry_count == total
            continue
        assert after.late_entries == total - len(json.loads(after.facts)["entries"])
        with world.scope():
            actions.reopen(after, reason="Another round of the race.", by=world.team.manager, at=world.at)
            actions.submit(world.job, by=world.team.scheduler, at=world.at)


@pytest.mark.usefixtures("real_db")
def test_two_managers_at_once_approve_once() -> None:
    world = handed_in(a_team())
    sheet = world.sheet()
    world.settle(sheet)
    said = at_once(partial(approve, world, sheet), partial(approve, world, sheet))
    assert sorted(said) == ["approved", "refused"]
    with world.scope():
        assert [row.chained_at for row in queries.sheets_of(world.job)] == [1]
