"""Changeover from clear to coloured: expected times against the published correlations, and the diagnosis."""

from __future__ import annotations

from math import pi
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import erfcinv

from calcs import changeover
from calcs.changeover import Mixing, Suspect
from calcs.errors import OutOfRange
from calcs.units import quantity
from calcs.verdict import Cause, Outcome


def expect(nu: float = 1.306, length: float = 200.0, bore: float = 32.6, speed: float = 0.6) -> changeover.Changeover:
    flow = speed * pi / 4 * (bore / 1000) ** 2
    return changeover.expected(
        length=quantity(length, "m"),
        bore=quantity(bore, "mm"),
        flow=quantity(flow, "m^3/s"),
        density=quantity(1000, "kg/m^3"),
        viscosity=quantity(nu, "mm^2/s"),
    )


@pytest.mark.parametrize(
    ("length", "bore", "taylor", "hart", "palfrey"),
    [(200, 32.6, 9.2, 11.3, 12.1), (400, 32.6, 13.1, 16.0, 17.2), (200, 26.0, 8.4, 10.5, 12.8)],
)
def test_mixed_length_by_three_correlations(
    length: float, bore: float, taylor: float, hart: float, palfrey: float
) -> None:
    # Section 5.2 of the pressure and purge reference: water at 10 degC, 0.6 m/s.
    re = 0.6 * bore / 1000 / 1.306e-6
    pipe: dict[str, Any] = {"bore": quantity(bore, "mm"), "velocity": quantity(0.6, "m/s")}
    run: dict[str, Any] = {"length": quantity(length, "m"), "velocity": quantity(0.6, "m/s")}
    by_taylor = changeover.mixed_length(dispersion=changeover.taylor_dispersion(**pipe, reynolds=re), **run)
    by_hart = changeover.mixed_length(dispersion=changeover.dispersion(**pipe, reynolds=re), **run)
    by_palfrey = changeover.austin_palfrey(bore=quantity(bore, "mm"), length=quantity(length, "m"), reynolds=re)
    found = [by_taylor.magnitude, by_hart.magnitude, by_palfrey.magnitude]
    assert found == pytest.approx([taylor, hart, palfrey], rel=0.01)


def test_interface_mixture_by_three_correlations() -> None:
    # id.: 50:50 interface, nu 2.2e-6, Re 8 890: 10.6 L by Hart, 19.4 m by Austin and Palfrey.
    seen = expect(nu=2.2)
    assert seen.mixed_volume.to("L").magnitude == pytest.approx(10.6, abs=0.1)
    palfrey = changeover.austin_palfrey(bore=quantity(32.6, "mm"), length=quantity(200, "m"), reynolds=seen.reynolds)
    assert palfrey.magnitude == pytest.approx(19.4, abs=0.1)


def test_austin_palfrey_is_continuous_at_its_critical_number() -> None:
    for bore in (26.0, 32.6, 73.6):
        pipe = {"bore": quantity(bore, "mm"), "length": quantity(100, "m")}
        critical = changeover.critical_reynolds(bore=pipe["bore"])
        below, above = (
            changeover.austin_palfrey(**pipe, reynolds=critical * part).magnitude for part in (0.999, 1.001)
        )
        assert below == pytest.approx(above, rel=0.02)


@pytest.mark.parametrize("fraction", [0.01, 0.05, 0.10, 0.3])
def test_spread_factor_is_the_error_function(fraction: float) -> None:
    assert changeover.spread_factor(fraction) == pytest.approx(4 * erfcinv(2 * fraction), rel=1e-12)


@pytest.mark.parametrize(("share", "turnovers"), [(0.9, 1.58), (0.95, 2.24), (0.99, 5.0), (0.0, 0.5)])
def test_laminar_turnovers(share: float, turnovers: float) -> None:
    assert changeover.laminar_turnovers(share) == pytest.approx(turnovers, abs=0.005)


