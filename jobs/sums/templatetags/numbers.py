"""How numbers are written on pages: a true minus, a dash where there is none, no needless zeros."""

from __future__ import annotations

from typing import Final, Literal, TypeAlias

from django import template

from jobs.sums.parse import shown

register = template.Library()
# A part that could not be computed leaves None, or the empty text of a template that finds nothing behind it.
Number: TypeAlias = float | Literal[""] | None
DASH: Final = "–"


@register.filter
def figure(value: Number, places: int = 1) -> str:
    """A number with so many decimals and a true minus, but none before a zero; a dash where there is none."""
    if value is None or value == "":
        return DASH
    return f"{value:z.{places}f}".replace("-", "−")


@register.filter
def signed(value: Number, places: int = 0) -> str:
    """A deviation: always with its sign."""
    return DASH if value is None or value == "" else f"{value:+z.{places}f}".replace("-", "−")


@register.filter
def minutes(seconds: Number) -> str:
    """A time as minutes and seconds, as a watch shows it: 6:12."""
    if seconds is None or seconds == "":
        return DASH
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"


@register.filter
def plain(value: Number) -> str:
    """A length or diameter as it was entered."""
    return DASH if value is None or value == "" else shown(value).replace("-", "−")
