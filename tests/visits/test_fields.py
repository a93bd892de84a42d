"""Every field of every kind through `receive`: whatever is in it, the entry is kept as it came, with the right code."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Any
from uuid import UUID, uuid5

import pytest
from django.db import transaction

from jobs.firms.scope import scope
from jobs.planning.models import Job
from jobs.visits import actions, queries, rows
from jobs.visits.kinds import KINDS, Answer, Field, Kind, Of
from jobs.visits.models import Entry, EntryText, HeldItem
from tests.people import Team

NOW = datetime(2026, 3, 9, 18, 0, tzinfo=UTC)
DEVICE = UUID("7c0ffee0-1234-4abc-8def-0123456789ab")
SUBJECTS = {
    Of.JOB: "", Of.LOOP: "L1", Of.LOOP_OR_HEADER: "H", Of.HEADER: "H", Of.POINT: "P1", Of.BOREHOLE: "B1", Of.SECTION: "S1", Of.JOINT: "J1", Of.TEST: "T1",
    Of.BATCH: "M1", Of.SAMPLE: "M1", Of.SET: "R1", Of.HOLD_POINT: "H6:S1",
}  # fmt: skip
CODES = {"loops": "L1", "sections": "S1", "header": "H", "boreholes": "B1"}
HASH = "0123456789abcdef" * 4
AT = "2026-03-09T08:00:00+00:00"
EMOJI, RIGHT_TO_LEFT, LONG = "🚜🕳️💧", "שלום, אין לחץ", "gravel " * 20_000

# Units in one of the first unit of their list, from handbooks (exact definitions of psi, gallon, inch, foot).
PER_FIRST = {
    "kPa": 100.0, "psi": 14.503_773_8, "cm": 0.1, "in": 1 / 25.4, "m³/h": 0.06, "gpm": 1 / 3.785_411_784, "m³": 0.001,
    "gal": 1 / 3.785_411_784, "ft": 1 / 0.3048, "h": 1 / 60, "W": 1000.0,
}  # fmt: skip

# What is wrong, the answer, and the code without its field. `missing` counts for answers that must be given only.
Case = tuple[str, Any, str]


def good_number(field: Field) -> dict[str, Any]:
    assert field.soft is not None
    middle = (field.soft[0] + field.soft[1]) / 2
    return {"text": f"{middle:g}", "value": middle, "unit": field.units[0]}


def good(field: Field) -> dict[str, Any]:
    named = field.choices[0][0] if field.choices else next((CODES[one] for one in field.choices_from), "")
    makers: dict[Answer, Callable[[], dict[str, Any]]] = {
        Answer.NUMBER: lambda: good_number(field),
        Answer.CHOICE: lambda: {"value": named},
        Answer.YES: lambda: {"value": field.good is not False},
        Answer.MANY: lambda: {"value": [named]},
        Answer.TIME: lambda: {"value": AT},
        Answer.PHOTO: lambda: {"value": [HASH]},
        Answer.PERSON: lambda: {"value": str(DEVICE)},
        Answer.INSTRUMENT: lambda: {"value": str(DEVICE)},
        Answer.CODE: lambda: {"value": "PG-2605"},
    }
    return makers[field.answer]()


def payload_of(kind: Kind, asked: Field | None = None) -> dict[str, Any]:
    """A good answer to everything; where `asked` hangs on another answer, one that lets it be asked."""
    found = {field.name: good(field) for field in kind.fields if not field.answer.is_text}
    if asked and asked.only_if:
        found[asked.only_if[0]] = {"value": asked.only_if[1][0]}
    return found


def text_of(kind: Kind) -> dict[str, Any]:
    said: dict[Answer, Any] = {Answer.TEXT: "Storm tonight, ten words of it", Answer.STROKES: [[[0, 0], [3, 4]]]}
    return {field.name: said[field.answer] for field in kind.fields if field.answer.is_text}


def number_cases(field: Field) -> Iterator[Case]:
    unit, (low, high) = field.units[0], field.hard or (0.0, 0.0)
    soft = field.soft or (0.0, 0.0)
    yield from (
        ("a word", {"text": "deep", "value": "deep", "unit": unit}, "answer"),
        ("a list", {"value": [1], "unit": unit}, "answer"),
        ("true", {"value": True, "unit": unit}, "answer"),
        ("false", {"value": False, "unit": unit}, "answer"),
        ("no unit", {"text": "1", "value": high}, "unit"),
        ("a unit of nobody", {"value": high, "unit": "cubit"}, "unit"),
        ("an object for a unit", {"value": high, "unit": {"bar": 1}}, "unit"),
        ("above what is usual", {"value": (soft[1] + high) / 2, "unit": unit}, ""),
        ("below what is usual", {"value": (soft[0] + low) / 2, "unit": unit}, ""),
        ("at the upper end", {"value": high, "unit": unit}, ""),
        ("at the lower end", {"value": low, "unit": unit}, ""),
        ("above what is possible", {"value": high + 1, "unit": unit}, "hard_range"),
        ("below what is possible", {"value": low - 1, "unit": unit}, "hard_range"),
        ("absurd", {"value": 1e300, "unit": unit}, "hard_range"),
        ("not a number", {"value": math.nan, "unit": unit}, "unreadable"),
        ("infinite", {"value": -math.inf, "unit": unit}, "unreadable"),
        ("1e400 in JSON", json.loads(f'{{"value": 1e400, "unit": "{unit}"}}'), "unreadable"),
        ("four hundred digits", {"value": 10**400, "unit": unit}, "unreadable"),
    )
    for other in field.units[1:]:
        if other in PER_FIRST and high > 0:
            factor = PER_FIRST[other]
            yield f"just possible in {other}", {"value": high * factor * 0.9999, "unit": other}, ""
            yield f"just too much in {other}", {"value": high * factor * 1.0001, "unit": other}, "hard_range"


WRONG: dict[Answer, tuple[Case, ...]] = {
    Answer.YES: (
        ("a word", {"value": "yes"}, "answer"),
        ("one", {"value": 1}, "answer"),
        ("nothing in a list", {"value": []}, "missing"),
        ("both", {"value": [True, False]}, "answer"),
    ),
    Answer.CHOICE: (
        ("no such choice", {"value": "feathers"}, "answer"),
        ("a number", {"value": 7}, "answer"),
        ("a list", {"value": ["sand"]}, "answer"),
        ("emoji", {"value": EMOJI}, "answer"),
        ("right to left", {"value": RIGHT_TO_LEFT}, "answer"),
        ("huge", {"value": LONG}, "answer"),
    ),
    Answer.MANY: (
        ("no list", {"value": "S1"}, "answer"),
        ("no such place", {"value": ["S1", "S99"]}, "answer"),
        ("numbers", {"value": [1, 2]}, "answer"),
        ("objects", {"value": [{"S1": 1}]}, "answer"),
        ("an empty list", {"value": []}, "missing"),
    ),
    Answer.TIME: (
        ("a word", {"value": "yesterday"}, "answer"),
        ("without its zone", {"value": "2026-03-09T08:00:00"}, "answer"),
        ("a number", {"value": 1_773_043_200}, "answer"),
        ("before all calendars", {"value": "0001-01-01T00:00:00+14:00"}, "answer"),
        ("after all calendars", {"value": "9999-12-31T23:59:59+00:00"}, "answer"),
        ("a day that is none", {"value": "2026-02-30T08:00:00+00:00"}, "answer"),
    ),
    Answer.PHOTO: (
        ("a name", {"value": ["holiday.jpg"]}, "answer"),
        ("no list", {"value": HASH}, "answer"),
        ("nothing in it", {"value": [None]}, "answer"),
        ("capitals", {"value": [HASH.upper()]}, "answer"),
        ("one good, one bad", {"value": [HASH, "x"]}, "answer"),
    ),
    Answer.CODE: (
        ("a number", {"value": 2605}, "answer"),
        ("61 letters", {"value": "x" * 61}, "answer"),
        ("60 letters", {"value": "x" * 60}, ""),
        ("emoji", {"value": EMOJI}, ""),
        ("right to left", {"value": RIGHT_TO_LEFT}, ""),
    ),
}
WRONG[Answer.PERSON] = WRONG[Answer.INSTRUMENT] = WRONG[Answer.CODE]


def cases_of(field: Field) -> Iterator[Case]:
    """All that can be wrong with one answer."""
    yield from number_cases(field) if field.answer is Answer.NUMBER else WRONG[field.answer]
    some = good(field)
    yield from (
        ("an empty object", {}, "missing"),
        ("null inside", {"value": None}, "missing"),
        ("an empty word", {"value": ""}, "missing"),
        ("bare", 7, "answer"),
        ("a bare list", [1], "answer"),
        ("not known", {"unknown": "not_known"}, ""),
        ("does not apply", {"unknown": "not_applicable", "value": None}, ""),
        ("unknown in a way of its own", {"unknown": "lazy"}, "missing"),
        ("unknown as an object", {"unknown": {"not_known": 1}}, "missing"),
        ("not known and answered", {**some, "unknown": "not_known"}, "answer"),
        ("more inside than is known", {**some, "colour": {"hue": [1, 2]}}, ""),
    )


TEXTS: tuple[tuple[str, Any, str], ...] = (
    ("huge", LONG, ""),
    ("emoji, long enough", EMOJI * 4, ""),
    ("right to left", RIGHT_TO_LEFT, ""),
    ("markup", "<script>alert('ten')</script>", ""),
    ("blank", " " * 30, "missing"),
    ("null", None, "missing"),
    ("a number", 1234567890123, "missing"),
    ("an object", {"a": 1}, "missing"),
    ("lines and tabs", "one\ttwo\r\nthree four", ""),
)


def entry(team: Team, job: Job, kind: Kind, number: int, **change: Any) -> dict[str, Any]:
    whole = {
        "id": str(uuid5(DEVICE, f"{job.pk} {kind.code} {number}")), "job": str(job.pk), "visit": None, "kind": kind.code,
        "subject": SUBJECTS[kind.of], "payload": payload_of(kind), "text": text_of(kind), "observed_at": AT,
        "recorded_at": AT, "tz": "Europe/London", "seq": number, "supersedes": None, "reason": "", "instrument": None,
        "source": "typed", "schema": 1, "device": str(DEVICE), "author": str(team.engineer.pk), "client_build": "test",
    }  # fmt: skip
    return whole | change


def same(one: Any, other: Any) -> bool:
    """Equal also where NaN stands."""
    return json.dumps(one, sort_keys=True) == json.dumps(other, sort_keys=True)


def receive(team: Team, job: Job, raw: dict[str, Any]) -> str:
    """The code without its field, after all that must hold of any entry; leaves nothing behind."""
    with scope(team.firm.pk):
        mark = transaction.savepoint()
        receipt = actions.receive(raw, sender=team.crew, sent_at=NOW, received_at=NOW)
        assert receipt.status in {"stored", "held"}
        if receipt.why == "unreadable":
            assert not Entry.objects.exists()
            assert same(json.loads(HeldItem.objects.get().body), raw)
        else:
            kept(raw, job)
            again = actions.receive(raw, sender=team.crew, sent_at=NOW, received_at=NOW)
            assert again.status == "duplicate"
            assert not HeldItem.objects.exists()
        transaction.savepoint_rollback(mark)
    what, _, field = receipt.why.partition(":")
    if what in {"missing", "answer", "unit", "hard_range"}:
        return f"{what}:{field}"
    return "" if what == "hold_point" else what


def kept(raw: dict[str, Any], job: Job) -> None:
    """Content to the letter, and pages that still open."""
    row = Entry.objects.get()
    beside = row.extra.get("payload", {})
    assert same({**row.payload, **beside}, raw["payload"])
    assert row.payload.keys() <= KINDS[row.kind].names
    if raw["text"]:
        assert same(EntryText.objects.get().body, raw["text"])
    (line,) = rows.timeline(queries.ledger(job).lines, job)
    assert all(isinstance(words, str) for _, words in line.answers)


@pytest.mark.long
@pytest.mark.parametrize("code", KINDS)
def test_every_answer_of_every_kind_is_kept_whatever_it_is(team: Team, job: Job, code: str) -> None:
    kind, number, wrong = KINDS[code], 0, []
    assert receive(team, job, entry(team, job, kind, 0)) == ""
    for field in kind.fields:
        if field.answer.is_text:
            continue
        for name, answer, said in cases_of(field):
            number += 1
            raw = entry(team, job, kind, number, payload={**payload_of(kind, field), field.name: answer})
            expected = "" if said == "missing" and not field.required else said
            found = receive(team, job, raw)
            if found != (f"{expected}:{field.name}" if expected not in {"", "unreadable"} else expected):
                # An answer on which others hang takes the question away with it.
                wrong.append((field.name, name, expected, found))
    assert wrong == []


@pytest.mark.parametrize("code", KINDS)
def test_an_answer_that_was_not_given(team: Team, job: Job, code: str) -> None:
    kind = KINDS[code]
    for number, field in enumerate(kind.fields, start=1):
        payload = {name: answer for name, answer in payload_of(kind, field).items() if name != field.name}
        text = {name: words for name, words in text_of(kind).items() if name != field.name}
        found = receive(team, job, entry(team, job, kind, number, payload=payload, text=text))
        assert found == (f"missing:{field.name}" if field.required else ""), field.name


@pytest.mark.parametrize("code", [code for code, kind in KINDS.items() if text_of(kind)])
def test_every_text_is_kept_to_the_letter(team: Team, job: Job, code: str) -> None:
    kind, number = KINDS[code], 0
    for field in kind.fields:
        if field.answer is not Answer.TEXT:
            continue
        for name, words, said in TEXTS:
            number += 1
            raw = entry(team, job, kind, number, text={**text_of(kind), field.name: words})
            expected = said
            if said == "missing" and not field.required and words is None:
                expected = ""
            if field.shortest == 0 and isinstance(words, str):
                expected = ""
            found = receive(team, job, raw)
            assert found == (f"missing:{field.name}" if expected else ""), (field.name, name)


def test_all_unknown_with_and_without_a_reason(team: Team, job: Job) -> None:
    """`Not known` is an answer; why is said in the text, when somebody said it."""
    for number, kind in enumerate(KINDS.values(), start=1):
        payload = {name: {"unknown": "not_known"} for name in payload_of(kind)}
        reasons = dict.fromkeys(payload, "The plate was worn off")
        for at, text in enumerate((text_of(kind), {**reasons, **text_of(kind)})):
            raw = entry(team, job, kind, 10 * number + at, payload=payload, text=text)
            assert receive(team, job, raw) == "", kind.code


EXTRA: tuple[dict[str, Any], ...] = (
    {"weather": "sleet"},
    {"held": "", "decision": "taken", "verdict": "pass"},
    {"__proto__": {"polluted": True}, "constructor": 1},
    {"": ""},
    {"deep": {"a": [[[[{"b": None}]]]]}},
    {EMOJI: RIGHT_TO_LEFT},
)


@pytest.mark.parametrize("code", KINDS)
def test_what_nobody_asked_for_is_kept_aside(team: Team, job: Job, code: str) -> None:
    kind = KINDS[code]
    for number, extra in enumerate(EXTRA, start=1):
        raw = entry(team, job, kind, number) | extra
        raw["payload"] = raw["payload"] | {f"x {name}": value for name, value in extra.items()}
        assert receive(team, job, raw) == ""
        with scope(team.firm.pk):
            mark = transaction.savepoint()
            actions.receive(raw, sender=team.crew, sent_at=NOW, received_at=NOW)
            row = Entry.objects.get()
            assert {name: row.extra[name] for name in extra} == extra
            assert row.extra["payload"].keys() == {f"x {name}" for name in extra}
            transaction.savepoint_rollback(mark)


def test_what_cannot_be_read_is_told_before_what_is_missing(team: Team, job: Job) -> None:
    """The office may let a missing answer pass; it must not let an unreadable one pass along with it."""
    payload = payload_of(KINDS["joint"]) | {"section": {"value": [{"S1": 1}]}}
    del payload["od"]
    assert receive(team, job, entry(team, job, KINDS["joint"], 1, payload=payload)) == "answer:section"


@pytest.mark.parametrize("name", ["reason", "source", "client_build", "tz"])
@pytest.mark.parametrize("bad", ["a\x00b", "\ud800"])
def test_what_no_database_holds_is_kept_as_it_came(team: Team, job: Job, name: str, bad: str) -> None:
    raw = entry(team, job, KINDS["note"], 1, **{name: bad})
    assert receive(team, job, raw) == "unreadable"


@pytest.mark.parametrize(
    ("at", "is_read"),
    [
        ("1970-01-01T00:00:00+00:00", True),  # a phone whose clock was reset
        ("2199-12-31T23:59:59+00:00", True),
        ("0001-01-01T00:00:00+00:00", False),
        ("9999-12-31T23:59:59-12:00", False),
    ],
)
def test_times_of_the_envelope(team: Team, job: Job, at: str, is_read: bool) -> None:
    raw = entry(team, job, KINDS["note"], 1, observed_at=at, recorded_at=at)
    assert receive(team, job, raw) == ("" if is_read else "unreadable")


@pytest.mark.parametrize("year", [1, 1970, 2026, 4000, 9999])
def test_whatever_the_phone_says_of_its_own_clock(team: Team, job: Job, year: int) -> None:
    """A sending time of the year 1 puts nothing right; one of 1970 does."""
    sent = datetime(year, 6, 1, 12, 0, tzinfo=UTC)
    raw = entry(team, job, KINDS["note"], 1, observed_at=f"{1970 if year == 1970 else 2026}-06-01T11:00:00+00:00")
    with scope(team.firm.pk):
        receipt = actions.receive(raw, sender=team.crew, sent_at=sent, received_at=NOW)
        (row,) = rows.timeline(queries.ledger(job).lines, job)
    assert receipt.status == "stored"
    if year == 1970:
        assert row.at == datetime(2026, 3, 9, 17, 0, tzinfo=UTC)
