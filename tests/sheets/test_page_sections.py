"""Every section of the sheet with nothing, with the usual, and with far too much in it; and what stands in red."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta
from functools import cache
from html import unescape
from html.parser import HTMLParser
from typing import Any

import pytest
from django.template.loader import render_to_string

from jobs.sheets import facts
from jobs.sheets.evidence import Evidence
from jobs.sheets.page import whole
from jobs.sheets.page.base import LONGEST, Book, Section, short, soft
from tests.sheets import main_job
from tests.sheets.main_job import PEOPLE, clock, n, photo, v
from tests.sheets.test_facts import APPROVAL

ALL = (
    "array", "boreholes", "before", "trench", "joints", "welded", "laid", "positions", "test-T1", "flush", "mix", "fill",
    "purge", "balance", "settings", "run", "final", "site", "holds", "findings", "notes", "photos", "signatures", "instruments", "limits",
)  # fmt: skip
NEEDS = {
    "joints": "joint", "test-T1": "pressure_test", "flush": "flush", "fill": "loop_fill", "final": "final_reading",
    "run": "deaeration_start", "before": "services_permit", "welded": "joint", "positions": "position",
    "balance": "balance_reading", "site": "waste",
}  # fmt: skip
PRINTS_NOTHING = {"nan", "inf", "True", "False", "{}", "[]"}
VOID = {"meta", "link", "br", "img", "input", "hr"}


@cache
def clean() -> Evidence:
    return main_job.evidence()


def sheet_of(seen: Evidence, approval: facts.Approval = APPROVAL) -> whole.Sheet:
    made = facts.snapshot(seen, approval)
    return whole.sheet(made.facts, made.personal, hash=made.hash, link="https://example.test/verify/x", photos={})


def html_of(seen: Evidence, approval: facts.Approval = APPROVAL, *, draft: bool = False) -> str:
    return render_to_string("sheets/sheet.html", {"sheet": sheet_of(seen, approval), "draft": draft})


def sections(seen: Evidence) -> dict[str, Section]:
    return {section.code: section for section in sheet_of(seen).sections}


def cells(section: Section) -> list[str]:
    return [cell.text for table in section.tables for row in table.rows for cell in row]


class Nesting(HTMLParser):
    """Every element that is opened is closed, in order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open, tag
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def words_of(html: str) -> list[str]:
    reader = Nesting()
    reader.feed(html)
    assert reader.open == []
    return [word.strip() for word in reader.words if word.strip()]


def nones(seen: Evidence) -> int:
    """How often “None” is the answer that somebody chose: for dirt and for air."""
    return sum(item.entry.choice(name) == "none" for item in seen.current for name in ("debris", "air"))


class TestUsual:
    def test_all_sections_in_the_order_of_the_work(self) -> None:
        assert [section.code for section in sheet_of(clean()).sections] == list(ALL)

    @pytest.mark.parametrize("code", ALL)
    def test_every_row_is_as_wide_as_its_head(self, code: str) -> None:
        section = sections(clean())[code]
        assert section.title
        for table in section.tables:
            for row in table.rows:
                assert len(row) == len(table.columns), table.caption

    @pytest.mark.parametrize("code", ALL)
    def test_no_cell_shows_what_is_of_the_machine(self, code: str) -> None:
        for text in cells(sections(clean())[code]):
            assert text not in PRINTS_NOTHING
            assert not re.search(r"\d{7,}", text), text
            assert not re.search(r"\b[a-z]+_[a-z]+\b", text), text

    def test_the_page_is_well_formed_and_says_nothing_of_the_machine(self) -> None:
        words = words_of(html_of(clean()))
        assert not PRINTS_NOTHING & set(words)
        assert words.count("None") == nones(clean()) > 0
        assert len(words) > 500

    def test_every_table_has_a_head_and_every_head_a_scope(self) -> None:
        html = html_of(clean())
        assert html.count("<table") == html.count("<thead>") == html.count("</table>")
        assert "<th>" not in html

    def test_every_drawing_has_a_name(self) -> None:
        html = html_of(clean())
        for svg in re.findall(r"<svg[^>]*>", html):
            assert "aria-label" in svg or "viewBox" in svg
        assert html.count('role="img"') >= 4

    def test_the_figures_at_the_top_agree_with_what_was_typed(self) -> None:
        told = {one.label: f"{one.value} {one.unit}" for one in sheet_of(clean()).figures}
        assert told["Static pressure, cold"] == "1.6 bar"
        assert told["System volume by plan"] == "838 L", "838.5 L by the plan"
        assert re.fullmatch(r"9\.\d+ ± 0\.\d+ kW", told["Heat from ground"])
        assert abs(float(told["Freezing point"].removesuffix(" °C").replace("−", "-")) - -15.0) < 0.3, "as ordered"

    def test_times_are_those_of_the_site(self) -> None:
        """Day 20 of the demo is after the clocks changed: 29 March 2026, 01:00 UTC."""
        note = replace(clean().items[-1], entry=replace(clean().items[-1].entry, observed_at=clock(21, "11:00")))
        seen = replace(clean(), items=(*clean().items[:-1], note))
        assert "30 Mar 2026 12:00" in "".join(sections(seen)["notes"].notes)
        away = replace(seen, ordered=replace(seen.ordered, time_zone="Pacific/Auckland"))
        assert "31 Mar 2026 00:00" in "".join(sections(away)["notes"].notes), "UTC+13 until 5 April 2026"


