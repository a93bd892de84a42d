"""The snapshot: the same job gives the same bytes, numbers are strings, people can be erased."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.sheets import facts
from jobs.sheets.evidence import Evidence
from tests.sheets import main_job
from tests.sheets.main_job import ENGINEER, MANAGER, PEOPLE, n

AT = datetime(2026, 3, 23, 9, 30, tzinfo=UTC)
APPROVAL = facts.Approval(
    revision=1,
    by=PEOPLE[MANAGER],
    at=AT,
    submitted_by=PEOPLE[ENGINEER],
    submitted_at=datetime(2026, 3, 22, 13, 0, tzinfo=UTC),
    key="0" * 64,
    previous_hash="a" * 64,
    findings=(
        facts.Answered("H2", "warn", "Does the reason hold?", "H6:S1", answer="Rang the crew.", by=PEOPLE[MANAGER]),
    ),
)


@pytest.fixture(scope="module")
def seen() -> Evidence:
    return main_job.evidence()


@pytest.fixture(scope="module")
def snapshot(seen: Evidence) -> facts.Snapshot:
    return facts.snapshot(seen, APPROVAL)


def leaves(value: Any) -> Iterator[Any]:
    if isinstance(value, dict):
        for one in value.values():
            yield from leaves(one)
    elif isinstance(value, list):
        for one in value:
            yield from leaves(one)
    else:
        yield value


def test_the_same_job_gives_the_same_bytes(snapshot: facts.Snapshot) -> None:
    again = facts.snapshot(main_job.evidence(), APPROVAL)
    assert again.text == snapshot.text
    assert again.hash == snapshot.hash == hashlib.sha256(snapshot.text.encode()).hexdigest()
    assert again.personal == snapshot.personal


def test_no_number_is_left_a_number(snapshot: facts.Snapshot) -> None:
    loose = [leaf for leaf in leaves(snapshot.facts) if isinstance(leaf, int | float) and not isinstance(leaf, bool)]
    assert loose == []


def test_no_row_ids_no_receipt_and_no_transport(seen: Evidence, snapshot: facts.Snapshot) -> None:
    for item in seen.items:
        assert item.id not in snapshot.text
        assert item.entry.person not in [row["by"] for row in snapshot.facts["entries"]]
    assert not re.search(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-", snapshot.text), "no UUID"
    for word in ("received", "recorded", "device", "seq", "client_build"):
        assert f'"{word}' not in snapshot.text


def test_what_people_typed_stands_as_typed(snapshot: facts.Snapshot) -> None:
    ends = [row for row in snapshot.facts["entries"] if row["kind"] == "pressure_end"]
    assert ends[0]["values"]["watch_pressure"] == {"text": "2.00", "value": "2", "unit": "bar"}


def test_no_name_and_no_free_word_in_the_facts(seen: Evidence, snapshot: facts.Snapshot) -> None:
    for person in seen.people.values():
        assert person.name not in snapshot.text
    for words in ("Hazel Orchard", "Nether Lane", "Orchard House array", "key is back", "Rang the crew"):
        assert words not in snapshot.text
        assert words in json.dumps(snapshot.personal)


def test_one_changed_reading_changes_the_hash(seen: Evidence, snapshot: facts.Snapshot) -> None:
    item = seen.items[5]
    other = replace(item, entry=replace(item.entry, payload={**item.entry.payload, "depth": n(921, "mm")}))
    changed = replace(seen, items=(*seen.items[:5], other, *seen.items[6:]))
    assert facts.snapshot(changed, APPROVAL).hash != snapshot.hash


@pytest.mark.parametrize(
    "change",
    [{"revision": 2}, {"previous_hash": "b" * 64}, {"self_reviewed": True}, {"key": "1" * 64}, {"findings": ()}],
    ids=str,
)
def test_the_hash_is_bound_to_the_approval(seen: Evidence, snapshot: facts.Snapshot, change: dict[str, Any]) -> None:
    assert facts.snapshot(seen, replace(APPROVAL, **change)).hash != snapshot.hash


def test_names_are_bound_by_commitments(snapshot: facts.Snapshot) -> None:
    assert facts.broken_commitments(snapshot.facts, snapshot.personal) == []
    code = next(
        key
        for key, row in snapshot.personal["words"].items()
        if row["value"] == {"name": "Cato Birch", "roles": "Ground crew"}
    )
    forged = json.loads(json.dumps(snapshot.personal))
    forged["words"][code]["value"]["name"] = "Somebody Else"
    assert facts.broken_commitments(snapshot.facts, forged) == [code]


def test_an_erased_person_leaves_a_sheet_that_still_verifies(snapshot: facts.Snapshot) -> None:
    erased = facts.erase(snapshot.personal, ENGINEER)
    left = json.dumps(erased)
    assert "Edda Pine" not in left
    assert "key is back" not in left, "nor the words they wrote"
    assert "Cato Birch" in left
    assert facts.broken_commitments(snapshot.facts, erased) == []
    assert facts.digest(snapshot.text) == snapshot.hash
    assert facts.erase(erased, ENGINEER) == erased
    assert facts.erase(snapshot.personal, "nobody") == snapshot.personal


def test_commitments_cannot_be_guessed_from_the_name(snapshot: facts.Snapshot) -> None:
    name = {"name": "Cato Birch", "roles": "Ground crew"}
    plain = {facts.digest(facts.canonical(name)), facts.digest("Cato Birch")}
    assert not plain & set(snapshot.facts["commitments"].values())
    salts = [row["salt"] for row in snapshot.personal["words"].values()]
    assert len(set(salts)) == len(salts)


def test_held_and_corrected_entries_stay_in_the_facts(seen: Evidence) -> None:
    dropped = facts.snapshot(replace(seen, items=seen.items[:-1]), APPROVAL)
    assert len(dropped.facts["entries"]) == len(seen.items) - 1
    changed = main_job.evidence(
        lambda e: replace(e, payload={**e.payload, "joints_dry": {"value": False}}) if e.kind == "pressure_end" else e
    )
    rows = facts.snapshot(changed, APPROVAL).facts["entries"]
    assert {row["standing"] for row in rows} == {"current", "held"}
    assert len(rows) == len(seen.items)


JSON = st.recursive(
    st.none() | st.booleans() | st.text(st.characters(exclude_categories=["Cs"])),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text(st.characters(exclude_categories=["Cs"])), inner, max_size=4)
    ),
    max_leaves=12,
)


@given(JSON)
def test_canonical_text_reads_back_and_stays_as_it_is(value: Any) -> None:
    text = facts.canonical(value)
    assert json.loads(text) == value
    assert facts.canonical(json.loads(text)) == text


def test_canonical_form_is_that_of_the_standard() -> None:
    """RFC 8785, section 3.2.3: names sorted by UTF-16 code units."""
    value = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "1": "One",
        "\u0080": "Control",
        "\u00f6": "o",
        "\U0001f600": "Smiley",
    }
    assert list(json.loads(facts.canonical(value))) == ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600"]


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e9, max_value=1e9))
def test_a_number_is_within_its_six_digits(value: float) -> None:
    assert float(facts.number(value)) == pytest.approx(value, rel=5e-6, abs=1e-300)
