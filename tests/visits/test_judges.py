"""What the kinds say of readings, against figures from outside."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from CoolProp.CoolProp import PropsSI

from calcs.sources import Limit, Source, Status
from calcs.units import quantity
from calcs.verdict import Cause, Outcome
from jobs.visits.judging import outcomes, verdicts_of
from jobs.visits.kinds import (
    KINDS,
    Facts,
    Logged,
    strength_reading,
)
from jobs.visits.kinds.running import duty_of
from tests.build_entries import n
from tests.visits.facts import FACTS, LIMITS, START, judged, logged


def test_a_trench_is_judged_by_the_rule_set() -> None:
    shallow = logged(
        "trench_section", "S1", depth=n("79", "cm"), bed=n("100", "mm"), stones=False, excavation_inspected=True
    )
    assert judged(shallow) == {"The trench is too shallow.": Outcome.FAIL, "The bed is thick enough.": Outcome.PASS}


def test_a_buried_mechanical_joint_fails() -> None:
    found = judged(logged("joint", "J1", method="mechanical", buried=True, visual_ok=True))
    assert found == {"A mechanical joint is to be buried.": Outcome.FAIL}


@pytest.mark.parametrize(("flow", "outcome"), [("30.0", Outcome.FAIL), ("30.1", Outcome.PASS)])
def test_flush_speed_in_40_by_3_7(flow: str, outcome: Outcome) -> None:
    """0.6 m/s in a bore of 32.6 mm is 30.05 L/min (job.md P2 rounds to 30)."""
    entry = logged("flush", "L1", flow=n(flow, "L/min"), minutes=n("15", "min"), debris="none", clear=True)
    assert sorted(judged(entry).values()) == sorted([outcome, Outcome.PASS])


def test_flush_in_other_units() -> None:
    """1.81 m³/h is 30.2 L/min; a quarter of an hour is 15 min."""
    entry = logged("flush", "L1", flow=n("1.81", "m³/h"), minutes=n("0.25", "h"), debris="none", clear=True)
    assert set(judged(entry).values()) == {Outcome.PASS}


def test_a_pressure_above_the_weakest_part_at_the_bottom_fails() -> None:
    """7.5 bar at the head and 100 m of water below it are 17.3 bar, above PN 16 (reference: pressure and purge, 3.2)."""
    deep = logged(
        "pressure_test", "T1", test_pressure=n("7.5", "bar"), height=n("100", "m"), lowest_rating=n("16", "bar")
    )
    assert judged(deep) == {"At the lowest point the pressure is above the rating of the weakest part.": Outcome.FAIL}


@pytest.mark.parametrize("name", ["vented", "shut_off", "safe"])
def test_a_test_is_not_started_while_somebody_may_be_hurt(name: str) -> None:
    answers: dict[str, Any] = {name: False}
    assert Outcome.FAIL in judged(logged("pressure_test", "T1", **answers)).values()


def creeping(bars: list[str], minutes: list[float], restraint: str = "free") -> list[Logged]:
    start = logged(
        "pressure_test",
        "T1",
        method="short_tightness",
        restraint=restraint,
        covers=["L1", "H"],
        pipe_temperature=n("9", "°C"),
    )
    held = [
        logged("pressure_reading", "T1", minute, instrument="g", phase="hold", pressure=n("6.00", "bar"))
        for minute in (10, 69)
    ]
    shut = [
        logged("pressure_reading", "T1", 70 + minute, instrument="g", phase="isolated", pressure=n(bar, "bar"))
        for bar, minute in zip(bars, minutes, strict=True)
    ]
    return [start, *held, *shut]


# A tight free pipe falls from 6 bar to about 5.6 in an hour by its own creep (reference: pressure and purge, 3.3).
TIGHT = ["6.00", "5.90", "5.84", "5.77", "5.71", "5.67", "5.64"]
MINUTES = [0.0, 5, 10, 20, 30, 45, 60]


@pytest.mark.parametrize(
    ("bars", "outcome", "cause"),
    [
        (TIGHT, Outcome.PASS, Cause.NONE),
        (["6.00", "5.70", "5.45", "5.10", "4.80", "4.40", "4.05"], Outcome.FAIL, Cause.LEAK),
        (["6.00", "6.00", "6.00", "6.00", "6.00", "6.00", "6.00"], Outcome.CANNOT_TELL, None),
    ],
    ids=["tight", "leak", "gauge on a dead leg"],
)
def test_a_test_is_judged_from_all_its_readings(bars: list[str], outcome: Outcome, cause: Cause | None) -> None:
    entries = creeping(bars, MINUTES)
    end = logged("pressure_end", "T1", 135, joints_dry=True, pipe_temperature=n("9.2", "°C"))
    facts = replace(FACTS, entries=(*entries, end))
    (verdict,) = verdicts_of(facts, end)
    if outcome is Outcome.CANNOT_TELL:
        assert verdict.outcome is not Outcome.PASS
    else:
        assert (verdict.outcome, verdict.cause) == (outcome, cause)
    assert outcomes(facts)["T1"] == verdict.outcome


def test_a_wet_joint_fails_whatever_the_gauge_says() -> None:
    end = logged("pressure_end", "T1", 135, joints_dry=False)
    assert judged(end, *creeping(TIGHT, MINUTES)) == {"A joint is not dry.": Outcome.FAIL}


def test_readings_that_stop_early_cannot_tell() -> None:
    end = logged("pressure_end", "T1", 135, joints_dry=True, pipe_temperature=n("9.2", "°C"))
    assert set(judged(end, *creeping(TIGHT[:4], MINUTES[:4])).values()) == {Outcome.CANNOT_TELL}


def test_the_three_phase_method() -> None:
    """A rest drop of 31 % of the test pressure is a leak after EN 805:2000 A.27 (limit 30 %)."""
    start = logged(
        "pressure_test", "T1", method="en805_a27_2000", restraint="free", covers=["L1"], test_pressure=n("7.5", "bar")
    )
    rest = [
        logged("pressure_reading", "T1", 40 + minute, instrument="g", phase="rest", pressure=n(bar, "bar"))
        for minute, bar in ((0, "7.50"), (15, "6.4"), (30, "5.8"), (45, "5.4"), (60, "5.17"))
    ]
    hold = [
        logged("pressure_reading", "T1", minute, instrument="g", phase="hold", pressure=n("7.50", "bar"))
        for minute in (8, 39)
    ]
    end = logged("pressure_end", "T1", 110, joints_dry=True)
    facts = replace(FACTS, entries=(start, *hold, *rest, end))
    (verdict,) = verdicts_of(facts, end)
    assert (verdict.outcome, verdict.cause) == (Outcome.FAIL, Cause.LEAK)


def test_a_falling_watch_pressure_asks_for_a_look() -> None:
    end = logged("pressure_end", "T1", 10, watch_pressure=n("2.0", "bar"))
    assert set(judged(logged("watch_reading", "T1", 20, pressure=n("1.7", "bar")), end).values()) == {Outcome.PASS}
    assert set(judged(logged("watch_reading", "T1", 20, pressure=n("1.6", "bar")), end).values()) == {Outcome.WARN}


def brix(reading: str, subject: str = "M1", minute: float = 0, **more: Any) -> Logged:
    answers = {
        "zeroed": True,
        "scale": "brix",
        "value": n(reading, "°Bx"),
        "sample_temperature": n("20", "°C"),
        "place": "top",
    } | more
    return logged("strength_reading", subject, minute, instrument="r", **answers)


@pytest.mark.parametrize(
    ("reading", "outcome"),
    [("24.0", Outcome.PASS), ("21.0", Outcome.FAIL), ("29.0", Outcome.WARN), ("24.6", Outcome.CANNOT_TELL)],
)
def test_a_reading_against_the_band(reading: str, outcome: Outcome) -> None:
    """Target 33 mass %, off by 1.5 at most, with 2u = 0.5 to spare: 24.0 °Bx are 33.4 %, 24.6 are 34.3 %."""
    assert set(judged(brix(reading)).values()) == {outcome}


def test_a_brix_reading_against_published_tables() -> None:
    """30 mass % has nD20 1.36678 (MacBeth & Thompson 1951); that is 21.75 °Bx (ICUMSA 1974: 1.36551 at 21, 1.3672 at 22)."""
    found = strength_reading.read(FACTS, brix("21.75"))
    assert found is not None
    assert strength_reading.mass_pct(found) == pytest.approx(30.0, abs=0.3)


def test_a_refractometer_that_was_not_zeroed_cannot_tell() -> None:
    assert judged(brix("24.0", zeroed=False)) == {"The refractometer was not zeroed.": Outcome.CANNOT_TELL}


def test_the_scale_of_the_other_glycol_cannot_tell() -> None:
    other = brix("24.0", scale="ethylene_glycol", value=n("-15", "°C"))
    assert set(judged(other).values()) == {Outcome.CANNOT_TELL}


@pytest.mark.parametrize(
    ("readings", "outcome"),
    [
        ([brix("24.0")], "cannot tell"),
        ([brix("24.0"), brix("24.0", minute=1)], "cannot tell"),
        ([brix("24.0"), brix("24.2", minute=1, place="bottom")], "pass"),
        ([brix("24.0"), brix("24.2", minute=6)], "pass"),
        ([brix("24.0"), brix("21.0", minute=6)], "fail"),
        ([brix("21.0"), brix("24.0", minute=6)], "fail"),
        ([brix("21.0"), brix("24.0", minute=6), brix("24.2", minute=12)], "pass"),
    ],
)
def test_a_batch_needs_two_readings_that_agree(readings: list[Logged], outcome: str) -> None:
    assert outcomes(replace(FACTS, entries=tuple(readings)))["M1"] == outcome


def test_one_reading_of_the_system_is_enough() -> None:
    assert outcomes(replace(FACTS, entries=(brix("24.0", "system"),)))["system"] == "pass"


def fill(first: float, full: float, **more: Any) -> Logged:
    times = {
        "started": START,
        "first_colour": START + timedelta(seconds=first),
        "full_colour": START + timedelta(seconds=full),
    }
    return logged("loop_fill", "L1", 20, flow=n("30.05", "L/min"), **({"only_this_open": True} | times | more))


def test_colour_comes_after_volume_over_flow() -> None:
    """180.3 L at 30.05 L/min take 360 s; ± 25 %."""
    assert set(judged(fill(340, 385)).values()) == {Outcome.PASS}
    assert set(judged(fill(200, 240)).values()) == {Outcome.FAIL}
    assert set(judged(fill(520, 560)).values()) == {Outcome.FAIL}


def test_another_loop_open_fails_the_fill() -> None:
    assert Outcome.FAIL in judged(fill(340, 385, only_this_open=False)).values()


def purged(minute: float, loops: list[str], flow: str, after: float = 20, ran: float = 60) -> Logged:
    started = START + timedelta(minutes=minute)
    times: dict[str, Any] = {
        "started": started,
        "last_bubble": started + timedelta(minutes=ran - after),
        "ended": started + timedelta(minutes=ran),
    }
    return logged("purge", "", minute + ran, open=loops, flow=n(flow, "L/min"), **times)


@pytest.mark.parametrize(
    ("runs", "outcome"),
    [
        ([purged(0, ["L1", "L2"], "78")], "pass"),
        ([purged(0, [], "78")], "pass"),
        ([purged(0, ["L1", "L2"], "55")], "cannot tell"),
        ([purged(0, ["L1"], "32")], "cannot tell"),
        ([purged(0, ["L1"], "32"), purged(90, ["L2"], "32")], "warn"),
        ([purged(0, ["L1", "L2"], "78", after=10)], "cannot tell"),
        ([purged(0, ["L1", "L2"], "78", after=15, ran=15)], "pass"),
        ([purged(0, ["L1", "L2"], "78", after=15, ran=14)], "cannot tell"),
    ],
    ids=["both", "none named means all", "too slow", "one loop only", "header never fast", "too soon after the bubble", "exact", "not in order"],
)  # fmt: skip
def test_every_loop_and_the_header_are_purged(runs: list[Logged], outcome: str) -> None:
    """The header of 51.4 mm bore needs 74.7 L/min for 0.6 m/s, one loop 30.05."""
    assert outcomes(replace(FACTS, entries=tuple(runs)))["purge"] == outcome


def air(drop: str, pressure: str = "1.5") -> Logged:
    level = f"{640 - float(drop):g}"
    return logged(
        "residual_air",
        bin_diameter=n("600", "mm"),
        level_before=n("640", "mm"),
        level_after=n(level, "mm"),
        dead_head_pressure=n(pressure, "bar"),
    )


def test_air_left_in() -> None:
    """429.5 L give way by about 0.66 L for 1.5 bar (SDR 11, 900 MPa); 1 mm of a 600 mm bin is 0.28 L."""
    assert set(judged(air("2.6")).values()) == {Outcome.PASS}
    assert set(judged(air("40")).values()) == {Outcome.FAIL}
    assert judged(air("-3")) == {"The level rose.": Outcome.FAIL}


@pytest.mark.parametrize(("alarm", "outcome"), [("-9", Outcome.PASS), ("-11", Outcome.WARN), ("-13", Outcome.FAIL)])
def test_the_frost_alarm_keeps_its_margin(alarm: str, outcome: Outcome) -> None:
    """Target −15 °C: 5 K is usual, under 3 K is refused."""
    entry = logged("source_settings", frost_alarm=n(alarm, "°C"), fluid_set="propylene_glycol", flow=n("45", "L/min"))
    assert set(judged(entry).values()) == {outcome}


def test_the_margin_goes_by_what_was_read_in_the_system() -> None:
    entry = logged(
        "source_settings", minute=10, frost_alarm=n("-9", "°C"), fluid_set="propylene_glycol", flow=n("45", "L/min")
    )
    assert set(judged(entry, brix("18.0", "system")).values()) == {Outcome.FAIL}


def test_the_wrong_fluid_or_too_little_flow_in_the_controller() -> None:
    entry = logged("source_settings", frost_alarm=n("-9", "°C"), fluid_set="ethanol", flow=n("30", "L/min"))
    assert sorted(judged(entry).values()) == [Outcome.FAIL, Outcome.FAIL, Outcome.PASS]


def check(day: float, arrival: str, top_up: str = "0", **more: Any) -> Logged:
    answers = {"pressure_on_arrival": n(arrival, "bar"), "top_up": n(top_up, "L"), "t_in": n("4", "°C")} | more
    return logged("follow_up", "", day * 1440, instrument="g", **answers)


RUN = logged("deaeration_start", started=START, planned_days=n("10", "d"), pressure=n("1.8", "bar"))


@pytest.mark.parametrize(
    ("checks", "outcome"),
    [
        ([], "cannot tell"),
        ([check(5, "1.70")], "cannot tell"),
        ([check(5, "1.70"), check(9, "1.68")], "pass"),
        ([check(5, "1.70"), check(6, "1.70")], "cannot tell"),
        ([check(5, "1.70"), check(9, "1.40")], "fail"),
        ([check(5, "1.70", "1"), check(9, "1.70")], "cannot tell"),
        ([check(5, "1.70", "4"), check(7, "1.6", "1"), check(9, "1.70")], "fail"),
    ],
    ids=["none", "one", "stable", "too near", "falling", "topped up between", "more than 1 % topped up"],
)
def test_whether_a_run_is_stable(checks: list[Logged], outcome: str) -> None:
    assert outcomes(replace(FACTS, entries=(RUN, *checks)))["run"] == outcome


def test_litres_topped_up_add_up() -> None:
    """Of 445 L: 2 L are 0.45 %, 4 L 0.9 %, 5 L 1.1 %; look above 0.5, leak above 1.0."""
    first, second, third = check(1, "1.7", "2"), check(3, "1.7", "2"), check(5, "1.7", "1")
    assert list(judged(first).values()) == [Outcome.PASS]
    assert list(judged(second, first).values()) == [Outcome.WARN]
    assert list(judged(third, first, second).values()) == [Outcome.FAIL]


def final(t_in: str, t_out: str, minutes: str = "35") -> Logged:
    return logged(
        "final_reading",
        "R1",
        60,
        instrument="t",
        run_minutes=n(minutes, "min"),
        flow=n("48", "L/min"),
        t_in=n(t_in, "°C"),
        t_out=n(t_out, "°C"),
    )


FLUSH = logged("flush", "L1", 1, instrument="f", flow=n("31", "L/min"))


def test_heat_from_the_ground_against_coolprop() -> None:
    """ρ cp of 33 % propylene glycol from CoolProp's INCOMP::MPG; both are fits of like data, 1.5 % apart at most."""
    facts = replace(FACTS, entries=(FLUSH, final("3.40", "0.30")))
    heat = duty_of(facts, facts.entries[-1])
    assert heat is not None
    at = {"T": 273.15 + 1.85, "P": 2e5}
    rho, cp = (PropsSI(name, "T", at["T"], "P", at["P"], "INCOMP::MPG[0.33]") for name in ("D", "C"))
    expected_kw = rho * cp * 48 / 60000 * 3.1 / 1000
    assert float(heat.duty.m_as("kW")) == pytest.approx(expected_kw, rel=0.015)


