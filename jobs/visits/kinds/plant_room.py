"""In the plant room: static pressure, settings of the source side, start of the de-aeration run, checks, final readings."""

from __future__ import annotations

from calcs.base import Base
from jobs.visits.kinds import cautions, running, vessel
from jobs.visits.kinds.base import Kind, Of
from jobs.visits.kinds.fields import (
    LITRES,
    METRES,
    MILLIMETRES,
    choice,
    code,
    flow,
    fluid_temperature,
    number,
    photo,
    pressure,
    time,
    yes,
)

SEALED = ("type", ("sealed",))
DIRTY = ("strainer", ("some", "blocked"))

STATIC = Kind(
    code="static_pressure",
    label="Static pressure and vessel",
    of=Of.JOB,
    instrument="gauge",
    fields=(
        choice("type", "Kept under pressure by", *vessel.TYPES),
        number("vessel_l", "Vessel", LITRES, soft=(8, 80), hard=(0, 2000), only_if=SEALED),
        pressure(
            "precharge", "Gas side, measured with the water side empty", soft=(0.3, 1.5), hard=(0, 6), required=False,
            only_if=SEALED,
        ),
        pressure("relief", "Relief valve opens at", soft=(2.5, 6), hard=(0.5, 16), required=False, only_if=SEALED),
        pressure("low_alarm", "Alarm for low pressure", soft=(0.2, 1.5), hard=(0, 6), required=False, only_if=SEALED),
        number("height", "Highest point above the gauge", METRES, soft=(0, 15), hard=(-5, 200), required=False),
        number("level", "Level in the open vessel", MILLIMETRES, soft=(50, 500), hard=(0, 3000), only_if=("type", ("open",))),
        pressure("pressure", "Fill pressure, cold", soft=(0.8, 3), hard=(0, 10), only_if=("type", ("sealed", "none"))),
        pressure("settled", "Half an hour later", soft=(0.8, 3), hard=(0, 10), required=False, only_if=SEALED),
        yes("valve_locked", "Vessel valve locked open", help="No valve at it: does not apply, with the reason."),
    ),
    help="Measure the gas side before the system is filled. The discharge of the relief valve goes into a container.",
    cautions=("A charged vessel is never loosened.", cautions.LOCAL),
    judge=vessel.judge,
    targets=vessel.targets,
)  # fmt: skip

SETTINGS = Kind(
    code="source_settings",
    label="Source-side settings",
    of=Of.JOB,
    roles=("engineer",),
    fields=(
        code("serial", "Serial number"),
        number("frost_alarm", "Frost alarm", ("°C", "°F"), soft=(-12, 0), hard=(-40, 15)),
        choice("fluid_set", "Fluid set in the controller", *((base.value, base.label.capitalize()) for base in Base)),
        flow("flow", "Source flow"),
        choice("pump_mode", "Source pump", ("fixed", "Fixed speed"), ("controlled", "By temperature difference")),
        yes("strainer_clean", "Strainer fitted and clean"),
    ),
    help="Before the compressor runs for the first time.",
    cautions=cautions.ELECTRICITY,
    judge=running.judge_settings,
    targets=running.settings_targets,
)

START = Kind(
    code="deaeration_start",
    label="De-aeration run: start",
    of=Of.JOB,
    instrument="gauge",
    fields=(
        time("started", "Started"),
        number("planned_days", "For how many days", ("d",), soft=(7, 21), hard=(1, 90)),
        pressure("pressure", "Pressure at the start", soft=(0.8, 3), hard=(0, 10)),
    ),
    help="The office is told when somebody must come back.",
    cautions=cautions.ELECTRICITY[:1],
    judge=running.judge_start,
    targets=running.start_targets,
)

FOLLOW_UP = Kind(
    code="follow_up",
    label="De-aeration check",
    of=Of.JOB,
    instrument="gauge",
    repeats=True,
    fields=(
        pressure("pressure_on_arrival", "Pressure on arrival, before touching anything", soft=(0.5, 3), hard=(0, 10)),
        fluid_temperature("t_in", "From ground, into the heat pump"),
        fluid_temperature("t_out", "To ground, out of the heat pump"),
        number("top_up", "Topped up", LITRES, soft=(0, 20), hard=(0, 500), help="0 when nothing was added."),
        number("top_up_strength", "Strength of the top-up", ("mass %", "vol %"), soft=(15, 60), hard=(0, 100), required=False),
        pressure("pressure_left", "Pressure when leaving", soft=(0.5, 3), hard=(0, 10), required=False),
        choice(
            "strainer", "Strainer", ("clean", "Clean"), ("some", "Some dirt, cleaned"), ("blocked", "Blocked, cleaned"),
            ("not_opened", "Not opened"),
        ),
        choice(
            "debris", "What was in it", ("fine", "Fine dirt"), ("sand", "Sand"), ("shavings", "Shavings"), ("stones", "Stones"),
            only_if=DIRTY,
        ),
        choice("air", "Air at the vents", ("none", "None"), ("some", "Some"), ("much", "Much")),
        code("vents", "Vents that were opened", required=False),
        flow("flow", "Source flow", required=False),
        number("pump_stopped", "The source pump stood for", ("h",), soft=(0, 24), hard=(0, 2000), required=False, help="0 when it ran all the time."),
        yes("alarms", "Alarms since the last look", good=False, required=False),
        yes("leaks", "Drips or wet places", good=False, required=False),
        photo("gauge", "Photo of the gauge", required=False),
    ),
    help="Read the pressure first. Never top up with plain water.",
    cautions=cautions.ELECTRICITY[:1],
    judge=running.judge_check,
)  # fmt: skip

FINAL = Kind(
    code="final_reading",
    label="Final readings",
    of=Of.SET,
    instrument="thermometers",
    roles=("engineer",),
    fields=(
        number("run_minutes", "Compressor has run for", ("min", "h"), soft=(20, 600), hard=(0, 20000)),
        flow("flow", "Source flow"),
        fluid_temperature("t_in", "From ground, into the heat pump"),
        fluid_temperature("t_out", "To ground, out of the heat pump"),
        number("power", "Electrical power", ("kW", "W"), soft=(0.5, 20), hard=(0, 1000), required=False),
    ),
    help="Three sets, five minutes apart, after 20 minutes of steady running, with paired sensors.",
    cautions=cautions.ELECTRICITY[:1],
    calc="heat",
    judge=running.judge_final,
    targets=running.final_targets,
)
