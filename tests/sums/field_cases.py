"""What people type into number fields, right and wrong: used on every number field of every form."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django import forms

from jobs.sums.parse import NumberField

# Typed, and why it is no number of ours. Other scripts' digits are refused: parse and phone read ASCII only.
WRONG = (
    "deep", "1,200.5", "1.200,5", "12 m", "1e3", "--4", "²", "٣", "１２", "½", "0x1F", "NaN", "∞", "9" * 41, "1;2",
    "<script>", "=1+1",
)  # fmt: skip


def number_fields(form: forms.Form) -> Iterator[tuple[str, NumberField]]:
    for name, field in form.fields.items():
        if isinstance(field, NumberField):
            yield name, field


def inside(field: NumberField) -> float:
    """A value in the field's range with one decimal, or a whole one."""
    low = 0.0 if field.low is None else field.low
    high = low + 10 if field.high is None else field.high
    middle = low + (high - low) / 4
    return float(round(middle)) if field.whole else max(round(middle, 1), low)


def ways_to_type(value: float) -> dict[str, float]:
    """One number as people in different countries type it."""
    point = f"{value:.1f}"
    return {
        point: float(point),
        point.replace(".", ","): float(point),
        f"  {point} ": float(point),
        point.replace("-", "−"): float(point),
        f"\u00a0{point}": float(point),
    }


def outside(field: NumberField) -> list[str]:
    """Just past either end of the range, and far past."""
    found = []
    if field.low is not None:
        found += [f"{field.low - (1 if field.whole else 0.001):.6f}".rstrip("0").rstrip("."), "-99999999"]
    if field.high is not None:
        found += [f"{field.high + (1 if field.whole else 0.001):.6f}".rstrip("0").rstrip("."), "9" * 30]
    return found


def errors_of(field: NumberField, typed: str) -> list[str]:
    try:
        field.clean(typed)
    except forms.ValidationError as error:
        return list(error.messages)
    return []


def complaints(form: forms.Form) -> dict[str, Any]:
    """Everything about the number fields of a form that is not as it should be."""
    wrong: dict[str, Any] = {}
    for name, field in number_fields(form):
        right = {typed: want for typed, want in ways_to_type(inside(field)).items() if field.clean(typed) != want}
        edges = [edge for edge in (field.low, field.high) if edge is not None and field.clean(f"{edge:.6f}") != edge]
        refused = [*WRONG, *outside(field), *(["1,5"] if field.whole else [])]
        told = {typed: errors_of(field, typed) for typed in refused}
        silent = {typed: said for typed, said in told.items() if len(said) != 1 or not said[0].endswith(".")}
        empty = errors_of(field, "   ")
        expected_empty = ["Type a number."] if field.required else []
        if right or edges or silent or empty != expected_empty:
            wrong[name] = (right, edges, silent, empty)
    return wrong
