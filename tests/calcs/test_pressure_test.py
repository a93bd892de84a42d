"""Verdicts of pressure tests against runs of the visco-elastic reference model, and what no rounding may turn."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from calcs import _tightness as kernel
from calcs import pressure_test
from calcs._tightness_words import SAYINGS
from calcs.errors import OutOfRange
from calcs.pressure_test import En805A27, En805Run, PressureReading, Restraint, ShortTightness, TemperatureChange
from calcs.units import Quantity, quantity
from calcs.verdict import Cause, Outcome, Verdict

FREE, BACKFILLED, GROUTED, UNKNOWN = Restraint
WATER_SHARE = 0.048


def series(minutes: Sequence[float], bar: Sequence[float]) -> PressureReading:
    return PressureReading(quantity(np.array(minutes, dtype=float), "min"), quantity(np.array(bar, dtype=float), "bar"))


def bar(value: float) -> Quantity:
    return quantity(value, "bar")


@pytest.mark.parametrize(
    ("hold", "slope", "fall"),
    [
        (30, 0.045, 0.28),
        (30, 0.08, 0.50),
        (30, 0.10, 0.63),
        (60, 0.045, 0.18),
        (60, 0.08, 0.34),
        (60, 0.10, 0.43),
        (240, 0.08, 0.12),
        (240, 0.10, 0.16),
        (960, 0.10, 0.05),
    ],
)
def test_creep_after_a_hold(hold: float, slope: float, fall: float) -> None:
    # Section 3.3 of the pressure reference (simulated by other code): 6.0 bar, 60 min shut, bar.
    _, left = kernel.creep(slope, 5.0, hold, 60.0, WATER_SHARE)
    assert 6.0 * (1 - left[-1]) == pytest.approx(fall, abs=0.011)


@pytest.mark.parametrize(
    ("slope", "minutes", "pressure"),
    [(0.10, 5, 6.53), (0.10, 35, 5.59), (0.10, 75, 5.22), (0.045, 5, 7.06), (0.045, 35, 6.58), (0.045, 75, 6.38)],
)
def test_creep_without_a_hold(slope: float, minutes: float, pressure: float) -> None:
    # Section 2.3 of the pressure reference (other code, two decimals): 5 min to 7.5 bar, then shut.
    _, left = kernel.creep(slope, 5.0, 0.0, minutes, WATER_SHARE)
    assert 7.5 * left[-1] == pytest.approx(pressure, abs=0.011)


@given(st.floats(0.03, 0.13), st.floats(1, 20), st.floats(0, 300), st.floats(10, 1500))
def test_creep_always_falls_ever_more_slowly(slope: float, loading: float, hold: float, until: float) -> None:
    times, left = kernel.creep(slope, loading, hold, until, WATER_SHARE)
    falls = [early - late for early, late in pairwise(left)]
    rates = [fall / (late - early) for fall, (early, late) in zip(falls, pairwise(times), strict=True)]
    assert all(fall > 0 for fall in falls)
    assert all(late < early * (1 + 1e-3) for early, late in pairwise(rates))
    assert times[-1] == pytest.approx(until)


def short(
    falls_to: Sequence[float],
    restraint: Restraint = FREE,
    resolution: float = 0.05,
    step: float = 10.0,
    hold: float = 60.0,
) -> Verdict:
    test = ShortTightness(restraint, resolution=quantity(resolution, "bar"), hold=quantity(hold, "min"))
    return test.judge(series([step * index for index in range(len(falls_to))], falls_to))


def creeping(
    slope: float, hours: float = 1.0, resolution: float = 0.05, leak: float = 0.0, start: float = 6.0
) -> list[float]:
    """A pipe that creeps by the reference model, with a leak in bar per hour, read every 10 min to the gauge's step."""
    until = 60.0 * hours
    times, left = kernel.creep(slope, 10.0, 60.0, until, WATER_SHARE)
    read = [10.0 * index for index in range(int(until / 10.0) + 1)]
    seen = [start * kernel.line(times, left, minute) - leak * minute / 60.0 for minute in read]
    return [round(round(value / resolution) * resolution, 6) for value in seen]


@pytest.mark.parametrize("slope", [0.08, 0.09, 0.10])
@pytest.mark.parametrize(("resolution", "hours"), [(0.01, 1), (0.05, 1), (0.1, 4)])
def test_sound_free_pipe_passes_with_an_ordinary_gauge(slope: float, resolution: float, hours: float) -> None:
    found = short(creeping(slope, hours, resolution), resolution=resolution)
    assert found.outcome is Outcome.PASS, found.reason


