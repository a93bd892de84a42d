"""The whole sheet as PDF, read by a library that knows nothing of how it was made."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta

import pytest
from django.db import transaction
from pypdf import PdfReader
from pytest_django import DjangoDbBlocker

from jobs.files import store
from jobs.files.models import StoredFile
from jobs.sheets import actions, facts, printing, queries, render, tasks
from jobs.sheets.models import Sheet
from jobs.visits import actions as visits
from jobs.work import actions as work
from jobs.work.models import Work, WorkState
from jobs.work.sweep import sweep
from tests.build_entries import n
from tests.people import Team, a_team
from tests.sheets.world import World, handed_in

pytestmark = pytest.mark.skipif(not render.available(), reason=render.missing() or "no PDF")
ATTACK = '<img src="http://127.0.0.1:9/x"><script>alert(1)</script>{{ 7|add:7 }}'


@pytest.fixture(scope="module")
def approved(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[World]:
    """The main job with an override and words that attack, approved."""
    with django_db_blocker.unblock(), transaction.atomic():
        world = handed_in(a_team())
        world.logs("note", "", text={"note": ATTACK + "A" * 3000})
        world.logs("override", "H6:S1", text={"reason": f"Rain was coming, {ATTACK}"})
        world.correct(world.entry("static_pressure"), precharge=n("0.6", "bar"))
        world.approve()
        yield world
        transaction.set_rollback(True)


@pytest.fixture
def world(approved: World, db: None) -> World:
    return replace(approved)


def sheet_of(world: World) -> Sheet:
    with world.scope():
        found = queries.latest(world.job)
    assert found
    return found


def made(world: World) -> bytes:
    sheet = sheet_of(world)
    tasks.make_pdf(world.team.firm.pk, sheet.pk, world.at)
    with world.scope():
        sheet.refresh_from_db()
        assert sheet.pdf
        return store.read(sheet.pdf)


@pytest.fixture(scope="module")
def pdf(approved: World) -> bytes:
    sheet = sheet_of(approved)
    with approved.scope():
        media = tasks.photo_bytes(sheet)
        return render.pdf(tasks.page(sheet, media), styles=tasks.styles(), media=media)


@pytest.fixture(scope="module")
def text(pdf: bytes) -> str:
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages]
    return re.sub(r"\s+", " ", " ".join(pages).replace("\u200b", ""))


def test_the_numbers_that_were_typed_are_there(world: World, text: str) -> None:
    for entry in world.sent:
        for name, answer in entry["payload"].items():
            if answer.get("unit") not in {None, "pcs"}:
                shown = answer["text"].replace("-", "−")
                assert f"{shown} {answer['unit']}" in text, (entry["kind"], entry["subject"], name)


def test_head_and_hash(world: World, text: str) -> None:
    sheet = sheet_of(world)
    for words in (
        f"Job {world.job.number}",
        "Orchard House",
        "Hazel Orchard Farm",
        "Northfold Ground Loops",
        "Mara Fenwick",
    ):
        assert words in text
    assert sheet.facts_hash in text.replace(" ", "")
    assert f"/verify/{sheet.pk}/{sheet.facts_hash}" in text.replace(" ", "")
    assert sheet.facts_hash[:16] in text, "on every page's foot"


def test_verdicts_with_their_sources(text: str) -> None:
    assert "falls no more than a sound pipe" in text
    assert "Method and limit:" in text
    assert "house default" in text
    for part in (
        "Pressure test T1",
        "Filling, loop by loop",
        "De-aeration run",
        "Final readings",
        "Hold points",
        "Instruments",
    ):
        assert part in text


def test_the_override_is_red_and_keeps_its_reason(world: World, text: str) -> None:
    assert "Rain was coming" in text
    assert "1 hold point gone past" in text
    with world.scope():
        html = tasks.page(sheet_of(world), {})
    assert re.search(r'<td class="red">“Rain was coming', html)
    assert re.search(r"\.red \{ color: var\(--fail\)", "\n".join(tasks.styles()))


def test_a_corrected_value_stays_visible(text: str) -> None:
    assert "Corrected, void and held entries" in text
    assert "Gas side, measured with the water side empty: 0.5 bar" in text
    assert "0.6 bar" in text


def test_what_people_wrote_is_only_text(world: World, pdf: bytes, text: str) -> None:
    assert "<script>alert(1)</script>" in text, "printed, not run"
    assert "{{ 7|add:7 }}" in text
    with world.scope():
        html = tasks.page(sheet_of(world), {})
    assert "<script" not in html
    assert 'src="http' not in html
    reader = PdfReader(io.BytesIO(pdf))
    assert dict(reader.attachments) == {}
    assert b"/JavaScript" not in pdf


def test_photos_and_no_picture_from_elsewhere(world: World, pdf: bytes) -> None:
    reader = PdfReader(io.BytesIO(pdf))
    # Pages share their pictures: each is counted once.
    pictures = {
        image.data for page in reader.pages for image in page.images if image.image and image.image.size == (640, 480)
    }
    assert len(pictures) == len(printing.photo_hashes(sheet_of(world)))


def test_the_same_facts_give_the_same_pdf(world: World, pdf: bytes) -> None:
    assert made(world) == pdf


def test_the_sweep_makes_it_once_and_shows_how_far_it_is(world: World) -> None:
    sheet = sheet_of(world)
    with world.scope():
        assert queries.pdf_state(sheet).words == "The PDF waits to be made."
    sweep(world.at + timedelta(minutes=1))
    row = Work.objects.get(kind="sheet_pdf")
    assert (row.state, row.attempts, row.progress) == (WorkState.DONE, 1, 100)
    with world.scope():
        sheet.refresh_from_db()
        assert queries.pdf_state(sheet).ready
    assert sweep(world.at + timedelta(minutes=2)) == 0


def test_a_worker_killed_after_the_bytes_were_written_changes_nothing(world: World, pdf: bytes) -> None:
    """It dies between keeping the PDF and finishing its row; the next one makes it again."""
    start = world.at + timedelta(minutes=1)
    claimed = work.claim(start)
    assert claimed
    assert claimed.kind == "sheet_pdf"
    assert made(world) == pdf
    sweep(start + timedelta(hours=1))
    row = Work.objects.get(kind="sheet_pdf")
    assert (row.state, row.attempts) == (WorkState.DONE, 2)
    with world.scope():
        assert StoredFile.objects.filter(purpose="sheet").count() == 1


def test_a_worker_killed_while_it_renders_leaves_nothing_and_is_followed_by_another(
    world: World, pdf: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = render.pdf

    def dies(*_: object, **__: object) -> bytes:
        raise render.RenderFailed("ended with -9")

    monkeypatch.setattr(render, "pdf", dies)
    sweep(world.at + timedelta(minutes=1))
    row = Work.objects.get(kind="sheet_pdf")
    assert (row.state, row.error_code) == (WorkState.WANTED, "RenderFailed")
    with world.scope():
        assert StoredFile.objects.filter(purpose="sheet").count() == 0
    monkeypatch.setattr(render, "pdf", real)
    sweep(world.at + timedelta(hours=1))
    sheet = sheet_of(world)
    with world.scope():
        assert sheet.pdf
        assert store.read(sheet.pdf) == pdf


def test_bytes_that_were_lost_are_made_again(world: World, pdf: bytes) -> None:
    assert made(world) == pdf
    sheet = sheet_of(world)
    with world.scope():
        assert sheet.pdf
        store.path(sheet.pdf).unlink()
    assert made(world) == pdf


def test_photos_that_have_not_come_are_told(team: Team) -> None:
    world = handed_in(team, photos=False)
    world.approve()
    with world.scope():
        html = tasks.page(sheet_of(world), {})
    assert "not received" in html


def test_reopening_makes_a_pdf_of_its_own(world: World, pdf: bytes) -> None:
    first = sheet_of(world)
    with world.scope():
        actions.reopen(first, reason="The owner moved the vent.", by=world.team.manager, at=world.later())
        actions.submit(world.job, by=world.team.scheduler, at=world.later())
    world.approve()
    second = made(world)
    assert second != pdf
    pages = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(second)).pages)
    assert "revision 2" in pages
    assert "The owner moved the vent." in re.sub(r"\s+", " ", pages)


def test_an_erased_person_goes_from_the_sheet_and_its_pdf(world: World, pdf: bytes) -> None:
    assert made(world) == pdf
    before = sheet_of(world)
    with world.scope():
        assert before.pdf
        visits.erase_person(world.team.engineer, by=world.team.manager, at=world.later())
        assert actions.forget_erased(at=world.later()) == 1
        assert actions.forget_erased(at=world.later()) == 0, "once"
    after = sheet_of(world)
    assert (after.facts, after.facts_hash) == (before.facts, before.facts_hash)
    assert facts.broken_commitments(json.loads(after.facts), after.personal) == []
    pages = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(made(world))).pages)
    assert "Edda Pine" not in pages
    assert "E. Pine" not in pages, "nor the name under the signature"
    assert "Cato Birch" in pages
    assert "(erased)" in pages
    assert before.facts_hash in re.sub(r"[\s\u200b]", "", pages)
    with world.scope():
        assert not StoredFile.objects.filter(sha256=before.pdf.sha256).exists()
