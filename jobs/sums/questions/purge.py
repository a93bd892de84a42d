"""Purging: the flow, pressure and time that drive the air out of loops and header, and whether a run sufficed."""

from __future__ import annotations

from collections.abc import Iterator
from math import pi

from calcs import purge
from calcs.base import Base
from calcs.network import Branch, ParabolicPump, Pump
from calcs.units import Quantity
from calcs.verdict import Verdict
from jobs.sums import trade
from jobs.sums.errors import Mistake, about
from jobs.sums.questions import common
from jobs.sums.questions.base import MORE, Answer, Example, Field, Given, Kind, Line, Part, Question, Told, told
from jobs.sums.units import FLOW, HEAD, LENGTH, TEMPERATURE, TIME

HEADER = Part("The main header", is_folded=True)
PUMP = Part("The purge pump", is_folded=True)
RUN = Part("Judge a run", is_folded=True)


def answer(given: Given) -> Answer:
    fluid = common.fluid_of(given, given.quantity("temperature"))
    count = int(given.number("count"))
    pipe, length = common.pipe_of(given), given.quantity("length")
    fittings = given.number("fittings")
    loops = [Branch(length, pipe.bore, fittings, name=str(number + 1)) for number in range(count)]
    with about("length"):
        plan = purge.plan(
            loops=loops,
            header=_header(given),
            density=fluid.density,
            viscosity=fluid.viscosity,
            pump=_pump(given),
        )
    one = plan.loops[0]
    lines = [
        Line("flow", "Flow for one open loop", float(one.flow.m_as("L/min")), "L/min", 1, is_main=True),
        Line("pressure", "Pressure at the purge unit", float(one.pressure.m_as("kPa")), "kPa", 0, is_main=True),
        Line("time", "Time for each loop", float(one.time.m_as("min")), "min", 0, is_main=True),
        Line("total_time", "All loops, one by one", float(plan.total_time.m_as("min")), "min", 0, is_main=count > 1),
        Line("velocity", "Velocity in the loop", float(one.velocity.m_as("m/s")), "m/s", 2),
        Line("transit", "Once through takes", float(one.transit_time.m_as("min")), "min", 1),
        Line("turnovers", "Turnovers in that time", one.turnovers, "", 1),
        Line("clearing", "Carries air down a steep leg from", float(one.clearing_velocity.m_as("m/s")), "m/s", 2),
        *_pump_line(one.pump_suffices),
        *_header_lines(plan),
    ]
    rows = purge.purge_rows()
    sources = told(
        ("Velocity", rows["velocity"].source),
        ("Minutes after the last bubble", rows["minutes_after_last_bubble"].source),
        ("Turnovers", rows["turnovers"].source),
        ("Hoses and strainer", rows["hose_and_strainer"].source),
        ("Clearing velocity", purge.CLEARING),
    )
    return Answer(
        tuple(lines),
        (*sources, *common.pipe_source(given), Told("Fluid", fluid.source)),
        verdict=_judged(given, pipe.bore, length),
        warnings=tuple(_warnings(plan)),
    )


def _header(given: Given) -> list[Branch]:
    if not given.has("header_length"):
        return []
    return [Branch(given.quantity("header_length"), common.pipe_of(given, "header_").bore, name="the main header")]


def _pump(given: Given) -> Pump | None:
    """A parabola through the two ends of the pump's curve."""
    head, most = given.maybe("pump_head"), given.maybe("pump_flow")
    if (head is None) != (most is None):
        missing = "pump_head" if head is None else "pump_flow"
        raise Mistake("Give both ends of the pump's curve.", missing)
    return None if head is None or most is None else ParabolicPump(shut_off=head, fall=head, flow_unit=most)


def _pump_line(suffices: bool | None) -> tuple[Line, ...]:  # noqa: FBT001 - as the plan tells it
    if suffices is None:
        return ()
    return (Line("pump", "This pump, for one loop", text="suffices" if suffices else "is too small"),)