@pytest.mark.parametrize(("resolution", "hours"), [(0.01, 1), (0.05, 2), (0.1, 4)])
def test_sound_backfilled_pipe_passes_with_an_ordinary_gauge(resolution: float, hours: float) -> None:
    found = short(creeping(0.045, hours, resolution), BACKFILLED, resolution=resolution)
    assert found.outcome is Outcome.PASS, found.reason


def test_leak_in_free_pipe_fails() -> None:
    # Section 3.3: n 0.10 with a leak of 0.05 L/h in 167 L falls 0.73 bar in the hour, 0.43 without.
    found = short(creeping(0.10, leak=0.30))
    assert (found.outcome, found.cause) == (Outcome.FAIL, Cause.LEAK)


def test_leak_in_stiff_pipe_shows_late() -> None:
    # The whole fall stays inside what free pipe may creep; the second half gives it away.
    seen = creeping(0.07, hours=4, resolution=0.01, leak=0.08)
    found = short(seen, resolution=0.01)
    whole, late = found.figures[0], found.figures[1]
    assert (found.outcome, found.cause) == (Outcome.FAIL, Cause.LEAK)
    assert late.limit is not None
    assert whole.limit is not None
    assert late.value / late.limit > whole.value / whole.limit


def test_same_fall_means_different_things() -> None:
    seen = creeping(0.09, resolution=0.01)
    outcomes = [short(seen, restraint, resolution=0.01).outcome for restraint in (FREE, BACKFILLED, GROUTED)]
    assert outcomes == [Outcome.PASS, Outcome.FAIL, Outcome.FAIL]
    unknown = short(seen, UNKNOWN, resolution=0.01)
    assert (unknown.outcome, unknown.cause) == (Outcome.CANNOT_TELL, Cause.RESTRAINT)


def test_gross_leak_fails_whatever_holds_the_pipe() -> None:
    assert short(creeping(0.09, leak=1.0), UNKNOWN).cause is Cause.LEAK


def test_a_pass_of_stiff_pipe_is_not_given_to_free_pipe() -> None:
    found = short(creeping(0.045, resolution=0.01), FREE, resolution=0.01)
    assert (found.outcome, found.cause) == (Outcome.FAIL, Cause.AIR)
    assert short(creeping(0.03, resolution=0.01), GROUTED, resolution=0.01).outcome is Outcome.PASS


def test_overnight_reading_decides_for_a_coarse_gauge() -> None:
    times, left = kernel.creep(0.09, 10.0, 60.0, 960.0, WATER_SHARE)
    minutes = [0.0, 60.0, 120.0, 960.0]
    seen = [round(60 * kernel.line(times, left, minute)) / 10 for minute in minutes]
    test = ShortTightness(FREE, resolution=quantity(0.1, "bar"))
    assert test.judge(series(minutes, seen)).outcome is Outcome.PASS


@pytest.mark.parametrize(
    ("minutes", "seen", "cause"),
    [
        ([0, 60], [6.0, 5.6], Cause.READINGS),
        ([10, 30, 70], [6.0, 5.8, 5.6], Cause.READINGS),
        ([0, 40, 30, 60], [6.0, 5.8, 5.7, 5.6], Cause.READINGS),
        ([0, 30, 60], [6.0, 6.0, 6.0], Cause.READINGS),
        ([0, 30, 60], [6.0, 3.0, 0.0], Cause.READINGS),
        ([0, 30, 60], [6.0, 5.7, 5.9], Cause.TEMPERATURE),
        ([0, 20, 40], [6.0, 5.8, 5.7], Cause.DURATION),
    ],
)
def test_what_cannot_be_judged_names_the_way_out(minutes: list[float], seen: list[float], cause: Cause) -> None:
    found = ShortTightness(FREE, resolution=quantity(0.05, "bar")).judge(series(minutes, seen))
    assert (found.outcome, found.cause) == (Outcome.CANNOT_TELL, cause)
    assert found.way_out


def test_conditions_of_the_short_check() -> None:
    brief = short(creeping(0.09), hold=20.0)
    assert (brief.outcome, brief.cause, brief.to_method) == (Outcome.CANNOT_TELL, Cause.CONDITIONS, False)
    coarse = short([6.0, 6.0, 6.0, 5.5, 5.5, 5.5, 5.5], resolution=0.5)
    assert (coarse.outcome, coarse.cause) == (Outcome.CANNOT_TELL, Cause.RESOLUTION)


