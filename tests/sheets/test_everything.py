"""The review's list of all that was logged: any answer of any entry can go back to the crew from it."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape

import pytest
from django.urls import reverse

from jobs.firms import clock
from jobs.sheets import gather, reviewing
from jobs.sheets.models import SheetState
from jobs.visits.kinds import KINDS
from jobs.visits.models import Ask, Entry
from tests.build_entries import n
from tests.people import signed_in
from tests.sheets.world import World


@pytest.fixture
def world(logged: World, db: None, monkeypatch: pytest.MonkeyPatch) -> World:
    world = replace(logged, log=replace(logged.log, entries=list(logged.log.entries)))
    monkeypatch.setattr(clock, "now", lambda: world.at)
    return world


def page_of(world: World) -> str:
    answer = signed_in(world.team.manager).get(reverse("sheets:review", args=[world.sheet().pk]))
    assert answer.status_code == 200
    return answer.content.decode()


def section(page: str) -> str:
    return page[page.index('id="everything"') : page.index('id="approve"')]


def current(world: World) -> list[str]:
    with world.scope():
        return [item.id for item in gather.evidence(world.job).current]


def test_it_is_collapsed_and_holds_every_entry_that_counts_once(world: World) -> None:
    part = section(page_of(world))
    assert "<details>" in part
    assert "<details open" not in part
    shown = re.findall(r'id="entry-([0-9a-f-]{36})"', part)
    assert sorted(shown) == sorted(current(world))
    assert part.count("Ask the crew about this entry") == len(shown)


def test_a_corrected_entry_stands_there_once(world: World) -> None:
    before = world.entry("static_pressure")
    made = world.correct(before, precharge=n("0.6", "bar"))
    part = section(page_of(world))
    assert f'id="entry-{made["id"]}"' in part
    assert f'id="entry-{before.pk}"' not in part


def test_kinds_come_in_the_order_of_the_work(world: World) -> None:
    labels = re.findall(r'<h3>(.*?) <span class="muted">\((\d+)\)', section(page_of(world)))
    order = [kind.label for kind in KINDS.values()]
    places = [order.index(unescape(label)) for label, _ in labels]
    assert places == sorted(places)
    assert sum(int(count) for _, count in labels) == len(current(world))


def test_every_field_of_an_entry_can_be_chosen(world: World) -> None:
    part = section(page_of(world))
    for kind, subject in (("static_pressure", ""), ("backfill_release", "S1"), ("note", ""), ("signature", "")):
        with world.scope():
            entry = Entry.objects.filter(job=world.job, kind=kind, subject=subject).first()
        if entry is None:
            continue
        row = part[part.index(f'id="entry-{entry.pk}"') :]
        row = row[: row.index("</li>")]
        names = re.findall(r'<option value="([a-z_0-9]+)"', row)
        assert names == [field.name for field in KINDS[kind].fields], kind


def test_labels_belong_to_fields_of_their_own(world: World) -> None:
    page = page_of(world)
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids)), "no id twice, with the cards of the findings on the same page"
    fors = set(re.findall(r'<label for="([^"]+)"', page))
    assert fors <= set(ids)


@pytest.mark.parametrize(
    ("kind", "subject", "field"),
    [("joint", "J3", "cooling_min"), ("fluid_delivery", "", "photo"), ("flush", "L2", "debris")],
)
def test_an_entry_without_a_finding_goes_back_to_the_crew(world: World, kind: str, subject: str, field: str) -> None:
    sheet, entry = world.sheet(), world.entry(kind, subject)
    ask = {"entry": str(entry.pk), "field": field, "text": "Please look at this once more."}
    world.later()
    page = signed_in(world.team.manager).post(reverse("sheets:ask", args=[sheet.pk]), ask, follow=True).content.decode()
    assert "Sent back" in page
    with world.scope():
        made = Ask.objects.get()
    assert (made.entry_id, made.field, made.to) == (entry.pk, field, entry.person)
    assert world.sheet().state == SheetState.RETURNED
    assert "Everything that was logged" in page, "more can go back in the same return"


def test_only_a_manager_sees_it_and_can_ask(world: World) -> None:
    sheet, entry, team = world.sheet(), world.entry("joint", "J3"), world.team
    ask = {"entry": str(entry.pk), "field": "cooling_min", "text": "How long?"}
    for who, status in ((team.scheduler, 403), (team.crew, 403), (team.engineer, 403), (team.outsider, 404)):
        client = signed_in(who)
        for answer in (
            client.get(reverse("sheets:review", args=[sheet.pk])),
            client.post(reverse("sheets:ask", args=[sheet.pk]), ask),
        ):
            assert answer.status_code == status, who
            assert "Everything that was logged" not in answer.content.decode()
    with world.scope():
        assert not Ask.objects.exists()
    assert world.sheet().state == SheetState.SUBMITTED


def test_words_stand_there_as_text(world: World) -> None:
    attack = '"><script>alert(1)</script>{{ 7|add:7 }}'
    world.logs("note", "", text={"note": attack})
    part = section(page_of(world))
    assert "<script" not in part
    assert "alert(1)" in unescape(part)
    assert "{{ 7|add:7 }}" in unescape(part)


def test_cards_of_everything_draw_no_curves_but_those_of_findings_do(world: World) -> None:
    """A list of two hundred readings stays light."""
    with world.scope():
        sheet = world.sheet()
        cards = reviewing.Cards(sheet, gather.evidence(world.job), at=world.at)
        listed = [card for group in reviewing.everything(cards) for card in group.cards]
        end = next(item for item in cards.seen.items if item.kind == "pressure_end")
        assert all(card.svg == "" for card in listed)
        assert cards.of(end).svg.startswith("<svg")