class TestEmpty:
    def nothing(self) -> Evidence:
        return replace(clean(), items=(), passed={}, holds=())

    def test_nothing_logged_leaves_plan_findings_signature_and_limits(self) -> None:
        assert set(sections(self.nothing())) == {"array", "boreholes", "trench", "findings", "signatures", "limits"}
        words_of(html_of(self.nothing()))

    def test_the_summary_says_not_logged(self) -> None:
        told = {line.what: line.word for line in sheet_of(self.nothing()).summary}
        assert set(told.values()) == {"Not logged"}

    @pytest.mark.parametrize(("code", "kind"), NEEDS.items())
    def test_a_section_without_entries_is_left_out(self, code: str, kind: str) -> None:
        seen = replace(clean(), items=tuple(item for item in clean().items if item.kind != kind))
        assert code not in sections(seen)
        words_of(html_of(seen))

    @pytest.mark.parametrize("kind", sorted({item.kind for item in main_job.evidence().items}))
    def test_an_entry_with_no_answer_at_all_is_printed_as_dashes(self, kind: str) -> None:
        items = tuple(
            replace(item, entry=replace(item.entry, payload={}), texts={}, verdicts=()) if item.kind == kind else item
            for item in clean().items
        )
        seen = replace(clean(), items=items)
        words = words_of(html_of(seen))
        assert not PRINTS_NOTHING & set(words)
        assert words.count("None") == nones(seen)

    def test_no_plan_no_numbers(self) -> None:
        bare = Evidence(replace(clean().ordered, design={}), items=clean().items, people=PEOPLE)
        words_of(html_of(bare))

    def test_no_findings_is_said(self) -> None:
        made = sheet_of(clean(), replace(APPROVAL, findings=()))
        section = next(one for one in made.sections if one.code == "findings")
        assert "raised no question" in section.notes[0]

    def test_somebody_nobody_knows(self) -> None:
        seen = replace(clean(), people={}, kit={})
        assert "instruments" not in sections(seen)
        words_of(html_of(seen))