def test_doubt_names_the_hour_from_which_this_gauge_decides() -> None:
    coarse = short(creeping(0.045, resolution=0.1), BACKFILLED, resolution=0.1)
    assert coarse.outcome is Outcome.CANNOT_TELL
    hours = int(coarse.way_out.split("read again ")[1].split(" h")[0])
    later = short(creeping(0.045, hours, resolution=0.1), BACKFILLED, resolution=0.1)
    assert later.outcome is Outcome.PASS
    brief = short([6.0, 5.9, 5.8, 5.75], FREE)
    assert "1 h after shutting" in brief.way_out
    hopeless = short([6.0, 6.0, 6.0, 5.0, 5.0, 5.0, 5.0], BACKFILLED, resolution=1.0)
    assert hopeless.way_out == "Use a gauge with finer steps and test again."


def test_temperature_share_of_a_third_of_the_limit() -> None:
    # 0.262 bar/K: 1.5 K on half the pipe is 0.20 bar, more than a third of about 0.5 bar; 0.5 K is not.
    test = ShortTightness(FREE, resolution=quantity(0.05, "bar"))
    readings = series([10.0 * index for index in range(7)], creeping(0.09))
    warm = TemperatureChange(quantity(1.5, "delta_degC"), exposed=0.5)
    found = test.judge(readings, temperature=warm)
    assert (found.outcome, found.cause) == (Outcome.CANNOT_TELL, Cause.TEMPERATURE)
    mild = TemperatureChange(quantity(0.5, "delta_degC"), exposed=0.5)
    assert test.judge(readings, temperature=mild).outcome is Outcome.PASS


def test_a_seen_leak_fails() -> None:
    readings = series([0, 30, 60], [6.0, 5.8, 5.65])
    found = ShortTightness(FREE, resolution=quantity(0.05, "bar")).judge(readings, leak_seen=True)
    assert (found.outcome, found.cause) == (Outcome.FAIL, Cause.LEAK)


@given(
    st.floats(3, 12),
    st.lists(st.floats(0.0, 0.35), min_size=3, max_size=9),
    st.sampled_from([0.01, 0.05, 0.1]),
    st.sampled_from(list(Restraint)),
)
def test_rounding_never_turns_a_short_check(
    start: float, falls: list[float], resolution: float, restraint: Restraint
) -> None:
    exact = [start, *(start - float(total) for total in np.cumsum(falls))]
    assume(min(exact) > 1.0)
    rounded = [round(value / resolution) * resolution for value in exact]
    step = 10.0 if len(exact) > 6 else 25.0
    pair = {short(seen, restraint, resolution, step).outcome for seen in (exact, rounded)}
    assert not {Outcome.PASS, Outcome.FAIL} <= pair


@given(
    st.floats(3, 12),
    st.floats(0.02, 0.14),
    st.floats(0.0, 0.2),
    st.sampled_from([0.01, 0.05, 0.1]),
    st.sampled_from(list(Restraint)),
)
def test_rounding_never_turns_a_creeping_pipe(
    start: float, slope: float, leak: float, resolution: float, restraint: Restraint
) -> None:
    pair = {
        short(creeping(slope, 1.0, step, leak, start), restraint, resolution).outcome for step in (1e-6, resolution)
    }
    assert not {Outcome.PASS, Outcome.FAIL} <= pair


# The whole A.27 run: section 1.6 of the pressure reference (simulated by other code), 166.9 L, 7.5 bar, let-down 1 bar.
MAIN_MINUTES = [0, 2, 5, 10, 15, 20, 25, 30, 60, 90]
RUNS = {
    "tight": (6.74, 114, [5.74, 5.85, 5.89, 5.90, 5.90, 5.89, 5.87, 5.86, 5.77, 5.68]),
    "leak 0.05": (6.44, 115, [5.44, 5.54, 5.57, 5.56, 5.54, 5.51, 5.47, 5.44, 5.24, 5.05]),
    "leak 0.2": (5.59, 116, [4.59, 4.66, 4.66, 4.60, 4.52, 4.44, 4.36, 4.28, 3.81, 3.37]),
    "air": (6.98, 204, [5.98, 6.04, 6.06, 6.07, 6.06, 6.06, 6.05, 6.04, 5.98, 5.93]),
    "air and leak": (6.58, 216, [5.58, 5.63, 5.63, 5.62, 5.59, 5.56, 5.53, 5.50, 5.31, 5.13]),
    "restrained": (7.17, 144, [6.17, 6.22, 6.24, 6.25, 6.25, 6.24, 6.24, 6.23, 6.19, 6.15]),
}


