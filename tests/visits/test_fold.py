"""The fold: cases of the trade, the shared vectors, and that order and repetition of entries do not matter."""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.visits.fold import fold
from jobs.visits.procedure import FACTS, HOLD_POINTS, STATES, STEPS, TABLE
from tests.visits import fold_cases
from tests.visits.fold_build import release
from tests.visits.fold_cases import CASES, VECTORS

NAMES = [name for name, _, _ in CASES]
TESTED_BY_US = [name for name, case, _ in CASES if "test" not in case["given"].get("scope", {})]


@pytest.mark.parametrize(("name", "case", "expected"), CASES, ids=NAMES)
def test_case(name: str, case: dict[str, Any], expected: dict[str, Any]) -> None:
    out = fold(copy.deepcopy(case), TABLE)
    points = {(row["code"], row["subject"]): row for row in out["hold_points"]}
    seen = {
        "facts": {fact: sorted(out["facts"].get(fact, {})) for fact in expected.get("facts", {})},
        "open": {key: points[key]["open"] for key in expected.get("open", {})},
        "missing": {key: points[key]["missing"] for key in expected.get("missing", {})},
        "void": {key: row["subjects"] for key, row in out["void"].items()},
        "overrides": [(row["entry"], row["hold_point"], row["subject"], row["by"]) for row in out["overrides"]],
    }
    for key, value in expected.items():
        assert seen.get(key, out.get(key)) == value, key


def test_names_are_told_apart() -> None:
    assert len(set(NAMES)) == len(NAMES)


def test_vectors_are_of_this_table_and_these_cases() -> None:
    """The file that the phone's port is checked with; write it anew with `python -m tests.visits.fold_cases`."""
    stored = json.loads(VECTORS.read_text(encoding="utf-8"))
    assert stored["table"] == json.loads(json.dumps(TABLE))
    assert stored["cases"] == json.loads(json.dumps(fold_cases.vectors()))


@settings(max_examples=60, deadline=None)
@given(data=st.data(), name=st.sampled_from(NAMES))
def test_order_and_repetition_do_not_matter(data: st.DataObject, name: str) -> None:
    case = next(case for found, case, _ in CASES if found == name)
    shuffled = data.draw(st.permutations(case["entries"]))
    again = data.draw(st.lists(st.sampled_from(case["entries"]), max_size=5)) if case["entries"] else []
    assert fold({**case, "entries": [*shuffled, *again]}, TABLE) == fold(case, TABLE)


@settings(max_examples=60, deadline=None)
@given(data=st.data(), name=st.sampled_from(TESTED_BY_US))
def test_a_held_release_never_counts_unless_somebody_answers_for_it(data: st.DataObject, name: str) -> None:
    """Whatever else is logged: a released section was tested, or an override or the office stands behind it."""
    case = next(case for found, case, _ in CASES if found == name)
    kept = (
        data.draw(st.lists(st.sampled_from(case["entries"]), unique_by=lambda one: one["id"]))
        if case["entries"]
        else []
    )
    tries = [release(f"try-{n}", at) for n, at in enumerate(data.draw(st.lists(st.integers(0, 900), max_size=3)))]
    out = fold({**case, "entries": [*kept, *tries]}, TABLE)
    answered = {row["entry"] for row in out["overrides"]}
    tested = _tested_at(kept, case["outcomes"])
    for row in out["facts"].get("released", {}).values():
        assert row["entry"] in answered or (tested is not None and row["at"] >= tested)


def _tested_at(entries: list[dict[str, Any]], outcomes: dict[str, str]) -> float | None:
    """When the first good test ended: by eye, not by the fold."""
    ends = [
        one for one in entries if one["kind"] == "pressure_end" and outcomes.get(one["subject"]) in {"pass", "warn"}
    ]
    from jobs.visits.ordering import moment  # noqa: PLC0415

    return min((moment(one["at"]) or 0.0 for one in ends), default=None)


def test_tables_lean_on_each_other() -> None:
    """Every need asks for a fact that something establishes; every step and hold point is of a kind that is known."""
    from jobs.visits.kinds import KINDS  # noqa: PLC0415

    established = {row["fact"] for row in FACTS} | {"joined", "tested"}
    assert {row["kind"] for row in FACTS} <= KINDS.keys()
    assert {row["kind"] for row in STEPS} <= KINDS.keys()
    assert {row["kind"] for row in HOLD_POINTS if row["kind"]} <= KINDS.keys()
    assert {need["fact"] for row in HOLD_POINTS for need in row["needs"] if "fact" in need} <= established
    assert {row["fact"] for row in STEPS if "fact" in row} <= established
    assert {code for row in STATES for code in row["steps"]} <= {row["code"] for row in STEPS}
