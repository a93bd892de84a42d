"""Flush, mix, strength, loop fill, purge, residual air: each verdict both ways, against figures worked out here."""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from math import pi
from pathlib import Path
from typing import Any

import pytest
from CoolProp.CoolProp import PropsSI

from calcs.verdict import Cause, Outcome, Verdict
from jobs.visits.judging import outcomes, verdicts_of
from jobs.visits.kinds import KINDS, Facts, Logged, strength_reading
from jobs.visits.kinds.loop_fill import expected
from tests.build_entries import n
from tests.visits.facts import FACTS, NUMBERS, START, logged

PASS, WARN, FAIL, CANNOT = Outcome.PASS, Outcome.WARN, Outcome.FAIL, Outcome.CANNOT_TELL
DATA = Path(__file__).parents[2] / "calcs" / "data"


def said(entry: Logged, *others: Logged, facts: Facts = FACTS) -> list[Verdict]:
    return list(verdicts_of(replace(facts, entries=(*others, entry)), entry))


def figure(verdict: Verdict, name: str) -> float:
    return next(one.value for one in verdict.figures if one.name == name)


def columns(name: str, first: str, second: str) -> list[tuple[float, float]]:
    lines = (DATA / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    return [
        (float(row[first]), float(row[second])) for row in csv.DictReader(line for line in lines if line[:1] != "#")
    ]


def between(rows: list[tuple[float, float]], x: float) -> float:
    """On the straight line between two rows of a published table."""
    low, high = next((low, high) for low, high in pairwise(rows) if low[0] <= x <= high[0])
    return low[1] + (x - low[0]) / (high[0] - low[0]) * (high[1] - low[1])


@pytest.mark.parametrize(("subject", "bore_mm"), [("L1", 32.6), ("L2", 32.6), ("H", 51.4)])
@pytest.mark.parametrize("unit", ["L/min", "m³/h", "gpm"])
def test_the_flow_that_carries_dirt(subject: str, bore_mm: float, unit: str) -> None:
    """v = Q/A: 0.6 m/s is the limit of the rule set."""
    per_unit = {"L/min": 60_000.0, "m³/h": 3600.0, "gpm": 60_000 / 3.785_411_784}[unit]
    least = 0.6 * pi / 4 * (bore_mm / 1000) ** 2 * per_unit
    for factor, outcome in ((1.001, PASS), (0.999, FAIL)):
        answer = {"text": "", "value": least * factor, "unit": unit}
        verdict = said(logged("flush", subject, flow=answer, clear=True))[0]
        assert verdict.outcome is outcome
        assert verdict.figures[0].value == pytest.approx(0.6 * factor, rel=1e-6)
        assert bool(verdict.way_out) is (outcome is FAIL)


@pytest.mark.parametrize(("minutes", "outcome"), [("15", PASS), ("14.9", FAIL)])
def test_how_long_to_flush(minutes: str, outcome: Outcome) -> None:
    entry = logged("flush", "L1", flow=n("31", "L/min"), minutes=n(minutes, "min"), clear=True, debris="fine")
    assert [one.outcome for one in said(entry)] == [PASS, outcome]


@pytest.mark.parametrize(
    ("debris", "clear", "outcome"),
    [
        ("none", True, None),
        ("fine", True, None),
        ("sand", True, WARN),
        ("shavings", True, WARN),
        ("stones", True, WARN),
        ("sand", False, FAIL),
    ],
)
def test_what_came_out(debris: str, clear: bool, outcome: Outcome | None) -> None:
    found = said(logged("flush", "L1", flow=n("31", "L/min"), debris=debris, clear=clear))[1:]
    assert [one.outcome for one in found] == ([outcome] if outcome else [])
    assert all(one.way_out for one in found)


@pytest.mark.parametrize(
    "change", [{"flow": {"unknown": "not_known"}}, {"subject": "L9"}], ids=["no flow", "no such loop"]
)
def test_a_flush_that_cannot_be_told(change: dict[str, Any]) -> None:
    (verdict,) = said(logged("flush", change.get("subject", "L1"), flow=change.get("flow", n("31", "L/min"))))
    assert (verdict.outcome, bool(verdict.way_out)) == (CANNOT, True)


# The job's recipe: 150 L of concentrate in 445 L are 33.7 %; 1.5 %-points either way.
RECIPE_PCT = 100 * 150 / 445


@pytest.mark.parametrize(
    ("apart", "outcome"), [(0.0, PASS), (1.49, PASS), (-1.49, PASS), (1.51, WARN), (-1.51, WARN), (-33, WARN)]
)
def test_litres_against_the_recipe(apart: float, outcome: Outcome) -> None:
    concentrate = 178 * (RECIPE_PCT + apart) / 100
    typed = {"text": "", "value": concentrate, "unit": "L"}
    (verdict,) = said(
        logged("mix_batch", "M1", concentrate=typed, water={"text": "", "value": 178 - concentrate, "unit": "L"})
    )
    assert verdict.outcome is outcome
    assert figure(verdict, "concentrate in the batch") == pytest.approx(RECIPE_PCT + apart)


def test_a_batch_without_figures_says_nothing() -> None:
    water = n("100", "L")
    assert said(logged("mix_batch", "M1", water=water, concentrate={"unknown": "not_known"})) == []
    assert said(logged("mix_batch", "M1", water=water, concentrate=n("0", "L"))) == []
    assert (
        said(logged("mix_batch", "M1", water=water, concentrate=n("50", "L")), facts=replace(FACTS, numbers={})) == []
    )


@pytest.mark.parametrize(("minutes", "outcome"), [("10", PASS), ("9.5", FAIL)])
def test_stirring(minutes: str, outcome: Outcome) -> None:
    (verdict,) = said(logged("mix_batch", "M1", stirred=n(minutes, "min")))
    assert (verdict.outcome, bool(verdict.way_out)) == (outcome, outcome is FAIL)


@pytest.mark.parametrize("subject", ["M0", "M2", "M7", "M9999"])
def test_a_batch_beyond_the_recipe_has_no_target(subject: str) -> None:
    assert KINDS["mix_batch"].targets(FACTS, subject) == ()


@pytest.mark.parametrize("subject", ["", "M", "M²"])
def test_a_batch_without_its_number_is_the_first(subject: str) -> None:
    assert [one.low for one in KINDS["mix_batch"].targets(FACTS, subject)] == [118.0, 60.0]


def brix(value: float, /, subject: str = "M1", minute: float = 0, at: str = "20", **more: Any) -> Logged:
    answers = {
        "zeroed": True, "scale": "brix", "value": {"text": "", "value": value, "unit": "°Bx"}, "sample_temperature": n(at, "°C"),
        "place": "top",
    } | more  # fmt: skip
    return logged("strength_reading", subject, minute, instrument="r", **answers)


# Brix → index (ICUMSA 1974) and index → mass % of propylene glycol (MacBeth & Thompson 1951, brought to 20 °C).
BRIX_TO_INDEX = columns("icumsa_brix_1974", "brix", "nD20")
INDEX_TO_MASS = [
    (index, mass) for mass, index in columns("propylene_glycol_refractive_index", "mass_pct", "nD20_computed")
]


@pytest.mark.parametrize("value", [18.0, 21.0, 24.0, 26.5, 29.0])
def test_strength_from_brix_against_the_tables(value: float) -> None:
    """By hand over the refractive index; the index is good to 0.3 mass %."""
    by_hand = between(INDEX_TO_MASS, between(BRIX_TO_INDEX, value))
    found = strength_reading.read(FACTS, brix(value))
    assert found is not None
    assert strength_reading.mass_pct(found) == pytest.approx(by_hand, abs=0.5)


def test_freezing_point_against_coolprop() -> None:
    """T_freeze of INCOMP::MPG at the strength that was read; fits of like data, 0.7 K apart at most."""
    for value in (18.0, 24.0, 29.0):
        found = strength_reading.read(FACTS, brix(value))
        assert found is not None
        share = strength_reading.mass_pct(found) / 100
        freezes = PropsSI("T_freeze", "T", 300, "P", 1e5, f"INCOMP::MPG[{share:.4f}]") - 273.15
        assert float(found.freezing_point.m_as("degC")) == pytest.approx(freezes, abs=0.7)


@pytest.mark.parametrize(
    ("value", "outcome", "reason"),
    [
        (24.0, PASS, "Inside the band."),
        (20.0, FAIL, "Too weak."),
        (29.0, WARN, "Stronger than needed: costs pumping power and concentrate."),
        (24.8, CANNOT, "Too near the edge of the band for this instrument."),
    ],
)
def test_the_band_on_all_sides(value: float, outcome: Outcome, reason: str) -> None:
    (verdict,) = said(brix(value))
    assert (verdict.outcome, verdict.reason) == (outcome, reason)
    assert bool(verdict.way_out) is (outcome is not PASS)
    distance = abs(figure(verdict, "strength") - 33.0)
    u = next(one.u for one in verdict.figures if one.name == "strength") or 0.0
    inside, outside = distance + 2 * u <= 1.5, distance - 2 * u > 1.5
    assert (outcome is PASS, outcome in {FAIL, WARN}) == (inside, outside)


@pytest.mark.parametrize(
    "change",
    [
        {"zeroed": False}, {"value": {"unknown": "not_known"}}, {"sample_temperature": {"unknown": "not_known"}}, {"scale": "honey"},
        {"value": n("24", "°C")}, {"scale": "propylene_glycol"}, {"scale": "propylene_glycol", "value": n("24", "°Bx")},
        {"scale": "ethylene_glycol", "value": n("-15", "°C")},
    ],
    ids=["not zeroed", "no value", "no temperature", "no such scale", "degrees on the Brix scale", "Brix on the frost scale",
         "the same, above zero", "the other glycol"],
)  # fmt: skip
def test_a_strength_that_cannot_be_told(change: dict[str, Any]) -> None:
    """The unit typed must be that of the scale that was read: 24 °C is not 24 °Bx."""
    (verdict,) = said(brix(24.0, **change))
    assert (verdict.outcome, bool(verdict.way_out)) == (CANNOT, True)


def test_without_design_the_strength_cannot_be_told() -> None:
    for facts in (replace(FACTS, numbers={}), replace(FACTS, limits={}), replace(FACTS, fluid=None)):
        (verdict,) = said(brix(24.0), facts=facts)
        assert verdict.outcome is CANNOT


@pytest.mark.parametrize(
    ("second", "outcome"),
    [
        (brix(24.2, minute=5), PASS), (brix(24.2, minute=4.9), CANNOT), (brix(24.2, minute=1, place="bottom"), PASS),
        (brix(24.2, minute=1, place={"unknown": "not_known"}), CANNOT), (brix(20.0, minute=6), FAIL), (brix(24.0, minute=6, zeroed=False), CANNOT),
    ],
)  # fmt: skip
def test_the_second_reading_of_a_batch(second: Logged, outcome: Outcome) -> None:
    assert outcomes(replace(FACTS, entries=(brix(24.0), second)))["M1"] == outcome


def test_two_readings_inside_the_band_that_do_not_agree() -> None:
    wide = replace(FACTS.limits["strength_band_pct"], value=6.0)
    facts = replace(
        FACTS, limits={**FACTS.limits, "strength_band_pct": wide}, entries=(brix(23.0), brix(25.0, minute=6))
    )
    verdict = strength_reading.judge_subject(facts, "M1")
    assert (verdict.outcome, verdict.cause) == (FAIL, Cause.READINGS)
    assert figure(verdict, "difference of the two readings") > 1.0


# Loop L1: 216 m of 32.6 mm bore at 30.05 L/min.
TRANSIT_S = 216 * pi / 4 * 0.0326**2 / (30.05 / 60_000)


def fill(first: float | None, full: float | None, **more: Any) -> Logged:
    times: dict[str, Any] = {
        name: START + timedelta(seconds=at)
        for name, at in (("first_colour", first), ("full_colour", full))
        if at is not None
    }
    usual: dict[str, Any] = {"flow": n("30.05", "L/min"), "only_this_open": True, "started": START}
    return logged("loop_fill", "L1", 20, **(usual | times | more))


def test_the_changeover_is_volume_over_flow() -> None:
    plan = expected(FACTS, "L1", 30.05)
    assert plan is not None
    assert float(plan.transit_time.m_as("s")) == pytest.approx(TRANSIT_S, rel=1e-3)
    assert pytest.approx(6.0, abs=0.01) == TRANSIT_S / 60


@pytest.mark.parametrize(("factor", "outcome"), [(1.0, PASS), (0.78, PASS), (1.22, PASS), (0.6, FAIL), (1.5, FAIL)])
def test_the_changeover_band(factor: float, outcome: Outcome) -> None:
    (verdict,) = said(fill(TRANSIT_S * factor - 15, TRANSIT_S * factor + 15))
    assert verdict.outcome is outcome


@pytest.mark.parametrize(
    "change",
    [{"flow": n("0", "L/min")}, {"flow": {"unknown": "not_known"}}, {"started": {"unknown": "not_known"}}],
    ids=["no flow", "flow not known", "no start"],
)
def test_a_changeover_that_cannot_be_told(change: dict[str, Any]) -> None:
    (verdict,) = said(fill(340, 385, **change))
    assert (verdict.outcome, bool(verdict.way_out)) == (CANNOT, True)


def test_colour_before_the_start_is_no_time() -> None:
    (verdict,) = said(fill(-60, -30))
    assert verdict.outcome is CANNOT


def purge(loops: list[str], flow: float, *, ran: float = 60, after: float = 20, minute: float = 0) -> Logged:
    started = START + timedelta(minutes=minute)
    times: dict[str, Any] = {
        "started": started, "last_bubble": started + timedelta(minutes=ran - after), "ended": started + timedelta(minutes=ran),
    }  # fmt: skip
    return logged("purge", "", minute + ran, open=loops, flow={"text": "", "value": flow, "unit": "L/min"}, **times)


ONE_LOOP = 0.6 * pi / 4 * 0.0326**2 * 60_000
HEADER = 0.6 * pi / 4 * 0.0514**2 * 60_000


@pytest.mark.parametrize(
    ("entry", "outcome", "cause"),
    [
        (purge(["L1"], ONE_LOOP * 1.001), PASS, Cause.NONE),
        (purge(["L1"], ONE_LOOP * 0.99), FAIL, Cause.FLOW),
        (purge(["L1"], ONE_LOOP * 1.1, after=14.9), FAIL, Cause.DURATION),
        (purge(["L1"], ONE_LOOP * 1.1, after=15), PASS, Cause.NONE),
        (purge(["L1"], ONE_LOOP * 1.01, ran=17.5, after=16), FAIL, Cause.DURATION),  # 2.95 turnovers of 180.3 L
        (purge(["L1"], ONE_LOOP * 1.01, ran=18.5, after=16), PASS, Cause.NONE),  # 3.1
        # Two loops share as in the design, 51 to 49: the slower one needs its speed of the whole.
        (purge(["L1", "L2"], ONE_LOOP / 0.49 * 1.001), PASS, Cause.NONE),
        (purge(["L1", "L2"], ONE_LOOP / 0.49 * 0.99), FAIL, Cause.FLOW),
    ],
)
def test_one_purge(entry: Logged, outcome: Outcome, cause: Cause) -> None:
    (verdict,) = said(entry)
    assert (verdict.outcome, verdict.cause) == (outcome, cause)


def test_a_purge_that_cannot_be_told() -> None:
    for entry in (purge(["L1"], 32, after=70), replace(purge(["L1"], 32), payload={"flow": n("32", "L/min")})):
        (verdict,) = said(entry)
        assert (verdict.outcome, bool(verdict.way_out)) == (CANNOT, True)


@pytest.mark.parametrize(
    ("header_run", "outcome"),
    [
        (purge(["L1", "L2"], HEADER * 1.01, minute=200), "pass"),
        (purge(["L1", "L2"], HEADER * 1.01, minute=200, ran=5, after=1), "warn"),
        (purge(["L1", "L2"], HEADER * 0.98, minute=200), "warn"),
    ],
    ids=["long and fast", "fast for five minutes only", "a little too slow"],
)
def test_the_header_is_purged_by_a_good_run_only(header_run: Logged, outcome: str) -> None:
    alone = (purge(["L1"], 32), purge(["L2"], 32, minute=90))
    assert outcomes(replace(FACTS, entries=(*alone, header_run)))["purge"] == outcome


# Water in for 1.5 bar by hand: V Δp (1/2092 MPa + D/(e E)), thinnest wall D/e = 51.4/5.8, E = 900 MPa; then Boyle from 1 atm.
VOLUME_L = 180.29 + 186.97 + 62.25
STRETCH_L = VOLUME_L * 0.15 * (1 / 2092 + 51.4 / 5.8 / 900)
BIN_L_PER_MM = pi / 4 * 6.0**2 * 0.01
SQUEEZE = 1 - 1.01325 / (1.01325 + 1.5)


def air(litres: float, **more: Any) -> Logged:
    """So much air by hand: the level falls for the stretch and for what Boyle takes of it."""
    fall = (STRETCH_L + litres * SQUEEZE) / BIN_L_PER_MM
    after = {"text": "", "value": 640 - fall, "unit": "mm"}
    answers = {
        "bin_diameter": n("600", "mm"), "level_before": n("640", "mm"), "level_after": after, "dead_head_pressure": n("1.5", "bar"),
    }  # fmt: skip
    return logged("residual_air", **(answers | more))


@pytest.mark.parametrize(("litres", "outcome"), [(0.2, PASS), (0.75, CANNOT), (2.5, WARN), (6.0, FAIL)])
def test_air_by_hand(litres: float, outcome: Outcome) -> None:
    """0.2 % of 429.5 L are 0.86 L, 1 % are 4.3 L; a quarter of doubt of the wall is kept."""
    (verdict,) = said(air(litres))
    assert verdict.outcome is outcome
    assert figure(verdict, "air at atmospheric pressure") == pytest.approx(litres, abs=0.03)
    assert figure(verdict, "pipe's own stretch") == pytest.approx(STRETCH_L, rel=0.01)


@pytest.mark.parametrize(
    ("change", "outcome"),
    [
        ({"level_after": n("650", "mm")}, FAIL), ({"level_after": n("640", "mm")}, CANNOT), ({"level_after": {"unknown": "not_known"}}, CANNOT),
        ({"dead_head_pressure": n("0", "bar")}, CANNOT), ({"bin_diameter": n("0", "mm")}, CANNOT), ({"start_pressure": n("2", "bar")}, CANNOT),
    ],
    ids=["rose", "a shut valve", "no level", "no pressure", "no bin", "pressure fell"],
)  # fmt: skip
def test_air_that_cannot_be_told(change: dict[str, Any], outcome: Outcome) -> None:
    (verdict,) = said(air(0.2, **change))
    assert (verdict.outcome, bool(verdict.way_out)) == (outcome, True)


def test_a_job_without_pipes_says_what_is_missing() -> None:
    for entry in (air(0.2), purge([], 78), fill(340, 385)):
        (verdict,) = said(entry, facts=replace(FACTS, runs={}))
        assert (verdict.outcome, bool(verdict.way_out)) == (CANNOT, True)
    assert NUMBERS["volumes"]["loops_l"] == pytest.approx(180.29 + 186.97, abs=0.1)
