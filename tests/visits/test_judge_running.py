"""Settings, de-aeration, top-ups, final readings, static pressure: each verdict both ways, against figures worked out here."""

from __future__ import annotations

from dataclasses import replace
from math import hypot, sqrt
from typing import Any

import pytest
from CoolProp.CoolProp import PropsSI

from calcs.verdict import Cause, Outcome, Verdict
from jobs.visits.judging import outcomes, verdicts_of
from jobs.visits.kinds import KINDS, Facts, Logged, running
from tests.build_entries import n
from tests.visits.facts import FACTS, START, logged

PASS, WARN, FAIL, CANNOT = Outcome.PASS, Outcome.WARN, Outcome.FAIL, Outcome.CANNOT_TELL


def said(entry: Logged, *others: Logged, facts: Facts = FACTS) -> list[Verdict]:
    return list(verdicts_of(replace(facts, entries=(*others, entry)), entry))


def settings(alarm: str, unit: str = "°C", **more: Any) -> Logged:
    return logged("source_settings", minute=50, frost_alarm=n(alarm, unit), **more)


@pytest.mark.parametrize(
    ("alarm", "unit", "outcome"),
    [
        ("-10", "°C", PASS), ("-10.1", "°C", WARN), ("-12", "°C", WARN), ("-12.1", "°C", FAIL), ("-20", "°C", FAIL), ("0", "°C", PASS),
        ("14", "°F", PASS), ("13.8", "°F", WARN), ("10", "°F", FAIL),
    ],
)  # fmt: skip
def test_the_margin_to_freezing(alarm: str, unit: str, outcome: Outcome) -> None:
    """Target −15 °C; 5 K usual, 3 K at least. 14 °F are −10 °C, 10 °F are −12.2 °C."""
    (verdict,) = said(settings(alarm, unit))
    celsius = float(alarm) if unit == "°C" else (float(alarm) - 32) / 1.8
    assert verdict.outcome is outcome
    assert verdict.figures[0].value == pytest.approx(celsius + 15)
    assert bool(verdict.way_out) is (outcome is not PASS)


def sample(value: str, /, minute: float = 1, **more: Any) -> Logged:
    answers = {"zeroed": True, "scale": "brix", "value": n(value, "°Bx"), "sample_temperature": n("20", "°C")} | more
    return logged("strength_reading", "system", minute, instrument="r", **answers)


def test_the_margin_goes_by_the_system_as_read_against_coolprop() -> None:
    """18 °Bx are about 24 mass %; CoolProp's freezing point of that, 0.7 K for the two fits and the scale."""
    (verdict,) = said(settings("-9"), sample("18.0"))
    freezes = PropsSI("T_freeze", "T", 300, "P", 1e5, "INCOMP::MPG[0.245]") - 273.15
    assert verdict.figures[0].value == pytest.approx(-9 - freezes, abs=1.2)
    assert verdict.outcome is FAIL


def test_the_latest_reading_of_the_system_counts_and_one_that_cannot_be_read_falls_back() -> None:
    (verdict,) = said(settings("-9"), sample("18.0"), sample("24.0", 2))
    assert verdict.outcome is PASS
    (fallen,) = said(settings("-10"), sample("18.0", value=n("-15", "°C")))
    assert fallen.figures[0].value == pytest.approx(5.0)


@pytest.mark.parametrize("facts", [replace(FACTS, fluid=None), replace(FACTS, limits={})])
def test_a_margin_that_cannot_be_told(facts: Facts) -> None:
    (verdict,) = said(settings("-9"), facts=facts)
    assert (verdict.outcome, bool(verdict.way_out)) == (CANNOT, True)


@pytest.mark.parametrize(
    ("more", "fails"),
    [
        ({"fluid_set": "propylene_glycol", "flow": n("38", "L/min")}, 0), ({"fluid_set": "ethanol"}, 1), ({"flow": n("37.9", "L/min")}, 1),
        ({"fluid_set": "ethylene_glycol", "flow": n("2", "m³/h")}, 2), ({"flow": n("2.28", "m³/h")}, 0), ({"fluid_set": {"unknown": "not_known"}}, 0),
    ],
)  # fmt: skip
def test_fluid_and_flow_of_the_controller(more: dict[str, Any], fails: int) -> None:
    """The heat pump needs 38 L/min, that is 2.28 m³/h."""
    found = said(settings("-9", **more))
    assert [one.outcome for one in found] == [PASS] + [FAIL] * fails
    assert all(one.way_out for one in found[1:])


def start(days: str, **more: Any) -> Logged:
    return logged("deaeration_start", started=START, planned_days=n(days, "d"), **more)


@pytest.mark.parametrize(("days", "warns"), [("10", 0), ("14", 0), ("9.9", 1), ("1", 1)])
def test_how_long_the_run_is_planned(days: str, warns: int) -> None:
    found = said(start(days))
    assert [(one.outcome, one.cause) for one in found] == [(WARN, Cause.DURATION)] * warns
    assert all(one.way_out for one in found)


