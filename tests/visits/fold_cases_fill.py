"""Flush, mix, fill, purge, run and final readings."""

from __future__ import annotations

from datetime import timedelta

from tests.visits.fold_build import (
    DAY,
    FILLED,
    FLUSHED,
    PASSED,
    RUNNING,
    START,
    Case,
    case,
    entry,
    filled,
    fills,
    flushes,
    ground,
    mix,
    run_started,
)

FILL: list[Case] = [
    ("flushed", case([*ground(), *flushes()], FLUSHED), {"state": "flushed", "open": {("H9", ""): True}}),
    (
        "a flush that was too slow",
        case([*ground(), *flushes()], FLUSHED | {"flush-L2": "fail"}),
        {"facts": {"flushed": ["H", "L1"]}, "missing": {("H9", ""): ["L2 is not flushed."]}},
    ),
    (
        "a second flush is good",
        case([*ground(), *flushes(), entry("flush-again", 320, "flush", "L2", clear=True)], FLUSHED | {"flush-L2": "fail", "flush-again": "pass"}),
        {"facts": {"flushed": ["H", "L1", "L2"]}},
    ),
    (
        "antifreeze mixed before the flush",
        case([*ground(), mix(at=290)], PASSED),
        {"held": {"mix": "hold_point:H9"}, "facts": {"mixed": []}},
    ),
    (
        "pumped from the bin with one reading",
        case([*ground(), *flushes(), mix(at=350), entry("read-1", 355, "strength_reading", "M1"), *fills()], FLUSHED | {"M1": "cannot tell"}),
        {"held": {"fill-L1": "hold_point:H10", "fill-L2": "hold_point:H10"}},
    ),
    (
        "a reading of the system does not release the bin",
        case([*ground(), *flushes(), mix(at=350), entry("s", 355, "strength_reading", "system"), *fills()], FLUSHED | {"system": "pass"}),
        {"held": {"fill-L1": "hold_point:H10", "fill-L2": "hold_point:H10"}},
    ),
    ("filled, purged, hardly any air", case(filled(), FILLED), {"state": "filled", "open": {("H11", ""): True}}),
    (
        "another loop was open",
        case([*filled(), entry("again", 600, "loop_fill", "L1", only_this_open=False)], FILLED | {"again": "fail"}),
        {"facts": {"filled": ["L2"]}, "missing": {("H11", ""): ["L1 is not filled."]}},
    ),
    (
        "the start of a fill establishes nothing and undoes nothing",
        case([*ground(), *flushes(), entry("start", 400, "fill_start", "L1")], FLUSHED),
        {"facts": {"filled": []}, "state": "flushed", "held": {}},
    ),
    (
        "opened to the heat pump with air left",
        case([*filled(), entry("settings", 550, "source_settings", strainer_clean=True)], FILLED | {"air": "fail", "settings": "pass"}),
        {"held": {"settings": "hold_point:H11"}},
    ),
    ("the run is started", case(run_started(), RUNNING), {"state": "running_in", "held": {}}),
    (
        "the compressor is started without a sample of the system",
        case([one for one in run_started() if one["id"] != "sample"], RUNNING),
        {"held": {"run": "hold_point:H12"}, "state": "filled"},
    ),
    (
        "frost alarm too low",
        case(run_started(), RUNNING | {"settings": "fail"}),
        {"held": {"run": "hold_point:H12"}, "missing": {("H12", ""): ["Flow, frost alarm and strainer are not confirmed."]}},
    ),
    (
        "final readings while the run lasts",
        case([*run_started(), entry("f", 5 * DAY, "final_reading", "R1")], RUNNING | {"run": "pass"}),
        {"held": {"f": "hold_point:H13"}},
    ),
    (
        "final readings of a run that is not stable",
        case([*run_started(), entry("f", 12 * DAY, "final_reading", "R1")], RUNNING | {"run": "cannot tell"}),
        {"held": {"f": "hold_point:H13"}},
    ),
    (
        "final readings after a stable run",
        case([*run_started(), *[entry(f"f{n}", 12 * DAY + n, "final_reading", f"R{n}") for n in (1, 2, 3)]], RUNNING | {"run": "pass"}),
        {"held": {}, "facts": {"read": ["R1", "R2", "R3"]}, "state": "ready"},
    ),
    (
        "an extended run",
        case(
            [*run_started(), entry("f", 12 * DAY, "final_reading", "R1")], RUNNING | {"run": "pass"},
            run_ends_at=(START + timedelta(days=14)).isoformat(),
        ),
        {"held": {"f": "hold_point:H13"}},
    ),
    (
        "an extension before the planned end changes nothing",
        case(
            [*run_started(), entry("f", 12 * DAY, "final_reading", "R1")], RUNNING | {"run": "pass"},
            run_ends_at=(START + timedelta(days=5)).isoformat(),
        ),
        {"held": {}},
    ),
    ("approved", case(run_started(), RUNNING, approved=True), {"open": {("H14", ""): True}}),
    ("not approved", case(run_started(), RUNNING), {"open": {("H14", ""): False}}),
]  # fmt: skip
