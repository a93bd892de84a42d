"""The canonical text of a clean and of a messy job: its numbers, its words, and what must never be in it."""

from __future__ import annotations

import json
import random
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any
from uuid import UUID

import pytest

from jobs.sheets import facts, gather
from jobs.sheets.evidence import Evidence, Item, Standing
from jobs.visits.kinds import KINDS
from tests.build import a_job, instruments
from tests.build_entries import happy_log, send
from tests.people import Team, a_team
from tests.sheets import main_job
from tests.sheets.main_job import CREW, MANAGER, n, v
from tests.sheets.test_facts import APPROVAL

MESSY = ("clean", "messy")
NUMBER = re.compile(r"-?\d+(\.\d+)?(e[+-]?\d+)?")
# Unit at the end of a design number's name, or a name that says that it is a count or a code.
UNITS = re.compile(
    r"_(m|mm|l|l_min|kw|w|k|c|pct|bar|kpa|kg_m3|m_s|s|min|days|w_m_k|kj_kg_k|j_kg_k|pa_s|mpa_s|m3|mm2|m2|kg|mmh2o|per_k)$"
)


@cache
def clean() -> Evidence:
    return main_job.evidence()


@cache
def messy() -> Evidence:
    """Corrected twice, held, undone, from paper, with unknown answers, odd units, and words in every script."""
    seen = clean()
    items: list[Item] = []
    for at, item in enumerate(seen.items):
        changed = item
        if item.kind == "static_pressure":
            old = replace(item, standing=Standing.SUPERSEDED, entry=replace(item.entry, id=str(UUID(int=9001))))
            items.append(old)
            changed = replace(item, supersedes=old.id, reason="typing_error")
        elif item.kind == "flush" and item.subject == "L2":
            changed = replace(
                item, entry=replace(item.entry, payload={**item.entry.payload, "flow": n(8.5, "gpm", "8,5")})
            )
        elif item.kind == "joint" and item.subject == "J4":
            unknown = {"unknown": "not_known"}
            changed = replace(item, entry=replace(item.entry, payload={**item.entry.payload, "cooling_min": unknown}))
        elif item.kind == "pressure_end":
            changed = replace(item, void_for=("S3",))
        elif item.kind == "note":
            changed = replace(item, texts={"note": "مرحبا שלום 🛠️ naïve\u202e\n\ttab"}, source="paper")
        elif item.kind == "purge" and at % 2:
            changed = replace(item, standing=Standing.HELD, why="hold point H9 is closed", verdicts=())
        items.append(replace(changed, device=str(UUID(int=77))))
    last = items[-1]
    odd = replace(
        last.entry, id=str(UUID(int=9002)), kind="from_a_newer_phone", subject="X1",
        payload={"level": n(3.25, "m"), "list": v([1, 2.5]), "bare": 5, "deep": v({"a": 1.25})},
    )  # fmt: skip
    items.append(Item(odd, texts={"word": "?"}))
    return replace(seen, items=tuple(items))


def job(name: str) -> Evidence:
    return {"clean": clean, "messy": messy}[name]()


@cache
def made(name: str) -> facts.Snapshot:
    return facts.snapshot(job(name), APPROVAL)