def check(day: float, bar: str, top_up: str = "0", **more: Any) -> Logged:
    answers = {"pressure_on_arrival": n(bar, "bar"), "top_up": n(top_up, "L"), "t_in": n("4", "°C")} | more
    return logged("follow_up", "", day * 1440, instrument="g", **answers)


@pytest.mark.parametrize(
    ("litres", "outcome"),
    [
        ([0.0], PASS), ([2.225], PASS), ([2.23], WARN), ([4.45], WARN), ([4.46], FAIL), ([1.1, 1.1], PASS), ([1.2, 1.2], WARN), ([2.0, 2.0, 1.0], FAIL),
    ],
)  # fmt: skip
def test_the_share_topped_up(litres: list[float], outcome: Outcome) -> None:
    """Of 445 L: half a per cent is 2.225 L, one per cent 4.45 L, over all checks so far."""
    *before, last = [check(1 + day, "1.7", f"{amount}") for day, amount in enumerate(litres)]
    later = check(20, "1.7", "300")
    (verdict,) = said(last, *before, later)
    assert verdict.outcome is outcome
    assert verdict.figures[0].value == pytest.approx(100 * sum(litres) / 445)
    assert bool(verdict.way_out) is (outcome is not PASS)


GALLON = logged("follow_up", "", 1440, pressure_on_arrival=n("1.7", "bar"), top_up=n("1", "gal"))


def test_the_share_topped_up_in_other_units_and_without_a_volume() -> None:
    """1 US gallon is 3.785 L, 0.85 % of 445 L."""
    (verdict,) = said(GALLON)
    assert verdict.outcome is WARN
    assert verdict.figures[0].value == pytest.approx(100 * 3.785411784 / 445)
    assert said(check(1, "1.7"), facts=replace(FACTS, numbers={})) == []


RUN = start("10", pressure=n("1.8", "bar"))


@pytest.mark.parametrize(
    ("checks", "outcome"),
    [
        ([check(4, "1.70"), check(6, "1.70")], "pass"),
        ([check(4, "1.70"), check(5.9, "1.70")], "cannot tell"),
        ([check(4, "1.70"), check(9, "1.51")], "pass"),
        ([check(4, "1.70"), check(9, "1.49")], "fail"),
        ([check(4, "1.50"), check(9, "1.75")], "fail"),
        ([check(4, "1.70", pressure_left=n("1.9", "bar")), check(9, "1.90")], "pass"),
        ([check(4, "1.70", pressure_left=n("1.9", "bar")), check(9, "1.60")], "fail"),
        ([check(4, "1.70"), check(9, "1.70", t_in=n("8", "°C"))], "cannot tell"),
        ([check(4, "1.70"), check(9, "1.70", t_in=n("6.9", "°C"))], "pass"),
        ([check(2, "1.70", "2.5"), check(4, "1.70"), check(9, "1.70")], "warn"),
        ([check(4, "1.70"), check(9, "1.70", pressure_on_arrival={"unknown": "not_known"})], "cannot tell"),
        ([check(4, "1.70"), check(4, "1.70")], "cannot tell"),
    ],
    ids=["two days", "under two days", "just inside 0.2 bar", "fell", "rose", "left higher, holds", "left higher, falls", "warmer by 4 K",
         "warmer by 2.9 K", "stable but topped up", "no pressure", "twice at once"],
)  # fmt: skip
def test_a_stable_run(checks: list[Logged], outcome: str) -> None:
    entries = [replace(one, payload=one.payload, id=f"{number}") for number, one in enumerate(checks)]
    facts = replace(FACTS, entries=(RUN, *entries))
    assert outcomes(facts)["run"] == outcome
    verdict = running.judge_run(facts)
    assert bool(verdict.way_out) is (verdict.outcome in {CANNOT, FAIL})


def test_a_run_that_slows_down_is_told_when_to_come_back() -> None:
    """2.6, 1.8, 1.4 bar on days 1, 3, 5: each fall half the one before, so the next, 0.2 bar, is the limit: day 7."""
    checks = [check(1, "2.60"), check(3, "1.80"), check(5, "1.40")]
    facts = replace(FACTS, entries=(RUN, *[replace(one, id=f"{number}") for number, one in enumerate(checks)]))
    verdict = running.judge_run(facts)
    assert verdict.outcome is FAIL
    assert "A visit about day 7 is likely to find it stable" in verdict.way_out


def test_a_run_that_was_not_started() -> None:
    verdict = running.judge_run(replace(FACTS, entries=(check(4, "1.7"),)))
    assert (verdict.outcome, verdict.way_out) == (CANNOT, "Log the start of the run.")


FLUSH = logged("flush", "L1", 1, instrument="f", flow=n("31", "L/min"))


def final(t_in: float, t_out: float, flow: float = 48.0, **more: Any) -> Logged:
    answers = {
        "run_minutes": n("35", "min"), "flow": n(f"{flow}", "L/min"), "t_in": n(f"{t_in}", "°C"), "t_out": n(f"{t_out}", "°C"),
    } | more  # fmt: skip
    return logged("final_reading", "R1", 60, instrument="t", **answers)