def test_times_of_a_job() -> None:
    # job reference P15: 32 mm, 300 m = 162 L (26.2 mm bore) at 20 L/min -> 8.1 min.
    seen = changeover.expected(
        length=quantity(300, "m"),
        bore=quantity(26.2, "mm"),
        flow=quantity(20, "L/min"),
        density=quantity(1000, "kg/m^3"),
        viscosity=quantity(1.306, "mm^2/s"),
    )
    assert seen.loop_volume.to("L").magnitude == pytest.approx(162, abs=0.5)
    assert seen.transit_time.to("min").magnitude == pytest.approx(8.1, abs=0.02)


@given(st.floats(0.5, 20), st.floats(20, 800), st.sampled_from([20.4, 26.0, 32.6, 73.6]), st.floats(0.1, 1.5))
def test_order_of_times(nu: float, length: float, bore: float, speed: float) -> None:
    seen = expect(nu, length, bore, speed)
    first, transit, full = (t.to("s").magnitude for t in (seen.first_colour, seen.transit_time, seen.full_colour))
    assert 0 <= first < transit < full
    assert seen.transit_time.to("s").magnitude == pytest.approx(length / speed)
    assert seen.mixed_volume.magnitude > 0


@pytest.mark.parametrize(("nu", "mixing"), [(1.306, Mixing.WEAK), (0.9, Mixing.TURBULENT), (8.0, Mixing.CONVECTION)])
def test_regimes(nu: float, mixing: Mixing) -> None:
    seen = expect(nu)
    assert seen.mixing is mixing
    assert seen.is_sharp is (mixing is not Mixing.CONVECTION)


def test_laminar_colour_comes_from_half_a_volume_on() -> None:
    seen = expect(8.0)
    transit = seen.transit_time.magnitude
    assert seen.first_colour.magnitude == pytest.approx(0.5025 * transit, rel=1e-3)
    assert seen.full_colour.magnitude == pytest.approx(5.0 * transit, rel=1e-9)


def test_effective_length_comes_back() -> None:
    seen = expect()
    flow = quantity(0.6 * pi / 4 * 0.0326**2, "m^3/s")
    found = changeover.effective_length(observed=seen.transit_time, flow=flow, bore=quantity(32.6, "mm"))
    assert found.to("m").magnitude == pytest.approx(200.0)


SEEN = expect()
TRANSIT = SEEN.transit_time.magnitude


@pytest.mark.parametrize(
    ("first", "full", "clear", "outcome", "words"),
    [
        (325, 345, None, Outcome.PASS, "when it should"),
        (330, None, None, Outcome.PASS, "when it should"),
        (5, 15, None, Outcome.FAIL, "already filled"),
        (200, 215, None, Outcome.FAIL, "Too fast"),
        (450, 470, None, Outcome.FAIL, "Too slow"),
        (260, 400, None, Outcome.WARN, "slowly"),
        (None, None, 520, Outcome.FAIL, "Still clear"),
        (None, None, 200, Outcome.CANNOT_TELL, "none is due"),
        (None, None, None, Outcome.CANNOT_TELL, "No colour time"),
        (345, 325, None, Outcome.CANNOT_TELL, "before first"),
    ],
)
def test_diagnosis(first: float | None, full: float | None, clear: float | None, outcome: Outcome, words: str) -> None:
    times = [None if value is None else quantity(value, "s") for value in (first, full, clear)]
    found = changeover.diagnose(
        expected=SEEN, observed_first=times[0], observed_full=times[1], still_clear_after=times[2]
    )
    assert found.outcome is outcome
    assert words in found.reason
    assert found.way_out or outcome is Outcome.PASS
    assert (found.cause is Cause.NONE) is (outcome is Outcome.PASS)


def test_laminar_full_colour_is_not_held_against_a_loop() -> None:
    laminar = expect(8.0)
    transit = laminar.transit_time.magnitude
    for first, full in ((0.6, 1.5), (0.9, 3.0)):
        found = changeover.diagnose(
            expected=laminar,
            observed_first=quantity(first * transit, "s"),
            observed_full=quantity(full * transit, "s"),
        )
        assert found.outcome is Outcome.PASS
    early = changeover.diagnose(expected=laminar, observed_first=quantity(0.3 * transit, "s"))
    assert "Too fast" in early.reason


