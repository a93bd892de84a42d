"""What happens to an approved sheet on the disk is told on the page that compares hashes; erasing somebody is not that."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest
from django.conf import LazySettings
from django.db import transaction
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoDbBlocker

from jobs.firms import clock
from jobs.sheets import actions, facts, queries, seal
from jobs.sheets.models import Sheet
from jobs.visits import actions as visits
from tests.people import a_team
from tests.sheets.world import World, handed_in

PDF = b"%PDF-1.7\n" + b"0123456789" * 40


@pytest.fixture(scope="module")
def approved(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[World]:
    with django_db_blocker.unblock(), transaction.atomic():
        world = handed_in(a_team(), photos=False)
        world.approve()
        yield world
        transaction.set_rollback(True)


@pytest.fixture
def world(approved: World, db: None, monkeypatch: pytest.MonkeyPatch, settings: LazySettings, tmp_path: Any) -> World:
    settings.MEDIA_ROOT = tmp_path
    world = replace(approved)
    monkeypatch.setattr(clock, "now", lambda: world.at)
    return world


def sheet_of(world: World) -> Sheet:
    with world.scope():
        found = queries.latest(world.job)
    assert found
    return found


def with_pdf(world: World) -> Sheet:
    sheet = sheet_of(world)
    with world.scope():
        actions.keep_pdf(sheet, PDF, at=world.at)
    return sheet


def page(sheet: Sheet) -> str:
    answer = Client().get(reverse("sheets:verify", args=[sheet.pk, sheet.facts_hash]))
    assert answer.status_code == 200
    return answer.content.decode()


def word(sheet: Sheet) -> str:
    found = re.search(r'class="lead"><span class="state state--(\w+)', page(sheet))
    assert found
    return found[1]


def flip(text: str, place: int) -> str:
    """One character becomes its neighbour."""
    return text[:place] + chr(ord(text[place]) ^ 1) + text[place + 1 :]


def test_what_nobody_touched_is_valid(world: World) -> None:
    sheet = with_pdf(world)
    with world.scope():
        assert seal.broken(sheet) == ()
    assert word(sheet) == "pass"


@pytest.mark.parametrize("share", [0.01, 0.25, 0.5, 0.75, 0.99])
def test_one_flipped_byte_in_the_facts_is_told(world: World, share: float) -> None:
    sheet = sheet_of(world)
    with world.scope():
        changed = flip(sheet.facts, int(len(sheet.facts) * share))
        Sheet.objects.filter(pk=sheet.pk).update(facts=changed)
        assert seal.broken(sheet_of(world)) == (seal.FACTS,)
    assert word(sheet) == "fail"


def test_a_nicer_reading_in_the_facts_is_told(world: World) -> None:
    """Well-formed and canonical, but not what was approved."""
    sheet = sheet_of(world)
    told = json.loads(sheet.facts)
    row = next(one for one in told["entries"] if one["kind"] == "final_reading")
    row["values"]["flow"] |= {"text": "60", "value": "60"}
    with world.scope():
        Sheet.objects.filter(pk=sheet.pk).update(facts=facts.canonical(told))
    assert "Changed after the approval" in page(sheet)


def every_word(personal: dict[str, Any]) -> list[str]:
    return sorted(personal["words"])


def test_one_changed_letter_in_any_word_is_told(world: World) -> None:
    sheet = sheet_of(world)
    told = json.loads(sheet.facts)
    for key in every_word(sheet.personal):
        personal = json.loads(json.dumps(sheet.personal))
        value = personal["words"][key]["value"]
        if isinstance(value, dict):
            value["name"] = flip(value["name"], 0)
        elif isinstance(value, str) and value:
            personal["words"][key]["value"] = flip(value, len(value) // 2)
        else:
            continue
        assert facts.broken_commitments(told, personal) == [key]


@pytest.mark.parametrize("part", ["value", "salt"])
def test_a_forged_name_is_told_on_the_page(world: World, part: str) -> None:
    sheet = sheet_of(world)
    key = next(key for key in every_word(sheet.personal) if key.startswith("people."))
    personal = json.loads(json.dumps(sheet.personal))
    personal["words"][key][part] = {"name": "Somebody Else", "roles": "Manager"} if part == "value" else "0" * 32
    with world.scope():
        Sheet.objects.filter(pk=sheet.pk).update(personal=personal)
        assert seal.broken(sheet_of(world)) == (seal.NAMES,)
    shown = page(sheet)
    assert "Changed after the approval" in shown
    assert "Somebody Else" not in shown


@pytest.mark.parametrize(
    "change",
    [lambda data: data[:-1], lambda data: data + b"\n", lambda data: data[:200] + b"X" + data[201:], lambda _: b""],
    ids=["cut", "longer", "one byte", "emptied"],
)
def test_a_changed_pdf_is_told(world: World, change: Callable[[bytes], bytes]) -> None:
    from jobs.files import store  # noqa: PLC0415

    sheet = with_pdf(world)
    with world.scope():
        assert sheet.pdf
        place = store.path(sheet.pdf)
        place.write_bytes(change(place.read_bytes()))
        assert seal.broken(sheet_of(world)) == (seal.FILE,)
    assert word(sheet) == "fail"


def test_a_pdf_that_was_lost_is_not_a_forgery(world: World) -> None:
    from jobs.files import store  # noqa: PLC0415

    sheet = with_pdf(world)
    with world.scope():
        assert sheet.pdf
        store.path(sheet.pdf).unlink()
    assert word(sheet) == "pass"


def test_an_erased_person_leaves_a_valid_sheet(world: World) -> None:
    before = with_pdf(world)
    with world.scope():
        visits.erase_person(world.team.crew, by=world.team.manager, at=world.later())
        actions.forget_erased(at=world.later())
    after = sheet_of(world)
    assert after.facts_hash == before.facts_hash
    assert len(after.personal["words"]) < len(before.personal["words"])
    assert "Cato Birch" not in json.dumps(after.personal)
    assert word(after) == "pass"


def test_everybody_erased_still_verifies(world: World) -> None:
    sheet = sheet_of(world)
    left = sheet.personal
    for person in list(left["who"]):
        left = facts.erase(left, person)
    assert left["who"] == {}
    assert {row["of"] for row in left["words"].values()} <= {"customer", ""}
    assert facts.broken_commitments(json.loads(sheet.facts), left) == []


def test_the_page_is_silent_about_which_part_and_who(world: World) -> None:
    sheet = with_pdf(world)
    with world.scope():
        Sheet.objects.filter(pk=sheet.pk).update(facts=flip(sheet.facts, 30))
    shown = page(sheet)
    for told in (
        "Orchard",
        "Northfold",
        "Fenwick",
        "Birch",
        "Pine",
        "Hazel",
        str(world.team.firm.pk),
        str(world.job.pk),
    ):
        assert told not in shown


def test_the_page_is_never_kept_and_never_indexed(world: World) -> None:
    sheet = sheet_of(world)
    answer = Client().get(reverse("sheets:verify", args=[sheet.pk, sheet.facts_hash]))
    assert "no-store" in answer["Cache-Control"]
    assert answer["X-Robots-Tag"] == "noindex"
    assert "Set-Cookie" not in answer
    assert answer.cookies == {}


@pytest.mark.parametrize("hash_", ["", "%00", "..%2f", "<script>", "0" * 63, "g" * 64, "'" * 64, "é" * 64])
def test_nonsense_is_unknown_and_never_an_error(world: World, hash_: str) -> None:
    answer = Client().get(f"/verify/{sheet_of(world).pk}/{hash_}")
    assert answer.status_code in {200, 404}
    assert "<script>" not in answer.content.decode()
    assert "Valid" not in answer.content.decode()


def test_upper_case_is_the_same_hash(world: World) -> None:
    sheet = sheet_of(world)
    answer = Client().get(reverse("sheets:verify", args=[sheet.pk, sheet.facts_hash.upper()]))
    assert "Valid" in answer.content.decode()


def test_it_only_reads(world: World) -> None:
    sheet = sheet_of(world)
    assert Client().post(reverse("sheets:verify", args=[sheet.pk, sheet.facts_hash])).status_code == 405
