"""Trench, joint, pressure test and watch: each verdict both ways, against figures worked out here."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from calcs.verdict import Cause, Outcome, Verdict
from jobs.planning.rules import parse, starters
from jobs.visits.judging import outcomes, verdicts_of
from jobs.visits.kinds import Facts, Logged
from tests.build_entries import n
from tests.visits.facts import FACTS, logged

PASS, WARN, FAIL, CANNOT = Outcome.PASS, Outcome.WARN, Outcome.FAIL, Outcome.CANNOT_TELL
DATA = Path(__file__).parents[2] / "calcs" / "data"
SETS = {one.name: parse(one.limits).limits for one in starters()}


def said(entry: Logged, *others: Logged, facts: Facts = FACTS) -> dict[str, Verdict]:
    return {one.reason: one for one in verdicts_of(replace(facts, entries=(*others, entry)), entry)}


def _named(name: str, answer: Any) -> dict[str, Any]:
    return {name: answer}


def table(name: str) -> dict[tuple[str, str], float]:
    lines = (DATA / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return {(row["area"], row["key"]): float(row["value"]) for row in rows}


A27 = {key: value for (area, key), value in table("pressure_methods").items() if area == "en805_a27_2000"}


@pytest.mark.parametrize("name", SETS)
@pytest.mark.parametrize(
    ("field", "code", "good", "short"),
    [
        ("depth", "trench_depth_mm", "The trench is deep enough.", "The trench is too shallow."),
        ("bed", "bed_mm", "The bed is thick enough.", "The bed is too thin."),
    ],
)
def test_a_trench_by_each_rule_set(name: str, field: str, code: str, good: str, short: str) -> None:
    """At the limit it passes, a millimetre under it fails with its way out; also typed in inches of 25.4 mm."""
    limit = SETS[name][code]
    facts = replace(FACTS, limits=SETS[name])
    for amount, outcome, words in ((limit.value, PASS, good), (limit.value - 1, FAIL, short)):
        typed: list[dict[str, Any]] = [
            {"text": "", "value": amount, "unit": "mm"},
            {"text": "", "value": amount / 10, "unit": "cm"},
            {"text": "", "value": amount / 25.4, "unit": "in"},
        ]
        for answer in typed:
            (verdict,) = said(logged("trench_section", "S1", 0, **_named(field, answer)), facts=facts).values()
            assert (verdict.outcome, verdict.reason) == (outcome, words)
            assert verdict.source == limit.source
            assert bool(verdict.way_out) is (outcome is FAIL)


def test_a_trench_without_figures_says_nothing_of_them() -> None:
    assert said(logged("trench_section", "S1", depth={"unknown": "not_known"})) == {}
    bare = replace(FACTS, limits={})
    assert said(logged("trench_section", "S1", depth=n("100", "mm"), bed=n("1", "mm")), facts=bare) == {}


@pytest.mark.parametrize(
    ("stones", "inspected", "fails"), [(False, True, 0), (True, True, 1), (False, False, 1), (True, False, 2)]
)
def test_stones_and_inspection(stones: bool, inspected: bool, fails: int) -> None:
    found = said(logged("trench_section", "S1", stones=stones, excavation_inspected=inspected))
    assert [one.outcome for one in found.values()] == [FAIL] * fails
    assert all(one.way_out for one in found.values())


@pytest.mark.parametrize("name", SETS)
@pytest.mark.parametrize("method", ["socket", "butt", "electrofusion", "mechanical"])
def test_cooling_by_method(name: str, method: str) -> None:
    """The usual wait of the rule set: at it nothing is said, a second under it somebody should look."""
    limit = SETS[name][f"cooling_{method}_min"]
    facts = replace(FACTS, limits=SETS[name])

    def cooled(minutes: float, unit: str = "min") -> dict[str, Verdict]:
        answer = {"text": "", "value": minutes, "unit": unit}
        return said(logged("joint", "J1", method=method, visual_ok=True, buried=False, cooling_min=answer), facts=facts)

    assert cooled(limit.value) == {}
    assert cooled(limit.value / 60, "h") == {}
    if limit.value:
        (short,) = cooled(limit.value - 1 / 60).values()
        assert (short.outcome, short.cause, short.source) == (WARN, Cause.DURATION, limit.source)
        assert short.way_out == "Check the time on the fitting."
    else:
        assert cooled(0) == {}


@pytest.mark.parametrize(
    ("method", "buried", "looks", "fails"),
    [
        ("mechanical", True, True, ["A mechanical joint is to be buried."]),
        ("mechanical", False, True, []),
        ("butt", True, True, []),
        ("butt", True, False, ["It does not look right."]),
        ("mechanical", True, False, ["A mechanical joint is to be buried.", "It does not look right."]),
    ],
)
def test_joints_in_the_ground(method: str, buried: bool, looks: bool, fails: list[str]) -> None:
    found = said(logged("joint", "J1", method=method, buried=buried, visual_ok=looks))
    assert list(found) == fails
    assert all(one.outcome is FAIL and one.way_out for one in found.values())


# Weight of water by hand: 1000 kg/m³ × 9.80665 m/s² = 0.0980665 bar for each metre.
BAR_PER_M = 1000 * 9.80665 / 1e5


@pytest.mark.parametrize(
    ("test", "depth", "rating"), [(6.0, 1.5, 10.0), (7.5, 100.0, 16.0), (6.0, 100.0, 16.0), (10.0, 50.0, 16.0)]
)
def test_the_weakest_part_at_the_lowest_point(test: float, depth: float, rating: float) -> None:
    at_bottom = test + BAR_PER_M * depth
    entry = logged(
        "pressure_test",
        "T1",
        test_pressure=n(f"{test}", "bar"),
        height=n(f"{depth}", "m"),
        lowest_rating=n(f"{rating}", "bar"),
    )
    (verdict,) = said(entry).values()
    assert verdict.figures[0].value == pytest.approx(at_bottom, abs=0.01)
    assert verdict.outcome is (PASS if at_bottom <= rating else FAIL)
    assert bool(verdict.way_out) is (at_bottom > rating)


def test_a_gauge_below_the_lowest_point_sees_more_than_the_pipe() -> None:
    """Ten metres of water under the gauge's level count the other way: 10.9 − 0.98 bar is 9.92 bar."""
    entry = logged(
        "pressure_test", "T1", test_pressure=n("10.9", "bar"), height=n("-10", "m"), lowest_rating=n("10", "bar")
    )
    (verdict,) = said(entry).values()
    assert verdict.outcome is PASS
    assert verdict.figures[0].value == pytest.approx(10.9 - 10 * BAR_PER_M, abs=0.01)


