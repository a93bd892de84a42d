"""Every pressure test's order of checks as a table: what is asked first, what the answer is called, the way out.

The order is that of the house's decision tables: readings, conditions, temperature, resolution, then the method; a gross
fall of the rest phase comes before all but missing readings.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from calcs._tightness_words import SAYINGS
from calcs.pressure_methods import F2164, FixedDrop, TypeII
from calcs.pressure_test import (
    En805A27,
    En805Run,
    PressureReading,
    Restraint,
    ShortTightness,
    TemperatureChange,
    method_limits,
)
from calcs.units import Quantity, quantity
from calcs.verdict import Cause, Outcome, Verdict

FREE, BACKFILLED, GROUTED, UNKNOWN = Restraint
PASS, CANNOT, FAIL = Outcome.PASS, Outcome.CANNOT_TELL, Outcome.FAIL
Expected = tuple[Outcome, Cause]


def series(minutes: Sequence[float], bar: Sequence[float]) -> PressureReading:
    return PressureReading(quantity(np.array(minutes, dtype=float), "min"), quantity(np.array(bar, dtype=float), "bar"))


def bar(value: float) -> Quantity:
    return quantity(value, "bar")


def minutes(value: float) -> Quantity:
    return quantity(value, "min")


def warming(kelvin: float, exposed: float = 1.0) -> TemperatureChange:
    return TemperatureChange(quantity(kelvin, "delta_degC"), exposed)


def agrees(found: Verdict, expected: Expected) -> None:
    assert (found.outcome, found.cause) == expected, found.reason
    assert bool(found.way_out) is (found.outcome is CANNOT)
    assert found.reason.endswith((".", "test again."))
    assert found.source.text


# Free pipe after 10 min of loading and 60 min of hold: a sound one falls by 0.34 to 0.43 bar from 6 bar in the hour.
SOUND = ([0, 15, 30, 45, 60], [6.0, 5.85, 5.75, 5.70, 5.65])
LEAKING = ([0, 15, 30, 45, 60], [6.0, 5.7, 5.4, 5.1, 4.8])


def short(
    seen: tuple[Sequence[float], Sequence[float]] = SOUND,
    restraint: Restraint = FREE,
    *,
    resolution: float = 0.05,
    hold: float = 60.0,
    **more: Any,
) -> Verdict:
    test = ShortTightness(restraint, resolution=bar(resolution), hold=minutes(hold))
    return test.judge(series(*seen), **more)


SHORT: list[tuple[str, dict[str, Any], Expected]] = [
    ("sound", {}, (PASS, Cause.NONE)),
    ("leaking", {"seen": LEAKING}, (FAIL, Cause.LEAK)),
    ("no reading at all", {"seen": ([], [])}, (CANNOT, Cause.READINGS)),
    ("two readings", {"seen": ([0, 60], [6.0, 5.6])}, (CANNOT, Cause.READINGS)),
    ("none at shutting", {"seen": ([5, 30, 60], [6.0, 5.8, 5.6])}, (CANNOT, Cause.READINGS)),
    ("clock stands", {"seen": ([0, 30, 30], [6.0, 5.8, 5.6])}, (CANNOT, Cause.READINGS)),
    ("clock back, though leaking", {"seen": ([0, 40, 30], [6.0, 3.0, 1.0])}, (CANNOT, Cause.READINGS)),
    ("no pressure left", {"seen": ([0, 30, 60], [6.0, 2.0, 0.0])}, (CANNOT, Cause.READINGS)),
    ("held too briefly", {"hold": 30.0}, (CANNOT, Cause.CONDITIONS)),
    ("held too briefly, though leaking", {"hold": 30.0, "seen": LEAKING}, (CANNOT, Cause.CONDITIONS)),
    ("rising", {"seen": ([0, 30, 60], [6.0, 5.7, 5.9])}, (CANNOT, Cause.TEMPERATURE)),
    ("leak before the hour", {"seen": ([0, 10, 20], [6.0, 5.3, 4.6])}, (FAIL, Cause.LEAK)),
    ("sound so far, before the hour", {"seen": ([0, 15, 30], [6.0, 5.85, 5.75])}, (CANNOT, Cause.DURATION)),
    ("gauge far too coarse", {"resolution": 0.5}, (CANNOT, Cause.RESOLUTION)),
    ("gauge never moved", {"seen": ([0, 30, 60], [6.0, 6.0, 6.0])}, (CANNOT, Cause.READINGS)),
    ("too little fall: air", {"seen": ([0, 30, 60], [6.0, 5.95, 5.9])}, (FAIL, Cause.AIR)),
    ("warmed by a few kelvin", {"temperature": warming(5)}, (CANNOT, Cause.TEMPERATURE)),
    ("warmed, a leak hides in it", {"temperature": warming(5), "seen": LEAKING}, (CANNOT, Cause.TEMPERATURE)),
    ("warmed where hardly exposed", {"temperature": warming(5, 0.05)}, (PASS, Cause.NONE)),
    ("restraint unknown, sound when free only", {"restraint": UNKNOWN}, (CANNOT, Cause.RESTRAINT)),
    ("restraint unknown, a leak in any", {"restraint": UNKNOWN, "seen": LEAKING}, (FAIL, Cause.LEAK)),
    ("restraint unknown, too short anyhow", {"restraint": UNKNOWN, "seen": ([0, 15, 30], [6, 5.9, 5.85])},
     (CANNOT, Cause.DURATION)),
    ("leak seen by eye", {"leak_seen": True}, (FAIL, Cause.LEAK)),
    ("leak seen by eye and no readings", {"leak_seen": True, "seen": ([], [])}, (FAIL, Cause.LEAK)),
    ("sound as free is a leak when grouted", {"restraint": GROUTED, "seen": LEAKING}, (FAIL, Cause.LEAK)),
]  # fmt: skip


@pytest.mark.parametrize(("_name", "changes", "expected"), SHORT, ids=[row[0] for row in SHORT])
def test_short_tightness(_name: str, changes: dict[str, Any], expected: Expected) -> None:
    agrees(short(**changes), expected)


def test_a_condition_outside_the_method_is_told() -> None:
    assert short(hold=30.0).to_method is False
    assert short().to_method is True


# Section 1.6 of the pressure reference, simulated: 166.9 L of 40 x 3.7, 7.5 bar, let down by 1.0 bar; limit 157 mL.
AT = [0, 2, 5, 10, 15, 20, 25, 30, 60, 90]
TIGHT = [5.74, 5.85, 5.89, 5.90, 5.90, 5.89, 5.87, 5.86, 5.77, 5.68]
L2 = [5.44, 5.54, 5.57, 5.56, 5.54, 5.51, 5.47, 5.44, 5.24, 5.05]
L3 = [4.59, 4.66, 4.66, 4.60, 4.52, 4.44, 4.36, 4.28, 3.81, 3.37]
AIR = [5.98, 6.04, 6.06, 6.07, 6.06, 6.06, 6.05, 6.04, 5.98, 5.93]
AIR_AND_LEAK = [5.58, 5.63, 5.63, 5.62, 5.59, 5.56, 5.53, 5.50, 5.31, 5.13]
STIFF = [6.17, 6.22, 6.24, 6.25, 6.25, 6.24, 6.24, 6.23, 6.19, 6.15]


def a27(
    rest: float | PressureReading = 6.74,
    bled: float | None = 114.0,
    main: list[float] = TIGHT,
    *,
    until: int = 10,
    restraint: Restraint = FREE,
    method: str = "en805_a27_2000",
    resolution: float = 0.01,
    **run: Any,
) -> Verdict:
    test = En805A27(bar(7.5), quantity(166.94, "L"), 32.6 / 3.7, restraint, bar(resolution), method=method)
    usual = {
        "rest": rest if isinstance(rest, PressureReading) else series([0, 60], [7.5, rest]),
        "main": series(AT[: min(until, len(main))], main[:until]),
        "bled": None if bled is None else quantity(bled, "mL"),
    }
    return test.judge(En805Run(**(usual | run)))


W400 = "w400_2_2022"
NO = series([], [])
SEQUENCE: list[tuple[str, dict[str, Any], Expected]] = [
    ("tight, 90 min", {}, (PASS, Cause.NONE)),
    ("tight, 30 min only", {"until": 8}, (CANNOT, Cause.DURATION)),
    ("tight, 25 min only", {"until": 7}, (CANNOT, Cause.READINGS)),
    ("leak 0.05 L/h", {"rest": 6.44, "bled": 115, "main": L2}, (FAIL, Cause.LEAK)),
    ("leak 0.2 L/h, 2000 edition", {"rest": 5.59, "bled": 116, "main": L3}, (FAIL, Cause.LEAK)),
    ("leak 0.2 L/h, contraction method, rest only",
     {"rest": 5.59, "bled": None, "main": [], "method": W400}, (FAIL, Cause.LEAK)),
    ("5 L of air, small volume, 2000 edition", {"rest": 6.98, "bled": 204, "main": AIR}, (CANNOT, Cause.AIR)),
    ("5 L of air, second sign by the rest phase",
     {"rest": 6.98, "bled": 204, "main": AIR, "method": W400}, (FAIL, Cause.AIR)),
    ("air and leak: air first, it hides the leak",
     {"rest": 6.58, "bled": 216, "main": AIR_AND_LEAK}, (FAIL, Cause.AIR)),
    ("stiff and tight, backfilled", {"rest": 7.17, "bled": 144, "main": STIFF, "restraint": BACKFILLED},
     (PASS, Cause.NONE)),
    ("stiff and tight, backfilled, contraction method",
     {"rest": 7.17, "bled": 144, "main": STIFF, "restraint": BACKFILLED, "method": W400}, (PASS, Cause.NONE)),
    ("stiff and tight, grouted, contraction method",
     {"rest": 7.17, "bled": 144, "main": STIFF, "restraint": GROUTED, "method": W400}, (PASS, Cause.NONE)),
    ("stiff, declared free, contraction method",
     {"rest": 7.17, "bled": 144, "main": STIFF, "method": W400}, (FAIL, Cause.AIR)),
    ("stiff, restraint unknown, contraction method",
     {"rest": 7.17, "bled": 144, "main": STIFF, "restraint": UNKNOWN, "method": W400}, (CANNOT, Cause.RESTRAINT)),
    ("gross fall in rest ends the test", {"rest": 5.0, "bled": None, "main": []}, (FAIL, Cause.LEAK)),
    ("gross fall comes before temperature", {"rest": 5.0, "temperature": warming(30)}, (FAIL, Cause.LEAK)),
    ("gross fall comes before a small let-down", {"rest": 5.0}, (FAIL, Cause.LEAK)),
    ("small let-down", {"rest": 6.3}, (CANNOT, Cause.CONDITIONS)),
    ("clock of the rest phase", {"rest": series([0, 61, 60], [7.5, 7, 5])}, (CANNOT, Cause.READINGS)),
    ("not at pressure when the rest began", {"rest": series([0, 60], [7.0, 6.74])}, (CANNOT, Cause.CONDITIONS)),
    ("no rest phase", {"rest": NO}, (CANNOT, Cause.READINGS)),
    ("temperature comes before the main phase", {"rest": 6.44, "main": L2, "temperature": warming(2)},
     (CANNOT, Cause.TEMPERATURE)),
    ("temperature comes before the volume", {"bled": 400, "temperature": warming(2)}, (CANNOT, Cause.TEMPERATURE)),
    ("volume not measured", {"bled": None}, (CANNOT, Cause.READINGS)),
    ("volume missing comes before the main phase", {"bled": None, "main": L2}, (CANNOT, Cause.READINGS)),
    ("gauge too coarse for the limit", {"resolution": 0.25}, (CANNOT, Cause.RESOLUTION)),
    ("volume near its limit", {"bled": 156.0, "bled_u": quantity(3, "mL")}, (CANNOT, Cause.RESOLUTION)),
    ("relaxed too briefly", {"relax": minutes(59)}, (CANNOT, Cause.CONDITIONS)),
    ("raised too slowly", {"raised": minutes(11)}, (CANNOT, Cause.CONDITIONS)),
    ("held too briefly", {"held": minutes(29)}, (CANNOT, Cause.CONDITIONS)),
    ("all times as asked", {"relax": minutes(60), "raised": minutes(10), "held": minutes(30)}, (PASS, Cause.NONE)),
]  # fmt: skip


@pytest.mark.parametrize(("_name", "changes", "expected"), SEQUENCE, ids=[row[0] for row in SEQUENCE])
def test_a27_sequence(_name: str, changes: dict[str, Any], expected: Expected) -> None:
    agrees(a27(**changes), expected)


def type_ii(
    seen: Sequence[float] = (6.60, 5.68, 5.32),
    at: Sequence[float] = (5, 35, 75),
    restraint: Restraint = FREE,
    *,
    resolution: float = 0.01,
    wall: Quantity | None = None,
    excess: bool = False,
) -> Verdict:
    test = TypeII(restraint, minutes(5), bar(resolution), wall=wall, excess_volume=excess)
    return test.judge(series(at, seen))


WARM, COOL = quantity(30.5, "degC"), quantity(86, "degF")
TYPE_II: list[tuple[str, dict[str, Any], Expected]] = [
    ("sound", {}, (PASS, Cause.NONE)),
    ("wall at 30 degC", {"wall": COOL}, (PASS, Cause.NONE)),
    ("wall too warm", {"wall": WARM}, (CANNOT, Cause.TEMPERATURE)),
    ("wall too warm comes before a leak", {"wall": WARM, "seen": (6.4, 4.9, 3.9)}, (CANNOT, Cause.TEMPERATURE)),
    ("two readings", {"seen": (6.6, 5.68), "at": (5, 35)}, (CANNOT, Cause.READINGS)),
    ("last one too early", {"at": (5, 35, 70)}, (CANNOT, Cause.READINGS)),
    ("clock", {"at": (5, 80, 75)}, (CANNOT, Cause.READINGS)),
    ("no pressure left", {"seen": (6.6, 2.0, 0.0)}, (CANNOT, Cause.READINGS)),
    ("second slope too steep", {"seen": (6.41, 4.92, 3.97)}, (FAIL, Cause.LEAK)),
    ("slopes grow: leak and air cancel in the first", {"seen": (6.85, 6.02, 5.56)}, (FAIL, Cause.LEAK)),
    ("slightly steep", {"seen": (6.52, 5.52, 5.08)}, (CANNOT, Cause.RESOLUTION)),
    ("first slope low", {"seen": (6.90, 6.402, 6.194)}, (FAIL, Cause.AIR)),
    ("too much was pumped", {"excess": True}, (FAIL, Cause.AIR)),
    ("a leak comes before air", {"excess": True, "seen": (6.41, 4.92, 3.97)}, (FAIL, Cause.LEAK)),
    ("first slope low for this gauge only", {"seen": (6.6, 5.95, 5.7), "resolution": 0.3}, (CANNOT, Cause.AIR)),
    ("backfilled and sound", {"seen": (7.06, 6.58, 6.38), "restraint": BACKFILLED}, (PASS, Cause.NONE)),
    ("backfilled and leaking", {"seen": (7.03, 6.41, 6.04), "restraint": BACKFILLED}, (FAIL, Cause.LEAK)),
    ("grouted and stiffer still", {"seen": (7.0, 6.9, 6.86), "restraint": GROUTED}, (PASS, Cause.NONE)),
    ("unknown where it decides", {"restraint": UNKNOWN}, (CANNOT, Cause.RESTRAINT)),
    ("unknown where it does not", {"seen": (6.41, 4.92, 3.97), "restraint": UNKNOWN}, (FAIL, Cause.LEAK)),
]


@pytest.mark.parametrize(("_name", "changes", "expected"), TYPE_II, ids=[row[0] for row in TYPE_II])
def test_type_ii(_name: str, changes: dict[str, Any], expected: Expected) -> None:
    agrees(type_ii(**changes), expected)


HOUR = [0, 10, 20, 30, 45, 60]
F2164_CASES: list[tuple[str, Sequence[float], Sequence[float], float, float, Expected]] = [
    # Section 3.3 of the pressure reference, simulated: 4 h at 7.50 bar, lowered to 6.81.
    ("tight", HOUR, [6.81, 6.96, 6.95, 6.94, 6.91, 6.88], 0.01, 5, (PASS, Cause.NONE)),
    ("0.05 L/h is missed", HOUR, [6.81, 6.90, 6.84, 6.78, 6.68, 6.58], 0.01, 5, (PASS, Cause.NONE)),
    ("0.2 L/h", HOUR, [6.81, 6.72, 6.51, 6.31, 6.01, 5.73], 0.01, 5, (FAIL, Cause.LEAK)),
    ("0.2 L/h shows before the hour", HOUR[:5], [6.81, 6.72, 6.51, 6.31, 6.01], 0.01, 5, (FAIL, Cause.LEAK)),
    ("tight so far", HOUR[:4], [6.81, 6.96, 6.95, 6.94], 0.01, 5, (CANNOT, Cause.DURATION)),
    ("too long at pressure", HOUR, [6.81, 6.96, 6.95, 6.94, 6.91, 6.88], 0.01, 8.5, (CANNOT, Cause.CONDITIONS)),
    ("too long comes before a leak", HOUR, [6.81, 6.0, 5.0, 4.0, 3.0, 2.0], 0.01, 8.5, (CANNOT, Cause.CONDITIONS)),
    ("one reading", [0], [6.81], 0.01, 5, (CANNOT, Cause.READINGS)),
    ("no reading", [], [], 0.01, 5, (CANNOT, Cause.READINGS)),
    ("clock", [0, 30, 20], [6.81, 6.9, 6.9], 0.01, 5, (CANNOT, Cause.READINGS)),
    ("gauge too coarse for 5 %", [0, 60], [6.8, 6.6], 0.2, 5, (CANNOT, Cause.RESOLUTION)),
    ("a rise out of the band is out of it", [0, 60], [6.8, 7.3], 0.01, 5, (FAIL, Cause.LEAK)),
]


@pytest.mark.parametrize(("_name", "at", "seen", "step", "hours", "expected"), F2164_CASES,
                         ids=[row[0] for row in F2164_CASES])  # fmt: skip
def test_f2164(_name: str, at: list[float], seen: list[float], step: float, hours: float, expected: Expected) -> None:
    test = F2164(bar(step), total_at_pressure=quantity(hours, "hour"))
    agrees(test.judge(series(at, seen)), expected)


FIXED: list[tuple[str, list[float], list[float], Restraint, float, float, Expected]] = [
    ("conditioned and within", [0, 60], [6.0, 5.9], FREE, 0.02, 240, (PASS, Cause.NONE)),
    ("conditioned and beyond", [0, 60], [6.0, 5.7], FREE, 0.02, 240, (FAIL, Cause.LEAK)),
    ("not conditioned, free: creep", [0, 60], [6.0, 5.5], FREE, 0.02, 30, (CANNOT, Cause.DURATION)),
    ("not conditioned, unknown: creep", [0, 60], [6.0, 5.5], UNKNOWN, 0.02, 30, (CANNOT, Cause.DURATION)),
    ("not conditioned, grouted", [0, 60], [6.0, 5.5], GROUTED, 0.02, 30, (FAIL, Cause.LEAK)),
    ("not conditioned, backfilled", [0, 60], [6.0, 5.5], BACKFILLED, 0.02, 30, (FAIL, Cause.LEAK)),
    ("not conditioned and within", [0, 60], [6.0, 5.9], FREE, 0.02, 30, (PASS, Cause.NONE)),
    ("no reading at the hour", [0, 40], [6.0, 5.9], FREE, 0.02, 240, (CANNOT, Cause.READINGS)),
    ("nearly at the hour", [0, 58.5], [6.0, 5.9], FREE, 0.02, 240, (PASS, Cause.NONE)),
    ("between two near readings", [0, 55, 67], [6.0, 5.9, 5.88], FREE, 0.02, 240, (PASS, Cause.NONE)),
    ("between two far readings", [0, 40, 80], [6.0, 5.9, 5.88], FREE, 0.02, 240, (CANNOT, Cause.READINGS)),
    ("no reading", [], [], FREE, 0.02, 240, (CANNOT, Cause.READINGS)),
    ("clock", [0, 60, 50], [6.0, 5.9, 5.9], FREE, 0.02, 240, (CANNOT, Cause.READINGS)),
    ("gauge too coarse", [0, 60], [6.0, 5.8], FREE, 0.2, 240, (CANNOT, Cause.RESOLUTION)),
    ("too near the limit", [0, 60], [6.0, 5.8], FREE, 0.05, 240, (CANNOT, Cause.RESOLUTION)),
]


@pytest.mark.parametrize(("_name", "at", "seen", "restraint", "step", "held", "expected"), FIXED,
                         ids=[row[0] for row in FIXED])  # fmt: skip
def test_fixed_drop(
    _name: str, at: list[float], seen: list[float], restraint: Restraint, step: float, held: float, expected: Expected
) -> None:
    agrees(FixedDrop(restraint, bar(step), conditioned=minutes(held)).judge(series(at, seen)), expected)


@pytest.mark.parametrize("code", SAYINGS)
def test_every_code_speaks_to_people(code: str) -> None:
    said = SAYINGS[code]
    assert said.reason.endswith(".")
    assert said.reason[0].isupper()
    assert bool(said.way_out) is (said.outcome is CANNOT)
    assert not set("_{}<>") & set(said.reason + said.way_out)
    if said.outcome is PASS:
        assert said.cause is Cause.NONE


@pytest.mark.parametrize(
    "method", ["short_tightness", "en805_a27_2000", "w400_2_2022", "type_ii", "f2164", "fixed_drop"]
)
def test_every_limit_has_its_source(method: str) -> None:
    rows = method_limits(method)
    assert all(row.source.text and np.isfinite(row.value) for row in rows.values())
    assert all("requirement" in row.source.label for row in rows.values() if row.source.status.value == "memory")