def test_final_readings_in_their_bands() -> None:
    assert set(judged(final("3.40", "0.30"), FLUSH).values()) == {Outcome.PASS}
    assert Outcome.FAIL in judged(final("3.40", "0.30", minutes="3"), FLUSH).values()
    swapped = judged(final("0.30", "3.40"), FLUSH)
    assert swapped["The fluid comes back no warmer than it went."] is Outcome.FAIL


def test_final_readings_without_instruments_cannot_tell_the_heat() -> None:
    found = judged(replace(final("3.40", "0.30"), instrument=""))
    assert found["The heat cannot be worked out with its uncertainty."] is Outcome.CANNOT_TELL


def test_a_batch_against_its_recipe_is_a_hint_only() -> None:
    right = logged("mix_batch", "M1", water=n("118", "L"), concentrate=n("60", "L"), stirred=n("12", "min"))
    wrong = logged("mix_batch", "M1", water=n("118", "L"), concentrate=n("40", "L"), stirred=n("5", "min"))
    assert set(judged(right).values()) == {Outcome.PASS}
    assert set(judged(wrong).values()) == {Outcome.WARN, Outcome.FAIL}


def test_without_limits_nothing_is_invented() -> None:
    bare = Facts(entries=(FLUSH,))
    assert {verdict.outcome for verdict in verdicts_of(bare, FLUSH)} == {Outcome.CANNOT_TELL}


def test_targets_tell_what_the_rule_set_asks() -> None:
    (flow, minutes) = KINDS["flush"].targets(FACTS, "L1")
    assert (flow.field, flow.low, flow.unit) == ("flow", 30.1, "L/min")
    assert (minutes.low, minutes.unit) == (15.0, "min")
    water, concentrate = KINDS["mix_batch"].targets(FACTS, "M1")
    assert (water.low, concentrate.low) == (118.0, 60.0)
    assert KINDS["mix_batch"].targets(FACTS, "M7") == ()


def test_a_memory_figure_is_never_shown_as_a_requirement() -> None:
    limits = {**LIMITS, "test_pressure_bar": Limit(7.5, "bar", Source("Some standard", Status.MEMORY))}
    (target,) = KINDS["pressure_test"].targets(replace(FACTS, limits=limits), "T1")[:1]
    assert "unconfirmed" in target.source


def test_quantities_never_reach_json() -> None:
    assert json.dumps([target.as_json() for kind in KINDS.values() for target in kind.targets(FACTS, "L1")])
    assert quantity(1, "bar").magnitude == 1
