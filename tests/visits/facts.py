"""The main job's facts with round figures, and builders of entries, for tests of kinds and judges."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

from calcs.verdict import Outcome
from jobs.planning.rules import parse, starters
from jobs.visits.judging import verdicts_of
from jobs.visits.kinds import (
    Facts,
    Fluid,
    Instrument,
    Logged,
)
from jobs.visits.kinds.base import Run
from tests.build_entries import value

START = datetime(2026, 3, 9, 8, 0, tzinfo=UTC)
CODES = {"loops": ("L1", "L2"), "boreholes": ("B1", "B2"), "sections": ("S1", "S2"), "header": ("H",)}

# 216 m of PE 100 40 × 3.7 holds 216 × 0.8347 = 180.3 L; the header 2 × 15 m of 63 × 5.8 holds 62.2 L.
RUNS = {"L1": Run(216.0, 32.6, 3.7, 180.29), "L2": Run(224.0, 32.6, 3.7, 186.97), "H": Run(30.0, 51.4, 5.8, 62.25)}
LIMITS = parse(next(one for one in starters() if one.name == "Small domestic, metric").limits).limits
NUMBERS: dict[str, Any] = {
    "volumes": {"system_l": 445.0, "loops_l": 367.3, "header_l": 62.25},
    "fluid": {"target_mass_pct": 33.0, "freezing_point_c": -15.1, "base": "propylene_glycol"},
    "flow": {"source_duty_kw": 9.39, "design_flow_l_min": 48.0, "spread_k": 3.0},
    "fill": {"concentrate_l": 150.0, "water_l": 295.0, "batches": [{"concentrate_l": 60.0, "water_l": 118.0}]},
    "loops": [
        {"code": "L1", "running": {"share_pct": 51.0}, "changeover": {"transit_s": 360.0, "flow_l_min": 30.05}},
        {"code": "L2", "running": {"share_pct": 49.0}, "changeover": None},
    ],
}
GAUGE = Instrument("g", "gauge", "Gauge", "bar", 0.01, 0.05)
BRIX = Instrument("r", "refractometer", "Refractometer", "brix", 0.2, 0.2)
PAIR = Instrument("t", "thermometers", "Pair", "°C", 0.01, 0.1)
METER = Instrument("f", "flow_meter", "Meter", "L/min", 0.5, 1.0)
FACTS = Facts(
    numbers=NUMBERS,
    limits=LIMITS,
    fluid=Fluid("propylene_glycol", 96.0, 1055.0, -15.0),
    instruments={one.id: one for one in (GAUGE, BRIX, PAIR, METER)},
    design={"minimum_flow_l_min": 38.0, "frost_alarm_c": -9.0},
    runs=RUNS,
)


def logged(kind: str, subject: str = "", minute: float = 0, *, instrument: str = "", **answers: Any) -> Logged:
    at = START + timedelta(minutes=minute)
    payload = {name: value(answer) for name, answer in answers.items()}
    return Logged(f"{kind}-{subject}-{minute}", kind, subject, payload, at, at, instrument=instrument)


def judged(entry: Logged, *others: Logged) -> dict[str, Outcome]:
    """Outcome by reason, with the other entries before it."""
    facts = replace(FACTS, entries=(*others, entry))
    return {verdict.reason: verdict.outcome for verdict in verdicts_of(facts, entry)}
