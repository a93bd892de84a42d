"""Typed text into numbers: comma or point, a sign, nothing else. Units come from closed lists, never from the text.

`parse_number` for text, `NumberField` for forms.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal
from typing import Any, ClassVar, Final

from django import forms
from django.core.exceptions import ValidationError

from jobs.firms.errors import Refused

MINUSES: Final = str.maketrans({"−": "-", "–": "-", "\u00a0": " ", "\u202f": " ", "٫": "."})
PLAIN: Final = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)")
GROUPED: Final = re.compile(r"[+-]?\d{1,3}(?P<gap>[ '’])\d{3}((?P=gap)\d{3})*([.,]\d*)?")
LONGEST: Final = 40
FINEST: Final = 15  # decimals; smaller is nothing that a person measures


class NotANumber(Refused):
    """What was typed cannot be read as one number."""


def parse_number(text: str) -> float:
    """The number in `text`: "2,5", "2.5", "−4", "1 200". One comma or point is the decimal mark, whichever it is.

    "1,200.5" and "1.200,5" are refused, not guessed at. Raises `NotANumber`.
    """
    tidy = text.strip().translate(MINUSES)
    if len(tidy) > LONGEST:
        raise NotANumber("That is too long for a number; type digits with one comma or point.")
    if not tidy:
        raise NotANumber("Type a number.")
    if not (PLAIN.fullmatch(tidy) or GROUPED.fullmatch(tidy)) or not tidy.isascii():
        raise NotANumber(f"“{text.strip()}” is not a number; type digits with one comma or point, such as 2,5.")
    return float(re.sub(r"[ '’]", "", tidy).replace(",", "."))


def decimals(text: str) -> int:
    """How many decimals were typed: what was read off the instrument."""
    tidy = text.strip().translate(MINUSES).replace(",", ".")
    return len(tidy.partition(".")[2])


def shown(value: float) -> str:
    """A number as it is written back into a field: no needless zeros, no power of ten, so that it can be read again."""
    text = f"{round(value, FINEST):z.10g}"
    return format(Decimal(text), "f") if "e" in text else text


class NumberField(forms.Field):
    """A number typed with comma or point, in the one unit that stands beside the field."""

    widget = forms.TextInput
    default_error_messages: ClassVar[dict[str, Any]] = {"required": "Type a number."}

    def __init__(
        self, *, unit: str = "", low: float | None = None, high: float | None = None, whole: bool = False, **kwargs: Any
    ) -> None:
        self.unit, self.low, self.high, self.whole = unit, low, high, whole
        super().__init__(**kwargs)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:  # noqa: ARG002 - the shape of the base class
        return {"inputmode": "numeric" if self.whole else "decimal", "autocomplete": "off"}

    def prepare_value(self, value: Any) -> Any:
        return shown(value) if isinstance(value, int | float) else value

    def to_python(self, value: Any) -> float | int | None:
        if value in self.empty_values or not str(value).strip():
            return None
        try:
            number = parse_number(str(value))
        except NotANumber as error:
            raise ValidationError(str(error)) from None
        if self.whole:
            if number != int(number):
                raise ValidationError("Give a whole number.")
            return int(number)
        return number

    def validate(self, value: Any) -> None:
        super().validate(value)
        if value is None:
            return
        low, high = -math.inf if self.low is None else self.low, math.inf if self.high is None else self.high
        if not low <= value <= high:
            raise ValidationError(f"Give a value {self._range()}.")

    def _range(self) -> str:
        unit = f" {self.unit}" if self.unit else ""
        if self.low is None or self.high is None:
            edge = self.high if self.low is None else self.low
            return f"of {'at most' if self.low is None else 'at least'} {shown(edge or 0.0)}{unit}"
        return f"from {shown(self.low)} to {shown(self.high)}{unit}".replace("-", "−")
