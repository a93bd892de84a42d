"""What is told of the gauge beside the verdict of a pressure test: whether its steps and its scale suit the method."""

from __future__ import annotations

from collections.abc import Iterator

from calcs import deciding, stress
from calcs.errors import CalcError
from calcs.pressure_test import Restraint
from calcs.stress import Gauge
from calcs.units import quantity
from calcs.verdict import Outcome, Verdict
from jobs.sums.questions import common
from jobs.sums.questions.base import Given
from jobs.sums.questions.pressure_methods import Method


def told(given: Given, pressure: float) -> tuple[str, ...]:
    """One sentence for the scale and one for the method, each with its way out; `pressure` in bar, the highest read."""
    if pressure <= 0.0:
        return ()
    try:
        return tuple(f"Gauge: {each.reason} {each.way_out}".strip() for each in _verdicts(given, pressure))
    except CalcError:
        return ()


def _verdicts(given: Given, pressure: float) -> Iterator[Verdict]:
    bar, step, span = quantity(pressure, "bar"), given.quantity("resolution"), given.maybe("span")
    suited = stress.gauge_suits(gauge=Gauge(2.0 * bar if span is None else span, step), pressure=bar)
    if span is not None or suited.outcome is not Outcome.PASS:
        yield suited
    method, lies = given.choice("method"), Restraint(given.choice("restraint"))
    if lies is Restraint.UNKNOWN or method not in {Method.SHORT, Method.SEQUENCE}:
        return
    ratio = common.bore_to_wall(given)
    if method == Method.SHORT:
        yield deciding.short_check(
            pressure=bar,
            resolution=step,
            restraint=lies,
            bore_to_wall=ratio,
            loading=given.quantity("loading"),
            hold=given.quantity("hold"),
        )
    else:
        yield deciding.sequence(
            pressure=given.quantity("test_pressure"), resolution=step, restraint=lies, bore_to_wall=ratio
        )
