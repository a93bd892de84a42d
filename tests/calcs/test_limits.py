"""Every limit carries where it comes from; a figure from memory is never shown as a requirement."""

from __future__ import annotations

import pytest

from calcs.errors import NotKnown
from calcs.sources import Status, limits, table

WITH_SOURCE = [
    "pressure_methods",
    "house_limits",
    "test_pressures",
    "gauge_classes",
    "roughness",
    "pe_temperature",
    "pe_derating",
    "pe_strength",
    "timed_holds",
    "vessel",
    "trench",
    "joint",
    "socket_fusion",
    "pump_efficiency",
]


@pytest.mark.parametrize("name", WITH_SOURCE)
def test_every_row_has_source_and_status(name: str) -> None:
    rows = table(name)
    assert rows
    for row in rows:
        assert row["source"].strip(), row
        assert Status(row["status"])
        assert None not in row, row


@pytest.mark.parametrize("name", ["pressure_methods", "house_limits", "vessel", "trench", "joint"])
def test_no_limit_stands_twice(name: str) -> None:
    keys = [(row["area"], row["key"]) for row in table(name)]
    assert len(keys) == len(set(keys))


def test_standards_are_named_with_their_edition() -> None:
    for row in table("pressure_methods"):
        assert "EN 805 " not in row["source"]
        assert "W 400-2 " not in row["source"]


def test_memory_figures_are_labelled() -> None:
    rows = [row for row in limits("pressure_methods", "f2164").values() if row.source.status is Status.MEMORY]
    assert rows
    assert all("not a requirement" in row.source.label for row in rows)


def test_unknown_method_is_named() -> None:
    with pytest.raises(NotKnown, match="short_tightness"):
        limits("pressure_methods", "none")
