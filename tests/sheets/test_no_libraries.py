"""Without the libraries of the PDF the sheet is a page to print; the PDF is made when they have come."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta

import pytest
from django.core import mail
from django.urls import reverse

from jobs.firms import clock
from jobs.sheets import queries, render, tasks
from jobs.sheets.models import Sheet
from jobs.visits import actions as visits
from jobs.work.models import Mail, Work, WorkState
from jobs.work.sweep import sweep
from tests.people import signed_in
from tests.sheets.world import World

PDF = b"%PDF-1.7 made up for the test"


class Libraries:
    """Whether they are here, and how often somebody looked or made a PDF."""

    def __init__(self) -> None:
        self.here = False
        self.looked = 0
        self.made = 0

    def run(self, *_: object, **__: object) -> None:
        self.looked += 1
        if not self.here:
            raise render.NotAvailable("cannot load library 'libpango-1.0-0'")

    def pdf(self, *_: object, **__: object) -> bytes:
        if not self.here:
            raise render.NotAvailable("cannot load library 'libpango-1.0-0'")
        self.made += 1
        return PDF


@pytest.fixture
def libraries(monkeypatch: pytest.MonkeyPatch) -> Iterator[Libraries]:
    found = Libraries()
    monkeypatch.setattr(render, "_run", found.run)
    monkeypatch.setattr(render, "pdf", found.pdf)
    render.missing.cache_clear()
    yield found
    monkeypatch.undo()
    render.missing.cache_clear()


@pytest.fixture
def world(logged: World, db: None, monkeypatch: pytest.MonkeyPatch) -> World:
    world = replace(logged, log=replace(logged.log, entries=list(logged.log.entries)))
    monkeypatch.setattr(clock, "now", lambda: world.at)
    return world


def swept(world: World, minutes: int) -> None:
    world.at += timedelta(minutes=minutes)
    sweep(world.at)


def states() -> list[tuple[str, int]]:
    return [(row.state, row.attempts) for row in Work.objects.filter(kind="sheet_pdf").order_by("wanted_at")]


def fresh(world: World, sheet: Sheet) -> Sheet:
    with world.scope():
        return queries.sheets().get(pk=sheet.pk)


def test_it_ends_quietly_at_the_first_try(world: World, libraries: Libraries) -> None:
    sheet = world.approve()
    for _ in range(12):
        swept(world, 15)
    assert states() == [(WorkState.DONE, 1)]
    with world.scope():
        assert not Mail.objects.filter(subject__contains="could not be made").exists()
    assert mail.outbox == [] or all("could not be made" not in one.subject for one in mail.outbox)
    assert fresh(world, sheet).pdf_id is None


def test_the_pages_offer_the_page_to_print(world: World, libraries: Libraries) -> None:
    sheet = world.approve()
    swept(world, 1)
    client = signed_in(world.team.manager)
    page = client.get(reverse("sheets:sheet", args=[sheet.pk])).content.decode()
    assert "apt-get install libpango-1.0-0" in page
    assert "sheets/waiting.js" not in page, "nothing is waited for"
    queue = client.get(reverse("sheets:queue")).content.decode()
    assert reverse("sheets:print", args=[sheet.pk]) in queue
    assert sheet.facts_hash[:16] in client.get(reverse("sheets:print", args=[sheet.pk])).content.decode()
    assert client.get(reverse("sheets:pdf", args=[sheet.pk])).status_code == 404


def test_the_approval_promises_no_pdf(world: World, libraries: Libraries) -> None:
    sheet = world.sheet()
    world.settle(sheet)
    client = signed_in(world.team.manager)
    said = client.post(
        reverse("sheets:approve", args=[sheet.pk]), {"seen_version": sheet.seen_version}, follow=True
    ).content.decode()
    assert "Revision 1 is approved." in said
    assert "is being made" not in said


def test_it_is_made_once_when_they_have_come(world: World, libraries: Libraries) -> None:
    sheet = world.approve()
    swept(world, 1)
    libraries.here = True
    swept(world, 20)
    assert states() == [(WorkState.DONE, 1), (WorkState.DONE, 1)]
    assert fresh(world, sheet).pdf_id
    for _ in range(4):
        swept(world, 20)
    assert libraries.made == 1
    assert len(states()) == 2
    with world.scope():
        assert queries.without_pdf() == []


def test_going_and_coming_twice_ends_with_the_pdf(
    world: World, libraries: Libraries, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The check says yes, the making says no: the next sweep wants it again."""
    sheet = world.approve()
    swept(world, 1)
    monkeypatch.setattr(tasks, "_libraries_came", lambda: True)
    swept(world, 20)
    assert states() == [(WorkState.DONE, 1), (WorkState.DONE, 1)]
    assert fresh(world, sheet).pdf_id is None
    libraries.here = True
    swept(world, 20)
    assert fresh(world, sheet).pdf_id
    assert len(states()) == 3


def test_nobody_looks_for_libraries_while_nothing_waits(world: World, libraries: Libraries) -> None:
    libraries.here = True
    world.approve()
    swept(world, 1)
    looked = libraries.looked
    for _ in range(5):
        swept(world, 20)
    assert libraries.looked == looked


def test_what_failed_for_another_reason_is_left_to_its_own_tries(
    world: World, libraries: Libraries, monkeypatch: pytest.MonkeyPatch
) -> None:
    libraries.here = True

    def breaks(*_: object, **__: object) -> bytes:
        raise render.RenderFailed("ended with -9")

    monkeypatch.setattr(render, "pdf", breaks)
    world.approve()
    for _ in range(30):
        swept(world, 61)
    assert states() == [(WorkState.PARKED, 8)]
    with world.scope():
        assert queries.without_pdf() == [], "given up is told and tried again by a person"


def test_a_sheet_cleaned_of_a_person_gets_its_pdf_too(world: World, libraries: Libraries) -> None:
    sheet = world.approve()
    swept(world, 1)
    with world.scope():
        visits.erase_person(world.team.engineer, by=world.team.manager, at=world.later())
    swept(world, 20)
    assert fresh(world, sheet).pdf_id is None
    assert all(state == (WorkState.DONE, 1) for state in states())
    libraries.here = True
    swept(world, 20)
    assert fresh(world, sheet).pdf_id
    assert libraries.made == 1
