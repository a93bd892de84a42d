"""A rule set: limits by code, each with unit, source and status. Raw JSON in, checked limits out."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

from calcs.sources import Limit, Source, Status
from jobs.planning.errors import BadRuleSet

STARTERS: Final = Path(__file__).parent / "rule_sets"


@dataclass(frozen=True)
class Code:
    """One limit that a job needs: what people call it, its unit, and the group it is shown in."""

    label: str
    unit: str
    group: str
    help: str = ""
    later: bool = False  # came after the first sets: one made before may lack it, and is then not judged by it


METHOD: Final = "test_method"
METHODS: Final = {
    "short_tightness": "Short tightness check",
    "en805_a27_2000": "Three-phase test, EN 805:2000 A.27",
}

CODES: Final[dict[str, Code]] = {
    "services_near_m": Code("Dig by hand when a service is nearer than", "m", "Before digging", later=True),
    "ungrouted_h": Code("A borehole stands open, not grouted, no longer than", "h", "Before digging", later=True),
    "inspection_h": Code("An inspection of the excavation holds for", "h", "Trench", later=True),
    "trench_depth_mm": Code("Least depth of pipe in the trench", "mm", "Trench"),
    "bed_mm": Code("Bed under the pipe", "mm", "Trench"),
    "cover_mm": Code("Protective layer over the pipe", "mm", "Trench"),
    "laid_warn_pct": Code("Pipe as laid may be off the drawing by", "%", "Pipe", later=True),
    "laid_fail_pct": Code("Drawing to be issued anew when it is off by more than", "%", "Pipe", later=True),
    "socket_tool_low_c": Code("Tool face for a socket joint, from", "°C", "Joints", later=True),
    "socket_tool_high_c": Code("Tool face for a socket joint, to", "°C", "Joints", later=True),
    "butt_plate_low_c": Code("Plate for a butt joint, from", "°C", "Joints", later=True),
    "butt_plate_high_c": Code("Plate for a butt joint, to", "°C", "Joints", later=True),
    "cooling_socket_min": Code("Cooling before pressure, socket joint", "min", "Joints"),
    "cooling_butt_min": Code("Cooling before pressure, butt joint", "min", "Joints"),
    "cooling_electrofusion_min": Code("Cooling before pressure, electrofusion joint", "min", "Joints"),
    "cooling_mechanical_min": Code("Wait before pressure, mechanical joint", "min", "Joints"),
    "test_pressure_bar": Code("Test pressure at the gauge", "bar", "Pressure test"),
    "test_hold_min": Code("Held at test pressure by pumping", "min", "Pressure test"),
    "test_isolated_min": Code("Isolated and read", "min", "Pressure test"),
    "watch_pressure_bar": Code("Watch pressure left on during backfill", "bar", "Pressure test"),
    "watch_drop_bar": Code("Fall of the watch pressure that asks for a look", "bar", "Pressure test"),
    "flush_velocity_m_s": Code("Velocity when flushing dirt", "m/s", "Flush and purge"),
    "flush_minutes": Code("Flushing time at that velocity", "min", "Flush and purge"),
    "flush_pause_min": Code("Flushing starts anew after a stop longer than", "min", "Flush and purge", later=True),
    "purge_velocity_m_s": Code("Velocity that carries air out", "m/s", "Flush and purge"),
    "purge_minutes_after_bubble": Code("Purging after the last bubble", "min", "Flush and purge"),
    "purge_turnovers": Code("Times the volume goes round", "1", "Flush and purge"),
    "residual_air_pct": Code("Air left in, share of the volume: good up to", "%", "Flush and purge"),
    "residual_air_fail_pct": Code("Air left in, share of the volume: fails above", "%", "Flush and purge"),
    "residual_air_min_l": Code("Air never held against a small system", "L", "Flush and purge"),
    "stir_min": Code("Stirring of a batch", "min", "Fluid"),
    "restir_min": Code("Stirring after a pause, before it is read again", "min", "Fluid", later=True),
    "circulate_turnovers": Code("Times the volume goes round after dosing", "1", "Fluid", later=True),
    "reading_gap_min": Code("Between the two readings of a batch", "min", "Fluid"),
    "strength_agree_pct": Code("Two readings of a batch agree within", "%-points", "Fluid"),
    "strength_band_pct": Code("Strength may be off the target by", "%-points", "Fluid"),
    "changeover_band_pct": Code("Changeover time may be off by", "%", "Fluid"),
    "freeze_margin_k": Code("Freezing point below the frost alarm by at least", "K", "Fluid"),
    "freeze_margin_block_k": Code("Start refused when it is less than", "K", "Fluid"),
    "balance_spread_pct": Code("A loop's flow may be off the mean by", "%", "Readings"),
    "fill_over_height_bar": Code("Fill pressure above the static height at least", "bar", "Readings", later=True),
    "relief_margin_bar": Code("Fill pressure below the relief valve at least", "bar", "Readings", later=True),
    "spread_low_k": Code("Temperature difference at the heat pump, from", "K", "Readings"),
    "spread_high_k": Code("Temperature difference at the heat pump, to", "K", "Readings"),
    "heat_balance_pct": Code("Source heat may be off the expected by", "%", "Readings"),
    "final_run_minutes": Code("Steady running before final readings", "min", "Readings"),
    "final_sets": Code("Sets of final readings", "1", "Readings"),
    "deaeration_days": Code("Length of the de-aeration run", "day", "De-aeration run"),
    "deaeration_visits": Code("Checks in the run at least", "1", "De-aeration run"),
    "pump_stop_h": Code("The run is longer by a stop of the pump above", "h", "De-aeration run", later=True),
    "stable_bar": Code("Stable: pressure changed no more than", "bar", "De-aeration run"),
    "stable_days": Code("Stable: between the last two checks at least", "day", "De-aeration run"),
    "top_up_amber_pct": Code("Topped up, share of the volume: look above", "%", "De-aeration run"),
    "top_up_red_pct": Code("Topped up, share of the volume: likely leak above", "%", "De-aeration run"),
}


@dataclass(frozen=True)
class Rules:
    """A checked rule set: numbers by code, and the method of the pressure test."""

    limits: dict[str, Limit]
    method: str
    method_source: Source


def parse(raw: Mapping[str, Any]) -> Rules:
    """Checked limits from raw JSON. Raises `BadRuleSet` naming the code."""
    first = {code for code, about in CODES.items() if not about.later}
    missing = sorted({*first, METHOD} - raw.keys())
    unknown = sorted(raw.keys() - {*CODES, METHOD})
    if missing or unknown:
        what = f"it lacks {', '.join(missing)}" if missing else f"{', '.join(unknown)} is not known"
        raise BadRuleSet(f"This rule set cannot be used: {what}.")
    method = raw[METHOD]
    if method.get("value") not in METHODS:
        raise BadRuleSet(f"The test method must be one of: {', '.join(METHODS.values())}.")
    limits = {code: _limit(code, raw[code]) for code in CODES if code in raw}
    return Rules(limits, method["value"], _source(METHOD, method))


def completed(raw: Mapping[str, Any], name: str) -> dict[str, Any]:
    """With the limits that came later, taken from the starter set of that name, else from the first: for a new version."""
    known = starters()
    like = next((starter for starter in known if starter.name == name), known[0])
    return {**{code: like.limits[code] for code, about in CODES.items() if about.later}, **raw}


def _limit(code: str, row: Mapping[str, Any]) -> Limit:
    value, unit = row.get("value"), row.get("unit")
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value) or value < 0:
        raise BadRuleSet(f"{CODES[code].label}: give a number of 0 or more.")
    if unit != CODES[code].unit:
        raise BadRuleSet(f"{CODES[code].label}: the unit must be {CODES[code].unit}.")
    return Limit(float(value), unit, _source(code, row))


def _source(code: str, row: Mapping[str, Any]) -> Source:
    label = CODES[code].label if code in CODES else "Test method"
    text = str(row.get("source", "")).strip()
    if not text:
        raise BadRuleSet(f"{label}: say where this figure comes from.")
    try:
        return Source(text, Status(str(row.get("status"))))
    except ValueError:
        raise BadRuleSet(f"{label}: say how sure this figure is (read, memory, common practice …).") from None


@dataclass(frozen=True)
class Starter:
    """A rule set that comes with the program."""

    name: str
    about: str
    limits: dict[str, Any]


@cache
def starters() -> tuple[Starter, ...]:
    """The starter sets, checked when first read."""
    found = []
    for path in sorted(STARTERS.glob("*.json")):
        raw = json.loads(path.read_text(encoding="utf-8"))
        parse(raw["limits"])
        found.append(Starter(raw["name"], raw["about"], raw["limits"]))
    return tuple(found)
