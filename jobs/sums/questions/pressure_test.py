"""A pressure test from pasted readings: the verdict of the method chosen, with what creep alone would do."""

from __future__ import annotations

from dataclasses import replace

from calcs.pressure_test import method_limits
from calcs.verdict import Verdict
from jobs.sums import trade
from jobs.sums.errors import about
from jobs.sums.questions import common, gauge
from jobs.sums.questions import pressure_methods as methods
from jobs.sums.questions.base import MORE, Answer, Example, Field, Given, Kind, Line, Part, Question, Told
from jobs.sums.questions.pressure_methods import Method
from jobs.sums.units import DIFFERENCE, PERCENT, PRESSURE, TEMPERATURE, TIME, VOLUME

METHODS = (
    (Method.SHORT, "Short tightness check"),
    (Method.SEQUENCE, "EN 805:2000, A.27"),
    (Method.CONTRACTION, "Contraction method, W 400-2:2022"),
    (Method.DECAY, "Type II decay test"),
    (Method.BAND, "ASTM F2164"),
    (Method.DROP, "Fixed drop in an hour"),
    (Method.HOLD, "Timed hold"),
)
RESTRAINTS = (
    ("free", "free in the trench or on the ground"),
    ("backfilled", "covered and compacted"),
    ("grouted", "grouted"),
    ("unknown", "partly each, or not known"),
)
RUN = Part("How it was run")
LITRES = (*VOLUME, methods.MILLILITRE)
LONG = 10_000.0


def answer(given: Given) -> Answer:
    with about("readings"):
        verdict = methods.judged(given)
        curve = methods.drawn(given)
    minutes, bar = methods.readings(given, "readings").floats()
    lines = (
        Line("start", "At the first reading", bar[0], "bar", 2, is_main=True),
        Line("end", "At the last", bar[-1], "bar", 2, is_main=True),
        Line("minutes", "Minutes between them", minutes[-1] - minutes[0], "min", 0, is_main=True),
    )
    return Answer(lines, _sources(given, verdict), verdict=verdict, warnings=gauge.told(given, max(bar)), curve=curve)


def _sources(given: Given, verdict: Verdict) -> tuple[Told, ...]:
    """Each limit the method has, with where it comes from; those of other restraints say nothing here."""
    method = Method(given.choice("method"))
    # A timed hold brings its own rule; what is a leak in it is told by the creep bands of the short check.
    rows = method_limits(Method.SHORT if method is Method.HOLD else method)
    restraint = given.choice("restraint")
    others = {name for name, _ in RESTRAINTS if restraint not in {name, "unknown"}}
    found = {verdict.source.text: Told("Verdict", verdict.source)}
    for key, limit in rows.items():
        if key.split("_", maxsplit=1)[0] not in others:
            found.setdefault(limit.source.text, Told("Limit", limit.source))
    return tuple(found.values())


def _of(*found: Method) -> frozenset[str]:
    return frozenset(each.value for each in found)


PHASES = _of(Method.SEQUENCE, Method.CONTRACTION)
SHUT_ONCE = _of(Method.SHORT, Method.DROP, Method.HOLD)
JOINTS = (("", "not said"), ("dry", "all were looked at and are dry"), ("wet", "one leaks"))

