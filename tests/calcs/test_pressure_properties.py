"""What must hold of every pressure test, whatever the readings; and the printed table of bled volumes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import _tightness as kernel
from calcs.errors import OutOfRange, WrongUnit
from calcs.pressure_methods import F2164, FixedDrop, TypeII
from calcs.pressure_test import PressureReading, Restraint, ShortTightness, allowable_volume, creep_curve
from calcs.units import quantity
from tests.calcs.test_pressure_tables import BACKFILLED, FAIL, FREE, GROUTED, SOUND, bar, minutes, short


# Section 1.5 of the pressure reference: bled volume in mL a metre printed for the contraction method, E 1200 N/mm2,
# let-down 2.0 bar SDR 17 and 3.2 bar SDR 11; bare elastic volume within 8 %.
@pytest.mark.parametrize(
    ("od", "wall", "let_down", "printed"),
    [
        (32, 2.0, 2.0, 1.38), (50, 3.0, 2.0, 3.64), (63, 3.8, 2.0, 5.78), (75, 4.5, 2.0, 8.30), (110, 6.6, 2.0, 18.02),
        (32, 3.0, 3.2, 1.28), (63, 5.8, 3.2, 4.95), (90, 8.2, 3.2, 10.35),
    ],
)  # fmt: skip
def test_bled_volume_of_the_printed_table(od: float, wall: float, let_down: float, printed: float) -> None:
    bore = od - 2 * wall
    bare = allowable_volume(
        volume=quantity(np.pi / 4 * (bore / 100) ** 2 * 10, "L"),
        let_down=bar(let_down),
        bore_to_wall=bore / wall,
        wall_modulus=quantity(1200, "MPa"),
        water_modulus=quantity(2092, "MPa"),
        factor=1.0,
    )
    assert printed / bare.m_as("mL") == pytest.approx(1.0, abs=0.083)


@pytest.mark.parametrize("reading", [
    PressureReading(quantity(np.array([0.0, 30.0, 60.0]), "min"), quantity(np.array([6.0, 5.8]), "bar")),
    PressureReading(quantity(np.array([0.0, 30.0, np.nan]), "min"), quantity(np.array([6.0, 5.8, 5.7]), "bar")),
    PressureReading(quantity(np.array([0.0, 30.0, 60.0]), "min"), quantity(np.array([6.0, np.inf, 5.7]), "bar")),
])  # fmt: skip
def test_readings_that_are_none_are_an_error(reading: PressureReading) -> None:
    with pytest.raises(OutOfRange):
        ShortTightness(FREE, bar(0.05)).judge(reading)
    with pytest.raises(OutOfRange):
        FixedDrop(FREE, bar(0.05), minutes(240)).judge(reading)


def test_times_as_pressures_are_refused() -> None:
    swapped = PressureReading(bar(1.0), minutes(1.0))
    for test in (ShortTightness(FREE, bar(0.05)), F2164(bar(0.05), minutes(300)), TypeII(FREE, minutes(5), bar(0.05))):
        with pytest.raises(WrongUnit):
            test.judge(swapped)


@given(psi=st.lists(st.floats(10.0, 150.0), min_size=3, max_size=6), restraint=st.sampled_from(list(Restraint)))
def test_the_unit_of_the_gauge_changes_no_verdict(psi: list[float], restraint: Restraint) -> None:
    at = np.linspace(0.0, 60.0, len(psi))
    american = PressureReading(quantity(at / 60, "hour"), quantity(np.array(psi), "psi"))
    metric = PressureReading(quantity(at, "min"), quantity(np.array(psi), "psi").to("kPa"))
    for test in (
        ShortTightness(restraint, quantity(0.5, "psi")),
        F2164(quantity(0.5, "psi"), minutes(300)),
        FixedDrop(restraint, quantity(0.2, "psi"), minutes(300)),
    ):
        assert test.judge(american).outcome is test.judge(metric).outcome


SHARES = {"free": (0.08, 0.10), "backfilled": (0.04, 0.05)}


@given(
    restraint=st.sampled_from([FREE, BACKFILLED]),
    place=st.floats(0.1, 0.9),
    start=st.floats(4.0, 9.0),
    hours=st.sampled_from([2.0, 4.0]),
)
def test_a_pipe_that_only_creeps_in_its_band_is_never_failed(
    restraint: Restraint, place: float, start: float, hours: float
) -> None:
    low, high = SHARES[restraint.value]
    at = [0.0, 15 * hours, 30 * hours, 45 * hours, 60 * hours]
    times, left = kernel.creep(low + place * (high - low), 10.0, 60.0, at[-1], 886.0 / (2092.0 * 9.0))
    seen = [round(start * kernel.line(times, left, minute) / 0.02) * 0.02 for minute in at[1:]]
    found = short((at, [start, *seen]), restraint, resolution=0.02)
    assert found.outcome is not FAIL, found.reason


@given(start=st.floats(2.0, 10.0), leak=st.floats(0.3, 1.0))
def test_a_steady_leak_is_never_passed(start: float, leak: float) -> None:
    """A fall of 30 % or more of the pressure in the hour is beyond creep in any pipe."""
    seen = [start * (1 - leak * minute / 61) for minute in SOUND[0]]
    for restraint in Restraint:
        assert short((SOUND[0], seen), restraint).outcome is FAIL


@pytest.mark.parametrize("restraint", [FREE, BACKFILLED, GROUTED])
def test_drawn_lines_keep_their_order(restraint: Restraint) -> None:
    drawn = creep_curve(start=bar(6), until=minutes(240), restraint=restraint, loading=minutes(10), hold=minutes(60))
    expected, leak = (line.m_as("bar") for line in (drawn.expected, drawn.leak_line))
    assert np.all(np.diff(expected) < 0)
    assert np.all(leak[1:] < expected[1:])
    assert (drawn.air_line is None) is (restraint is GROUTED)
    if drawn.air_line is not None:
        assert np.all(drawn.air_line.m_as("bar")[1:] > expected[1:])