@pytest.mark.parametrize("spread", [3.0, 3.5, 4.5])
def test_heat_and_its_uncertainty_by_hand(spread: float) -> None:
    """Q = ρ c V ΔT with CoolProp's 33 % propylene glycol; ± limits as rectangles over √3, ρc known to 2 %, k = 2."""
    facts = replace(FACTS, entries=(FLUSH, final(1.0 + spread, 1.0)))
    heat = running.duty_of(facts, facts.entries[-1])
    assert heat is not None
    kelvin = 273.15 + 1.0 + spread / 2
    rho, cp = (PropsSI(name, "T", kelvin, "P", 2e5, "INCOMP::MPG[0.33]") for name in ("D", "C"))
    assert float(heat.duty.m_as("W")) == pytest.approx(rho * cp * 48 / 60_000 * spread, rel=0.015)
    by_hand = 2 * hypot(1.0 / 48 / sqrt(3), 0.1 / sqrt(3) / spread, 0.02 / sqrt(3))
    assert heat.relative == pytest.approx(by_hand, rel=1e-6)


@pytest.mark.parametrize(
    ("flow", "outcome"),
    [(48.0, PASS), (45.0, PASS), (30.0, WARN), (70.0, WARN)],
    ids=["as designed", "a little less", "much less", "much more"],
)
def test_the_heat_balance(flow: float, outcome: Outcome) -> None:
    """The heat pump should draw 9.39 kW; 15 % and the doubt of the reading are allowed. It is never more than a hint."""
    verdict = said(final(4.1, 1.0, flow), FLUSH)[-1]
    kelvin = 273.15 + 2.55
    rho, cp = (PropsSI(name, "T", kelvin, "P", 2e5, "INCOMP::MPG[0.33]") for name in ("D", "C"))
    measured = rho * cp * flow / 60_000 * 3.1
    u = 2 * measured * hypot(1.0 / flow / sqrt(3), 0.1 / sqrt(3) / 3.1, 0.02 / sqrt(3))
    assert (abs(measured - 9390) <= hypot(u, 0.15 * 9390)) is (outcome is PASS)
    assert verdict.outcome is outcome
    assert bool(verdict.way_out) is (outcome is WARN)


def test_a_difference_lost_in_its_uncertainty_cannot_tell() -> None:
    verdict = said(final(1.3, 1.0), FLUSH)[-1]
    assert (verdict.outcome, verdict.cause, bool(verdict.way_out)) == (CANNOT, Cause.READINGS, True)


@pytest.mark.parametrize(
    ("t_in", "outcome", "word"),
    [
        (4.0, PASS, "usual"),
        (6.0, PASS, "usual"),
        (3.9, WARN, "small"),
        (6.1, WARN, "large"),
        (1.0, FAIL, "warmer"),
        (0.5, FAIL, "warmer"),
    ],
)
def test_the_temperature_difference(t_in: float, outcome: Outcome, word: str) -> None:
    """3 to 5 K over 1 °C."""
    verdict = said(final(t_in, 1.0), FLUSH)[1]
    assert verdict.outcome is outcome
    assert word in verdict.reason
    assert bool(verdict.way_out) is (outcome is not PASS)


@pytest.mark.parametrize(
    ("minutes", "unit", "outcome"), [("20", "min", PASS), ("19.9", "min", FAIL), ("0.5", "h", PASS), ("0.3", "h", FAIL)]
)
def test_steady_running(minutes: str, unit: str, outcome: Outcome) -> None:
    verdict = said(final(4.5, 1.0, run_minutes=n(minutes, unit)), FLUSH)[0]
    assert (verdict.outcome, bool(verdict.way_out)) == (outcome, outcome is FAIL)


@pytest.mark.parametrize(
    ("entry", "others"),
    [
        (final(4.5, 1.0), []), (replace(final(4.5, 1.0), instrument=""), [FLUSH]), (replace(final(4.5, 1.0), payload={}), [FLUSH]),
    ],
    ids=["no flow meter", "no thermometers", "no answers"],
)  # fmt: skip
def test_a_heat_that_cannot_be_told(entry: Logged, others: list[Logged]) -> None:
    verdict = said(entry, *others)[-1]
    assert (verdict.outcome, bool(verdict.way_out)) == (CANNOT, True)


@pytest.mark.parametrize("kind", ["static_pressure", "fluid_delivery", "driller_papers", "photo", "note", "signature", "override", "sheet_submit",
                                  "partial_cover", "backfill_release", "covered", "pressure_reading"])  # fmt: skip
def test_what_is_recorded_only(kind: str) -> None:
    """The static pressure belongs to the heat pump's maker: no verdict of ours, whatever it is."""
    for bar in ("0.1", "1.8", "9"):
        entry = logged(
            kind, pressure=n(bar, "bar"), precharge=n(bar, "bar"), watch_pressure=n(bar, "bar"), valve_locked=False
        )
        assert said(entry) == []
    assert KINDS[kind].calc in {"", "pressure_test"}