def test_a_start_without_its_figures_judges_only_what_is_said() -> None:
    assert said(logged("pressure_test", "T1", vented=True, shut_off=True, safe=True)) == {}
    found = said(logged("pressure_test", "T1", vented=False, shut_off=False, safe=False))
    assert [one.outcome for one in found.values()] == [FAIL] * 3
    assert {one.way_out for one in found.values()} == {"Do not raise the pressure before this is so."}


def test_an_end_without_a_start_or_readings_cannot_tell() -> None:
    end = logged("pressure_end", "T1", 90, joints_dry=True)
    (lone,) = said(end).values()
    assert (lone.outcome, lone.reason) == (CANNOT, "The start of this test is not logged.")
    for method in ("short_tightness", "en805_a27_2000", ""):
        start = logged("pressure_test", "T1", method=method, covers=["L1"], test_pressure=n("6", "bar"))
        (verdict,) = said(end, start).values()
        assert verdict.outcome is CANNOT
        assert verdict.way_out


def three_phase(main: list[tuple[float, str]], litres: str, **more: Any) -> Verdict:
    """7.5 bar on loop L1 of 180.3 L: held 31 min, an hour's rest, let down at once, the main phase."""
    start = logged(
        "pressure_test", "T1", method="en805_a27_2000", restraint="free", covers=["L1"], test_pressure=n("7.5", "bar"),
        **more.pop("start", {}),
    )  # fmt: skip
    hold = [
        logged("pressure_reading", "T1", m, instrument="g", phase="hold", pressure=n("7.50", "bar")) for m in (8, 39)
    ]
    bars = more.pop("rest", ["7.50", "6.80", "6.50", "6.30", "6.20"])
    rest = [
        logged("pressure_reading", "T1", 40 + 15 * at, instrument="g", phase="rest", pressure=n(bar, "bar"))
        for at, bar in enumerate(bars)
    ]
    bleed = logged(
        "pressure_reading",
        "T1",
        102,
        instrument="g",
        phase="bleed",
        pressure=n(main[0][1], "bar"),
        litres=n(litres, "L"),
    )
    after = [
        logged("pressure_reading", "T1", 102 + m, instrument="g", phase="isolated", pressure=n(bar, "bar"))
        for m, bar in main[1:]
    ]
    end = logged("pressure_end", "T1", 240, joints_dry=True, **more.pop("end", {}))
    (verdict,) = said(end, start, *hold, *rest, bleed, *after).values()
    return verdict


