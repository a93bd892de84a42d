"""The pressure test with water: its start, its readings, its end."""

from __future__ import annotations

from jobs.visits.kinds import cautions, tightness
from jobs.visits.kinds.base import Answer, Facts, Field, Kind, Of, Target
from jobs.visits.kinds.fields import CELSIUS, LITRES, METRES, choice, number, photo, pressure, yes


def targets(facts: Facts, subject: str) -> tuple[Target, ...]:  # noqa: ARG001 - one rule for all tests
    found = (("test_pressure", "test_pressure_bar"), ("watch_pressure", "watch_pressure_bar"))
    rows = ((name, facts.limit(code)) for name, code in found)
    return tuple(
        Target(name, "about", low=limit.value, unit="bar", source=limit.source.label) for name, limit in rows if limit
    )


START = Kind(
    code="pressure_test",
    label="Pressure test: start",
    of=Of.TEST,
    instrument="gauge",
    fields=(
        Field("covers", "What is in the test", Answer.MANY, choices_from=("sections", "loops", "header")),
        choice(
            "method",
            "Method",
            ("short_tightness", "Short tightness check"),
            ("en805_a27_2000", "EN 805:2000 clause A.27"),
        ),
        pressure("test_pressure", "Test pressure at the gauge", soft=(3, 16), hard=(0.2, 25)),
        choice(
            "restraint",
            "The pipe lies",
            ("free", "Free in the trench"),
            ("backfilled", "Covered and compacted"),
            ("grouted", "Grouted"),
            ("unknown", "Partly each, or not known"),
        ),
        number("height", "Gauge above the lowest point", METRES, soft=(0, 150), hard=(-50, 400)),
        pressure("lowest_rating", "Lowest rating of any part in the test", soft=(6, 25), hard=(1, 64)),
        number("pipe_temperature", "Pipe temperature", CELSIUS, soft=(1, 30), hard=(-20, 60)),
        yes("vented", "Filled with water, air let out"),
        yes("shut_off", "Heat pump, vessel and relief valve shut off"),
        yes("safe", "Area clear, ends restrained, weakest part rated for it"),
    ),
    help="Log the start when the pump is connected, then the readings as they come.",
    cautions=cautions.PRESSURE,
    calc="pressure_test",
    judge=tightness.judge_start,
    targets=targets,
)

READING = Kind(
    code="pressure_reading",
    label="Pressure reading",
    of=Of.TEST,
    instrument="gauge",
    repeats=True,
    fields=(
        choice(
            "phase",
            "Phase",
            ("hold", "Held by pumping"),
            ("rest", "Shut off, rest"),
            ("bleed", "Let down at once"),
            ("isolated", "Shut off, main reading"),
        ),
        pressure("pressure", "Pressure", soft=(0.5, 16), hard=(0, 30)),
        number(
            "litres",
            "Water pumped in or let out since the last reading",
            LITRES,
            soft=(0, 30),
            hard=(0, 1000),
            required=False,
        ),
        photo("gauge", "Photo of the gauge", required=False),
    ),
    help="Take the number as the gauge shows it. The time is kept by itself.",
    calc="pressure_test",
    cautions=cautions.PRESSURE[1:2],
)

END = Kind(
    code="pressure_end",
    label="Pressure test: end",
    of=Of.TEST,
    instrument="gauge",
    fields=(
        yes("joints_dry", "Every joint looked at and dry"),
        number("pipe_temperature", "Pipe temperature", CELSIUS, soft=(1, 30), hard=(-20, 60)),
        number(
            "litres_in", "Water pumped in to reach the pressure", LITRES, soft=(0.2, 50), hard=(0, 5000), required=False
        ),
        number("top_ups", "Times topped up in the hold", ("pcs",), soft=(0, 6), hard=(0, 100), required=False),
        pressure("watch_pressure", "Lowered to watch pressure", soft=(0.5, 4), hard=(0, 16)),
        photo("gauge", "Photo of the gauge", required=False),
    ),
    help="Lower to the watch pressure and leave it on while the trench is filled: a strike then shows on the gauge.",
    cautions=cautions.WATCH,
    calc="pressure_test",
    judge=tightness.judge_end,
    targets=targets,
)