class TestHuge:
    def joints(self, count: int) -> Evidence:
        first = clean().of("joint")[0]
        more = tuple(
            replace(first, entry=replace(first.entry, id=f"j{at}", subject=f"J{at}")) for at in range(11, count + 1)
        )
        return replace(clean(), items=(*clean().items, *more))

    def test_sixty_joints(self) -> None:
        seen = self.joints(60)
        section = sections(seen)["joints"]
        assert [row[0].text for row in section.tables[0].rows] == [f"J{at}" for at in range(1, 61)]
        line = next(one for one in sheet_of(seen).summary if one.what == "Trench and joints")
        assert line.count == "63 entries"

    def test_two_hundred_readings(self) -> None:
        first = next(item for item in clean().of("pressure_reading") if item.entry.choice("phase") == "isolated")
        more = tuple(
            replace(
                first,
                entry=replace(
                    first.entry, id=f"r{at}", observed_at=first.at + timedelta(seconds=18 * at),
                    payload={**first.entry.payload, "pressure": n(6 - at / 1000, "bar")},
                ),
            )
            for at in range(1, 190)
        )  # fmt: skip
        seen = replace(clean(), items=tuple(sorted((*clean().items, *more), key=lambda item: item.at)))
        section = sections(seen)["test-T1"]
        readings = clean().of("pressure_reading")
        assert len(section.tables[1].rows) == len(readings) + 189 + len(clean().of("watch_reading"))
        assert section.svg.count("<circle") == len(readings) + 189
        words_of(html_of(seen))

    def test_two_hundred_photos_that_have_not_come(self) -> None:
        first = clean().of("photo")[0]
        names = [photo(f"p{at}")["value"][0] for at in range(200)]
        many = replace(first, entry=replace(first.entry, id="many", payload={"shot": v("other"), "photo": v(names)}))
        html = html_of(replace(clean(), items=(*clean().items, many)))
        assert html.count("not received") >= 200

    @pytest.mark.parametrize(
        "words",
        [
            "word " * 800,
            "x" * 5000,
            "שלום עולם " * 50,
            "\u202egnorw si siht\u202c",
            "🛠️🔥👩‍🔧" * 60,
            "a\nb\n\nc",
            "\t \t",
            "&amp;lt;",
        ],
        ids=["4,000 characters", "unbroken", "right to left", "turned round", "emoji", "lines", "blank", "entities"],
    )
    def test_notes_of_any_kind(self, words: str) -> None:
        items = tuple(replace(item, texts={"note": words}) if item.kind == "note" else item for item in clean().items)
        html = html_of(replace(clean(), items=items))
        words_of(html)
        flat = unescape(html).replace("\u200b", "").replace("<br>", "\n")
        kept = words if len(words) <= LONGEST else words[:LONGEST]
        assert not kept.strip() or kept.strip() in flat

    def test_no_printed_word_is_longer_than_a_line_can_break(self) -> None:
        long = "x" * 5000
        items = tuple(
            replace(item, texts=dict.fromkeys(item.texts, long)) if item.kind in {"note", "override", "photo"} else item
            for item in clean().items
        )
        ordered = replace(clean().ordered, title=long, customer=long, site=long, address=long)
        people = {key: replace(one, name=long) for key, one in PEOPLE.items()}
        seen = replace(clean(), items=items, ordered=ordered, people=people)
        for word in words_of(html_of(seen, replace(APPROVAL, by=people["manager"]))):
            for part in re.split(r"[\s\u200b]", word):
                assert len(part) <= 64, part[:80]

    def test_soft_changes_nothing_but_where_lines_may_break(self) -> None:
        for text in ("short", "y" * 24, "y" * 25, "y" * 100, "a " * 500, "é" * 60):
            assert soft(text).replace("\u200b", "") == text
            assert max(len(part) for part in re.split(r"[\s\u200b]", soft(text))) <= 24
        assert soft("z" * (LONGEST + 1)).endswith("… (cut)")


@pytest.mark.parametrize(
    ("value", "told"),
    [(None, "–"), ("", "–"), (0, "0"), (-9.05, "−9.05"), (1234.4, "1234"), (0.00012, "0.00012"), ("838.487", "838")],
)
def test_short_numbers(value: Any, told: str) -> None:
    assert short(value) == told


def test_a_book_without_personal_part_says_erased_everywhere() -> None:
    made = facts.snapshot(clean(), APPROVAL)
    empty: Mapping[str, Any] = {"words": {}, "who": {}}
    book = Book(made.facts, empty)
    assert book.person("P1") == "P1 (erased)"
    assert book.word("job.title") == "(erased)"
    assert book.word("job.nothing") == ""
    html = render_to_string(
        "sheets/sheet.html", {"sheet": whole.sheet(made.facts, empty, hash=made.hash, link="", photos={})}
    )
    for name in ("Cato", "Edda", "Mara", "Hazel", "Nether Lane"):
        assert name not in html
