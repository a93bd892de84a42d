"""What an instrument's reading means: strength and freezing point, and whether that is cold enough."""

from __future__ import annotations

from calcs.base import Base
from calcs.refractometer import Reading, Scale, frost_verdict, read, read_density, repeat_of
from calcs.units import Quantity, quantity
from calcs.verdict import Verdict
from jobs.sums import trade
from jobs.sums.errors import Mistake, about
from jobs.sums.questions import common
from jobs.sums.questions.base import MORE, Answer, Example, Field, Given, Kind, Line, Question, Told, Typed, told
from jobs.sums.units import SCALES, TEMPERATURE

SCALE_OF = {
    "°Bx": Scale.BRIX,
    "nD": Scale.REFRACTIVE_INDEX,
    "°C": Scale.FREEZING_POINT,
    "°F": Scale.FREEZING_POINT,
    "kg/m³": Scale.DENSITY,
    "g/cm³": Scale.DENSITY,
}
# One division of the scale is a difference, also where the scale is a temperature.
STEP_UNIT = {"°C": "K", "°F": "delta_degF", "kg/m³": "kg/m^3", "g/cm³": "g/cm^3"}
GLYCOLS = tuple((base.value, base.label) for base in Base if base.is_glycol)


def answer(given: Given) -> Answer:
    found = [_read(given, name) for name in ("reading", "second_reading") if given.has(name)]
    with about("second_reading"):
        reading = repeat_of(readings=found)
    freezing, low = (float(value.m_as("degC")) for value in (reading.freezing_point, reading.low))
    u_frost, u_mass = float(reading.u_freezing_point.m_as("K")), float(reading.u_mass_fraction.m_as("percent"))
    volume = reading.volume_fraction
    lines = [
        Line("freezing_point", "Freezing point", freezing, "°C", 1, band=2 * u_frost, is_main=True),
        Line(
            "mass", "Strength, by mass", float(reading.mass_fraction.m_as("percent")), "%", 1, 2 * u_mass, is_main=True
        ),
        *(
            [Line("volume", "Strength, by volume of the finished mix", float(volume.m_as("percent")), "%", 1)]
            if volume is not None
            else []
        ),
        Line("coldest", "By the coldest published curve", low, "°C", 1),
    ]
    sources = (
        *told((f"Strength from {reading.scale.value}", reading.source)),
        Told("Freezing point", reading.strength.freezing_point.source),
    )
    return Answer(tuple(lines), sources, verdict=_verdict(given, reading), warnings=reading.warnings)


def _read(given: Given, name: str) -> Reading:
    typed, base = given.typed(name), common.base_of(given)
    first = given.typed("reading")
    if typed.unit != first.unit:
        raise Mistake(f"Give the second reading in {first.unit.shown} too.", name)
    temperature, scale = given.quantity("sample_temperature"), SCALE_OF[typed.unit.code]
    division, accuracy = (_step(given, each, typed) for each in ("division", "accuracy"))
    with about(name):
        if scale is Scale.DENSITY:
            return read_density(
                density=typed.unit.of(typed.value),
                base=base,
                sample_temperature=temperature,
                resolution=division,
                accuracy=accuracy,
            )
        scale_base = given.choice("scale_base")
        return read(
            scale=scale,
            value=typed.unit.of(typed.value),
            base=base,
            sample_temperature=temperature,
            compensated=given.choice("compensated") != "no",
            scale_base=Base(scale_base) if scale_base else None,
            midpoint=given.choice("shows") == "protection",
            resolution=division,
            accuracy=accuracy,
        )


def _step(given: Given, name: str, typed: Typed) -> Quantity | None:
    """A division or an error limit, in the unit of the reading."""
    if not given.has(name):
        return None
    return quantity(given.number(name), STEP_UNIT.get(typed.unit.code, "dimensionless"))


def _verdict(given: Given, reading: Reading) -> Verdict | None:
    required = given.maybe("required")
    if required is None:
        return None
    with about("required"):
        return frost_verdict(freezing_point=reading.freezing_point, required=required, u=reading.u_freezing_point)


QUESTION = Question(
    name="refractometer",
    title="Refractometer",
    says="The strength and the freezing point behind a reading, and whether that is cold enough.",
    moment="Filling",
    fields=(
        common.ANTIFREEZE,
        Field(
            "reading", "Reading", units=SCALES, low=None, high=None,
            help="The unit tells which scale you read; a density is for a hydrometer.",
        ),
        Field("second_reading", "Second reading", units=SCALES, required=False, help="A repeat catches a dirty prism."),
        Field("sample_temperature", "Temperature of the sample", units=TEMPERATURE, low=0, high=60, default="20"),
        common.frost_field("required", "Freezing point asked for", "Then the reading is judged."),
        Field(
            "scale_base", "Fluid the degree scale is made for", Kind.CHOICE,
            choices=(("", "it has no degree scale, or not known"), *GLYCOLS), required=False, part=MORE,
        ),
        Field(
            "shows", "What a degree scale shows", Kind.CHOICE,
            choices=(("crystals", "first ice crystals"), ("protection", "frost or burst protection")),
            default="crystals", part=MORE,
        ),
        Field(
            "compensated", "Corrects for temperature by itself", Kind.CHOICE, choices=(("yes", "yes"), ("no", "no")),
            default="yes", part=MORE,
        ),
        Field("division", "One division, in the unit of the reading", low=0, high=100, required=False, part=MORE),
        Field("accuracy", "Accuracy ±, in the unit of the reading", low=0, high=100, required=False, part=MORE),
    ),
    answer=answer,
    examples=(Example("18 °Bx in ethylene glycol mix at 20 °C: about 28 % by mass, ice from −12.7 °C down.", {"base": "ethylene_glycol", "reading": "18", "reading_unit": "°Bx", "sample_temperature": "20", "required": "-10"}),),
    cautions=(
        "The fluid on the prism is the fluid of the system only when the pump has run long enough to mix it.",
        trade.LOCAL,
    ),
)  # fmt: skip
