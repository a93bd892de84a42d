"""Every page of the room as everybody: who sees it, who may do it, what strangers learn."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils.html import escape
from pytest_django import DjangoDbBlocker

from jobs.firms import clock
from jobs.firms.models import Role
from jobs.firms.scope import scope
from jobs.planning.models import Job, JobState
from jobs.sheets import actions, queries, render, tasks
from jobs.sheets.models import Severity, Sheet, SheetState
from jobs.visits.kinds import KINDS
from jobs.visits.models import Ask
from tests.build import a_job
from tests.build_entries import n
from tests.people import Team, a_team, member, signed_in
from tests.sheets.world import World, handed_in


@pytest.fixture(scope="module")
def open_sheet(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[World]:
    """Handed in with one question and one block."""
    with django_db_blocker.unblock(), transaction.atomic():
        world = handed_in(a_team())
        world.correct(world.entry("final_reading", "R1"), flow=n("20", "L/min"))
        world.logs("override", "H6:S1", text={"reason": "Rain was coming <b>fast</b>."})
        world.sheet()
        yield world
        transaction.set_rollback(True)


@pytest.fixture
def world(open_sheet: World, db: None, monkeypatch: pytest.MonkeyPatch) -> World:
    world = replace(open_sheet, log=replace(open_sheet.log))
    monkeypatch.setattr(clock, "now", lambda: world.at)
    return world


def sheet_of(world: World) -> Sheet:
    with world.scope():
        found = queries.latest(world.job)
    assert found
    return found


def statuses(world: World, url: str, method: str = "get", **data: object) -> dict[str, int]:
    """What everybody gets, each with the world as it was."""
    team, found = world.team, {}
    for name in ("manager", "scheduler", "crew", "engineer", "outsider"):
        point = transaction.savepoint()
        found[name] = getattr(signed_in(getattr(team, name)), method)(url, data).status_code
        transaction.savepoint_rollback(point)
    found["nobody"] = getattr(Client(), method)(url, data).status_code
    return found


def test_who_reads(world: World) -> None:
    sheet = sheet_of(world)
    desk = {"manager": 200, "scheduler": 200, "crew": 403, "engineer": 403, "nobody": 302}
    own = {"manager": 200, "scheduler": 200, "crew": 200, "engineer": 200, "outsider": 404, "nobody": 302}
    assert statuses(world, reverse("sheets:queue")) == desk | {"outsider": 200}
    assert statuses(world, reverse("sheets:sheet", args=[sheet.pk])) == own
    assert statuses(world, reverse("sheets:print", args=[sheet.pk])) == own
    assert statuses(world, reverse("sheets:progress", args=[sheet.pk])) == own | {"nobody": 401}
    assert statuses(world, reverse("sheets:pdf", args=[sheet.pk])) == dict.fromkeys(own, 404) | {"nobody": 302}
    reviews = own | {"scheduler": 403, "crew": 403, "engineer": 403}
    assert statuses(world, reverse("sheets:review", args=[sheet.pk])) == reviews


def test_who_acts(world: World) -> None:
    sheet = sheet_of(world)
    with world.scope():
        finding = queries.open_findings(sheet)[0]
    managers = {"manager": 302, "scheduler": 403, "crew": 403, "engineer": 403, "outsider": 404, "nobody": 302}
    for name in ("approve", "ask", "reopen"):
        assert statuses(world, reverse(f"sheets:{name}", args=[sheet.pk]), "post") == managers, name
    assert statuses(world, reverse("sheets:answer", args=[finding.pk]), "post") == managers
    submit = managers | {"scheduler": 302, "engineer": 302}
    assert statuses(world, reverse("sheets:submit", args=[world.job.pk]), "post") == submit


def test_a_crew_that_was_not_there_does_not_see_it(world: World) -> None:
    other = member(world.team.firm, Role.CREW, name="Wim Stray")
    assert signed_in(other).get(reverse("sheets:sheet", args=[sheet_of(world).pk])).status_code == 403


def test_nothing_is_done_by_reading(world: World) -> None:
    sheet = sheet_of(world)
    client = signed_in(world.team.manager)
    for name in ("approve", "ask", "reopen"):
        assert client.get(reverse(f"sheets:{name}", args=[sheet.pk])).status_code == 405


def test_the_review_shows_findings_with_their_evidence(world: World) -> None:
    page = signed_in(world.team.manager).get(reverse("sheets:review", args=[sheet_of(world).pk])).content.decode()
    assert page.index("Blocks approval") < page.index("Needs an answer"), "the gravest first"
    assert "the flow is 20 L/min" in page
    assert "20 L/min</dd>" in page, "the value beside it"
    assert "Rain was coming &lt;b&gt;fast&lt;/b&gt;." in page, "the reason of the override, as text"
    assert "Approve revision" not in page, "not while something is open"


def test_answer_waive_approve_through_the_pages(world: World) -> None:
    client, sheet = signed_in(world.team.manager), sheet_of(world)
    review = reverse("sheets:review", args=[sheet.pk])
    with world.scope():
        rows = list(queries.open_findings(sheet))
    for row in rows:
        data = {"text": "Talked it over with the crew."} | ({"waive": "on"} if row.severity == Severity.BLOCK else {})
        assert client.post(reverse("sheets:answer", args=[row.pk]), data)["Location"].endswith(f"#finding-{row.pk}")
    page = client.get(review).content.decode()
    version = re.search(r'name="seen_version" value="(\d+)"', page)
    assert version
    answer = client.post(reverse("sheets:approve", args=[sheet.pk]), {"seen_version": version[1]}, follow=True)
    assert b"is approved" in answer.content
    assert sheet_of(world).state == SheetState.APPROVED


def test_a_refusal_is_told_in_words(world: World) -> None:
    client, sheet = signed_in(world.team.manager), sheet_of(world)
    page = client.post(reverse("sheets:approve", args=[sheet.pk]), {"seen_version": sheet.seen_version}, follow=True)
    assert b"Some findings are still open" in page.content
    page = client.post(reverse("sheets:approve", args=[sheet.pk]), {"seen_version": 1}, follow=True)
    assert b"has changed since you opened this page" in page.content


def test_asking_the_crew_through_the_page(world: World) -> None:
    client, sheet, entry = signed_in(world.team.manager), sheet_of(world), world.entry("final_reading", "R1")
    ask = {"entry": str(entry.pk), "field": "flow", "text": "Was the valve half shut?"}
    page = client.post(reverse("sheets:ask", args=[sheet.pk]), ask, follow=True).content.decode()
    assert "Sent back" in page
    assert "Was the valve half shut?" in page
    with world.scope():
        assert Ask.objects.get().text == "Was the valve half shut?"
    assert client.post(reverse("sheets:ask", args=[sheet.pk]), ask | {"text": ""}, follow=True).status_code == 200
    assert client.post(reverse("sheets:ask", args=[sheet.pk]), ask | {"entry": str(uuid4())}).status_code == 404


def test_what_was_asked_is_told_by_the_label_of_the_form(world: World) -> None:
    client, sheet, entry = signed_in(world.team.manager), sheet_of(world), world.entry("strength_reading", "M1")
    ask = {"entry": str(entry.pk), "field": "zeroed", "text": "Was it done?"}
    page = client.post(reverse("sheets:ask", args=[sheet.pk]), ask, follow=True).content.decode()
    label = next(field.label for field in KINDS["strength_reading"].fields if field.name == "zeroed")
    assert f"({escape(label)}, " in page
    assert "(zeroed, " not in page


def test_the_answer_to_look_at_is_chosen_by_the_manager(world: World) -> None:
    client, sheet, entry = signed_in(world.team.manager), sheet_of(world), world.entry("static_pressure")
    page = client.get(reverse("sheets:review", args=[sheet.pk])).content.decode()
    boxes = re.findall(r'<select name="field"([^>]*)>(.*?)</select>', page, re.DOTALL)
    assert boxes
    for attributes, choices in boxes:
        assert "required" in attributes
        assert choices.startswith('<option value="">Choose the answer</option>')
    card = page[page.index('id="finding-') : page.index('id="everything"')]
    assert re.search(r'<option value="flow" selected>', card), "what the finding names is chosen"
    assert " selected" not in page[page.index('id="everything"') :]
    ask = {"entry": str(entry.pk), "field": "", "text": "Dry?"}
    page = client.post(reverse("sheets:ask", args=[sheet.pk]), ask, follow=True).content.decode()
    assert "at which answer" in page
    with world.scope():
        assert not Ask.objects.exists()


def test_a_short_answer_is_refused_in_words(world: World) -> None:
    client, sheet = signed_in(world.team.manager), sheet_of(world)
    page = client.get(reverse("sheets:review", args=[sheet.pk])).content.decode()
    boxes = re.findall(r'<textarea name="text" id="answer-[^>]*>', page)
    assert boxes
    assert all('minlength="10" required' in box for box in boxes)
    with world.scope():
        row = queries.open_findings(sheet).filter(severity=Severity.WARN)[0]
    page = client.post(reverse("sheets:answer", args=[row.pk]), {"text": ""}, follow=True).content.decode()
    assert "Say in at least 10 characters what you found" in page


def test_the_desk_is_led_to_the_facts(world: World) -> None:
    page, file = (reverse(name, args=[sheet_of(world).pk]) for name in ("sheets:sheet", "sheets:facts"))
    team = world.team
    assert file not in signed_in(team.manager).get(page).content.decode(), "there are none before the approval"
    approved(world)
    for who, is_led in ((team.manager, True), (team.scheduler, True), (team.crew, False), (team.engineer, False)):
        assert (file in signed_in(who).get(page).content.decode()) is is_led


def test_an_entry_of_another_firm_cannot_be_asked_about(world: World) -> None:
    other = handed_in(a_team("Far Loops", "Farther Loops"), "papers")
    entry = other.entry("driller_papers", "B1")
    ask = {"entry": str(entry.pk), "field": "accepted", "text": "Seen?"}
    client = signed_in(world.team.manager)
    assert client.post(reverse("sheets:ask", args=[sheet_of(world).pk]), ask).status_code == 404


def approved(world: World) -> Sheet:
    with world.scope():
        sheet = sheet_of(world)
        world.settle(sheet)
        return actions.approve(sheet_of(world), seen_version=sheet.seen_version, by=world.team.manager, at=world.at)


@pytest.mark.skipif(not render.available(), reason=render.missing() or "no PDF")
def test_the_page_waits_for_the_pdf(world: World) -> None:
    sheet = approved(world)
    client = signed_in(world.team.engineer)
    progress = client.get(reverse("sheets:progress", args=[sheet.pk]))
    assert progress.json() == {"ready": False, "failed": False, "progress": 0, "words": "The PDF waits to be made."}
    assert "no-cache" in progress["Cache-Control"]
    page = client.get(reverse("sheets:sheet", args=[sheet.pk])).content.decode()
    assert "sheets/waiting.js" in page
    assert reverse("sheets:progress", args=[sheet.pk]) in page


def test_without_the_libraries_it_is_a_page_to_print(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    sheet = approved(world)
    said = "PDFs need system libraries that are missing here: apt-get install libsomething."
    monkeypatch.setattr(render, "missing", lambda: said)
    client = signed_in(world.team.manager)
    assert said in client.get(reverse("sheets:sheet", args=[sheet.pk])).content.decode()
    page = client.get(reverse("sheets:print", args=[sheet.pk])).content.decode()
    assert sheet.facts_hash[:16] in page
    assert "Draft." not in page


@pytest.mark.skipif(not render.available(), reason="no PDF")
def test_the_pdf_is_handed_out_as_a_private_file(world: World) -> None:
    sheet = approved(world)
    tasks.make_pdf(world.team.firm.pk, sheet.pk, world.at)
    answer = signed_in(world.team.crew).get(reverse("sheets:pdf", args=[sheet.pk]))
    assert answer.content.startswith(b"%PDF")
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == f'attachment; filename="job-{world.job.number}-sheet-revision-1.pdf"'
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Cache-Control"].startswith("private")
    assert statuses(world, reverse("sheets:pdf", args=[sheet.pk]))["outsider"] == 404


def test_pages_need_no_inline_script_or_style(world: World) -> None:
    sheet, client = sheet_of(world), signed_in(world.team.manager)
    for name in ("sheet", "review", "print"):
        page = client.get(reverse(f"sheets:{name}", args=[sheet.pk])).content.decode()
        assert not re.search(r"<script(?![^>]*\bsrc=)", page), name
        assert not re.search(r"<[^>]+\sstyle=", page), name
        assert "<style" not in page
        assert not re.search(r"<[^>]+\son[a-z]+=", page), name


class TestVerify:
    def look(self, pk: object, hash_: str) -> str:
        answer = Client().get(reverse("sheets:verify", args=[pk, hash_]))
        assert answer.status_code == 200
        assert answer["X-Robots-Tag"] == "noindex"
        return answer.content.decode()

    def test_valid_then_superseded(self, world: World) -> None:
        first = approved(world)
        assert "Valid" in self.look(first.pk, first.facts_hash)
        with world.scope():
            actions.reopen(first, reason="The owner moved the vent.", by=world.team.manager, at=world.later())
            actions.submit(world.job, by=world.team.scheduler, at=world.later())
        assert "Valid" in self.look(first.pk, first.facts_hash), "until the next is approved"
        second = approved(world)
        assert "Superseded by revision 2" in self.look(first.pk, first.facts_hash)
        assert "Valid" in self.look(second.pk, second.facts_hash)

    def test_unknown_is_all_the_same(self, world: World) -> None:
        sheet = approved(world)
        pages = {
            self.look(sheet.pk, "0" * 64),
            self.look(sheet.pk, sheet.facts_hash[:16]),
            self.look(uuid4(), sheet.facts_hash),
            self.look(sheet.pk, "x"),
        }
        assert len(pages) == 1
        assert "Unknown" in pages.pop()

    def test_tells_nothing_about_people_or_places(self, world: World) -> None:
        sheet = approved(world)
        page = self.look(sheet.pk, sheet.facts_hash)
        for word in ("Orchard", "Northfold", "Fenwick", "Birch", f"Job {world.job.number}"):
            assert word not in page


def asked_by_the_queue(team: Team, count: int) -> int:
    for number in range(count):
        job = a_job(team.firm, title=f"Array {number}")
        with scope(team.firm.pk):
            Job.objects.update(state=JobState.SUBMITTED)
            made = {"submitted_by": team.crew, "submitted_at": clock.now() - timedelta(hours=1)}
            Sheet(job=job, seen_version=job.version, **made).save()
    client = signed_in(team.manager)
    with CaptureQueriesContext(connection) as asked:
        assert client.get(reverse("sheets:queue")).status_code == 200
    return len(asked)


def test_the_queue_asks_as_often_for_many_rows_as_for_few(team: Team) -> None:
    few = asked_by_the_queue(team, 3)
    assert asked_by_the_queue(team, 9) == few <= 12
