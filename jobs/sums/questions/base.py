"""What a question is made of: its fields, what was given, and the answer. Page and API are both derived from it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, NamedTuple

from calcs.sources import Source
from calcs.units import Quantity
from calcs.verdict import Verdict
from jobs.sums.curve import Curve
from jobs.sums.units import NONE, Unit, Units


class Kind(StrEnum):
    """What is typed into a field: a number with a unit, one of a list, or lines of readings with the unit of their values."""

    NUMBER = "number"
    CHOICE = "choice"
    READINGS = "readings"


@dataclass(frozen=True)
class Part:
    """A group of fields. Folded away until asked for, when nobody needs it for a first answer."""

    title: str = ""
    is_folded: bool = False


MAIN: Final = Part()
MORE: Final = Part("More, if you know it", is_folded=True)


@dataclass(frozen=True)
class Field:
    """One thing that is asked. `low` and `high` are in the first unit; `when`: the choices of the switch it belongs to."""

    name: str
    label: str
    kind: Kind = Kind.NUMBER
    units: Units = NONE
    low: float | None = None
    high: float | None = None
    choices: tuple[tuple[str, str], ...] = ()
    default: str = ""
    help: str = ""
    required: bool = True
    whole: bool = False
    part: Part = MAIN
    when: frozenset[str] = frozenset()

    @property
    def has_units(self) -> bool:
        """Whether a unit is chosen; a lone unit is only shown."""
        return len(self.units) > 1


class Typed(NamedTuple):
    """A number as it was typed, with its unit."""

    value: float
    unit: Unit


class Series(NamedTuple):
    """Pasted readings: minutes from the first time told, values in one unit."""

    minutes: tuple[float, ...]
    values: tuple[float, ...]
    unit: Unit


Value = Typed | Series | str


class Given:
    """What was typed, checked: numbers as quantities, choices as their codes."""

    def __init__(self, values: Mapping[str, Value]) -> None:
        self._values = values

    def has(self, name: str) -> bool:
        return name in self._values

    def maybe(self, name: str) -> Quantity | None:
        """The quantity of a field that may be left empty."""
        found = self._values.get(name)
        return found.unit.of(found.value) if isinstance(found, Typed) else None

    def quantity(self, name: str, usual: Quantity | None = None) -> Quantity:
        """The quantity of a field; `usual` where it was left empty. Never `or`: a temperature is not true or false."""
        found = self.maybe(name)
        if found is None and usual is None:
            raise KeyError(name)
        return usual if found is None else found  # type: ignore[return-value]  # one of the two is there

    def number(self, name: str) -> float:
        """A bare number: a count, a ratio."""
        return self.typed(name).value

    def typed(self, name: str) -> Typed:
        found = self._values[name]
        if not isinstance(found, Typed):
            raise KeyError(name)
        return found

    def choice(self, name: str) -> str:
        found = self._values.get(name, "")
        return found if isinstance(found, str) else ""

    def series(self, name: str) -> Series:
        found = self._values.get(name)
        return found if isinstance(found, Series) else Series((), (), Unit("", "dimensionless"))


@dataclass(frozen=True)
class Line:
    """One figure of the answer, in the unit it is shown in; `band` is the half-width at about 95 %. `text` where it is words."""

    name: str
    label: str
    value: float | None = None
    unit: str = ""
    places: int = 1
    band: float | None = None
    text: str = ""
    is_main: bool = False


@dataclass(frozen=True)
class Table:
    """Rows of an answer: a name, then figures with so many decimals under their heads."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


class Told(NamedTuple):
    """Where a figure comes from."""

    what: str
    source: Source


@dataclass(frozen=True)
class Answer:
    """What a sum gives back."""

    lines: tuple[Line, ...]
    sources: tuple[Told, ...]
    verdict: Verdict | None = None
    warnings: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    curve: Curve | None = None


class Example(NamedTuple):
    """A worked example: what it says, and what it types."""

    says: str
    given: Mapping[str, str]


@dataclass(frozen=True)
class Question:
    """One sum. `switch` names the choice on which the other fields depend; there is an example for each of its choices."""

    name: str
    title: str
    says: str
    moment: str
    fields: tuple[Field, ...]
    answer: Callable[[Given], Answer]
    examples: tuple[Example, ...]
    cautions: tuple[str, ...] = ()
    switch: str = ""
    by_name: Mapping[str, Field] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "by_name", {each.name: each for each in self.fields})

    @property
    def slug(self) -> str:
        return self.name.replace("_", "-")

    def chosen(self, switched: str) -> str:
        """The choice of the switch, the usual one where none such exists."""
        if not self.switch:
            return ""
        at = self.by_name[self.switch]
        return switched if switched in dict(at.choices) else at.default

    def example_for(self, switched: str) -> Example:
        """The worked example for one choice of the switch."""
        fitting = (each for each in self.examples if each.given.get(self.switch, "") == switched)
        return next(fitting, self.examples[0])

    def fields_for(self, switched: str) -> tuple[Field, ...]:
        """The fields that belong to one choice of the switch."""
        return tuple(each for each in self.fields if not each.when or switched in each.when)


def told(*pairs: tuple[str, Source]) -> tuple[Told, ...]:
    """Sources, each once."""
    return tuple(dict.fromkeys(Told(what, source) for what, source in pairs))