def leaves(value: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    if isinstance(value, dict):
        for key, one in value.items():
            yield from leaves(one, (*path, str(key)))
    elif isinstance(value, list):
        for one in value:
            yield from leaves(one, (*path, "[]"))
    else:
        yield path, value


def dicts(value: Any) -> Iterator[dict[str, Any]]:
    if isinstance(value, dict):
        yield value
        for one in value.values():
            yield from dicts(one)
    elif isinstance(value, list):
        for one in value:
            yield from dicts(one)


@pytest.mark.parametrize("name", MESSY)
class TestForm:
    def test_only_strings_and_booleans(self, name: str) -> None:
        kinds = {type(leaf) for _, leaf in leaves(made(name).facts)}
        assert kinds <= {str, bool, type(None)}

    def test_every_answer_that_is_a_number_has_its_unit_beside_it(self, name: str) -> None:
        seen = 0
        for entry in made(name).facts["entries"]:
            for field, answer in entry["values"].items():
                if "text" in answer:
                    seen += 1
                    assert answer["unit"], (entry["kind"], field)
                    assert NUMBER.fullmatch(answer["value"]), (entry["kind"], field)
        assert seen > 150

    def test_every_figure_of_a_verdict_is_a_number_with_a_unit(self, name: str) -> None:
        for entry in made(name).facts["entries"]:
            for verdict in entry["verdicts"]:
                for one in verdict["figures"]:
                    assert NUMBER.fullmatch(one["value"])
                    assert one["unit"] or one["name"] == "turnovers", one
                    assert not one["limit"] or NUMBER.fullmatch(one["limit"])

    def test_every_limit_has_unit_source_and_status(self, name: str) -> None:
        for row in made(name).facts["limits"]:
            assert NUMBER.fullmatch(row["value"])
            assert row["unit"]
            assert row["source"]
            assert row["status"] in {"read", "memory", "computed", "common practice", "house default"}

    def test_times_are_in_utc_to_the_second(self, name: str) -> None:
        times = [
            leaf for path, leaf in leaves(made(name).facts) if path[-1] in {"observed_at", "time", "at", "submitted_at"}
        ]
        assert len(times) > 80
        for time in times:
            assert re.fullmatch(r"20\d\d-\d\d-\d\dT\d\d:\d\d:\d\dZ", time), time

    def test_no_id_of_a_row_a_device_or_a_person(self, name: str) -> None:
        text = made(name).text
        assert not re.search(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}", text)
        for item in job(name).items:
            assert f'"{item.id}"' not in text
        assert CREW not in {leaf for _, leaf in leaves(made(name).facts)}

    def test_no_time_of_typing_or_of_receipt(self, name: str) -> None:
        text = made(name).text
        typed = {facts.moment(item.entry.recorded_at) for item in job(name).items}
        observed = {facts.moment(item.at) for item in job(name).items}
        stated = {leaf for path, leaf in leaves(made(name).facts) if path[-1] == "time"}
        assert not [one for one in typed - observed - stated if f'"{one}"' in text]
        for word in ("received", "recorded", "device", "seq", "client", "clock", "offset", "content_hash", "salt"):
            assert f'"{word}' not in text

    def test_reading_and_writing_again_gives_the_same_bytes(self, name: str) -> None:
        assert facts.canonical(json.loads(made(name).text)) == made(name).text

    def test_names_of_keys_are_sorted_as_the_standard_says(self, name: str) -> None:
        """RFC 8785, 3.2.3: by UTF-16 code units."""
        for one in dicts(json.loads(made(name).text)):
            keys = list(one)
            assert keys == sorted(keys, key=lambda key: key.encode("utf-16-be"))

    def test_entries_are_numbered_from_one_and_point_at_each_other_by_number(self, name: str) -> None:
        rows = made(name).facts["entries"]
        numbers = [row["n"] for row in rows]
        assert numbers == [str(at) for at in range(1, len(rows) + 1)]
        known = {*numbers, "", "office"}
        for row in rows:
            assert row["supersedes"] in known
            assert row["overridden_by"] in known
        for row in (*made(name).facts["findings"], *made(name).facts["hold_points"]):
            assert set(row.get("entries", [])) <= known
        assert set(made(name).facts["tested"].values()) <= known

    def test_people_and_instruments_are_codes(self, name: str) -> None:
        told = made(name).facts
        people = set(told["people"])
        assert all(re.fullmatch(r"P\d+", code) for code in people)
        assert {row["by"] for row in told["entries"]} <= people | {""}
        kit = {row["code"] for row in told["instruments"]}
        assert {row["instrument"] for row in told["entries"]} - {""} == kit
        welders = {row["values"]["welder"]["person"] for row in told["entries"] if row["kind"] == "joint"}
        assert welders <= people

    def test_all_words_lie_apart(self, name: str) -> None:
        for item in job(name).items:
            for words in item.texts.values():
                if isinstance(words, str) and len(words) > 3:
                    assert json.dumps(words)[1:-1] not in made(name).text
                    assert words not in made(name).text
        for row in made(name).facts["entries"]:
            for word in row["words"]:
                assert f"entries.{row['n']}.{word}" in made(name).facts["commitments"]

    def test_every_commitment_has_its_words_and_every_word_its_commitment(self, name: str) -> None:
        assert set(made(name).facts["commitments"]) == set(made(name).personal["words"])
        assert facts.broken_commitments(made(name).facts, made(name).personal) == []


@pytest.mark.parametrize("kind", sorted({item.kind for item in main_job.evidence().items}))
def test_every_answer_of_every_kind_is_there_as_typed(kind: str) -> None:
    rows = [row for row in made("clean").facts["entries"] if row["kind"] == kind]
    items = clean().of(kind)
    assert len(rows) == len(items) > 0
    for row, item in zip(rows, items, strict=True):
        assert set(row["values"]) == set(item.entry.payload)
        assert row["subject"] == item.subject
        assert row["label"] == KINDS[kind].label
        for name, typed in item.entry.payload.items():
            told = row["values"][name]
            if "unit" in typed:
                assert (told["text"], told["unit"]) == (typed["text"], typed["unit"])
                assert float(told["value"]) == pytest.approx(typed["value"], rel=5e-6)
            elif "time" in told:
                assert datetime.fromisoformat(told["time"]) == datetime.fromisoformat(typed["value"]).replace(
                    microsecond=0
                )
            elif "person" in told:
                assert told["person"]
            else:
                assert told["value"] == typed["value"]


def test_the_designs_numbers_tell_their_unit_in_their_name() -> None:
    numeric = {
        key: leaf
        for path, leaf in leaves(made("clean").facts["design"])
        for key in path[-1:]
        if leaf and NUMBER.fullmatch(leaf)
    }
    assert len(numeric) >= 12
    assert [key for key in numeric if not UNITS.search(key) and key not in {"cop", "revision"}] == []


def test_unknown_is_told_as_unknown_and_a_foreign_unit_as_typed() -> None:
    rows = made("messy").facts["entries"]
    joint = next(row for row in rows if (row["kind"], row["subject"]) == ("joint", "J4"))
    assert joint["values"]["cooling_min"] == {"unknown": "not_known"}
    flush = next(row for row in rows if (row["kind"], row["subject"]) == ("flush", "L2"))
    assert flush["values"]["flow"] == {"text": "8,5", "value": "8.5", "unit": "gpm"}


def test_a_kind_this_server_does_not_know_is_kept_whole() -> None:
    row = next(row for row in made("messy").facts["entries"] if row["kind"] == "from_a_newer_phone")
    assert row["label"] == "From a newer phone"
    assert row["values"] == {
        "level": {"text": "3.25", "value": "3.25", "unit": "m"},
        "list": {"value": ["1", "2.5"]},
        "bare": {"value": "5"},
        "deep": {"value": {"a": "1.25"}},
    }


def test_every_standing_has_its_reason() -> None:
    rows = made("messy").facts["entries"]
    assert {row["standing"] for row in rows} == {"current", "superseded", "held"}
    assert all(row["why"] for row in rows if row["standing"] == "held")
    correction = next(row for row in rows if row["supersedes"])
    assert correction["reason"] == "typing_error"
    assert rows[int(correction["supersedes"]) - 1]["standing"] == "superseded"
    assert next(row for row in rows if row["kind"] == "pressure_end")["void_for"] == ["S3"]


@pytest.mark.parametrize("seed", range(6))
def test_one_change_anywhere_changes_the_hash(seed: int) -> None:
    pick = random.Random(seed)
    seen = messy()
    at = pick.randrange(len(seen.items))
    item = seen.items[at]
    changes = (
        replace(item, entry=replace(item.entry, observed_at=item.at + timedelta(seconds=1))),
        replace(item, entry=replace(item.entry, subject=item.subject + "x")),
        replace(item, texts={**item.texts, "remark": "one more word"}),
        replace(item, source="phoned_in"),
        replace(item, why="for another reason"),
    )
    for changed in changes:
        other = replace(seen, items=(*seen.items[:at], changed, *seen.items[at + 1 :]))
        assert facts.snapshot(other, APPROVAL).hash != made("messy").hash


def test_what_is_transport_changes_nothing() -> None:
    seen = messy()
    items = tuple(
        replace(
            item, device=str(UUID(int=at + 5)),
            entry=replace(item.entry, recorded_at=item.entry.recorded_at + timedelta(hours=at)),
        )
        for at, item in enumerate(seen.items)
    )  # fmt: skip
    other = replace(seen, items=items, version=99, waiting_phones=3, unread_items=2, photos_here=frozenset())
    assert facts.snapshot(other, APPROVAL).text == made("messy").text


def test_other_ids_of_the_same_entries_change_nothing() -> None:
    seen = messy()
    named = {item.id: f"other-{at}" for at, item in enumerate(seen.items)}
    items = tuple(
        replace(
            item, entry=replace(item.entry, id=named[item.id]), supersedes=named.get(item.supersedes, ""),
            overridden_by=named.get(item.overridden_by, item.overridden_by),
        )
        for item in seen.items
    )  # fmt: skip
    holds = tuple(
        replace(one, step=named.get(one.step, ""), override=named.get(one.override, "")) for one in seen.holds
    )
    passed = {subject: named[entry] for subject, entry in seen.passed.items()}
    other = replace(seen, items=items, holds=holds, passed=passed)
    assert facts.snapshot(other, APPROVAL).text == made("messy").text


def test_erasing_one_person_after_another_keeps_the_rest_verifiable() -> None:
    left = made("messy").personal
    before = len(left["words"])
    for person in (CREW, "engineer", MANAGER):
        left = facts.erase(left, person)
        assert len(left["words"]) < before
        before = len(left["words"])
        assert facts.broken_commitments(made("messy").facts, left) == []
    assert "Birch" not in json.dumps(left)
    assert "Pine" not in json.dumps(left)
    assert "שלום" not in json.dumps(left, ensure_ascii=False)


@pytest.mark.parametrize(
    "words", ["", "x", "a" * 5000, "\u202ertl", "🛠️🔥", "\x00\x01", "\ud7ff", "é" * 300, "</script>"]
)
def test_any_words_can_be_committed_to_and_are_found_again(words: str) -> None:
    seen = clean()
    items = tuple(replace(item, texts={"note": words}) if item.kind == "note" else item for item in seen.items)
    told = facts.snapshot(replace(seen, items=items), APPROVAL)
    key = next(key for key in told.facts["commitments"] if key.endswith(".note"))
    assert told.personal["words"][key]["value"] == words
    kept = json.loads(json.dumps(told.personal))
    assert facts.broken_commitments(told.facts, kept) == []
    kept["words"][key]["value"] = words + "!"
    assert facts.broken_commitments(told.facts, kept) == [key]


def received(team: Team, *, shuffled: bool) -> facts.Snapshot:
    """The whole job as sent; shuffled, as several phones in a cellar would bring it."""
    instruments(team.firm)
    made_job = a_job(team.firm)
    log = happy_log(made_job, "submitted", crew=team.crew, engineer=team.engineer)
    entries = list(log.entries)
    if shuffled:
        random.Random(7).shuffle(entries)
    send(entries, sender=team.crew, received_at=datetime(2026, 4, 20, 8, 0, tzinfo=UTC) if shuffled else None)
    from jobs.firms.scope import scope  # noqa: PLC0415

    with scope(team.firm.pk):
        made_job.refresh_from_db()
        return facts.snapshot(gather.evidence(made_job), APPROVAL)


def test_the_order_and_time_of_receipt_change_nothing(db: None) -> None:
    first = received(a_team(), shuffled=False)
    second = received(a_team(), shuffled=True)
    assert first.facts["job"]["number"] == second.facts["job"]["number"]
    for one, other in zip(first.facts["entries"], second.facts["entries"], strict=True):
        assert one == other
    assert first.hash == second.hash