# Clause A.27.4 by hand: 1.2 V Δp (1/E_W + D/(e E_R)), 180.29 L, Δp 1.0 bar, SDR 11 in 40 × 3.7.
ALLOWED_L = (
    A27["volume_factor"] * 180.29 * 0.1 * (1 / A27["water_modulus"] + 32.6 / 3.7 / A27["wall_modulus"])
)  # 0.1 MPa
RISING = [(0.0, "5.20"), (10.0, "5.26"), (20.0, "5.28"), (30.0, "5.28")]
FALLING = [
    (0.0, "5.20"),
    (10.0, "5.10"),
    (20.0, "4.95"),
    (30.0, "4.80"),
    (45.0, "4.65"),
    (60.0, "4.5"),
    (75.0, "4.4"),
    (90.0, "4.3"),
]


def test_the_allowed_water_of_the_three_phase_method() -> None:
    verdict = three_phase(RISING, "0.140")
    water = next(one for one in verdict.figures if one.name == "water let out")
    assert water.limit == pytest.approx(1000 * ALLOWED_L, rel=0.01)
    assert verdict.outcome is PASS


@pytest.mark.parametrize(
    ("rest", "outcome"),
    [(["7.50", "6.60", "6.10", "5.80", "5.60"], PASS), (["7.50", "6.30", "5.60", "5.20", "4.90"], FAIL)],
    ids=["25 %", "35 %"],
)
def test_the_rest_drop_of_the_three_phase_method(rest: list[str], outcome: Outcome) -> None:
    assert A27["rest_high"] == 0.30
    low = float(rest[-1]) - 1.0
    main = [(minute, f"{low + float(bar) - 5.2:.2f}") for minute, bar in RISING]
    assert three_phase(main, "0.140", rest=rest).outcome is outcome


def test_a_main_phase_that_falls_is_a_leak() -> None:
    verdict = three_phase(FALLING, "0.140")
    assert verdict.outcome is FAIL
    assert verdict.cause is Cause.LEAK


def test_a_let_down_under_a_tenth_cannot_tell() -> None:
    """0.3 bar of 7.5 are 4 %; a tenth is asked."""
    main = [(0.0, "5.90"), (10.0, "5.92"), (20.0, "5.93"), (30.0, "5.93")]
    verdict = three_phase(main, "0.03")
    assert verdict.outcome is CANNOT
    assert verdict.way_out


