"""The form of a sum, made from its question. The API sends what it got through the same form, so both say the same."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import inf, isfinite
from typing import Any, Final, NamedTuple

from django import forms

from calcs.errors import CalcError
from jobs.sums import units
from jobs.sums.errors import Mistake, minus, sentence
from jobs.sums.parse import NumberField, shown
from jobs.sums.questions.base import Answer, Field, Given, Kind, Part, Question, Series, Typed, Value
from jobs.sums.readings import parse_readings

# So many lines of readings still fit into an address; the API takes more.
ON_PAGE: Final = 100
BY_API: Final = 2000
LONGEST_LINE: Final = 40


class Row(NamedTuple):
    """One field on the page, with the choice of its unit where there is one."""

    field: forms.BoundField
    unit: forms.BoundField | None
    lone_unit: str


class Group(NamedTuple):
    """A part of the form; open when something in it is filled or wrong."""

    part: Part
    rows: list[Row]
    is_open: bool


class SumForm(forms.Form):
    """Every field of a question, each with its unit. Unbound it shows `initial`; after `work_out` it has an answer."""

    def __init__(
        self, question: Question, data: Mapping[str, str] | None = None, *, initial: Mapping[str, str], at_most: int
    ) -> None:
        self.question, self.at_most = question, at_most
        self.result: Answer | None = None
        self.given: dict[str, Value] = {}
        self.switched = question.chosen((initial if data is None else data).get(question.switch, ""))
        self.asked = question.fields_for(self.switched)
        super().__init__(None if data is None else {**self._usual(), **data}, initial=dict(initial))
        for each in self.asked:
            self.fields[each.name] = self._field(each)
            if each.has_units:
                self.fields[unit_name(each.name)] = _unit_field(each)

    def _usual(self) -> dict[str, str]:
        """What is left out takes its usual value; what was emptied by hand stays empty."""
        return {each.name: each.default for each in self.asked if each.default}

    def _field(self, each: Field) -> forms.Field:
        common: dict[str, Any] = {
            "label": each.label, "help_text": each.help, "required": each.required, "initial": each.default,
        }  # fmt: skip
        if each.kind is Kind.CHOICE:
            # One that is left out takes the usual choice; a wrong one is told.
            return forms.ChoiceField(choices=each.choices, **{**common, "required": False})
        if each.kind is Kind.READINGS:
            wide = forms.Textarea(attrs={"rows": 8, "autocomplete": "off", "spellcheck": "false"})
            longest = self.at_most * LONGEST_LINE
            messages = {"required": "Paste the readings."}
            return forms.CharField(widget=wide, max_length=longest, error_messages=messages, **common)
        return NumberField(whole=each.whole, **common)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        for each in self.asked:
            unit = self._unit(each, data)
            value = data.get(each.name)
            if each.kind is Kind.CHOICE:
                self.given[each.name] = value or each.default
            elif unit is not None and value not in {None, ""}:
                self._take(each, value, unit)
        return data

    def _unit(self, each: Field, data: Mapping[str, Any]) -> units.Unit | None:
        """The unit chosen; a wrong one is told at its number, which is where a person looks."""
        if not each.has_units:
            return each.units[0]
        name = unit_name(each.name)
        if name in self.errors:
            del self.errors[name]
            known = ", ".join(unit.code for unit in each.units)
            self.add_error(each.name, f"Choose one of these units: {known}.")
            return None
        return units.named(each.units, data.get(name) or each.units[0].code)

    def _take(self, each: Field, value: Any, unit: units.Unit) -> None:
        try:
            if each.kind is Kind.READINGS:
                minutes, values = parse_readings(value, at_most=self.at_most)
                self.given[each.name] = Series(minutes, values, unit)
            else:
                check_range(each, float(value), unit)
                self.given[each.name] = Typed(float(value), unit)
        except Mistake as mistake:
            self.add_error(each.name, str(mistake))

    def work_out(self) -> Answer | None:
        """The answer, or None with a sentence at the field that is wrong."""
        if not self.is_valid():
            return None
        try:
            self.result = self.question.answer(Given(self.given))
        except Mistake as mistake:
            self.add_error(mistake.field if mistake.field in self.fields else None, str(mistake))
        except CalcError as error:
            self.add_error(None, sentence(error))
        return self.result

    @property
    def switch_field(self) -> Field:
        """The choice on which the other fields depend."""
        return self.question.by_name[self.question.switch]

    def groups(self) -> list[Group]:
        """The fields under their parts, for the page."""
        found: dict[Part, list[Row]] = {}
        for each in self.asked:
            if each.name != self.question.switch:
                unit = self[unit_name(each.name)] if each.has_units else None
                found.setdefault(each.part, []).append(Row(self[each.name], unit, each.units[0].shown))
        return [Group(part, rows, self._is_open(part)) for part, rows in found.items()]

    def _is_open(self, part: Part) -> bool:
        inside = [each for each in self.asked if each.part == part]
        # A draft that comes back unchanged is no reason to unfold.
        return not part.is_folded or any(
            each.name in self.errors or (self[each.name].value() or "") not in {"", each.default} for each in inside
        )

    def kept(self) -> Iterator[tuple[str, str]]:
        """What was typed for another choice of the switch: carried along, so that going back loses nothing."""
        source = self.data if self.is_bound else self.initial
        for each in self.question.fields:
            if each not in self.asked:
                yield from ((name, source[name]) for name in (each.name, unit_name(each.name)) if source.get(name))

    def typed(self) -> Iterator[tuple[str, str]]:
        """What was given, in words: for paper, where the form is left out."""
        for each in self.asked:
            value = self.given.get(each.name)
            if isinstance(value, Typed):
                yield each.label, minus(f"{shown(value.value)} {value.unit.shown}".strip())
            elif isinstance(value, Series):
                pairs = zip(value.minutes, value.values, strict=True)
                told = ", ".join(f"{minute:.4g} min {shown(reading)}" for minute, reading in pairs)
                yield f"{each.label}, {value.unit.shown}", minus(told)
            elif value and each.kind is Kind.CHOICE:
                yield each.label, dict(each.choices)[value]


def unit_name(name: str) -> str:
    return f"{name}_unit"


def _unit_field(each: Field) -> forms.ChoiceField:
    pairs = [(unit.code, unit.shown) for unit in each.units]
    select = forms.Select(attrs={"aria-label": f"Unit of: {each.label}"})
    return forms.ChoiceField(choices=pairs, required=False, initial=each.units[0].code, widget=select)


def check_range(each: Field, value: float, unit: units.Unit) -> None:
    """Ranges are told in the unit that was chosen. Raises `Mistake`."""
    usual = each.units[0]

    def here(limit: float | None, without: float) -> float:
        return without if limit is None else float(f"{float(usual.of(limit).m_as(unit.pint)):.4g}")

    low, high = here(each.low, -inf), here(each.high, inf)
    if not isfinite(value) or not low <= value <= high:
        raise Mistake(minus(f"Give a value {_range(low, high)} {unit.shown}".rstrip() + "."), each.name)


def _range(low: float, high: float) -> str:
    if isfinite(low) and isfinite(high):
        return f"from {shown(low)} to {shown(high)}"
    return f"of at least {shown(low)}" if isfinite(low) else f"of at most {shown(high)}"
