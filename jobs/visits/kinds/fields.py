"""Short makers of the fields that several kinds share."""

from __future__ import annotations

from typing import Any

from jobs.visits.kinds.base import Answer, Field, Range

BAR = ("bar", "kPa", "psi")
CELSIUS = ("°C", "°F")
FLOW = ("L/min", "m³/h", "gpm")
LITRES = ("L", "m³", "gal")
MILLIMETRES = ("mm", "cm", "in")
METRES = ("m", "ft")
SECONDS = ("s", "min")
MINUTES = ("min", "h")


def number(name: str, label: str, units: tuple[str, ...], *, soft: Range, hard: Range, **more: Any) -> Field:
    """A reading. Outside `soft` the phone asks twice; outside `hard` the office looks."""
    return Field(name, label, Answer.NUMBER, units=units, soft=soft, hard=hard, **more)


def yes(name: str, label: str, *, good: bool | None = True, **more: Any) -> Field:
    return Field(name, label, Answer.YES, good=good, **more)


def choice(name: str, label: str, *choices: tuple[str, str], **more: Any) -> Field:
    return Field(name, label, Answer.CHOICE, choices=choices, **more)


def picked(name: str, label: str, *choices_from: str, **more: Any) -> Field:
    """One of this job's loops, sections and so on."""
    return Field(name, label, Answer.CHOICE, choices_from=choices_from, **more)


def time(name: str, label: str, **more: Any) -> Field:
    return Field(name, label, Answer.TIME, **more)


def photo(shot: str, label: str = "Photo", **more: Any) -> Field:
    return Field("photo", label, Answer.PHOTO, shot=shot, **more)


def code(name: str, label: str, **more: Any) -> Field:
    return Field(name, label, Answer.CODE, **more)


def pump() -> Field:
    """With which pump: in a fluid that burns it must be fit for it."""
    return Field("pump", "Pump", Answer.INSTRUMENT, required=False, instrument="pump")


def text(name: str, label: str, **more: Any) -> Field:
    return Field(name, label, Answer.TEXT, **more)


def pressure(name: str, label: str, *, soft: Range, hard: Range, **more: Any) -> Field:
    return number(name, label, BAR, soft=soft, hard=hard, **more)


def fluid_temperature(name: str, label: str, **more: Any) -> Field:
    return number(name, label, CELSIUS, soft=(-10, 25), hard=(-30, 60), **more)


def flow(name: str = "flow", label: str = "Flow", **more: Any) -> Field:
    return number(name, label, FLOW, soft=(5, 200), hard=(0.5, 2000), **more)
