"""How an answer's lines and a verdict's figures are written on the page of a sum."""

from __future__ import annotations

from math import floor, log10
from typing import Final

from django import template

from calcs.verdict import Figure, Outcome, Verdict
from jobs.sums.errors import minus
from jobs.sums.questions.base import Line
from jobs.sums.templatetags.numbers import DASH, figure

register = template.Library()
MARKS: Final = {Outcome.PASS: "pass", Outcome.WARN: "warn", Outcome.FAIL: "fail", Outcome.CANNOT_TELL: "unknown"}
WORDS: Final = {
    Outcome.PASS: "Pass",
    Outcome.WARN: "Look",
    Outcome.FAIL: "Fail",
    Outcome.CANNOT_TELL: "Cannot tell",
}
UNITS: Final = {"degC": "°C"}


@register.filter
def told(line: Line) -> str:
    return line.text or figure(line.value, line.places)


@register.filter
def band(line: Line) -> str:
    """The half-width with the decimals of its figure, with more where it would round to nothing."""
    if not line.band:
        return figure(line.band, line.places)
    return figure(line.band, max(line.places, min(4, -floor(log10(line.band)))))


register.filter("minus", minus)


@register.filter
def mark(verdict: Verdict) -> str:
    """The class of its shape and colour."""
    return MARKS[verdict.outcome]


@register.filter
def outcome_word(verdict: Verdict) -> str:
    return WORDS[verdict.outcome]


@register.filter
def named(each: Figure) -> str:
    """What the figure is, with the unit of its row."""
    unit = UNITS.get(each.unit, each.unit)
    name = each.name[:1].upper() + each.name[1:]
    return f"{name}, {unit}" if unit else name


@register.filter
def found(each: Figure) -> str:
    """A figure with its band."""
    spread = "" if each.u is None else f" ±{figure(2 * each.u, _places(each))}"
    return f"{figure(each.value, _places(each))}{spread}"


@register.filter
def limit(each: Figure) -> str:
    return DASH if each.limit is None else figure(each.limit, _places(each))


def _places(each: Figure) -> int:
    """Three figures that count, at most three decimals: a limit of 0.03 bar and a heat of 9390 W both stay readable."""
    size = max(abs(each.value), abs(each.limit or 0.0))
    return 3 if size == 0 else min(3, max(0, 2 - floor(log10(size))))
