"""Rows of the golden check values and how one of them is compared with what the code gives."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

from calcs.sources import Status
from calcs.verdict import Cause, Outcome, Verdict

GOLDEN = Path(__file__).parent / "golden"
NUMBER = re.compile(r"(?<![\w.*])-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?(?![\w.]*\w*/h\b)")
Found = Sequence[float | str]


@dataclass(frozen=True)
class Case:
    """How a row is run. `bounds` replaces the row's tolerance where that is not one figure: (low, high) factors or one +/-."""

    run: Callable[[], Found]
    relative: Sequence[float] | float | None = None
    absolute: float | None = None
    pick: Sequence[int] | None = None


def rows(area: str) -> dict[str, dict[str, str]]:
    """Rows of one file by id."""
    with (GOLDEN / f"{area}.csv").open(encoding="utf-8", newline="") as source:
        return {row["id"]: row for row in csv.DictReader(source)}


def case_id(row: dict[str, str]) -> str:
    """What the test of a row is called: "HG15", or "AF-012 from memory" for a figure not seen in its source.

    For `ids=` of `pytest.mark.parametrize`: `ids=[case_id(ROWS[key]) for key in CASES]`.
    """
    return f"{row['id']} from memory" if row["status"] == Status.MEMORY.value else row["id"]


def word(verdict: Verdict) -> str:
    """The word of the decision tables for a verdict."""
    if not verdict.to_method:
        return "NOT_TO_STANDARD"
    if verdict.outcome is Outcome.FAIL:
        return {Cause.LEAK: "FAIL_LEAK", Cause.AIR: "FAIL_AIR", Cause.DURATION: "FAIL duration"}[verdict.cause]
    return "PASS" if verdict.outcome is Outcome.PASS else f"INCONCLUSIVE {verdict.cause.value}"


def check(row: dict[str, str], case: Case, *, bare_is_relative: bool) -> None:
    """Texts must stand in the expected cell; numbers must be its numbers within its tolerance."""
    found = case.run()
    texts = [item for item in found if isinstance(item, str)]
    numbers = [float(item) for item in found if not isinstance(item, str)]
    assert texts or numbers
    for text in texts:
        assert text in row["expected"], row
    stated = [float(text) for text in NUMBER.findall(row["expected"].replace("+-", ""))]
    wanted = [stated[index] for index in (case.pick or range(len(numbers)))]
    for index, (number, target) in enumerate(zip(numbers, wanted, strict=True)):
        _near(number, target, case, row["tolerance"], index, bare_is_relative=bare_is_relative)


def _near(number: float, target: float, case: Case, tolerance: str, index: int, *, bare_is_relative: bool) -> None:
    if case.absolute is not None:
        assert number == pytest.approx(target, abs=case.absolute)
    elif case.relative is not None:
        relative = case.relative if isinstance(case.relative, float) else case.relative[index]
        assert number == pytest.approx(target, rel=relative)
    elif tolerance.startswith("-0/+"):
        assert 1.0 <= number / target <= 1.0 + float(tolerance.removeprefix("-0/+").removesuffix("%")) / 100.0
    elif tolerance.endswith("%"):
        assert number == pytest.approx(target, rel=float(tolerance.removesuffix("%")) / 100.0)
    elif bare_is_relative:
        assert number == pytest.approx(target, rel=float(tolerance))
    else:
        assert number == pytest.approx(target, abs=max(float(tolerance), 1e-9))
