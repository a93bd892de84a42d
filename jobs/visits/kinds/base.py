"""What a kind of entry is made of: fields, the frozen entry, the facts it is judged with."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Any

from calcs.base import Base
from calcs.sources import Limit
from calcs.verdict import Verdict
from jobs.visits.kinds.cautions import FLAMMABLE
from jobs.visits.kinds.units import convert


class Answer(StrEnum):
    """How a field is answered. `TEXT` and `STROKES` travel in the entry's text and lie in the side row."""

    NUMBER = "number"
    CHOICE = "choice"
    YES = "yes"
    MANY = "many"
    TIME = "time"
    PHOTO = "photo"
    PERSON = "person"
    INSTRUMENT = "instrument"  # a second piece of kit beside the one the entry is read with: the pump
    CODE = "code"  # a short word from a label: lot, serial number
    TEXT = "text"
    STROKES = "strokes"

    @property
    def is_text(self) -> bool:
        return self in {Answer.TEXT, Answer.STROKES}


class Of(StrEnum):
    """For what a kind is logged."""

    JOB = "job"
    LOOP = "loop"
    LOOP_OR_HEADER = "loop_or_header"
    HEADER = "header"
    BOREHOLE = "borehole"
    SECTION = "section"
    JOINT = "joint"
    POINT = "point"  # a joint, a borehole, or a point of its own: a bend, the manifold
    TEST = "test"
    BATCH = "batch"
    SAMPLE = "sample"  # a batch, a loop's return hose, or the system
    SET = "set"
    HOLD_POINT = "hold_point"


# First letter of the codes that a phone mints itself.
MINTED = {Of.JOINT: "J", Of.POINT: "P", Of.TEST: "T", Of.BATCH: "M", Of.SET: "R"}

Range = tuple[float, float]


@dataclass(frozen=True)
class Field:
    """One answer. Ranges are in the first unit; `only_if` names another field and the values that make this one count.

    `good` is the answer of a yes-or-no question that lets the work go on.
    """

    name: str
    label: str
    answer: Answer
    required: bool = True
    units: tuple[str, ...] = ()
    soft: Range | None = None
    hard: Range | None = None
    choices: tuple[tuple[str, str], ...] = ()
    choices_from: tuple[str, ...] = ()
    only_if: tuple[str, tuple[str, ...]] | None = None
    good: bool | None = None
    shot: str = ""
    instrument: str = ""
    shortest: int = 0
    help: str = ""

    def as_json(self) -> dict[str, Any]:
        """For the phone; what is empty is left out."""
        whole: dict[str, Any] = {
            "name": self.name,
            "label": self.label,
            "answer": self.answer.value,
            "required": self.required,
            "units": list(self.units),
            "soft": list(self.soft) if self.soft else None,
            "hard": list(self.hard) if self.hard else None,
            "choices": [list(choice) for choice in self.choices],
            "choices_from": list(self.choices_from),
            "only_if": {"field": self.only_if[0], "values": list(self.only_if[1])} if self.only_if else None,
            "good": self.good,
            "shot": self.shot,
            "instrument": self.instrument,
            "shortest": self.shortest or None,
            "help": self.help,
        }
        return {key: value for key, value in whole.items() if value not in (None, [], "")}


@dataclass(frozen=True)
class Logged:
    """An entry as a kind sees it: frozen, without its database row."""

    id: str
    kind: str
    subject: str
    payload: Mapping[str, Any]
    observed_at: datetime
    recorded_at: datetime
    person: str = ""
    instrument: str = ""

    def value(self, name: str) -> Any:
        """The bare value; None when it was not asked or not answered."""
        found = self.payload.get(name)
        return found.get("value") if isinstance(found, Mapping) else None

    def number(self, name: str, unit: str) -> float | None:
        """The number in `unit`; None when there is none or it was typed in a unit of another kind."""
        value = self.value(name)
        if not isinstance(value, int | float) or isinstance(value, bool):
            return None
        return convert(float(value), str(self.payload[name].get("unit", unit)), unit)

    def unit(self, name: str) -> str:
        """The unit as typed."""
        found = self.payload.get(name)
        return str(found.get("unit", "")) if isinstance(found, Mapping) else ""

    def decimals(self, name: str) -> int:
        """How many decimals were typed."""
        found = self.payload.get(name)
        text = str(found.get("text", "")) if isinstance(found, Mapping) else ""
        return len(text.replace(",", ".").partition(".")[2].strip())

    def yes(self, name: str) -> bool:
        return self.value(name) is True

    def choice(self, name: str) -> str:
        value = self.value(name)
        return value if isinstance(value, str) else ""

    def many(self, name: str) -> tuple[str, ...]:
        value = self.value(name)
        return tuple(str(one) for one in value) if isinstance(value, list) else ()

    def time(self, name: str) -> datetime | None:
        """The time, when it is one with its zone."""
        try:
            found = datetime.fromisoformat(str(self.value(name)))
        except ValueError:
            return None
        return found if found.tzinfo else None