def test_a_pipe_that_warmed_cannot_tell_by_the_three_phase_method() -> None:
    """0.262 bar for each kelvin in SDR 11: 1 K is more than a third of 0.25 bar."""
    warm = {"start": {"pipe_temperature": n("9", "°C")}, "end": {"pipe_temperature": n("14", "°C")}}
    verdict = three_phase(RISING, "0.140", **warm)
    assert (verdict.outcome, verdict.cause) == (CANNOT, Cause.TEMPERATURE)


TIGHT = (("0", "6.00"), ("5", "5.90"), ("10", "5.84"), ("20", "5.77"), ("30", "5.71"), ("45", "5.67"), ("60", "5.64"))


def short(
    readings: tuple[tuple[str, str], ...] = TIGHT, *, hold: float = 60, restraint: str = "free", gauge: str = "g"
) -> Verdict:
    start = logged("pressure_test", "T1", method="short_tightness", restraint=restraint, covers=["L1", "H"])
    held = logged("pressure_reading", "T1", 10, instrument=gauge, phase="hold", pressure=n("6.00", "bar"))
    shut = [
        logged(
            "pressure_reading", "T1", 10 + hold + float(at), instrument=gauge, phase="isolated", pressure=n(bar, "bar")
        )
        for at, bar in readings
    ]
    end = logged("pressure_end", "T1", 200, joints_dry=True)
    facts = replace(FACTS, entries=(start, held, *shut, end))
    (verdict,) = verdicts_of(facts, end)
    assert outcomes(facts)["T1"] == verdict.outcome
    return verdict


def test_the_short_check_both_ways() -> None:
    assert short().outcome is PASS
    leak = tuple((at, f"{6 - (6 - float(bar)) * 4:.2f}") for at, bar in TIGHT)
    assert (short(leak).outcome, short(leak).cause) == (FAIL, Cause.LEAK)


@pytest.mark.parametrize(
    ("change", "why"),
    [({"hold": 20}, "hold"), ({"restraint": "unknown"}, "restraint"), ({"readings": TIGHT[:4]}, "short")],
    ids=["held 20 of 60 minutes", "restraint not known", "twenty minutes of sixty"],
)
def test_the_short_check_that_cannot_tell_says_what_to_do(change: dict[str, Any], why: str) -> None:
    verdict = short(**change)
    assert verdict.outcome is CANNOT, why
    assert verdict.way_out


def test_covered_pipe_creeps_half_as_much() -> None:
    """The band in compacted backfill, 0.04 to 0.05, is half of the free one: a free pipe's fall is a leak there."""
    assert short(restraint="backfilled").outcome is not PASS


def watch(bar: str, minute: float) -> Logged:
    return logged("watch_reading", "T1", minute, pressure=n(bar, "bar"))


END = logged("pressure_end", "T1", 10, watch_pressure=n("2.00", "bar"))


@pytest.mark.parametrize(
    ("bar", "outcome"), [("2.0", PASS), ("1.70", PASS), ("1.69", WARN), ("2.4", PASS), ("0", WARN)]
)
def test_the_watch_pressure_since_the_end(bar: str, outcome: Outcome) -> None:
    (verdict,) = said(watch(bar, 20), END).values()
    assert verdict.outcome is outcome
    assert verdict.figures[0].value == pytest.approx(2.0 - float(bar))
    assert bool(verdict.way_out) is (outcome is WARN)


def test_the_watch_pressure_since_the_reading_before() -> None:
    (verdict,) = said(watch("1.5", 40), END, watch("1.9", 20)).values()
    assert verdict.outcome is WARN
    assert verdict.figures[0].value == pytest.approx(0.4)


def test_a_watch_reading_without_anything_before_says_nothing() -> None:
    assert said(watch("1.5", 40)) == {}
    assert said(watch("1.5", 40), replace(END, payload={"watch_pressure": {"unknown": "not_known"}})) == {}
    assert said(replace(watch("1", 40), payload={}), END) == {}
    assert said(watch("1.5", 40), END, facts=replace(FACTS, limits={})) == {}
