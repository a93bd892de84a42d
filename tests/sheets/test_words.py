"""How the checks speak: questions to people who did the work, in whole sentences, never an accusation."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from typing import Any

import pytest

from calcs.sources import Source, Status
from calcs.verdict import Outcome, Verdict
from jobs.sheets import findings
from jobs.sheets.evidence import Evidence, Hold, Standing
from jobs.sheets.findings import CHECKS, Found, Severity
from jobs.sheets.findings.base import LONGEST, asked, shown
from tests.sheets import main_job
from tests.sheets.test_findings import CASES, Case

ACCUSES = re.compile(
    r"\b(you (?:forgot|failed|lied|should have)|cheat\w*|fraud\w*|fak(?:e|ed|ing)|lie[sd]?|lying|invented|made up|"
    r"falsif\w*|careless\w*|neglig\w*|sloppy|guilty|blame|fault|wrongly|violat\w*|illegal|suspicious)\b",
    re.IGNORECASE,
)
INTERNALS = re.compile(r"\b(None|null|NaN|nan|inf|True|False|dict|Decimal|traceback|UUID|[a-z]+_[a-z_]+)\b")
LONG = "A reason that goes on and on, as reasons sometimes do. " * 20


@cache
def clean() -> Evidence:
    return main_job.evidence()


@cache
def everything_found() -> tuple[tuple[str, Found], ...]:
    return tuple((case.name, one) for case in CASES for one in case.found())


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_finding_is_a_question_in_whole_words(case: Case) -> None:
    for one in case.found():
        assert one.text.endswith("?")
        assert one.text[0].isupper() or one.text[0].isdigit()
        assert not ACCUSES.search(one.text), one.text
        # The evidence without a database has the code of a hold point for its reason.
        assert not INTERNALS.search(one.text.replace("hold_point:", "")), one.text
        assert "  " not in one.text
        assert ".." not in one.text
        assert "!" not in one.text


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_no_number_has_more_figures_than_anybody_reads(case: Case) -> None:
    for one in case.found():
        for number in re.findall(r"\d+\.\d+", one.text):
            assert len(number.replace(".", "").lstrip("0")) <= 4, one.text


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_its_entries_are_entries_of_the_job(case: Case) -> None:
    known = {item.id for item in case.seen.items}
    for one in case.found():
        assert set(one.entries) <= known
        assert len(set(one.entries)) == len(one.entries)


def test_labels_of_checks_are_short_and_plain() -> None:
    labels = [check.label for check in CHECKS.values()]
    assert len(set(labels)) == len(labels)
    for label in labels:
        assert 3 < len(label) <= 60
        assert label[0].isupper()
        assert not label.endswith(".")
        assert not ACCUSES.search(label)


def test_every_severity_is_spoken() -> None:
    assert {one.severity for _, one in everything_found()} == set(Severity)


def test_notes_never_stop_and_blocks_always_do() -> None:
    for _, one in everything_found():
        assert (one.severity is Severity.BLOCK) == (one.severity.label == "Blocks approval")


class TestLongWords:
    """Whatever is told at length, the question at the end stays whole."""

    def texts(self, code: str, seen: Evidence) -> list[str]:
        return [one.text for one in CHECKS[code].run(seen)]

    def test_of_a_verdict(self) -> None:
        source = Source("rules of the job", Status.HOUSE_DEFAULT)
        for outcome, question in (
            (Outcome.FAIL, "What was done about it?"),
            (Outcome.CANNOT_TELL, "Can that be settled?"),
            (Outcome.WARN, "Is that as it should be?"),
        ):
            verdict = Verdict(outcome, LONG, source=source, way_out="Read again.")
            items = tuple(
                replace(item, verdicts=(verdict,)) if item.kind == "static_pressure" else item for item in clean().items
            )
            texts = self.texts("R1", replace(clean(), items=items))
            assert len(texts) == 1
            assert texts[0].endswith(question)
            assert len(texts[0]) <= LONGEST

    def test_of_a_hold_point(self) -> None:
        hold = Hold("H6", "Backfill", "S1", missing=(LONG, LONG))
        (text,) = self.texts("H1", replace(clean(), holds=(hold,)))
        assert text.endswith("What is still to come?")
        assert len(text) <= LONGEST

    def test_of_a_held_entry(self) -> None:
        items = tuple(
            replace(item, standing=Standing.HELD, why=LONG) if item.kind == "purge" else item for item in clean().items
        )
        for text in self.texts("S1", replace(clean(), items=items)):
            assert text.endswith("Take it, or leave it out?")
            assert len(text) <= LONGEST

    @pytest.mark.parametrize("count", [1, 60, 400])
    def test_of_many_loops_without_a_test(self, count: int) -> None:
        loop = dict(clean().array.loops[0])
        loops = tuple({**loop, "code": f"L{at}"} for at in range(1, count + 1))
        seen = replace(clean(), array=replace(clean().array, loops=loops, manifold={}), passed={})
        (text,) = [one.text for one in CHECKS["Q6"].run(seen) if one.field == "tested"]
        assert text.endswith("Was it tested?")
        assert "L1" in text
        assert len(text) <= LONGEST

    @pytest.mark.parametrize("length", [0, 1, 470, 480, 481, 482, 483, 499, 500, 501, 5000])
    def test_cut_to_what_can_be_kept(self, length: int) -> None:
        text = asked("x" * length, "What is it then, huh?")
        assert len(text) <= LONGEST
        assert text.endswith(" What is it then, huh?")
        fits = length + len(" What is it then, huh?") <= LONGEST
        assert ("…" in text) is not fits
        assert text.count("x") == length if fits else text.count("x") < length


class TestEmptyAndOdd:
    """The checks read whatever was logged; none may stumble, else no sheet of the job opens any more."""

    @pytest.mark.parametrize(
        "answer",
        [
            None, {}, [], "5", 5, {"value": None}, {"value": ""}, {"value": []}, {"value": {}}, {"value": True},
            {"unknown": "not_known"}, {"unknown": "not_applicable"}, {"text": "x"}, {"value": "2026-13-45"},
            {"value": 1e308, "unit": "bar", "text": "1e308"}, {"value": -1e308, "unit": "", "text": ""},
            {"value": 0, "unit": "furlong", "text": "0"}, {"value": 0.0, "unit": "°C"}, {"value": ["x", None, 5]},
        ],
        ids=repr,
    )  # fmt: skip
    def test_any_answer_to_anything(self, answer: Any) -> None:
        items = tuple(
            replace(item, entry=replace(item.entry, payload=dict.fromkeys(item.entry.payload, answer)))
            for item in clean().items
        )
        for one in findings.run(replace(clean(), items=items)):
            assert one.text.endswith("?")
            assert "nan" not in one.text.split()

    def test_nothing_logged_at_all(self) -> None:
        seen = replace(clean(), items=(), passed={}, holds=(), photos_here=frozenset())
        found = findings.run(seen)
        assert {one.code for one in found} == {"M1", "Q6", "E1", "E5"}
        assert all(one.text.endswith("?") for one in found)

    def test_nothing_planned_either(self) -> None:
        seen = Evidence(replace(clean().ordered, design={}), items=clean().items)
        for one in findings.run(seen):
            assert one.text.endswith("?")

    def test_a_kind_that_is_not_known_here_yet(self) -> None:
        last = clean().items[0]
        newer = replace(
            last,
            texts={},
            verdicts=(),
            entry=replace(last.entry, id="new", kind="a_newer_kind", payload={"what": {"value": 1}}),
        )
        assert findings.run(replace(clean(), items=(*clean().items, newer))) == []


@pytest.mark.parametrize(
    ("value", "digits", "words"),
    [(0.0, 3, "0"), (1.0, 3, "1"), (0.123456, 3, "0.123"), (999.6, 3, "1000"), (1e-4, 2, "0.0001"), (12345.6, 3, "12346"),
     (-2.5, 3, "-2.5"), (5.0, 2, "5")],
)  # fmt: skip
def test_numbers_as_people_write_them(value: float, digits: int, words: str) -> None:
    assert shown(value, digits) == words


def test_one_finding_per_key_with_all_its_entries() -> None:
    """Two corrections of the same kind and subject in dispute: one question that names both."""
    seen = clean()
    base = seen.of("pressure_reading")[0]
    rivals = tuple(
        replace(base, entry=replace(base.entry, id=f"{target}{at}"), supersedes=target)
        for target in ("first", "second")
        for at in (1, 2)
    )
    found = [one for one in findings.run(replace(seen, items=(*seen.items, *rivals))) if one.code == "S2"]
    assert [one.entries for one in found] == [("first1", "first2", "second1", "second2")]


def test_of_two_on_one_key_the_graver_speaks() -> None:
    soft = Found("X1", Severity.WARN, "Soft?", "S1", ("a", "b"), "f")
    grave = Found("X1", Severity.BLOCK, "Grave?", "S1", ("b", "c"), "f")
    for first, other in ((soft, grave), (grave, soft)):
        joined = findings._joined(first, other)
        assert (joined.severity, joined.text) == (Severity.BLOCK, "Grave?")
        assert set(joined.entries) == {"a", "b", "c"}