def a27(
    name: str, method: str = "en805_a27_2000", restraint: Restraint = FREE, until: int = 10, resolution: float = 0.01
) -> Verdict:
    rest, bled, main = RUNS[name]
    test = En805A27(
        test_pressure=quantity(7.5, "bar"),
        volume=quantity(166.94, "L"),
        bore_to_wall=32.6 / 3.7,
        restraint=restraint,
        resolution=quantity(resolution, "bar"),
        method=method,
    )
    run = En805Run(
        rest=series([0, 60], [7.5, rest]), main=series(MAIN_MINUTES[:until], main[:until]), bled=quantity(bled, "mL")
    )
    return test.judge(run)


@pytest.mark.parametrize(
    ("name", "method", "restraint", "outcome", "cause"),
    [
        ("tight", "en805_a27_2000", FREE, Outcome.PASS, Cause.NONE),
        ("tight", "w400_2_2022", FREE, Outcome.PASS, Cause.NONE),
        ("leak 0.05", "en805_a27_2000", FREE, Outcome.FAIL, Cause.LEAK),
        ("leak 0.2", "en805_a27_2000", FREE, Outcome.FAIL, Cause.LEAK),
        ("leak 0.2", "w400_2_2022", FREE, Outcome.FAIL, Cause.LEAK),
        ("air", "en805_a27_2000", FREE, Outcome.CANNOT_TELL, Cause.AIR),
        ("air", "w400_2_2022", FREE, Outcome.FAIL, Cause.AIR),
        ("air and leak", "en805_a27_2000", FREE, Outcome.FAIL, Cause.AIR),
        ("restrained", "en805_a27_2000", BACKFILLED, Outcome.PASS, Cause.NONE),
        ("restrained", "w400_2_2022", BACKFILLED, Outcome.PASS, Cause.NONE),
        ("restrained", "w400_2_2022", FREE, Outcome.FAIL, Cause.AIR),
        ("restrained", "w400_2_2022", UNKNOWN, Outcome.CANNOT_TELL, Cause.RESTRAINT),
    ],
)
def test_a27_runs(name: str, method: str, restraint: Restraint, outcome: Outcome, cause: Cause) -> None:
    found = a27(name, method, restraint)
    assert (found.outcome, found.cause) == (outcome, cause), found.reason


def test_a27_needs_the_extension_for_free_pipe() -> None:
    found = a27("tight", until=8)
    assert (found.outcome, found.cause) == (Outcome.CANNOT_TELL, Cause.DURATION)
    assert a27("restrained", restraint=BACKFILLED, until=8).outcome is Outcome.PASS


def test_a27_prints_its_edition() -> None:
    assert "EN 805:2000" in a27("tight").source.text
    limits = pressure_test.method_limits("en805_a27_2000")
    assert all(not row.source.text.startswith("EN 805 ") for row in limits.values())
    assert "not a requirement" in limits["volume_factor"].source.label


def a27_with(**changes: object) -> Verdict:
    rest, bled, main = RUNS["tight"]
    usual: dict[str, Any] = {
        "rest": series([0, 60], [7.5, rest]),
        "main": series(MAIN_MINUTES, main),
        "bled": quantity(bled, "mL"),
    }
    test = En805A27(quantity(7.5, "bar"), quantity(166.94, "L"), 32.6 / 3.7, FREE, quantity(0.01, "bar"))
    return test.judge(En805Run(**(usual | changes)))


