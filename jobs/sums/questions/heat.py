"""The heat that the loop brings: from flow and two temperatures, with how sure it is, against what the machine should draw."""

from __future__ import annotations

from collections.abc import Iterator

from calcs.base import Base
from calcs.fluid import Properties
from calcs.heat import (
    GUM,
    Heat,
    flow_for,
    heat_balance,
    heat_from_flow,
    pair_uncertainty,
    source_duty,
    standard_uncertainty,
)
from calcs.units import Quantity, quantity
from calcs.verdict import Verdict
from jobs.sums import trade
from jobs.sums.errors import Mistake, about
from jobs.sums.questions import common
from jobs.sums.questions.base import Answer, Example, Field, Given, Kind, Line, Part, Question, Told, told
from jobs.sums.units import DIFFERENCE, FLOW, PERCENT, POWER, TEMPERATURE

MACHINE = Part("Compare with the heat pump", is_folded=True)
METERS = Part("The instruments", is_folded=True)


def answer(given: Given) -> Answer:
    warm, cold = (float(given.quantity(name).m_as("degC")) for name in ("t_in", "t_out"))
    if warm == cold:
        raise Mistake("Both temperatures are the same; let the heat pump run and read again.", "t_out")
    if abs(warm - cold) > 50:
        raise Mistake("The two temperatures are more than 50 K apart; check them and their units.", "t_out")
    fluid = common.fluid_of(given, quantity((warm + cold) / 2, "degC"))
    heat = _heat(given, fluid)
    expected = _expected(given)
    return Answer(
        lines=(
            Line("heat", "Heat from the ground", _kw(heat.duty), "kW", 2, band=_kw(heat.expanded), is_main=True),
            Line("difference", "Temperature difference", warm - cold, "K", 2, is_main=True),
            Line("doubt", "That is known to ±", 100 * heat.relative, "%", 1),
            *([] if expected is None else [Line("expected", "The heat pump should draw", _kw(expected), "kW", 2)]),
            *_flow_wanted(given, expected, fluid),
            Line("density", "Density of the fluid", float(fluid.density.m_as("kg/m^3")), "kg/m³", 0),
            Line("heat_capacity", "Heat capacity", float(fluid.heat_capacity.m_as("J/kg/K")), "J/(kg K)", 0),
        ),
        sources=(Told("Fluid", fluid.source), *told(("Doubt of the heat", GUM))),
        verdict=_verdict(heat, expected),
        warnings=tuple(_warnings(heat)),
    )


def _kw(value: Quantity) -> float:
    return float(value.m_as("kW"))


def _heat(given: Given, fluid: Properties) -> Heat:
    with about("flow"):
        return heat_from_flow(
            flow=given.quantity("flow"),
            t_in=given.quantity("t_in"),
            t_out=given.quantity("t_out"),
            properties=fluid,
            u_flow=standard_uncertainty(limit=given.quantity("flow_accuracy")),
            u_pair=pair_uncertainty(limit_each=given.quantity("thermometer_accuracy")),
        )


def _expected(given: Given) -> Quantity | None:
    heating = given.maybe("heating")
    if heating is None and not given.has("cop"):
        return None
    if heating is None or not given.has("cop"):
        missing = "heating" if heating is None else "cop"
        raise Mistake("Give both the heating power and the COP to compare.", missing)
    with about("cop"):
        return source_duty(heating=heating, cop=given.number("cop"))


def _flow_wanted(given: Given, expected: Quantity | None, fluid: Properties) -> Iterator[Line]:
    """The flow at which that heat makes the difference wanted."""
    spread = given.maybe("spread")
    if spread is None:
        return
    if expected is None:
        raise Mistake("Give the heating power and the COP too; the flow depends on them.", "heating")
    with about("spread"):
        flow = flow_for(duty=expected, spread=spread, properties=fluid)
    yield Line("flow_wanted", "Flow for the difference wanted", float(flow.m_as("L/min")), "L/min", 1)


def _verdict(heat: Heat, expected: Quantity | None) -> Verdict | None:
    return None if expected is None else heat_balance(measured=heat, expected=expected)


def _warnings(heat: Heat) -> Iterator[str]:
    if heat.duty.magnitude < 0:
        yield "The fluid comes back colder than it left: heat goes into the ground. Check which sensor is which."
    yield "Read flow and temperatures together, when the heat pump has run evenly for a while."


QUESTION = Question(
    name="heat",
    title="Heat",
    says="The heat that the loop brings, with how sure it is, beside what the heat pump should draw.",
    moment="Running",
    fields=(
        Field("base", "What is in the loop", Kind.CHOICE, choices=common.WITH_WATER, default=Base.PROPYLENE_GLYCOL.value),
        common.strength_field("strength", "Its strength", "Empty for water."),
        common.basis_field(common.OF_THE_MIX),
        Field("flow", "Flow", units=FLOW, low=0.1, high=20_000),
        Field("t_in", "Into the heat pump", units=TEMPERATURE, low=-30, high=60, help="From ground."),
        Field("t_out", "Out of the heat pump", units=TEMPERATURE, low=-30, high=60, help="To ground."),
        Field("heating", "Heating power", units=POWER, low=0.1, high=5000, required=False, part=MACHINE, help="At this working point, from the maker's sheet."),
        Field("cop", "COP", low=1.01, high=20, required=False, part=MACHINE, help="At the same working point."),
        Field("spread", "Difference wanted", units=DIFFERENCE, low=0.1, high=20, required=False, part=MACHINE),
        Field("flow_accuracy", "Flow meter, ±", units=PERCENT, low=0, high=50, default="2", part=METERS),
        Field("thermometer_accuracy", "Each thermometer, ±", units=DIFFERENCE, low=0, high=5, default="0.15", part=METERS),
    ),
    answer=answer,
    examples=(Example("0.788 L/s of 25 % propylene glycol cooled by 3 K: 9.38 kW, known to ±8.8 %.", {"base": "propylene_glycol", "strength": "25", "basis": "mass", "flow": "0.788", "flow_unit": "L/s", "t_in": "0", "t_out": "-3", "heating": "12", "cop": "4.6"}),),
    cautions=("Live parts behind the panel: only who is qualified opens it.", trade.LOCAL),
)  # fmt: skip