FIELDS = (
    Field("method", "Method", Kind.CHOICE, choices=METHODS, default=Method.SHORT),
    Field(
        "rule", "Rule", Kind.CHOICE, choices=methods.rule_choices(), default="minnesota_4725_7050", when=_of(Method.HOLD),
        help="Local code decides which one is asked for.",
    ),
    Field("restraint", "The pipe lies", Kind.CHOICE, choices=RESTRAINTS, default="free"),
    Field(
        "resolution", "Smallest step of the gauge", units=PRESSURE, low=0.0001, high=1, default="0.05",
        help="One division, or the last digit.",
    ),
    Field(
        "span", "Its scale ends at", units=PRESSURE, low=0.1, high=1000, required=False, part=MORE,
        help="To be told whether it suits the pressure.",
    ),
    Field(
        "readings", "Readings", Kind.READINGS, units=PRESSURE,
        help="A time and a pressure on each line, from the moment of shutting: minutes or a clock time, then a space, "
        "tab or semicolon.",
    ),
    Field(
        "main", "Readings of the main phase", Kind.READINGS, units=PRESSURE, required=False, when=PHASES,
        help="From the end of the let-down. The readings above are those of the rest phase.",
    ),
    Field("joints", "Joints", Kind.CHOICE, choices=JOINTS, required=False, when=_of(Method.SHORT, Method.HOLD)),
    Field("test_pressure", "Test pressure", units=PRESSURE, low=0.2, high=25, when=PHASES, part=RUN),
    Field("volume", "Volume under test", units=VOLUME, low=1, high=100_000, when=PHASES, part=RUN),
    Field("bled", "Water let out", units=LITRES, low=0, high=1000, required=False, when=PHASES, part=RUN),
    Field("bled_doubt", "Known to ±", units=LITRES, low=0, high=100, required=False, when=PHASES, part=RUN),
    Field(
        "loading", "Raising the pressure took", units=TIME, low=0.1, high=600, default="10",
        when=SHUT_ONCE | _of(Method.DECAY), part=RUN,
    ),
    Field("hold", "Held by pumping for", units=TIME, low=0, high=LONG, default="60", when=_of(Method.SHORT), part=RUN),
    Field(
        "conditioned", "Held by pumping before for", units=TIME, low=0, high=LONG, default="30",
        when=_of(Method.DROP, Method.HOLD), part=RUN,
    ),
    Field(
        "at_pressure", "At pressure in all, expansion included", units=TIME, low=0, high=LONG, default="300",
        when=_of(Method.BAND), part=RUN,
    ),
    Field(
        "least", "Pressure asked for, if more than the rule's", units=PRESSURE, low=0.2, high=25, required=False,
        when=_of(Method.HOLD), part=MORE,
    ),
    Field("relax", "Left without pressure before", units=TIME, low=0, high=LONG, required=False, when=PHASES, part=MORE),
    Field("raised", "Raising the pressure took", units=TIME, low=0.1, high=600, required=False, when=PHASES, part=MORE),
    Field("held", "Held by pumping for", units=TIME, low=0, high=LONG, required=False, when=PHASES, part=MORE),
    Field(
        "wall_temperature", "Temperature of the pipe wall", units=TEMPERATURE, low=-20, high=60, required=False,
        when=_of(Method.DECAY), part=MORE,
    ),
    Field(
        "air_by_volume", "Took more water than a pipe without air", Kind.CHOICE,
        choices=(("no", "no, or not measured"), ("yes", "yes")), default="no", when=_of(Method.DECAY), part=MORE,
    ),
    Field("warming", "Pipe warmed or cooled meanwhile by", units=DIFFERENCE, low=-40, high=40, required=False, part=MORE),
    Field("exposed", "Share of the pipe that felt it", units=PERCENT, low=0, high=100, default="100", part=MORE),
    *(
        replace(each, when=SHUT_ONCE | PHASES)
        for each in common.size_fields("", default="PE100-32x3", part=MORE, label="Pipe under test")
    ),
)  # fmt: skip

EXAMPLES = (
    Example(
        "Free pipe at 6 bar, held for an hour, then shut: five readings of a sound pipe.",
        {"method": "short_tightness", "readings": "0 6.00\n15 5.85\n30 5.75\n45 5.70\n60 5.65"},
    ),
    Example(
        "167 L at 7.5 bar: 6.8 bar after the rest phase, let down to 6.0 bar, then it rises again.",
        {
            "method": "en805_a27_2000", "resolution": "0.01", "test_pressure": "7.5", "volume": "166.9",
            "pipe": "PE100-40x3.7", "readings": "0 7.50\n15 7.20\n30 7.04\n45 6.92\n60 6.83",
            "main": "0 6.03\n10 6.09\n20 6.11\n30 6.11", "bled": "80", "bled_unit": "mL", "bled_doubt": "5",
            "bled_doubt_unit": "mL",
        },
    ),
    Example(
        "167 L at 7.5 bar: 6.6 bar after the rest phase, let down by 3.2 bar, then it rises again.",
        {
            "method": "w400_2_2022", "resolution": "0.01", "test_pressure": "7.5", "volume": "166.9",
            "pipe": "PE100-40x3.7", "readings": "0 7.50\n15 7.10\n30 6.88\n45 6.72\n60 6.60",
            "main": "0 3.40\n10 3.52\n20 3.56\n30 3.58", "bled": "350", "bled_unit": "mL", "bled_doubt": "10",
            "bled_doubt_unit": "mL",
        },
    ),
    Example(
        "Free pipe raised within 5 min: 6.60, 5.68 and 5.32 bar at 5, 35 and 75 min give slopes of 0.090 and 0.089.",
        {"method": "type_ii", "resolution": "0.01", "loading": "5", "readings": "5 6.60\n35 5.68\n75 5.32"},
    ),
    Example(
        "The test hour at 6.81 bar: it moves by 2.2 % at most.",
        {"method": "f2164", "resolution": "0.01", "readings": "0 6.81\n10 6.96\n60 6.88"},
    ),
    Example(
        "Free pipe held for half an hour only: it falls by 0.5 bar in the next hour, and creep alone may do that.",
        {"method": "fixed_drop", "resolution": "0.02", "readings": "0 6.00\n15 5.82\n30 5.68\n45 5.58\n60 5.50"},
    ),
    Example(
        "A quarter of an hour from 5.5 bar, joints dry.",
        {"method": "timed_hold", "resolution": "0.1", "conditioned": "0", "joints": "dry", "readings": "0 5.5\n15 4.9"},
    ),
)  # fmt: skip

QUESTION = Question(
    name="pressure_test",
    title="Pressure test",
    says="Paste the readings; the method you choose gives its verdict, beside what a tight pipe's creep would do.",
    moment="At the trench",
    switch="method",
    fields=FIELDS,
    answer=answer,
    examples=EXAMPLES,
    cautions=trade.PRESSURE,
)