@dataclass(frozen=True)
class Instrument:
    """What a judgement needs to know of an instrument, in its own unit."""

    id: str
    kind: str
    name: str
    unit: str
    resolution: float | None = None
    accuracy: float | None = None
    range_high: float | None = None
    scale: str = ""
    scale_base: str = ""
    suitable_for_flammable: bool = False


@dataclass(frozen=True)
class Fluid:
    """The product and the target of the job."""

    base: str
    concentrate_mass_pct: float
    density_kg_m3: float | None
    target_freezing_c: float
    colour: str = "any"  # empty: no colour, so that the return hose is read instead

    @property
    def burns(self) -> bool:
        """An alcohol mix: ignition, pump and air are then asked about."""
        return Base(self.base).is_alcohol


@dataclass(frozen=True)
class Run:
    """A loop, or the header there and back as `H`."""

    length_m: float
    bore_mm: float
    wall_mm: float
    volume_l: float
    lateral_m: float = 0.0  # the part of a loop between array and manifold, out and back


@dataclass(frozen=True)
class Facts:
    """What is known of a job when one of its entries is judged. `entries` are the current ones in order."""

    numbers: Mapping[str, Any] = field(default_factory=dict)
    limits: Mapping[str, Limit] = field(default_factory=dict)
    fluid: Fluid | None = None
    instruments: Mapping[str, Instrument] = field(default_factory=dict)
    entries: tuple[Logged, ...] = ()
    design: Mapping[str, float | None] = field(default_factory=dict)
    runs: Mapping[str, Run] = field(default_factory=dict)
    scope: Mapping[str, str] = field(default_factory=dict)  # phase -> whose it is, in words, when it is not ours
    fill: str = "loop_by_loop"

    def of(self, kind: str, subject: str | None = None) -> list[Logged]:
        """Current entries of a kind, for one subject when it is given."""
        return [one for one in self.entries if one.kind == kind and (subject is None or one.subject == subject)]

    def latest(self, kind: str, subject: str | None = None) -> Logged | None:
        found = self.of(kind, subject)
        return found[-1] if found else None

    def limit(self, code: str) -> Limit | None:
        return self.limits.get(code)

    def instrument(self, entry: Logged) -> Instrument | None:
        return self.instruments.get(entry.instrument)

    def number(self, *path: str) -> float | None:
        """A figure of the job's numbers, such as `number("volumes", "system_l")`."""
        found: Any = self.numbers
        for name in path:
            found = found.get(name) if isinstance(found, Mapping) else None
        return float(found) if isinstance(found, int | float) and not isinstance(found, bool) else None

    def loop_numbers(self, code: str) -> Mapping[str, Any]:
        return next((loop for loop in self.numbers.get("loops") or () if loop.get("code") == code), {})


@dataclass(frozen=True)
class Target:
    """What a field should come to on this job, in the field's first unit."""

    field: str
    words: str
    low: float | None = None
    high: float | None = None
    unit: str = ""
    source: str = ""

    def as_json(self) -> dict[str, Any]:
        whole = {
            "field": self.field,
            "words": self.words,
            "low": self.low,
            "high": self.high,
            "unit": self.unit,
            "source": self.source,
        }
        return {key: value for key, value in whole.items() if value not in (None, "")}


Judge = Callable[[Facts, Logged], tuple[Verdict, ...]]
Targets = Callable[[Facts, str], tuple[Target, ...]]


def no_verdict(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:  # noqa: ARG001 - the shape of every judge
    """Kinds that only record."""
    return ()


def no_targets(facts: Facts, subject: str) -> tuple[Target, ...]:  # noqa: ARG001 - the shape of every target
    return ()


@dataclass(frozen=True)
class Kind:
    """All there is to know about one kind of entry. Phone form, server check, sheet row and API schema derive from it.

    `repeats`: several entries for one subject are the normal case (readings); else a later one is a second attempt.
    """

    code: str
    label: str
    of: Of
    fields: tuple[Field, ...]
    help: str = ""
    cautions: tuple[str, ...] = ()
    flammable: bool = False  # an open mix is handled: its cautions come first when it burns
    instrument: str = ""
    calc: str = ""
    repeats: bool = False
    roles: tuple[str, ...] = ("crew", "engineer")
    judge: Judge = no_verdict
    targets: Targets = no_targets

    @property
    def names(self) -> frozenset[str]:
        return frozenset(one.name for one in self.fields)

    def cautions_for(self, facts: Facts) -> tuple[str, ...]:
        """The cautions on this job."""
        burns = self.flammable and facts.fluid is not None and facts.fluid.burns and facts.fill != "water_only"
        return (*(FLAMMABLE if burns else ()), *self.cautions)

    def field_of(self, name: str) -> Field | None:
        return next((one for one in self.fields if one.name == name), None)

    def as_json(self) -> dict[str, Any]:
        """For the phone's forms."""
        return {
            "code": self.code,
            "label": self.label,
            "of": self.of.value,
            "mints": MINTED.get(self.of, ""),
            "fields": [one.as_json() for one in self.fields],
            "help": self.help,
            "cautions": list(self.cautions),
            "instrument": self.instrument,
            "calc": self.calc,
            "repeats": self.repeats,
            "roles": list(self.roles),
        }
