"""What the phone tells as soon as an instrument is picked: whether it can decide this step, and the way out."""

from __future__ import annotations

from typing import Any

from jobs.visits.kinds import KINDS, Facts, Instrument
from jobs.visits.kinds.suits import Rows, Suits, suits


def suits_json(facts: Facts, method: str) -> dict[str, Any]:
    """By kind and instrument. What is said stands once in `said`; each row is a pressure in bar and its place there."""
    said: dict[tuple[str, str, str], int] = {}
    kinds: dict[str, dict[str, Any]] = {}
    for code, kind in KINDS.items():
        for tool in _tools(facts, kind.instrument):
            found = suits(facts, code, tool, method=method)
            if found:
                kinds.setdefault(code, {})[tool.id] = _json(found, said)
    return {"kinds": kinds, "said": [list(each) for each in said]}


def _tools(facts: Facts, kind: str) -> list[Instrument]:
    return [tool for tool in facts.instruments.values() if kind and tool.kind == kind]


def _json(found: Suits, said: dict[tuple[str, str, str], int]) -> dict[str, Any]:
    return {
        "by": list(found.by),
        "pressure": found.pressure,
        "usual": found.usual,
        "rows": {key: _rows(rows, said) for key, rows in found.rows.items()},
    }


def _rows(rows: Rows, said: dict[tuple[str, str, str], int]) -> list[list[float]]:
    return [
        [round(start, 3), said.setdefault((each.outcome.value, each.reason, each.way_out), len(said))]
        for start, each in rows
    ]