@pytest.mark.parametrize(
    ("changes", "outcome", "cause"),
    [
        ({"bled": None}, Outcome.CANNOT_TELL, Cause.READINGS),
        ({"rest": series([], [])}, Outcome.CANNOT_TELL, Cause.READINGS),
        ({"rest": series([0, 30], [7.5, 7.0])}, Outcome.CANNOT_TELL, Cause.READINGS),
        ({"rest": series([0, 60, 50], [7.5, 7.0, 6.74])}, Outcome.CANNOT_TELL, Cause.READINGS),
        ({"rest": series([0, 60], [7.0, 6.74])}, Outcome.CANNOT_TELL, Cause.CONDITIONS),
        ({"main": series([], [])}, Outcome.CANNOT_TELL, Cause.READINGS),
        ({"main": series([0, 30, 90], [6.6, 6.6, 6.6])}, Outcome.CANNOT_TELL, Cause.CONDITIONS),
        ({"relax": quantity(30, "min")}, Outcome.CANNOT_TELL, Cause.CONDITIONS),
        ({"raised": quantity(20, "min")}, Outcome.CANNOT_TELL, Cause.CONDITIONS),
        ({"held": quantity(29, "min")}, Outcome.CANNOT_TELL, Cause.CONDITIONS),
        ({"temperature": TemperatureChange(quantity(4, "delta_degC"), 0.1)}, Outcome.CANNOT_TELL, Cause.TEMPERATURE),
        ({"temperature": TemperatureChange(quantity(2, "delta_degC"), 0.1)}, Outcome.PASS, Cause.NONE),
        ({"bled": quantity(155, "mL"), "bled_u": quantity(5, "mL")}, Outcome.CANNOT_TELL, Cause.RESOLUTION),
        ({"rest": series([0, 30], [7.5, 5.0]), "main": series([], [])}, Outcome.FAIL, Cause.LEAK),
        (
            {"rest": series([0, 60], [7.5, 5.25]), "main": series([0, 30, 90], [4.25, 4.3, 4.2])},
            Outcome.CANNOT_TELL,
            Cause.RESOLUTION,
        ),
    ],
)
def test_a27_order_of_checks(changes: dict[str, Any], outcome: Outcome, cause: Cause) -> None:
    found = a27_with(**changes)
    assert (found.outcome, found.cause) == (outcome, cause), found.reason


def test_large_loop_fails_by_volume_alone() -> None:
    # From 0.5 L of allowable volume on the bled volume decides alone.
    test = En805A27(quantity(7.5, "bar"), quantity(2000, "L"), 32.6 / 3.7, FREE, quantity(0.01, "bar"))
    main = series(MAIN_MINUTES, RUNS["air"][2])
    run = En805Run(rest=series([0, 60], [7.5, 6.98]), main=main, bled=quantity(2.5, "L"))
    assert test.judge(run).cause is Cause.AIR
    assert test.judge(run).outcome is Outcome.FAIL


@given(
    st.floats(4, 7.5),
    st.lists(st.floats(-0.12, 0.12), min_size=9, max_size=9),
    st.sampled_from([0.01, 0.05, 0.1]),
    st.sampled_from(["en805_a27_2000", "w400_2_2022"]),
    st.booleans(),
)
def test_rounding_never_turns_a_long_run(
    rest: float, steps: list[float], resolution: float, method: str, extended: bool
) -> None:
    rules = {key: row.value for key, row in pressure_test.method_limits(method).items()}
    main = [rest - 1.0, *(rest - 1.0 - float(total) for total in np.cumsum(steps))]
    count = 10 if extended else 8

    def code(step: float | None) -> Outcome:
        def read(values: list[float]) -> list[float]:
            return values if step is None else [round(value / step) * step for value in values]

        run = kernel.Sequence27(
            test_pressure=7.5,
            rest_minutes=[0.0, 60.0],
            rest_bar=read([7.5, rest]),
            bled=0.114,
            allowable=0.157,
            main_minutes=[float(minute) for minute in MAIN_MINUTES[:count]],
            main_bar=read(main[:count]),
            resolution=resolution,
            volume_u=0.0,
            restraint="free",
            temperature_bar=0.0,
        )
        return SAYINGS[kernel.a27(run, rules)].outcome

    assert not {Outcome.PASS, Outcome.FAIL} <= {code(None), code(resolution)}


def test_every_cannot_tell_names_its_way_out() -> None:
    for code, saying in SAYINGS.items():
        assert bool(saying.way_out) is (saying.outcome is Outcome.CANNOT_TELL), code


def test_creep_curve_for_drawing() -> None:
    curve = pressure_test.creep_curve(
        start=quantity(6, "bar"),
        until=quantity(60, "min"),
        restraint=FREE,
        loading=quantity(5, "min"),
        hold=quantity(60, "min"),
    )
    assert curve.air_line is not None
    ends = [line.to("bar").magnitude[-1] for line in (curve.air_line, curve.expected, curve.leak_line)]
    assert ends == sorted(ends, reverse=True)
    assert ends[1] == pytest.approx(6 - (0.34 + 0.43) / 2, abs=0.012)
    with pytest.raises(OutOfRange, match="restraint"):
        pressure_test.creep_curve(
            start=quantity(6, "bar"),
            until=quantity(60, "min"),
            restraint=UNKNOWN,
            loading=quantity(5, "min"),
            hold=quantity(60, "min"),
        )
