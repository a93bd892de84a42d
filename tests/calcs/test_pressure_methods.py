"""Type II, F2164 and fixed-drop verdicts against the simulated runs of the reference model."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.pressure_methods import F2164, FixedDrop, TypeII, closed_form
from calcs.pressure_test import PressureReading, Restraint
from calcs.units import quantity
from calcs.verdict import Cause, Outcome, Verdict

FREE, BACKFILLED, GROUTED, UNKNOWN = Restraint


def series(minutes: Sequence[float], bar: Sequence[float]) -> PressureReading:
    return PressureReading(quantity(np.array(minutes, dtype=float), "min"), quantity(np.array(bar, dtype=float), "bar"))


def type_ii(
    bar: Sequence[float], restraint: Restraint = FREE, minutes: Sequence[float] = (5, 35, 75), resolution: float = 0.01
) -> Verdict:
    return TypeII(restraint, quantity(5, "min"), quantity(resolution, "bar")).judge(series(minutes, bar))


@pytest.mark.parametrize(
    ("bar", "restraint", "n1", "n2", "outcome", "cause"),
    [
        ([6.60, 5.68, 5.32], FREE, 0.0902, 0.0893, Outcome.PASS, Cause.NONE),
        ([6.90, 6.402, 6.194], BACKFILLED, 0.0450, 0.0450, Outcome.PASS, Cause.NONE),
        ([6.53, 5.59, 5.22], FREE, 0.0933, 0.0934, Outcome.PASS, Cause.NONE),
        ([6.50, 5.42, 4.89], FREE, 0.109, 0.140, Outcome.FAIL, Cause.LEAK),
        ([6.41, 4.92, 3.97], FREE, 0.159, 0.293, Outcome.FAIL, Cause.LEAK),
        ([6.85, 6.02, 5.56], FREE, 0.078, 0.109, Outcome.FAIL, Cause.LEAK),
        ([7.06, 6.58, 6.38], BACKFILLED, 0.042, 0.042, Outcome.PASS, Cause.NONE),
        ([7.03, 6.41, 6.04], BACKFILLED, 0.056, 0.081, Outcome.FAIL, Cause.LEAK),
        ([6.52, 5.52, 5.08], FREE, 0.100, 0.113, Outcome.CANNOT_TELL, Cause.RESOLUTION),
        ([6.90, 6.402, 6.194], FREE, 0.0450, 0.0450, Outcome.FAIL, Cause.AIR),
        ([6.90, 6.402, 6.194], UNKNOWN, 0.0450, 0.0450, Outcome.CANNOT_TELL, Cause.RESTRAINT),
        ([6.90, 6.402, 6.194], GROUTED, 0.0450, 0.0450, Outcome.PASS, Cause.NONE),
    ],
)
def test_type_ii_runs(
    bar: list[float], restraint: Restraint, n1: float, n2: float, outcome: Outcome, cause: Cause
) -> None:
    # Section 2.3 of the pressure reference: closed form and simulated runs, t_L 5 min.
    found = type_ii(bar, restraint)
    assert [figure.value for figure in found.figures] == pytest.approx([n1, n2], abs=0.0012)
    assert (found.outcome, found.cause) == (outcome, cause), found.reason


def test_type_ii_conditions() -> None:
    warm = TypeII(FREE, quantity(5, "min"), quantity(0.01, "bar"), wall=quantity(31, "degC"))
    found = warm.judge(series([5, 35, 75], [6.60, 5.68, 5.32]))
    assert (found.outcome, found.to_method) == (Outcome.CANNOT_TELL, False)
    assert type_ii([6.6, 5.68, 5.5], minutes=(5, 35, 60)).cause is Cause.READINGS
    assert type_ii([6.6, 5.68, 5.32], minutes=(5, 75, 35)).cause is Cause.READINGS
    full = TypeII(FREE, quantity(5, "min"), quantity(0.01, "bar"), excess_volume=True)
    assert full.judge(series([5, 35, 75], [6.60, 5.68, 5.32])).cause is Cause.AIR


@pytest.mark.parametrize("slope", [0.08, 0.09, 0.10])
def test_closed_form_gives_back_its_slope(slope: float) -> None:
    seen = closed_form(start=quantity(6.6, "bar"), slope=slope, loading=quantity(5, "min"), times=(1, 7, 15, 30))
    found = TypeII(FREE, quantity(5, "min"), quantity(0.001, "bar")).judge(seen)
    assert [figure.value for figure in found.figures] == pytest.approx([slope, slope], rel=1e-9)
    assert found.outcome is Outcome.PASS


@given(
    st.floats(3, 12),
    st.floats(0.01, 0.25),
    st.floats(0.005, 0.2),
    st.sampled_from([0.01, 0.05, 0.1]),
    st.sampled_from(list(Restraint)),
)
def test_rounding_never_turns_a_type_ii(
    start: float, first: float, second: float, resolution: float, restraint: Restraint
) -> None:
    exact = [start, start * (1 - first), start * (1 - first) * (1 - second)]
    rounded = [round(value / resolution) * resolution for value in exact]
    outcomes = {type_ii(bar, restraint, resolution=resolution).outcome for bar in (exact, rounded)}
    assert not {Outcome.PASS, Outcome.FAIL} <= outcomes


def f2164(bar: Sequence[float], minutes: Sequence[float], hours: float = 5.0, resolution: float = 0.01) -> Verdict:
    return F2164(quantity(resolution, "bar"), quantity(hours, "hour")).judge(series(minutes, bar))


@pytest.mark.parametrize(
    ("bar", "outcome", "deviation"),
    [
        ([6.81, 6.96, 6.95, 6.94, 6.91, 6.88], Outcome.PASS, 2.2),
        ([6.81, 6.90, 6.84, 6.78, 6.68, 6.58], Outcome.PASS, 3.4),
        ([6.81, 6.72, 6.51, 6.31, 6.01, 5.73], Outcome.FAIL, 15.8),
    ],
)
def test_f2164_runs(bar: list[float], outcome: Outcome, deviation: float) -> None:
    # Section 3.3 of the pressure reference (simulated).
    found = f2164(bar, [0, 10, 20, 30, 45, 60])
    assert found.outcome is outcome
    assert found.figures[0].value == pytest.approx(deviation, abs=0.06)


@pytest.mark.parametrize(
    ("psi", "outcome"), [([140, 139, 138, 137, 137], Outcome.PASS), ([140, 138, 135, 132], Outcome.FAIL)]
)
def test_f2164_arithmetic(psi: list[float], outcome: Outcome) -> None:
    readings = PressureReading(
        quantity(np.linspace(0, 60, len(psi)), "min"), quantity(np.array(psi, dtype=float), "psi")
    )
    found = F2164(quantity(0.5, "psi"), quantity(5, "hour")).judge(readings)
    assert found.outcome is outcome


def test_f2164_conditions() -> None:
    long = f2164([6.81, 6.9, 6.88], [0, 30, 60], hours=8 + 10 / 60)
    assert (long.outcome, long.to_method) == (Outcome.CANNOT_TELL, False)
    assert "8 h" in long.way_out
    assert f2164([6.81, 6.9], [0, 30]).cause is Cause.DURATION
    assert f2164([6.81], [0]).cause is Cause.READINGS


@pytest.mark.parametrize(
    ("end", "restraint", "hours", "resolution", "outcome", "cause"),
    [
        (5.9, GROUTED, 0.5, 0.02, Outcome.PASS, Cause.NONE),
        (5.5, GROUTED, 0.5, 0.02, Outcome.FAIL, Cause.LEAK),
        (5.5, FREE, 0.5, 0.02, Outcome.CANNOT_TELL, Cause.DURATION),
        (5.5, UNKNOWN, 0.5, 0.02, Outcome.CANNOT_TELL, Cause.DURATION),
        (5.5, FREE, 4.0, 0.02, Outcome.FAIL, Cause.LEAK),
        (5.88, FREE, 4.0, 0.02, Outcome.PASS, Cause.NONE),
        (5.8, FREE, 4.0, 0.02, Outcome.CANNOT_TELL, Cause.RESOLUTION),
        (6.0, FREE, 4.0, 0.5, Outcome.CANNOT_TELL, Cause.RESOLUTION),
    ],
)
def test_fixed_drop(
    end: float, restraint: Restraint, hours: float, resolution: float, outcome: Outcome, cause: Cause
) -> None:
    test = FixedDrop(restraint, quantity(resolution, "bar"), conditioned=quantity(hours, "hour"))
    found = test.judge(series([0, 30, 60], [6.0, (6.0 + end) / 2, end]))
    assert (found.outcome, found.cause) == (outcome, cause)