def _header_lines(plan: purge.PurgePlan) -> Iterator[Line]:
    for duty in plan.header:
        yield Line("header_flow", "The header needs", float(duty.flow.m_as("L/min")), "L/min", 1)
        if duty.loops_open is None or duty.pressure is None:
            yield Line("header_loops", "Loops to open for it", text="this pump cannot")
        else:
            yield Line("header_loops", "Loops to open for it", float(duty.loops_open), "", 0)
            yield Line("header_pressure", "Pressure then", float(duty.pressure.m_as("kPa")), "kPa", 0)
        slow = float(duty.velocity_one_loop.m_as("m/s"))
        yield Line("header_velocity", "In the header with one loop open", slow, "m/s", 3)


def _warnings(plan: purge.PurgePlan) -> tuple[str, ...]:
    """All loops are alike here, so what holds for each is said once."""
    kept = [text for text in plan.warnings if not text.startswith("This pump is too small for loop")]
    if plan.loops[0].pump_suffices is False:
        duty = plan.loops[0]
        kept.append(
            f"This pump is too small: a loop needs {float(duty.flow.m_as('L/min')):.0f} L/min "
            f"at {float(duty.pressure.m_as('kPa')):.0f} kPa."
        )
    return tuple(text[:1].upper() + text[1:] for text in kept)


def _judged(given: Given, bore: Quantity, length: Quantity) -> Verdict | None:
    """A run that was read: its flow, and how long it ran after the last bubble."""
    flow, after = given.maybe("ran_flow"), given.maybe("after_last_bubble")
    if flow is None and after is None and not given.has("ran"):
        return None
    if flow is None or after is None:
        missing = "ran_flow" if flow is None else "after_last_bubble"
        raise Mistake("Give the flow and the time after the last bubble to have a run judged.", missing)
    ran = given.quantity("ran", after)
    if ran < after:
        raise Mistake("The whole run cannot be shorter than the time after the last bubble.", "ran")
    litres = 1e3 * pi / 4 * float(bore.m_as("m")) ** 2 * float(length.m_as("m"))
    turnovers = float(flow.m_as("L/min")) * float(ran.m_as("min")) / litres
    with about("ran_flow"):
        return purge.judge_run(
            velocity=purge.velocity_of(flow=flow, bore=bore), after_last_bubble=after, turnovers=turnovers
        )


QUESTION = Question(
    name="purge",
    title="Purge",
    says="The flow, pressure and minutes that drive the air out, and whether a run was enough.",
    moment="Filling",
    fields=(
        *common.size_fields("", default="PE100-32x3", label="Pipe of the loops"),
        Field("length", "Length of one loop, there and back", units=LENGTH, low=1, high=5000),
        Field("count", "How many loops, all alike", low=1, high=200, whole=True, default="1"),
        Field("base", "What is in the pipe", Kind.CHOICE, choices=common.WITH_WATER, default=Base.WATER.value),
        common.strength_field("strength", "Its strength", "Empty for water."),
        common.basis_field(common.OF_THE_MIX),
        Field("temperature", "Its temperature", units=TEMPERATURE, low=-10, high=40, default="10"),
        Field("fittings", "Fittings of one loop, sum of K", low=0, high=500, default="4", part=MORE, help="Loss numbers of bends and ports added up; 4 is a house default."),
        *common.size_fields("header_", default="PE100-63x5.8", part=HEADER),
        Field("header_length", "Length, there and back", units=LENGTH, low=0.5, high=5000, required=False, part=HEADER),
        Field("pump_head", "Pressure with its outlet shut", units=HEAD, low=1, high=2000, required=False, part=PUMP),
        Field("pump_flow", "Flow against no pressure", units=FLOW, low=1, high=5000, required=False, part=PUMP),
        Field("ran_flow", "Flow you read", units=FLOW, low=0, high=5000, required=False, part=RUN),
        Field("after_last_bubble", "Ran on after the last bubble", units=TIME, low=0, high=10_000, required=False, part=RUN),
        Field("ran", "Whole run", units=TIME, low=0, high=10_000, required=False, part=RUN, help="Empty: as long as after the last bubble."),
    ),
    answer=answer,
    examples=(Example("Four loops of 200 m, 32 × 3.0 mm: 19.1 L/min a loop, 74.7 L/min for a header of 63 × 5.8 mm.", {"pipe": "PE100-32x3", "length": "200", "count": "4", "base": "water", "temperature": "10", "header_pipe": "PE100-63x5.8", "header_length": "60"}),),
    cautions=trade.HOSE,
)  # fmt: skip
