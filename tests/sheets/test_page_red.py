"""What stands in red, what is struck, and how limits are told: in print and in words."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape

import pytest
from django.template.loader import render_to_string

from calcs.sources import Source, Status
from jobs.sheets import facts
from jobs.sheets.evidence import Evidence, Item, Standing
from jobs.sheets.page import whole
from jobs.sheets.page.base import source
from jobs.visits.kinds import Logged
from tests.sheets import main_job
from tests.sheets.main_job import CREW, GAUGE, PEOPLE, clock
from tests.sheets.test_facts import APPROVAL
from tests.sheets.test_page_sections import clean, html_of, sections, sheet_of


class TestRed:
    REASON = "Rain was coming and the digger had to leave."

    def seen(self) -> Evidence:
        past = Logged("past", "override", "H6:S1", {}, clock(0, "15:05"), clock(0, "15:06"), CREW, GAUGE)
        seen = main_job.evidence(add=[past])
        items = tuple(
            replace(item, texts={"reason": self.REASON}) if item.kind == "override" else item for item in seen.items
        )
        return replace(seen, items=items)

    def test_the_override_is_told_at_the_top_in_the_table_and_in_red(self) -> None:
        html = html_of(self.seen())
        assert re.search(r'<p class="red strong">1 hold point gone past: see', html)
        assert re.search(rf'<td class="red">“{self.REASON}”</td>', html)
        assert re.search(r'<td class="red">Cato Birch</td>', html)

    def test_without_one_nothing_is_red_but_warnings(self) -> None:
        html = html_of(clean())
        assert "gone past" not in html
        assert 'td class="red"' not in html

    def test_an_erased_reason_is_still_red(self) -> None:
        made = facts.snapshot(self.seen(), APPROVAL)
        sheet = whole.sheet(made.facts, facts.erase(made.personal, CREW), hash=made.hash, link="", photos={})
        html = render_to_string("sheets/sheet.html", {"sheet": sheet})
        assert self.REASON not in html
        assert '<td class="red">“(erased)”</td>' in html

    def test_a_waiver_is_red_with_its_reason(self) -> None:
        waived = facts.Answered(
            "F10", "block", "Is the strainer clean?", "R1", "flow", answer="The meter stuck at the time.", waived=True,
            by=PEOPLE["manager"],
        )  # fmt: skip
        html = html_of(clean(), replace(APPROVAL, findings=(waived,)))
        assert '<td class="red">Waived: The meter stuck at the time.</td>' in html
        assert "1 blocking finding waived" in html

    def test_self_review_is_red(self) -> None:
        html = html_of(clean(), replace(APPROVAL, self_reviewed=True))
        assert '<span class="red">(self-reviewed)</span>' in html
        assert "Self-reviewed: the approver also" in html
        assert "self-reviewed" not in html_of(clean())

    def test_a_draft_is_called_one_and_signs_nothing(self) -> None:
        html = html_of(clean(), draft=True)
        assert "<strong>Draft.</strong>" in html
        assert "How to check this sheet" not in html
        assert "not approved" in html

    def test_the_caution_stands_on_every_sheet(self) -> None:
        for seen in (clean(), self.seen(), replace(clean(), items=())):
            html = html_of(seen)
            assert "local codes, the makers' instructions and licensed practice come first" in unescape(html)


class TestLimits:
    def rows(self, status: Status, text: str = "Some guide, table 3") -> str:
        rules = {**clean().limits}
        rules["flush_minutes"] = replace(rules["flush_minutes"], source=Source(text, status))
        section = sections(replace(clean(), limits=rules))["limits"]
        return next(row[2].text for row in section.tables[0].rows if text in row[2].text)

    def test_a_figure_from_memory_is_never_a_requirement(self) -> None:
        assert "unconfirmed figure, not a requirement" in self.rows(Status.MEMORY)

    @pytest.mark.parametrize("status", [Status.READ, Status.COMPUTED])
    def test_what_was_read_or_computed_stands_with_its_source(self, status: Status) -> None:
        assert self.rows(status) == "Some guide, table 3"

    @pytest.mark.parametrize("status", [Status.COMMON_PRACTICE, Status.HOUSE_DEFAULT])
    def test_practice_and_own_defaults_are_called_that(self, status: Status) -> None:
        assert self.rows(status) == f"Some guide, table 3 ({status.value})"

    def test_memory_beside_a_verdict_is_told_too(self) -> None:
        items = tuple(
            replace(
                item,
                verdicts=tuple(replace(one, source=Source("A standard", Status.MEMORY)) for one in item.verdicts),
            )
            for item in clean().items
        )
        html = html_of(replace(clean(), items=items))
        told = re.findall(r"Method and limit: ([^<]*)", html)
        assert told
        assert all("unconfirmed figure, not a requirement" in one for one in told)
        assert "requires" not in " ".join(told)

    def test_every_limit_of_the_job_is_printed_once_with_its_value(self) -> None:
        section = sections(clean())["limits"]
        assert len(section.tables[0].rows) == len(clean().limits)
        for row in section.tables[0].rows:
            assert row[0].text
            assert row[2].text
            assert not row[0].text.endswith(("_min", "_pct", "_bar"))

    @pytest.mark.parametrize("status", [one.value for one in Status])
    def test_source_words(self, status: str) -> None:
        told = source("X", status)
        assert ("not a requirement" in told) is (status == "memory")


class TestStruck:
    def seen(self, standing: Standing, why: str) -> Evidence:
        def strike(item: Item) -> Item:
            return replace(item, standing=standing, why=why, verdicts=()) if item.kind == "static_pressure" else item

        return replace(clean(), items=tuple(map(strike, clean().items)))

    @pytest.mark.parametrize("standing", [Standing.SUPERSEDED, Standing.VOID, Standing.HELD])
    def test_what_does_not_count_stays_visible_and_struck(self, standing: Standing) -> None:
        section = sections(self.seen(standing, "for a reason"))["struck"]
        (row,) = section.tables[0].rows
        assert row[2].css == "struck"
        assert "Fill pressure, cold: 1.6 bar" in row[2].text
        assert row[5].text == f"{standing.value}: for a reason"

    @pytest.mark.parametrize("standing", [Standing.SUPERSEDED, Standing.VOID, Standing.HELD])
    def test_and_counts_nowhere_else(self, standing: Standing) -> None:
        made = sheet_of(self.seen(standing, ""))
        assert "Static pressure, cold" not in {one.label for one in made.figures}
        line = next(one for one in made.summary if one.what == "Pressure and settings")
        assert (line.state, line.word) == ("fail", "Not all")
