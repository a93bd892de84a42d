"""The quick sums of the phone: what each asks, and what to beware of. The phone works them out itself, with no signal."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Final

from calcs.base import Base
from jobs.sums.tables import sums_json
from jobs.visits.kinds import cautions
from jobs.visits.kinds.base import Answer, Field
from jobs.visits.kinds.fields import CELSIUS, FLOW, LITRES, METRES, MILLIMETRES, choice, flow, number, pressure, time
from jobs.visits.kinds.purge import RESIDUAL
from jobs.visits.kinds.strength_reading import SCALES

CLOCK: Final = ("min", "s", "h")
# A strength is never a bare per cent: by its freezing point, by mass, or by final volume.
STRENGTH: Final = ("°C", "°F", "mass %", "vol %")
FROST: Final = {"soft": (-40.0, -3.0), "hard": (-80.0, 0.0)}
SEQUENCES: Final = ("en805_a27_2000", "w400_2_2022")
BASES: Final = tuple((base.value, base.label.capitalize()) for base in Base if base is not Base.WATER)


Phase = tuple[str, str, str]


@dataclass(frozen=True)
class Question:
    """One quick sum. `sources` are areas of the limits it is judged by; `goes_on` when its answer changes with the clock.

    `phases`: by method, the series of readings it asks for as code, heading and help.
    """

    code: str
    label: str
    group: str
    help: str
    fields: tuple[Field, ...]
    cautions: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    phases: Mapping[str, tuple[Phase, ...]] = field(default_factory=dict)
    goes_on: bool = False

    def as_json(self) -> dict[str, Any]:
        told = sums_json()["sources"]
        series = {"phases": self.phases, "reading": [each.as_json() for each in READING]} if self.phases else {}
        return series | {
            "code": self.code,
            "label": self.label,
            "group": self.group,
            "line": self.help.split(". ")[0].rstrip(".") + ".",
            "help": self.help,
            "fields": [each.as_json() for each in self.fields],
            "cautions": list(self.cautions),
            "sources": {area: told[area] for area in self.sources},
            "goes_on": self.goes_on,
        }


READING = (
    number("minutes", "Minutes", ("min", "h"), soft=(0, 480), hard=(0, 10000)),
    pressure("pressure", "Pressure", soft=(0.5, 16), hard=(0, 30)),
)
OD = number("od", "Pipe, outside diameter", MILLIMETRES, soft=(20, 125), hard=(8, 630), help="Printed on the pipe.")
WALL = number("wall", "Pipe, wall", MILLIMETRES, soft=(1.8, 12), hard=(0.5, 60), help="Printed on the pipe.")
LENGTH = number("length", "Length of pipe", METRES, soft=(5, 500), hard=(0.1, 20000), help="There and back.")
PIPE = (OD, WALL)
FLUID = choice("fluid", "Fluid", *BASES)
IN_SEQUENCE: Final = ("method", SEQUENCES)


def _optional_length(label: str, text: str) -> Field:
    return number("length", label, METRES, soft=(5, 500), hard=(0.1, 20000), required=False, help=text)


def _minutes(name: str, label: str, units: tuple[str, ...] = CLOCK, **more: Any) -> Field:
    return number(name, label, units, soft=(0, 240), hard=(0, 2880), **more)


REFRACTOMETER = Question(
    "refractometer",
    "Refractometer",
    "Fluid",
    "From a reading to strength and freezing point. Zero it with clean water first; let the sample come near 20 °C.",
    (
        FLUID,
        choice("scale", "Scale that was read", *SCALES.items()),
        number("brix", "Reading", ("°Bx",), soft=(5, 40), hard=(0, 60), only_if=("scale", ("brix",))),
        number(
            "degrees",
            "Reading",
            CELSIUS,
            soft=(-45, -3),
            hard=(-60, 0),
            only_if=("scale", tuple(scale for scale in SCALES if scale != "brix")),
        ),
        number("sample_temperature", "Sample temperature", CELSIUS, soft=(5, 35), hard=(0, 60)),
        number("wanted", "Must be safe down to", CELSIUS, **FROST, required=False),
    ),
    cautions=cautions.FLUID[:1],
    sources=("frost",),
)

LITRES_TO_ADD = Question(
    "litres",
    "Litres to add",
    "Fluid",
    "What brings a mix to its strength: in a filled system, or on top of a bin that has room.",
    (
        choice("where", "Where", ("system", "A filled system"), ("bin", "A bin with room")),
        FLUID,
        number("volume", "How much is in it", LITRES, soft=(20, 3000), hard=(1, 1e6)),
        number("measured", "Measured", STRENGTH, **FROST, help="As freezing point or as strength."),
        number("target", "Wanted", STRENGTH, **FROST, help="As freezing point or as strength."),
        number(
            "concentrate",
            "Strength of the concentrate",
            ("mass %",),
            soft=(20, 100),
            hard=(1, 100),
            required=False,
            help="From its label. Without it: pure, or the strongest solution of a salt.",
        ),
    ),
    cautions=cautions.FLUID,
)

CHANGEOVER = Question(
    "changeover",
    "Changeover",
    "Filling",
    "When colour is due at the return hose, what another time means, and the length of pipe it stands for.",
    (
        *PIPE,
        flow(),
        _optional_length("Length by the drawing", "There and back."),
        choice("fluid", "Fluid that goes in", ("water", "Water"), *BASES, required=False),
        number("strength", "Its strength", STRENGTH, **FROST, only_if=("fluid", tuple(base for base, _ in BASES))),
        _minutes("first_colour", "First colour seen after", required=False),
        _minutes("full_colour", "Full colour seen after", required=False),
    ),
    cautions=(*cautions.FLUID[:1], *cautions.HOSE),
    sources=("changeover",),
)

PURGE = Question(
    "purge",
    "Purge velocity",
    "Filling",
    "How fast the water moves in the pipe, and the flow that carries the air out.",
    (
        *PIPE,
        flow(),
        number(
            "loops", "Loops open at once", ("pcs",), soft=(1, 20), hard=(1, 1000), required=False, help="None: one."
        ),
        _minutes("minutes", "Time since the last bubble", required=False),
        _optional_length("Length of one loop", "There and back; for how often the volume went round."),
        _minutes("ran", "Time the pump ran in all", required=False),
    ),
    cautions=cautions.HOSE,
    sources=("purge",),
)

AIR = Question(
    "air",
    "Residual air",
    "Filling",
    "Shut the return slowly with the pump running and see how far the level falls.",
    (
        number("volume", "What the circuit holds", LITRES, soft=(20, 3000), hard=(1, 1e6)),
        *PIPE,
        *(each for each in RESIDUAL.fields if each.answer is Answer.NUMBER),
    ),
    cautions=cautions.HOSE,
    sources=("residual_air",),
)

VOLUME = Question(
    "volume",
    "Pipe volume",
    "Pipe",
    "What pipe holds, and how long one turn of it takes.",
    (
        *PIPE,
        LENGTH,
        number("count", "How many of them", ("pcs",), soft=(1, 50), hard=(1, 10000), required=False, help="None: one."),
        number("flow", "Flow through all together", FLOW, soft=(5, 200), hard=(0.5, 2000), required=False),
    ),
)

SHUT: Final = (
    "shut",
    "Readings",
    "The first at the moment of shutting, one near half time, one at the end. Minutes since shutting.",
)
DECAYING: Final = (
    "shut",
    "Readings",
    "At one, seven and fifteen times the time it took to raise the pressure. Minutes since shutting.",
)
IN_TWO: Final = (
    ("rest", "Rest phase", "Pump shut off. Minutes since it was shut."),
    ("main", "Main phase", "Minutes since the let-down, the first right after it."),
)

TEST = Question(
    "test",
    "Pressure test",
    "Pipe",
    "From the readings to the fall or slope they make, and a word on it. Test with water only. What counts is a test that is logged.",
    (
        choice(
            "method",
            "Method",
            ("short_tightness", "Short tightness check"),
            ("en805_a27_2000", "EN 805:2000 clause A.27"),
            ("w400_2_2022", "Contraction method, W 400-2:2022"),
            ("type_ii", "Decay test, two slopes"),
        ),
        choice(
            "restraint",
            "The pipe lies",
            ("free", "Free in the trench"),
            ("backfilled", "Covered and compacted"),
            ("grouted", "Grouted"),
            ("unknown", "Partly each, or not known"),
        ),
        pressure("resolution", "Smallest step of the gauge", soft=(0.005, 0.2), hard=(0.0001, 2)),
        pressure("test_pressure", "Test pressure at the gauge", soft=(3, 16), hard=(0.2, 25), only_if=IN_SEQUENCE),
        _minutes("loading", "Time it took to raise the pressure", ("min", "s")),
        _minutes(
            "hold",
            "Held by pumping before it was shut",
            ("min", "h"),
            only_if=("method", ("short_tightness", *SEQUENCES)),
        ),
        number("od", OD.label, MILLIMETRES, soft=(20, 125), hard=(8, 630), only_if=IN_SEQUENCE, help=OD.help),
        number("wall", WALL.label, MILLIMETRES, soft=(1.8, 12), hard=(0.5, 60), only_if=IN_SEQUENCE, help=WALL.help),
        number("volume", "What the pipe under test holds", LITRES, soft=(20, 3000), hard=(1, 1e6), only_if=IN_SEQUENCE),
        number(
            "held",
            "What the pipe under test holds",
            LITRES,
            soft=(20, 3000),
            hard=(1, 1e6),
            required=False,
            only_if=("method", ("short_tightness",)),
            help="For the size of a leak.",
        ),
        number("bled", "Water let out at the let-down", LITRES, soft=(0, 5), hard=(0, 1000), only_if=IN_SEQUENCE),
    ),
    cautions=cautions.PRESSURE,
    sources=("short_tightness", *SEQUENCES, "type_ii"),
    phases={"short_tightness": (SHUT,), "type_ii": (DECAYING,)} | dict.fromkeys(SEQUENCES, IN_TWO),
)

FROM_LABEL: Final = (
    "From the fitting's label, the table of the machine or the maker's sheet. It comes before any table here."
)

JOINT = Question(
    "joint",
    "Joint cooling",
    "Pipe",
    "When a joint may be moved, and when it may be put under pressure.",
    (
        choice(
            "method", "Method", ("socket", "Socket fusion"), ("butt", "Butt fusion"), ("electrofusion", "Electrofusion")
        ),
        number(
            "od", OD.label, MILLIMETRES, soft=(20, 125), hard=(8, 630), only_if=("method", ("socket",)), help=OD.help
        ),
        _minutes("move", "Label says: not moved for", ("min", "s"), required=False, help=FROM_LABEL),
        _minutes("pressurise", "Label says: no pressure for", ("min", "h"), required=False, help=FROM_LABEL),
        time("ended", "Fusion ended at"),
    ),
    cautions=cautions.FUSION,
    sources=("joint",),
    goes_on=True,
)

QUESTIONS: Final = (REFRACTOMETER, LITRES_TO_ADD, CHANGEOVER, PURGE, AIR, VOLUME, TEST, JOINT)


@lru_cache(maxsize=1)
def quick_sums_json() -> dict[str, Any]:
    """Questions and tables for the work pack; the same for everybody. The sources go with the questions."""
    tables = {name: table for name, table in sums_json().items() if name != "sources"}
    return {**tables, "questions": [question.as_json() for question in QUESTIONS]}