def test_a_rule_set_may_narrow_the_band() -> None:
    times: dict[str, Any] = {
        "observed_first": quantity(0.85 * TRANSIT - 5, "s"),
        "observed_full": quantity(0.85 * TRANSIT + 5, "s"),
    }
    assert changeover.diagnose(expected=SEEN, **times).outcome is Outcome.PASS
    assert changeover.diagnose(expected=SEEN, band=0.10, **times).outcome is Outcome.FAIL


def test_out_of_range_is_named() -> None:
    with pytest.raises(OutOfRange, match="flow"):
        expect(speed=0.0)
    with pytest.raises(OutOfRange, match="Reynolds"):
        changeover.dispersion(bore=quantity(32.6, "mm"), velocity=quantity(0.1, "m/s"), reynolds=2000.0)


LITRES = SEEN.loop_volume.to("L").magnitude


@pytest.mark.parametrize(
    ("first", "full", "clear", "others", "suspect", "names"),
    [
        (5, 15, None, {}, Suspect.FILLED, ()),
        (None, None, 520, {}, Suspect.KINK, ()),
        (260, 400, None, {}, Suspect.SECOND_VALVE, ()),
        (200, 215, None, {}, Suspect.SHORTER, ()),
        (450, 470, None, {}, Suspect.SECOND_VALVE, ()),
        (200, 215, None, {"L2": 0.62, "L3": 0.95}, Suspect.CROSSED, ("L2",)),
        (450, 470, None, {"L2": 0.62, "L3": 1.4}, Suspect.CROSSED, ("L3",)),
        (640, 670, None, {"L2": 0.62, "L3": 0.98}, Suspect.SECOND_VALVE, ("L3",)),
        (640, 670, None, {"L2": 3.0}, Suspect.SECOND_VALVE, ()),
    ],
)
def test_suspects_are_named(
    first: float | None,
    full: float | None,
    clear: float | None,
    others: dict[str, float],
    suspect: Suspect,
    names: tuple[str, ...],
) -> None:
    """Shares of this loop's volume stand for the other loops; times are against a transit of 333 s."""
    times = [None if value is None else quantity(value, "s") for value in (first, full, clear)]
    found = changeover.suspects(
        expected=SEEN,
        observed_first=times[0],
        observed_full=times[1],
        still_clear_after=times[2],
        others={name: quantity(share * LITRES, "L") for name, share in others.items()},
    )
    assert (found[0].suspect, found[0].loops) == (suspect, names)
    assert all(each.sentence.endswith(".") for each in found)
    assert all(name in found[0].sentence for name in names)


def test_every_fault_of_the_diagnosis_has_its_suspects() -> None:
    faults = {"at once", "too fast", "too slow", "no colour", "blurred"}
    assert set(changeover._USUAL) == faults < set(changeover.SAYINGS)
    named = {suspect for usual in changeover._USUAL.values() for suspect, _ in usual}
    assert named == set(Suspect)


def test_a_good_time_suspects_nobody_unless_another_hose_colours() -> None:
    times: dict[str, Any] = {"observed_first": quantity(325, "s"), "observed_full": quantity(345, "s")}
    assert changeover.suspects(expected=SEEN, others={"L2": quantity(LITRES, "L")}, **times) == ()
    assert changeover.suspects(expected=SEEN) == ()
    (found,) = changeover.suspects(expected=SEEN, coloured_too=["L4"], **times)
    assert (found.suspect, found.loops) == (Suspect.SECOND_VALVE, ("L4",))
    with pytest.raises(OutOfRange, match="volume of L2"):
        changeover.suspects(expected=SEEN, observed_first=quantity(200, "s"), others={"L2": quantity(0, "L")})
