"""The trench: volumes by counting, tape, and the checks of a section against the read figures of its sources."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import trench
from calcs.errors import OutOfRange
from calcs.sources import Limit, Source, Status
from calcs.trench import Section
from calcs.units import Quantity, quantity
from calcs.verdict import Cause, Outcome


def metres(value: float) -> Quantity:
    return quantity(value, "m")


def test_sand_by_the_trade_formula() -> None:
    # Width x thickness x length x 1.6 t/m3 (common practice): 600 mm x 100 mm x 50 m.
    found = trench.sand(
        length=metres(50), width=quantity(600, "mm"), bed=quantity(100, "mm"), od=quantity(40, "mm"), pipes=2
    )
    assert found.mass.m_as("tonne") == pytest.approx(0.6 * 0.1 * 50 * 1.6)


def test_sand_around_the_pipe_by_counting_cells() -> None:
    # A cross-section of 0.5 m x (0.1 + 0.04 + 0.1) m with two 40 mm pipes, 1 mm cells.
    x, y = np.meshgrid(np.arange(0.0005, 0.5, 0.001), np.arange(0.0005, 0.24, 0.001))
    pipe = ((x - 0.15) ** 2 + (y - 0.12) ** 2 < 0.02**2) | ((x - 0.35) ** 2 + (y - 0.12) ** 2 < 0.02**2)
    counted = float(np.sum(~pipe)) * 1e-6 * 80
    found = trench.sand(
        length=metres(80), width=metres(0.5), bed=metres(0.1), cover=metres(0.1), od=quantity(40, "mm"), pipes=2
    )
    assert found.volume.m_as("m^3") == pytest.approx(counted, rel=2e-4)


@given(st.floats(0.3, 2), st.floats(0.3, 2), st.floats(0, 1.5))
def test_spoil_by_slices(width: float, depth: float, slope: float) -> None:
    levels = (np.arange(2000) + 0.5) / 2000 * depth
    counted = float(np.sum(width + 2 * slope * levels)) * depth / 2000 * 10
    found = trench.spoil(length=metres(10), width=metres(width), depth=metres(depth), slope=slope)
    assert found.in_ground.m_as("m^3") == pytest.approx(counted, rel=1e-6)
    assert found.in_ground < found.heap_low < found.heap_high
    assert found.left_high.magnitude == 0


def test_what_is_left_over() -> None:
    case: dict[str, Any] = {"length": metres(10), "width": metres(0.6), "depth": metres(1)}
    found = trench.spoil(**case, replaced=quantity(1, "m^3"))
    assert (found.left_low.m_as("m^3"), found.left_high.m_as("m^3")) == pytest.approx((1.2, 1.4))
    with pytest.raises(OutOfRange, match="replaced"):
        trench.spoil(**case, replaced=quantity(7, "m^3"))


def test_pipes_fit_into_the_trench() -> None:
    with pytest.raises(OutOfRange, match="side by side"):
        trench.sand(length=metres(1), width=quantity(100, "mm"), bed=metres(0.1), od=quantity(40, "mm"), pipes=3)


@pytest.mark.parametrize(
    ("length", "runs", "rolls", "top", "depth"),
    [(95, 1, 1, 0.9, 0.6), (96, 1, 2, 0.9, 0.6), (120, 2, 3, 0.4, 0.15), (200 / 1.05, 1, 2, 0.45, 0.15)],
)
def test_tape(length: float, runs: int, rolls: int, top: float, depth: float) -> None:
    # 300 mm above the pipe (common practice), at least 150 mm below grade (Delaware 232114, read).
    found = trench.tape(length=metres(length), pipe_top=metres(top), runs=runs, roll=metres(100))
    assert (found.rolls, found.depth.m_as("m")) == (rolls, pytest.approx(depth))


def test_no_tape_over_pipe_at_the_surface() -> None:
    with pytest.raises(OutOfRange, match="depth of the pipe"):
        trench.tape(length=metres(10), pipe_top=metres(0.1), roll=metres(100))


GOOD: dict[str, Any] = {
    "depth": metres(1.0),
    "bed": metres(0.1),
    "spoil_distance": metres(0.7),
    "way_out": metres(5),
    "supported": True,
    "inspected": True,
    "is_dry": True,
}
FT = 0.3048


def outcomes(**changed: Any) -> list[Outcome]:
    return [verdict.outcome for verdict in trench.check(section=Section(**(GOOD | changed)))]


def test_a_good_section_is_silent() -> None:
    assert set(outcomes()) == {Outcome.PASS}


@pytest.mark.parametrize(
    ("changed", "outcome"),
    [
        ({"depth": metres(0.79)}, Outcome.FAIL),
        ({"bed": metres(0.05)}, Outcome.FAIL),
        ({"bed": None}, Outcome.CANNOT_TELL),
        ({"spoil_distance": metres(1.9 * FT)}, Outcome.FAIL),
        ({"spoil_distance": metres(2 * FT)}, Outcome.PASS),
        ({"inspected": False}, Outcome.FAIL),
        ({"inspected": None}, Outcome.CANNOT_TELL),
        ({"is_dry": False}, Outcome.WARN),
        # OSHA as read: a protective system from 5 ft, a way out within 25 ft from 4 ft.
        ({"supported": False}, Outcome.WARN),
        ({"supported": False, "depth": metres(4.99 * FT)}, Outcome.WARN),
        ({"supported": False, "depth": metres(5 * FT)}, Outcome.FAIL),
        ({"supported": None, "depth": metres(5 * FT)}, Outcome.CANNOT_TELL),
        ({"way_out": metres(26 * FT)}, Outcome.PASS),
        ({"way_out": metres(26 * FT), "depth": metres(4 * FT)}, Outcome.FAIL),
        ({"way_out": metres(24 * FT), "depth": metres(4 * FT)}, Outcome.PASS),
        ({"way_out": None, "depth": metres(4 * FT)}, Outcome.CANNOT_TELL),
    ],
)
def test_one_thing_wrong(changed: dict[str, Any], outcome: Outcome) -> None:
    found = outcomes(**changed)
    assert set(found) <= {outcome, Outcome.PASS}
    assert (outcome in found) is True


def test_every_answer_says_what_to_do_and_where_it_comes_from() -> None:
    seen = Section(metres(1.8), supported=False)
    for verdict in trench.check(section=seen):
        assert verdict.source.text
        assert verdict.reason.endswith(".")
        assert bool(verdict.way_out) >= (verdict.outcome is Outcome.CANNOT_TELL)
    assert any("nobody enters" in verdict.reason for verdict in trench.check(section=seen))


def test_the_rule_set_of_the_job_counts() -> None:
    rule = Limit(1200.0, "mm", Source("the job's rule set", Status.HOUSE_DEFAULT))
    depth = trench.check(section=Section(**GOOD), rules={"depth": rule})[0]
    assert (depth.outcome, depth.cause) == (Outcome.FAIL, Cause.CONDITIONS)
    assert "1.20 m" in depth.reason


def test_a_staff_that_cannot_tell() -> None:
    found = trench.check(section=Section(**(GOOD | {"depth": metres(0.805)})), u=quantity(10, "mm"))[0]
    assert (found.outcome, found.cause) == (Outcome.CANNOT_TELL, Cause.RESOLUTION)


def test_doubt_of_the_depth_is_on_the_safe_side() -> None:
    seen = Section(**(GOOD | {"depth": metres(4.95 * FT), "supported": False}))
    assert Outcome.FAIL in {verdict.outcome for verdict in trench.check(section=seen, u=quantity(10, "mm"))}


def test_cautions_defer_to_people_on_site() -> None:
    said = " ".join(trench.CAUTIONS)
    assert "local code" in said
    assert "competent person" in said
