"""A canary in everything that people can type: on the review, the sheet, the page to print and in the PDF it is text."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import replace
from html import unescape

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader
from pytest_django import DjangoDbBlocker

from jobs.firms import clock
from jobs.firms.models import Firm, User
from jobs.planning.models import Customer, Instrument, Job, Site
from jobs.sheets import actions, queries, render, tasks
from jobs.sheets.models import Severity, Sheet
from tests.build_entries import n
from tests.people import a_team, signed_in
from tests.sheets.world import World, handed_in

PLACES = (
    "title", "site", "address", "customer", "firm", "instrument", "person", "note", "override", "caption", "remark",
    "answer", "waiver", "reopened", "lot", "serial",
)  # fmt: skip
DANGER = re.compile(
    r"<(script(?! type=\"module\" src=\"/static/[a-z/.]+\">)|img src=x|svg onload|iframe|b>canary)", re.IGNORECASE
)


def canary(place: str) -> str:
    """Breaks out of an element and of an attribute, and would run in three ways."""
    return (
        f"{place}'\"><script>alert('{place}')</script><img src=x onerror=alert(1)>{{{{ 7|add:7 }}}}{{% now 'Y' %}}&amp;"
    )


def short_canary(place: str) -> str:
    return f'{place}"><script>x</script>'


def poison_the_office(world: World) -> None:
    """What the office types, changed below the rules of its forms: the pages must not rely on them."""
    firm = world.team.firm.pk
    Firm.objects.filter(pk=firm).update(name=canary("firm")[:100])
    with world.scope():
        Job.objects.filter(pk=world.job.pk).update(title=canary("title")[:120])
        Site.objects.update(name=canary("site")[:120], address=canary("address"))
        Customer.objects.update(name=canary("customer")[:120])
        Instrument.objects.update(name=short_canary("instrument")[:60])
    User.objects.filter(pk=world.team.crew.user_id).update(name=canary("person")[:120])
    with world.scope():
        world.job = queries.job_to_write(world.job.pk)
    world.team.crew.user.refresh_from_db()


def poison_the_phone(world: World) -> None:
    world.logs("note", "", text={"note": canary("note")})
    world.logs("override", "H6:S1", text={"reason": canary("override")})
    world.logs("photo", "", shot="other", photo={"value": ["0" * 64]}, text={"caption": canary("caption")})
    world.correct(world.entry("final_reading", "R1"), flow=n("20", "L/min"))
    world.correct(world.entry("fluid_delivery"), lot={"value": short_canary("lot")})
    world.correct(world.entry("source_settings"), serial={"value": short_canary("serial")})
    world.logs("sheet_submit", "", complete=True, text={"remark": canary("remark")})


@pytest.fixture(scope="module")
def poisoned(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[World]:
    with django_db_blocker.unblock(), transaction.atomic():
        world = handed_in(a_team(), photos=False)
        poison_the_office(world)
        poison_the_phone(world)
        sheet = world.sheet()
        with world.scope():
            row = queries.open_findings(sheet).filter(severity=Severity.WARN).first()
            assert row
            actions.answer_finding(row, text=canary("answer"), by=world.team.manager, at=world.later())
            block = queries.open_findings(sheet).filter(severity=Severity.BLOCK).first()
            assert block
            actions.answer_finding(block, text=canary("waiver"), waive=True, by=world.team.manager, at=world.later())
        yield world
        transaction.set_rollback(True)


@pytest.fixture
def world(poisoned: World, db: None, monkeypatch: pytest.MonkeyPatch) -> World:
    world = replace(poisoned, log=replace(poisoned.log))
    monkeypatch.setattr(clock, "now", lambda: world.at)
    return world


def sheet_of(world: World) -> Sheet:
    with world.scope():
        found = queries.latest(world.job)
    assert found
    return found


def page(world: World, name: str, sheet: Sheet | None = None) -> str:
    answer = signed_in(world.team.manager).get(reverse(f"sheets:{name}", args=[(sheet or sheet_of(world)).pk]))
    assert answer.status_code == 200
    return answer.content.decode()


def is_harmless(html: str) -> None:
    assert not DANGER.search(html)
    assert not re.search(r"<[^>]+\son(error|load|click)\s*=", html)
    assert "{{ 7|add:7 }}" in unescape(html).replace("\u200b", ""), "printed as it was typed"
    assert "14{%" not in html


def tells(html: str, *places: str) -> None:
    """The canary is there as words, else the test would prove nothing."""
    flat = unescape(html).replace("\u200b", "")
    for place in places:
        assert re.search(rf"{place}['\"]", flat), place


def test_the_review(world: World) -> None:
    html = page(world, "review")
    is_harmless(html)
    tells(
        html,
        "title",
        "site",
        "person",
        "instrument",
        "note",
        "override",
        "caption",
        "lot",
        "serial",
        "answer",
        "waiver",
    )


def test_the_draft_to_print(world: World) -> None:
    html = page(world, "print")
    is_harmless(html)
    tells(html, *(place for place in PLACES if place != "reopened"))


def test_the_sheets_page_and_the_queue(world: World) -> None:
    for html in (page(world, "sheet"), signed_in(world.team.manager).get(reverse("sheets:queue")).content.decode()):
        assert not DANGER.search(html)
        tells(html, "title", "site")


def approved(world: World) -> Sheet:
    world.settle(sheet_of(world))
    sheet = sheet_of(world)
    with world.scope():
        made = actions.approve(sheet, seen_version=sheet.seen_version, by=world.team.manager, at=world.later())
        opened = actions.reopen(made, reason=canary("reopened"), by=world.team.manager, at=world.later())
        actions.submit(world.job, by=world.team.scheduler, at=world.later())
    world.settle(opened)
    sheet = sheet_of(world)
    with world.scope():
        return actions.approve(sheet, seen_version=sheet.seen_version, by=world.team.manager, at=world.later())


def test_the_approved_sheet_and_its_revision(world: World) -> None:
    sheet = approved(world)
    printed = page(world, "print", sheet)
    is_harmless(printed)
    tells(printed, "reopened", "title", "note", "override", "person")
    assert not DANGER.search(page(world, "sheet", sheet))


def test_the_verify_page_shows_none_of_it(world: World) -> None:
    sheet = approved(world)
    html = Client().get(reverse("sheets:verify", args=[sheet.pk, sheet.facts_hash])).content.decode()
    for place in PLACES:
        assert canary(place)[:30] not in unescape(html)


def test_the_facts_come_as_a_file_and_not_as_a_page(world: World) -> None:
    sheet = approved(world)
    answer = signed_in(world.team.manager).get(reverse("sheets:facts", args=[sheet.pk]))
    assert answer["Content-Type"] == "application/json"
    assert answer["Content-Disposition"].startswith("attachment;")
    assert answer["X-Content-Type-Options"] == "nosniff"
    text = answer.content.decode()
    for place in ("note", "override", "title", "customer", "person", "answer"):
        assert canary(place)[:24] not in text, "words are not in the facts"


@pytest.mark.skipif(not render.available(), reason="no PDF")
def test_the_pdf_holds_it_as_words(world: World) -> None:
    sheet = approved(world)
    with world.scope():
        html = tasks.page(sheet, {})
    is_harmless(html)
    made = PdfReader(io.BytesIO(render.pdf(html, styles=tasks.styles())))
    text = re.sub(r"\s+", " ", " ".join(one.extract_text() for one in made.pages).replace("\u200b", ""))
    squeezed = text.replace(" ", "")
    for place in ("note", "override", "reopened", "remark"):
        assert f"<script>alert('{place}')</script>" in squeezed, place
    assert "{{7|add:7}}" in squeezed
    root = made.trailer["/Root"].get_object()
    for key in ("/OpenAction", "/AA", "/AcroForm"):
        assert key not in root  # type: ignore[operator]
    for one in made.pages:
        for note in one.get("/Annots", []):
            action = note.get_object().get("/A")
            assert action is None or str(action.get_object().get("/URI", "")).startswith(("http://", "https://"))
            assert action is None or "alert" not in str(action.get_object())
