"""What is told when an instrument is picked, against what the judges then do with its readings."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from calcs.verdict import Outcome, Verdict
from jobs.visits.judging import verdicts_of
from jobs.visits.kinds import Fluid, Instrument
from jobs.visits.kinds.suits import row_at, suits
from tests.build_entries import n
from tests.visits.facts import BRIX, FACTS, METER, PAIR, logged

DIAL = Instrument("d", "gauge", "Dial", "bar", 0.1, 0.16, 16.0)
COARSE = Instrument("c", "gauge", "Old dial", "bar", 2.0, None, 16.0)
PASS, WARN, FAIL, CANNOT = Outcome.PASS, Outcome.WARN, Outcome.FAIL, Outcome.CANNOT_TELL


def told(kind: str, tool: Instrument, key: str = "", bar: float | None = None, **changes: Any) -> Verdict:
    found = suits(replace(FACTS, **changes), kind, tool)
    assert found is not None
    at = found.usual if bar is None else bar
    assert at is not None
    return row_at(found.rows[key], at)[1]


def test_an_ordinary_gauge_suits_an_ordinary_test() -> None:
    """The demonstration firm's dial: 16 bar in steps of 0.1, free pipe at 6 bar."""
    for kind in ("pressure_test", "pressure_reading", "pressure_end"):
        assert told(kind, DIAL).outcome is PASS
    assert "4 h shut" in told("pressure_test", DIAL, "short_tightness/free", 6.0).reason
    assert "let down by 2" in told("pressure_test", DIAL, "en805_a27_2000/free", 6.0).reason


@pytest.mark.parametrize(
    ("tool", "key", "bar", "outcome", "way_out"),
    [
        (COARSE, "short_tightness/free", 6.0, FAIL, "0.1 bar or finer"),
        (COARSE, "en805_a27_2000/backfilled", 6.0, FAIL, "0.1 bar or finer"),
        (DIAL, "short_tightness/backfilled", 6.0, WARN, "0.05 bar or finer"),
        (DIAL, "short_tightness/free", 12.5, WARN, "longer scale"),
        (DIAL, "en805_a27_2000/free", 3.5, WARN, "shorter scale"),
        (DIAL, "short_tightness/free", 16.1, FAIL, "longer scale"),
        (DIAL, "short_tightness/unknown", 6.0, CANNOT, "how the pipe"),
        (replace(DIAL, resolution=None), "", 6.0, CANNOT, "office"),
    ],
)
def test_whatever_does_not_suit_names_the_way_out(
    tool: Instrument, key: str, bar: float, outcome: Outcome, way_out: str
) -> None:
    found = told("pressure_test", tool, key, bar)
    assert found.outcome is outcome
    assert way_out in found.way_out


def test_a_gauge_in_psi_is_read_in_its_own_unit() -> None:
    psi = Instrument("p", "gauge", "Dial", "psi", 1.0, None, 160.0)  # 0.069 bar, 11.0 bar
    assert told("pressure_test", psi, "short_tightness/free", 6.89).outcome is PASS
    assert told("pressure_test", psi, "short_tightness/free", 11.1).outcome is FAIL


def test_the_method_of_the_rule_set_counts_until_one_is_chosen() -> None:
    for method, words in (("short_tightness", "h shut"), ("en805_a27_2000", "let down by")):
        found = suits(FACTS, "pressure_test", DIAL, method=method)
        assert found is not None
        assert words in row_at(found.rows[""], 6.0)[1].reason
        assert found.rows[""] == found.rows[f"{method}/"] == found.rows[f"{method}/free"]
        assert found.rows["/unknown"] == found.rows[f"{method}/unknown"]


def test_a_fall_that_must_show_is_measured_by_the_steps() -> None:
    # 0.3 bar of the watch pressure: three times 0.408 of 0.2 bar is 0.245, of 0.5 bar 0.61.
    assert told("watch_reading", replace(DIAL, resolution=0.2)).outcome is PASS
    assert told("watch_reading", replace(DIAL, resolution=0.5)).outcome is CANNOT
    assert told("watch_reading", DIAL, bar=17.0).outcome is FAIL
    assert told("follow_up", replace(DIAL, resolution=0.5)).outcome is CANNOT


def test_the_scale_counts_where_a_pressure_is_only_read() -> None:
    static = {"static_height_m": 5.0}  # 0.49 bar and 0.5 bar over it
    assert told("static_pressure", DIAL, design=static).way_out == "Use a gauge with a shorter scale."
    assert told("static_pressure", replace(DIAL, range_high=2.5), design=static).outcome is PASS
    found = suits(FACTS, "residual_air", DIAL)
    assert found is not None
    assert found.usual is None  # nothing is said before the pressure is known


@pytest.mark.parametrize("base", ["ethanol", "ethylene_glycol"])
def test_the_scale_of_another_fluid_is_told_at_once(base: str) -> None:
    """And the judge of the reading then says the same."""
    fluid = Fluid(base, 100.0, None, -15.0)
    made_for = replace(BRIX, scale="freezing_point", scale_base="propylene_glycol")
    found = told("strength_reading", made_for, fluid=fluid)
    assert found.outcome is FAIL
    assert found.way_out
    assert told("strength_reading", BRIX, "brix", fluid=fluid).outcome is PASS


def test_a_refractometer_too_coarse_for_the_band_is_told_and_judged_alike() -> None:
    coarse = replace(BRIX, resolution=2.0)
    assert told("strength_reading", coarse, "brix").outcome is CANNOT
    assert told("strength_reading", BRIX, "brix").outcome is PASS
    assert suits(replace(FACTS, fluid=Fluid("water", 0.0, None, 0.0)), "strength_reading", BRIX) is None


@pytest.mark.parametrize(("tool", "outcome"), [(PAIR, PASS), (replace(PAIR, accuracy=0.8), CANNOT)])
def test_what_is_told_of_thermometers_is_what_the_final_reading_comes_to(tool: Instrument, outcome: Outcome) -> None:
    assert told("final_reading", tool).outcome is outcome
    final = logged("final_reading", "R1", 30, instrument="t", run_minutes=n("30", "min"), flow=n("48", "L/min"),
                   t_in=n("1.5", "°C"), t_out=n("-1.5", "°C"))  # fmt: skip
    flow = logged("circulation", "", 5, instrument="f")
    facts = replace(FACTS, instruments={**FACTS.instruments, "t": tool}, entries=(flow, final))
    doubtful = [each for each in verdicts_of(facts, final) if "uncertain by" in each.reason]
    assert bool(doubtful) is (outcome is CANNOT)


def test_what_the_register_does_not_know_is_asked_of_the_office() -> None:
    assert "±" in told("final_reading", replace(PAIR, accuracy=None)).way_out
    without = {PAIR.id: PAIR}
    assert "flow meter" in told("final_reading", PAIR, instruments=without).reason
    assert METER.accuracy
