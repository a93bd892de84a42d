"""What creep alone would do in a pressure test, beside what was measured: the lines of the curve on the sheet."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from calcs.errors import CalcError
from calcs.pressure_test import Restraint, creep_curve
from calcs.units import Quantity, quantity
from jobs.sheets.evidence import Evidence, Item

POINTS = 24


def curves(seen: Evidence) -> dict[str, dict[str, Any]]:
    """Per test: minutes from its start at which it was shut, and the computed lines from there, as floats."""
    found = {}
    for start in seen.of("pressure_test"):
        lines = _creep(seen, start) if start.entry.choice("method") == "short_tightness" else None
        if lines:
            found[start.subject] = lines
    return found


def _creep(seen: Evidence, start: Item) -> dict[str, Any] | None:
    readings = seen.of("pressure_reading", start.subject)
    held = [one for one in readings if one.entry.choice("phase") == "hold"]
    shut = [one for one in readings if one.entry.choice("phase") in {"rest", "isolated"}]
    pressure = shut[0].entry.number("pressure", "bar") if len(shut) > 1 else None
    if not held or pressure is None or start.entry.choice("restraint") not in set(Restraint) - {Restraint.UNKNOWN}:
        return None
    try:
        curve = creep_curve(
            start=quantity(pressure, "bar"),
            until=_minutes(shut[0], shut[-1]),
            restraint=Restraint(start.entry.choice("restraint")),
            loading=_minutes(start, held[0]),
            hold=_minutes(held[0], shut[0]),
            bore_to_wall=_ratio(seen.array.loops, start),
        )
    except CalcError:
        return None
    shut_at = _minutes(start, shut[0]).m_as("min")
    return {
        "shut_min": shut_at,
        "expected": _points(curve.minutes, curve.expected, shut_at),
        "leak_line": _points(curve.minutes, curve.leak_line, shut_at),
    }


def _minutes(first: Item, last: Item) -> Quantity:
    return quantity((last.at - first.at).total_seconds() / 60, "min")


def _ratio(loops: tuple[Mapping[str, Any], ...], start: Item) -> float:
    """Bore over wall of the thinnest-walled loop in the test."""
    covered = set(start.entry.many("covers"))
    ratios = [float(row["od_mm"]) / float(row["wall_mm"]) - 2 for row in loops if row["code"] in covered or not covered]
    return max(ratios, default=9.0)


def _points(minutes: Quantity, pressure: Quantity, shut_at: float) -> list[list[float]]:
    """Thinned out to what can be drawn."""
    pairs = list(zip(minutes.m_as("min").tolist(), pressure.m_as("bar").tolist(), strict=True))
    every = max(1, -(-len(pairs) // POINTS))
    kept = pairs[::every]
    if kept[-1] != pairs[-1]:
        kept.append(pairs[-1])
    return [[shut_at + at, bar] for at, bar in kept]
