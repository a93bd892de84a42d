"""Pressure trend of a de-aeration run, net of top-ups, and when it is stable."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import deaeration
from calcs.deaeration import Visit
from calcs.errors import OutOfRange
from calcs.units import quantity
from calcs.verdict import Cause, Outcome

VOLUME = quantity(400, "L")


def visit(
    day: float, arrival: float, departure: float | None = None, litres: float = 0.0, celsius: float | None = None
) -> Visit:
    return Visit(
        day=day,
        arrival=quantity(arrival, "bar"),
        departure=quantity(arrival if departure is None else departure, "bar"),
        top_up=quantity(litres, "L"),
        temperature=None if celsius is None else quantity(celsius, "degC"),
    )


@given(st.lists(st.tuples(st.floats(-0.3, 0.3), st.floats(-0.5, 1.0)), min_size=2, max_size=12))
def test_top_ups_are_taken_out(steps: list[tuple[float, float]]) -> None:
    # Build a run from known falls between visits and known changes at visits: the net trend is the falls alone.
    pressure, visits, net = 2.0, [], []
    total = 2.0
    for day, (fall, change) in enumerate(steps):
        pressure, total = pressure - fall, total - fall
        visits.append(visit(day, pressure, pressure + change))
        net.append(total)
        pressure += change
    found = deaeration.trend(visits=visits, volume=VOLUME)
    assert found.net_pressure.to("bar").magnitude.tolist() == pytest.approx(net, abs=1e-9)
    assert found.slope is not None
    assert found.slope.to("bar/day").magnitude == pytest.approx(net[-1] - net[-2], abs=1e-9)


@pytest.mark.parametrize(
    ("visits", "outcome", "cause"),
    [
        ([visit(3, 1.8), visit(7, 1.8)], Outcome.PASS, Cause.NONE),
        ([visit(1, 1.5, 2.0, 1.0), visit(3, 1.8), visit(7, 1.78)], Outcome.PASS, Cause.NONE),
        ([visit(3, 1.8)], Outcome.CANNOT_TELL, Cause.DURATION),
        ([visit(3, 1.8), visit(4, 1.8)], Outcome.CANNOT_TELL, Cause.DURATION),
        ([visit(3, 1.5, 1.8, 0.5), visit(7, 1.8)], Outcome.CANNOT_TELL, Cause.CONDITIONS),
        ([visit(3, 1.8, celsius=8), visit(7, 1.8, celsius=2)], Outcome.CANNOT_TELL, Cause.TEMPERATURE),
        ([visit(3, 1.8, celsius=5), visit(7, 1.8, celsius=3)], Outcome.PASS, Cause.NONE),
        ([visit(3, 1.8), visit(7, 1.4)], Outcome.FAIL, Cause.AIR),
        ([visit(3, 1.8), visit(7, 1.7)], Outcome.CANNOT_TELL, Cause.RESOLUTION),
        ([visit(1, 1.0, 2.0, 3.0), visit(3, 1.8), visit(7, 1.8)], Outcome.WARN, Cause.LEAK),
        ([visit(1, 1.0, 2.0, 5.0), visit(3, 1.8), visit(7, 1.8)], Outcome.FAIL, Cause.LEAK),
    ],
)
def test_stable_or_not(visits: list[Visit], outcome: Outcome, cause: Cause) -> None:
    # Rules of the job reference P20: 0.1 bar, 2 days, 3 K, top-ups 0.5 % and 1.0 % of 400 L; an ordinary 0.05 bar gauge.
    found = deaeration.judge(visits=visits, volume=VOLUME, resolution=quantity(0.05, "bar"))
    assert (found.outcome, found.cause) == (outcome, cause), found.reason


def test_order_of_visits() -> None:
    with pytest.raises(OutOfRange, match="days"):
        deaeration.trend(visits=[visit(3, 1.8), visit(3, 1.8)], volume=VOLUME)
    with pytest.raises(OutOfRange, match="visits"):
        deaeration.trend(visits=[], volume=VOLUME)
