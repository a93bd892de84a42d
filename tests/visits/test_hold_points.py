"""Every hold point and every one of its needs: closed without it, open with it, said in words, passed with a reason only."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from jobs.visits.fold import fold
from jobs.visits.procedure import HOLD_POINTS, TABLE
from tests.visits.fold_build import (
    DAY,
    FLUSHED,
    PASSED,
    RUNNING,
    START,
    a_joint,
    a_permit,
    a_test,
    case,
    entry,
    filled,
    fix,
    flushes,
    ground,
    joints,
    min_,
    mix,
    papers,
    release,
    run_started,
    trenches,
)

Entries = list[dict[str, Any]]
Drop = Callable[[dict[str, Any]], bool]

# Per hold point: what came before it, the verdicts, and the entry that waits.
CHECKED = [*run_started(), entry("check-1", 5 * DAY, "follow_up"), entry("check-2", 9 * DAY, "follow_up")]
STABLE = RUNNING | {"run": "pass"}
CONNECT: dict[str, Any] = {"kept_closed": True, "shut_off": True}
COVERED = [entry(f"c-{name}", 230 + at, "covered", name) for at, name in enumerate(("S1", "S2", "S3"))]
CIRCULATED = [*ground(), *flushes(), entry("dose", 400, "circulation", spill_ready=True, through_all=True, pump="p")]
AIRLESS = [entry("purge-1", 500, "purge", pump="p"), entry("air", 520, "residual_air")]
LOOP_READ = [entry(f"read-{name}", 410, "strength_reading", name) for name in ("L1", "L2")]
# The way of filling and the pumps, where they are not the usual ones. The key's first word is the hold point.
GIVEN: dict[str, dict[str, Any]] = {
    "H9 flammable": {"flammable": True, "pumps": ["p"]},
    "H10 flammable": {"flammable": True, "pumps": ["p"]},
    "H11 circulate": {"fill": "circulate"},
    "H11 pre-filled": {"fill": "pre_filled"},
    "H4 shift": {"inspection_h": 12},
}
READY: dict[str, tuple[Entries, dict[str, str], dict[str, Any]]] = {
    "H1": ([a_permit()], {}, entry("it", 30, "trench_section", "S1", excavation_inspected=True)),
    "H1 dated": (
        [
            a_permit(
                valid_from=(START - timedelta(days=1)).isoformat(), valid_to=(START + timedelta(days=1)).isoformat()
            )
        ],
        {},
        entry("it", 30, "trench_section", "S1", excavation_inspected=True),
    ),
    "H2": ([entry("tube", 1, "utube_check", "B1", flows=True, holds=True)], {}, entry("it", 30, "grouting", "B1")),
    "H4 laid": (trenches(), {}, entry("it", 30, "pipe_laid", "L1", tagged=True, capped=True)),
    "H4 shift": (trenches(), {}, entry("it", 12 * 60 + 10, "pipe_laid", "L1", tagged=True, capped=True)),
    "H6 buried": (
        [
            *papers(),
            *trenches(),
            *[a_joint(f"j-{code}", 20, code, "S1", "L1", buried=True) for code in ("J1", "J2")],
            *a_test(covers=["S1", "L1"]),
            *[entry(f"at-{code}", 190, "position", code) for code in ("J1", "J2")],
        ],
        PASSED,
        release("it", 200),
    ),
    "H7": ([*ground(), *COVERED], PASSED, entry("it", 300, "watch_release", "T1")),
    "H8": ([*ground(), *flushes()], FLUSHED, entry("it", 330, "plant_connection", **CONNECT)),
    "H9 flammable": (
        [*ground(), *flushes()],
        FLUSHED,
        entry("it", 400, "mix_batch", "M1", spill_ready=True, pump="p"),
    ),
    "H10 flammable": (
        [*ground(), *flushes(), entry("mix", 350, "mix_batch", "M1", spill_ready=True, pump="p"), *filled()[-6:-4]],
        FLUSHED | {"M1": "pass"},
        entry("it", 400, "loop_fill", "L1", only_this_open=True, pump="p"),
    ),
    "H11 circulate": ([*CIRCULATED, *AIRLESS], RUNNING, entry("it", 600, "source_settings", strainer_clean=True)),
    "H11 pre-filled": (
        [*ground(), *LOOP_READ, *AIRLESS],
        RUNNING | {"L1": "pass", "L2": "pass"},
        entry("it", 600, "source_settings", strainer_clean=True),
    ),
    "H3": (papers(), {}, a_joint("it", 30, "J1", "S1", "L1")),
    "H4": (trenches(), {}, entry("it", 30, "partial_cover", "S1", joints_open=True)),
    "H5": (joints()[:1], {}, entry("it", 90, "pressure_test", "T1", covers=["S1"])),
    "H6": (ground(), PASSED, release("it", 200)),
    "H9": ([*ground(), *flushes()], FLUSHED, mix("it", 400)),
    "H10": (filled()[:-4], FLUSHED | {"M1": "pass"}, entry("it", 400, "loop_fill", "L1", only_this_open=True)),
    "H11": (filled(), RUNNING, entry("it", 600, "source_settings", strainer_clean=True)),
    "H12": (run_started()[:-1], RUNNING, entry("it", 700, "deaeration_start", planned_days=min_(10, "d"))),
    "H13": (CHECKED, STABLE, entry("it", 11 * DAY, "final_reading", "R1")),
}
READY["H5"][0][:0] = papers()


def of(kind: str, *subjects: str) -> Drop:
    return lambda one: one["kind"] == kind and (not subjects or one["subject"] in subjects)


def without_cover(*codes: str) -> Callable[[Entries], Entries]:
    """A test that leaves these out."""

    def change(entries: Entries) -> Entries:
        for one in entries:
            if one["kind"] == "pressure_test":
                covers = one["payload"]["covers"]
                covers["value"] = [name for name in covers["value"] if name not in codes]
        return entries

    return change


def dropped(drop: Drop) -> Callable[[Entries], Entries]:
    return lambda entries: [one for one in entries if not drop(one)]


def same(entries: Entries) -> Entries:
    return entries


# Hold point, what is taken away of what came before, changed verdicts, changed answers of the entry, the words.
Row = tuple[str, Callable[[Entries], Entries], dict[str, str], dict[str, Any], list[str]]
LACKING: list[Row] = [
    ("H1", dropped(of("services_permit")), {}, {}, ["Services are not searched, detected and marked, or there is no permit to dig."]),
    ("H1 dated", same, {}, {"at": DAY + 10}, ["The permit to dig does not hold at this time."]),
    ("H2", dropped(of("utube_check")), {}, {}, ["Flow and pressure of the U-tube of B1 are not checked."]),
    ("H4 laid", dropped(of("trench_section", "S1")), {}, {}, ["Depth, bed and inspection of S1 are not logged.", "The excavation of S1 was not found safe."]),
    ("H4 shift", same, {}, {"at": 12 * 60 + 11}, ["The last inspection of S1 is older than one shift."]),
    ("H6 buried", dropped(of("position", "J2")), {}, {}, ["The position of J2 is not measured."]),
    ("H7", dropped(of("covered", "S2")), {}, {}, ["The protective layer over S2 is not on."]),
    ("H8", dropped(of("flush", "L2")), {}, {}, ["L2 is not flushed."]),
    ("H8", same, {"flush-H": "fail"}, {}, ["The main header is not flushed."]),
    ("H8", same, {}, {"kept_closed": False}, ["Loops and header were not kept full of clean water and capped."]),
    ("H9", dropped(of("header_penetration")), {}, {}, ["The wall penetration of the main header is not sealed."]),
    ("H9", same, {}, {"spill_ready": False}, ["Spill kit and way to the drain are not made sure of."]),
    ("H9 flammable", same, {}, {"pump": "q"}, ["The pump is not marked as fit for a fluid that burns."]),
    ("H10 flammable", same, {}, {"pump": "q"}, ["The pump is not marked as fit for a fluid that burns."]),
    ("H11 circulate", dropped(of("circulation")), {}, {}, ["The antifreeze is not circulated through every loop."]),
    ("H11 pre-filled", same, {"L2": "fail"}, {}, ["The strength in L2 is not confirmed."]),
    ("H3", dropped(of("driller_papers", "B1")), {}, {}, ["The driller's papers of B1 are not accepted."]),
    ("H4", dropped(of("trench_section", "S1")), {}, {}, ["Depth, bed and inspection of S1 are not logged.", "The excavation of S1 was not found safe."]),
    ("H4", same, {}, {"joints_open": False}, ["The joints of S1 must stay open to view."]),
    ("H5", same, {}, {"at": 45}, ["J1 is still cooling."]),
    ("H6", dropped(of("joint", "J1")), {}, {}, ["The joints of S1 are not all logged.", "S1 is not inside a passed pressure test."]),
    ("H6", without_cover("S1"), {}, {}, ["S1 is not inside a passed pressure test."]),
    ("H6", same, {"T1": "fail"}, {}, ["S1 is not inside a passed pressure test."]),
    ("H6", same, {"T1": "cannot tell"}, {}, ["S1 is not inside a passed pressure test."]),
    ("H6", same, {}, {"positions_taken": False}, ["Joints and bends of S1 are not measured."]),
    ("H9", without_cover("S2"), {}, {}, ["S2 is not inside a passed pressure test."]),
    ("H9", without_cover("L2"), {}, {}, ["L2 is not inside a passed pressure test."]),
    ("H9", without_cover("H"), {}, {}, ["H is not inside a passed pressure test."]),
    ("H9", dropped(of("flush", "L1")), {}, {}, ["L1 is not flushed."]),
    ("H9", same, {"flush-L1": "fail", "flush-L2": "cannot tell"}, {}, ["L1 is not flushed.", "L2 is not flushed."]),
    ("H9", dropped(of("flush", "H")), {}, {}, ["The main header is not flushed."]),
    ("H10", dropped(of("mix_batch")), {}, {}, ["No batch is mixed."]),
    ("H10", dropped(of("strength_reading")), {}, {}, ["No batch has two readings that agree and lie in the band."]),
    ("H10", same, {"M1": "cannot tell"}, {}, ["No batch has two readings that agree and lie in the band."]),
    ("H11", dropped(of("loop_fill", "L2")), {}, {}, ["L2 is not filled."]),
    ("H11", dropped(of("purge")), {}, {}, ["The purge is not done or not long enough."]),
    ("H11", same, {"purge": "fail"}, {}, ["The purge is not done or not long enough."]),
    ("H11", dropped(of("residual_air")), {}, {}, ["The residual air check is not passed."]),
    ("H11", same, {"air": "cannot tell"}, {}, ["The residual air check is not passed."]),
    ("H12", dropped(of("strength_reading", "system")), {}, {}, ["The strength of the filled system is not confirmed."]),
    ("H12", same, {"system": "fail"}, {}, ["The strength of the filled system is not confirmed."]),
    ("H12", dropped(of("static_pressure")), {}, {}, ["Static pressure and vessel valve are not confirmed."]),
    ("H12", dropped(of("source_settings")), {}, {}, ["Flow, frost alarm and strainer are not confirmed."]),
    ("H12", same, {"settings": "fail"}, {}, ["Flow, frost alarm and strainer are not confirmed."]),
    ("H13", dropped(of("deaeration_start")), {}, {}, ["The de-aeration run was not started.", "The de-aeration run is not over."]),
    ("H13", same, {}, {"at": 10 * DAY}, ["The de-aeration run is not over."]),
    ("H13", same, {"run": "cannot tell"}, {}, ["The last checks do not show a stable pressure."]),
]  # fmt: skip
NAMES = [f"{row[0]} {row[4][0]} {number}" for number, row in enumerate(LACKING)]


def waiting(code: str, answers: dict[str, Any]) -> dict[str, Any]:
    it = copy.deepcopy(READY[code][2])
    for name, answer in answers.items():
        if name == "at":
            it["at"] = entry("x", answer, "note")["at"]
        else:
            it["payload"][name] = {"value": answer}
    return it


def folded(row: Row, *more: dict[str, Any]) -> dict[str, Any]:
    code, change, outcomes, answers, _ = row
    before, good, _ = copy.deepcopy(READY[code])
    given = GIVEN.get(code, {})
    return fold(case([*change(before), waiting(code, answers), *more], good | outcomes, **given), TABLE)


def subject_of(code: str) -> str:
    """For what the waiting entry asks its hold point."""
    row = next(row for row in HOLD_POINTS if row["code"] == code.split(maxsplit=1)[0])
    if row.get("subject_from"):
        return "L1"
    if READY[code][2]["kind"] == "pipe_laid":
        return "S1"
    return "" if row["each"] == "job" else str(READY[code][2]["subject"])


def key_of(code: str) -> str:
    subject = subject_of(code)
    return f"{code.split(maxsplit=1)[0]}:{subject}" if subject else code.split(maxsplit=1)[0]


def override(subject: str, **more: Any) -> dict[str, Any]:
    return entry("over", 1, "override", subject, **more)


def test_every_need_of_every_hold_point_is_taken_away_once() -> None:
    asked = {(row["code"], need["words"]) for row in HOLD_POINTS for need in row["needs"] if row["kind"]}
    said = {(code.split()[0], words) for code, *_, found in LACKING for words in found}
    for code, words in asked:
        pattern = words.split("{s}")
        assert any(code == at and all(part in found for part in pattern) for at, found in said), (code, words)


def test_every_hold_point_says_what_not_to_do() -> None:
    assert all(re.fullmatch(r"Do not [^.]+\.", row["stop"]) for row in HOLD_POINTS)


@pytest.mark.parametrize("code", READY)
def test_open_with_all_that_is_needed(code: str) -> None:
    out = fold(case([*READY[code][0], READY[code][2]], READY[code][1], **GIVEN.get(code, {})), TABLE)
    assert out["held"] == {}
    assert out["overrides"] == []


@pytest.mark.parametrize("row", LACKING, ids=NAMES)
def test_closed_without_it_and_the_words_name_it(row: Row) -> None:
    out = folded(row)
    assert out["held"]["it"] == f"hold_point:{row[0].split()[0]}"
    key = (row[0].split()[0], subject_of(row[0]))
    (words,) = [one["missing"] for one in out["hold_points"] if (one["code"], one["subject"]) == key] or [row[4]]
    if not row[3]:  # the panel knows nothing of the answers and the time of an entry that waits
        over = "The de-aeration run is not over."
        assert [one for one in words if one != over] == [one for one in row[4] if one != over]


@pytest.mark.parametrize("row", LACKING, ids=NAMES)
def test_passed_by_an_override_and_marked(row: Row) -> None:
    out = folded(row, override(key_of(row[0])))
    assert "it" not in out["held"]
    passed = [one for one in out["overrides"] if one["entry"] == "it"]
    code = row[0].split()[0]
    assert passed == [{"entry": "it", "hold_point": code, "subject": subject_of(row[0]), "by": "over"}]


@pytest.mark.parametrize("row", LACKING, ids=NAMES)
@pytest.mark.parametrize(
    "how", ["another place", "another hold point", "short reason", "withdrawn", "left out", "for a place of its own"]
)
def test_an_override_that_is_none_opens_nothing(row: Row, how: str) -> None:
    key = key_of(row[0])
    code = row[0].split()[0]
    more = {
        "another place": override(f"{code}:S99"),
        "another hold point": override("H14"),
        "short reason": override(key, envelope={"held": "missing:reason"}),
        "withdrawn": override(key, envelope={"reason": "withdrawn"}),
        "left out": override(key, envelope={"held": "missing:reason", "decision": "left_out"}),
        "for a place of its own": override(key.replace("H", "H1", 1)),
    }[how]
    assert folded(row, more)["held"]["it"] == f"hold_point:{code}"


@pytest.mark.parametrize("row", LACKING, ids=NAMES)
def test_the_office_may_take_it(row: Row) -> None:
    code, change, outcomes, answers, _ = row
    before, good, _ = copy.deepcopy(READY[code])
    it = waiting(code, answers) | {"held": f"hold_point:{code.split()[0]}", "decision": "taken"}
    out = fold(case([*change(before), it], good | outcomes, **GIVEN.get(code, {})), TABLE)
    assert "it" not in out["held"]
    assert [one["by"] for one in out["overrides"] if one["entry"] == "it"] == ["office"]


def test_hand_over_waits_for_the_manager() -> None:
    for approved in (False, True):
        (row,) = [one for one in fold(case([], approved=approved), TABLE)["hold_points"] if one["code"] == "H14"]
        assert row["open"] is approved
        assert row["missing"] == ([] if approved else ["The manager has not approved the sheet."])


def test_an_override_of_one_section_leaves_the_other_closed() -> None:
    tries = [release("one", 200, "S1"), release("two", 201, "S2")]
    out = fold(case([*papers(), *trenches(), *joints(), override("H6:S1"), *tries]), TABLE)
    assert out["held"] == {"two": "hold_point:H6"}
    assert list(out["facts"]["released"]) == ["S1"]


REMADE: list[tuple[str, dict[str, Any], dict[str, list[str]]]] = [
    (
        "in a section, without a loop",
        a_joint("new", 800, "J9", "S1"),
        {"end-T1": ["S1", "L1"], "flush-L1": ["L1"], "fill-L1": ["L1"], "purge-1": [""], "air": [""]},
    ),
    (
        "to a loop",
        a_joint("new", 800, "J9", "S2", "L2"),
        {"end-T1": ["S2", "L2"], "flush-L2": ["L2"], "fill-L2": ["L2"], "purge-1": [""], "air": [""]},
    ),
    (
        "in the header",
        a_joint("new", 800, "J9", "S3", "H"),
        {"end-T1": ["S3", "H"], "flush-H": ["H"], "purge-1": [""], "air": [""]},
    ),
    ("made before it was tested, logged late", a_joint("new", 800, "J9", "S1", "L1", made=30), {}),
]


@pytest.mark.parametrize(("name", "joint", "void"), REMADE, ids=[row[0] for row in REMADE])
def test_a_joint_made_again_voids_what_was_shown_before(
    name: str, joint: dict[str, Any], void: dict[str, list[str]]
) -> None:
    out = fold(case([*filled(), joint], RUNNING), TABLE)
    assert {key: row["subjects"] for key, row in out["void"].items()} == void
    assert all(row["by"] == "new" for row in out["void"].values())
    gone = {subject for subjects in void.values() for subject in subjects if subject}
    assert not gone & out["facts"]["tested"].keys()
    assert {"S1", "S2", "S3", "L1", "L2", "H"} - gone == set(out["facts"]["tested"])
    closed = {row["subject"] for row in out["hold_points"] if row["code"] == "H6" and not row["open"]}
    assert closed == {code for code in gone if code.startswith("S")}


def test_what_is_void_stands_again_after_a_new_test() -> None:
    again = a_test("T2", 900, ["S1", "L1"])
    out = fold(case([*filled(), a_joint("new", 800, "J9", "S1", "L1"), *again], RUNNING | {"T2": "pass"}), TABLE)
    assert set(out["facts"]["tested"]) == {"S1", "S2", "S3", "L1", "L2", "H"}
    assert out["facts"]["tested"]["S1"]["entry"] == "end-T2"
    assert set(out["facts"]["flushed"]) == {"L2", "H"}
    assert out["facts"]["purged"] == {}


def test_a_release_before_the_joint_is_made_again_is_void_too() -> None:
    before = [*ground(), release("released", 200), entry("covered", 210, "covered", "S1")]
    out = fold(case([*before, a_joint("new", 300, "J9", "S1", "L1")], PASSED), TABLE)
    assert out["void"]["released"]["subjects"] == ["S1"]
    assert out["void"]["covered"]["subjects"] == ["S1"]
    assert out["facts"]["released"] == {}


def test_a_joint_that_was_withdrawn_voids_nothing() -> None:
    withdrawn = fix(801, "new", "gone", "joint", "J9", reason="withdrawn")
    out = fold(case([*filled(), a_joint("new", 800, "J9", "S1", "L1"), withdrawn], RUNNING), TABLE)
    assert out["void"] == {}


@pytest.mark.parametrize(("minute", "is_cold"), [(49.9, False), (50.0, True), (50.1, True)])
def test_cooling_ends_to_the_minute(minute: float, is_cold: bool) -> None:
    """Finished at minute 20, half an hour to cool: given in minutes or in hours."""
    for cooling in (min_(30), min_(0.5, "h")):
        joint = a_joint("joint", 20, "J1", "S1", "L1", cooling_min=cooling)
        out = fold(case([*papers(), joint, entry("it", minute, "pressure_test", "T1", covers=["L1"])]), TABLE)
        assert ("it" not in out["held"]) is is_cold
