"""The check values are all there, unchanged, and every one of them is run."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping
from types import ModuleType

import pytest

from calcs.sources import Status
from tests.calcs import (
    golden_rows,
    test_golden_antifreeze,
    test_golden_hydraulics,
    test_golden_hydraulics_fluid,
    test_golden_pressure,
)

# Each file as it was handed over: its ids, and its content. A check value that changes is a decision, not an edit.
AREAS: dict[str, tuple[list[str], str]] = {
    "antifreeze": (
        [f"AF-{number:03d}" for number in range(1, 185)],
        "6f78a591f68530ebb5597a390997746d89375dfdf603919a439d7a94dba6ae44",
    ),
    "hydraulics": (
        [f"HG{number:02d}" for number in range(1, 39)],
        "4eb96a049c2e0733349c8b96fcee298097bd19333a304f9deeb94b0e44fe55b0",
    ),
    "pressure": (
        [f"PG{number:02d}" for number in range(1, 50)],
        "ae0976c3e6f0d6820f42a9cf51a1d256deafe3d013ea98740a527682638cc1f1",
    ),
}
RUN_BY: dict[str, tuple[ModuleType, ...]] = {
    "antifreeze": (test_golden_antifreeze,),
    "hydraulics": (test_golden_hydraulics, test_golden_hydraulics_fluid),
    "pressure": (test_golden_pressure,),
}


def run_in(module: ModuleType) -> set[str]:
    """Ids with a case in the module's table, or with a test of their own that is named after them."""
    cases: Mapping[str, object] = getattr(module, "CASES", {})
    own = (re.match(r"test_([a-z]{2}\d\d)_", name) for name in vars(module))
    return set(cases) | {found[1].upper() for found in own if found}


def without_case(ids: Iterable[str], modules: Iterable[ModuleType]) -> list[str]:
    return sorted(set(ids) - set().union(*(run_in(module) for module in modules)))


def test_no_file_is_left_out() -> None:
    assert {path.stem for path in golden_rows.GOLDEN.glob("*.csv")} == set(AREAS) == set(RUN_BY)


@pytest.mark.parametrize("area", AREAS)
def test_the_rows_are_those_handed_over(area: str) -> None:
    ids, content = AREAS[area]
    assert list(golden_rows.rows(area)) == ids
    text = (golden_rows.GOLDEN / f"{area}.csv").read_text(encoding="utf-8")
    assert hashlib.sha256(text.encode()).hexdigest() == content


@pytest.mark.parametrize("area", AREAS)
def test_no_row_lacks_a_case(area: str) -> None:
    assert without_case(AREAS[area][0], RUN_BY[area]) == []


def test_a_row_without_a_case_is_seen() -> None:
    assert without_case(["AF-001", "AF-999"], RUN_BY["antifreeze"]) == ["AF-999"]
    assert without_case(["HG31", "HG99"], RUN_BY["hydraulics"]) == ["HG99"]


@pytest.mark.parametrize("area", AREAS)
def test_every_row_names_its_source_and_status(area: str) -> None:
    for row in golden_rows.rows(area).values():
        assert row["source"].strip(), row
        assert Status(row["status"])
        assert row["area"] == area


def test_a_figure_from_memory_says_so_in_its_name() -> None:
    assert golden_rows.case_id({"id": "HG15", "status": "read"}) == "HG15"
    assert golden_rows.case_id({"id": "AF-012", "status": "memory"}) == "AF-012 from memory"
