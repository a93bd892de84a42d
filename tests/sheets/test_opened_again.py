"""Returned, handed in and opened again at one moment of the clock: which revision the next hand-in is."""

from __future__ import annotations

from jobs.sheets import actions
from jobs.sheets.models import Sheet, SheetState
from tests.sheets.world import World


def returned(world: World, sheet: Sheet) -> Sheet:
    """Sent back without the clock moving on."""
    entry = world.entry("static_pressure")
    with world.scope():
        return actions.send_back(
            sheet, entry=entry, field="precharge", text="Measured dry?", by=world.team.manager, at=world.at
        )


def submitted(world: World) -> Sheet:
    with world.scope():
        return actions.submit(world.job, by=world.team.scheduler, at=world.at)


def log_at_once(world: World) -> None:
    """An entry that comes without the clock moving on."""
    world.logs("note", "", text={"note": "One more word."})


def reopened(world: World) -> Sheet:
    sheet = world.approve()
    with world.scope():
        return actions.reopen(sheet, reason="The owner moved the vent.", by=world.team.manager, at=world.at)


def test_returned_in_the_moment_it_was_handed_in_the_next_is_a_new_revision(world: World) -> None:
    sheet = world.sheet()
    world.at = sheet.submitted_at
    sheet = returned(world, sheet)
    assert sheet.returned_at == sheet.submitted_at, "the case that this is about"
    assert not sheet.is_opened_again
    log_at_once(world)
    again = submitted(world)
    assert (again.revision, again.state) == (2, SheetState.SUBMITTED)
    with world.scope():
        assert Sheet.objects.get(pk=sheet.pk).state == SheetState.SUPERSEDED


def test_returned_in_that_moment_and_nothing_logged_it_stays_the_same(world: World) -> None:
    sheet = world.sheet()
    world.at = sheet.submitted_at
    returned(world, sheet)
    assert submitted(world).pk == sheet.pk


def test_opened_again_it_is_handed_in_as_that_revision_whatever_was_logged(world: World) -> None:
    opened = reopened(world)
    assert opened.is_opened_again
    log_at_once(world)
    handed_in = submitted(world)
    assert (handed_in.pk, handed_in.revision, handed_in.state) == (opened.pk, 2, SheetState.SUBMITTED)
    assert not handed_in.is_opened_again


def test_asking_while_it_is_open_again_does_not_make_it_a_returned_one(world: World) -> None:
    opened = returned(world, reopened(world))
    assert opened.is_opened_again
    log_at_once(world)
    assert submitted(world).revision == 2


def test_opened_again_handed_in_and_returned_at_one_moment_it_is_an_ordinary_return(world: World) -> None:
    reopened(world)
    sheet = returned(world, submitted(world))
    assert sheet.reason
    assert sheet.returned_at == sheet.submitted_at
    assert not sheet.is_opened_again
    log_at_once(world)
    assert submitted(world).revision == 3


def test_two_returns_are_told_apart_by_their_own_times(world: World) -> None:
    first = returned(world, world.sheet())
    before = first.returned_at
    again = submitted(world)
    assert again.returned_at is None, "handed in again, it is with nobody"
    world.later()
    assert returned(world, again).returned_at == world.at != before


def test_more_fields_in_one_return_keep_the_first_time(world: World) -> None:
    sheet = returned(world, world.sheet())
    first = sheet.returned_at
    world.later()
    assert returned(world, sheet).returned_at == first
