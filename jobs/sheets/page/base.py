"""What a printed page is made of, and the book that turns the snapshot back into words."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from jobs.visits.kinds import KINDS, Answer, Field, convert

DASH = "–"
ERASED = "(erased)"
LONGEST = 4000
UNBROKEN = re.compile(r"\S{25,}")
STATES = {
    "pass": ("pass", "Pass"),
    "warn": ("warn", "Look"),
    "fail": ("fail", "Fail"),
    "cannot tell": ("unknown", "Cannot tell"),
}
WORST = ("fail", "cannot tell", "warn", "pass")
UNKNOWN = {"not_known": "not known", "not_applicable": "does not apply"}
UNITS = {"degC": "°C", "delta_degC": "K", "": ""}


def soft(text: str) -> str:
    """Lets a long unbroken word break, and caps a note: one endless word would take minutes to set."""
    cut = text if len(text) <= LONGEST else text[:LONGEST] + " … (cut)"
    return UNBROKEN.sub(lambda found: "\u200b".join(re.findall(r".{1,24}", found.group())), cut)


@dataclass(frozen=True)
class Cell:
    """One cell. `state`: the class and word of a state; `red`: went past a rule."""

    text: str = ""
    css: str = ""
    state: str = ""
    unit: str = ""


@dataclass(frozen=True)
class Table:
    columns: Sequence[tuple[str, str]]  # label, css
    rows: Sequence[Sequence[Cell]]
    caption: str = ""
    wide: bool = False


@dataclass(frozen=True)
class Figure:
    """A large numeral with a small unit."""

    label: str
    value: str
    unit: str = ""
    note: str = ""


@dataclass(frozen=True)
class Picture:
    """A photo: where its bytes are, empty when they are not here."""

    src: str
    caption: str
    detail: str = ""


@dataclass(frozen=True)
class Judged:
    """A verdict in words."""

    about: str
    state: str
    word: str
    reason: str
    figures: str = ""
    source: str = ""
    way_out: str = ""


@dataclass(frozen=True)
class Signature:
    name: str
    role: str
    at: str
    svg: str


@dataclass(frozen=True)
class Section:
    """A part of the sheet. Whatever is empty is not printed."""

    code: str
    title: str
    intro: str = ""
    figures: Sequence[Figure] = ()
    svg: str = ""
    svg_note: str = ""
    judged: Sequence[Judged] = ()
    tables: Sequence[Table] = ()
    pictures: Sequence[Picture] = ()
    signatures: Sequence[Signature] = ()
    notes: Sequence[str] = ()
    warnings: Sequence[str] = ()
    split: bool = False  # drawing on the left, the rest beside it


@dataclass(frozen=True)
class Row:
    """One entry of the snapshot, with its answers in words."""

    raw: Mapping[str, Any]
    book: Book

    @property
    def subject(self) -> str:
        return str(self.raw["subject"])

    @property
    def at(self) -> datetime:
        return parse(self.raw["observed_at"])

    @property
    def when(self) -> str:
        return self.book.local(self.at)

    @property
    def by(self) -> str:
        return self.book.person(self.raw["by"])

    @property
    def outcome(self) -> str:
        found = {verdict["outcome"] for verdict in self.raw["verdicts"]}
        return next((outcome for outcome in WORST if outcome in found), "")

    def field(self, name: str) -> Field | None:
        kind = KINDS.get(self.raw["kind"])
        return kind.field_of(name) if kind else None

    def value(self, name: str) -> Any:
        return (self.raw["values"].get(name) or {}).get("value")

    def number(self, name: str, unit: str) -> float | None:
        found = self.raw["values"].get(name) or {}
        try:
            return convert(float(found["value"]), found.get("unit") or unit, unit)
        except (KeyError, TypeError, ValueError):
            return None

    def time(self, name: str) -> datetime | None:
        found = (self.raw["values"].get(name) or {}).get("time")
        return parse(found) if found else None

    def many(self, name: str) -> list[str]:
        value = self.value(name)
        return [str(one) for one in value] if isinstance(value, list) else []

    def shown(self, name: str) -> str:
        """The answer as people read it: as typed, with its unit."""
        found = self.raw["values"].get(name) or {}
        if found.get("unknown"):
            return UNKNOWN.get(str(found["unknown"]), str(found["unknown"]))
        if "time" in found:
            return self.book.local(parse(found["time"]), "%H:%M")
        if "person" in found:
            return self.book.person(found["person"])
        if "instrument" in found:
            return self.book.instrument(found["instrument"])
        return self._plain(name, found)

    def _plain(self, name: str, found: Mapping[str, Any]) -> str:
        value, asked = found.get("value"), self.field(name)
        if value is None:
            return DASH
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, list):
            return ", ".join(str(one) for one in value) or DASH
        if "unit" in found:
            text = (found.get("text") or value).replace("-", "−")
            return f"{text} {found['unit']}" if found["unit"] not in {"", "pcs"} else text
        if asked and asked.answer is Answer.CHOICE:
            return dict(asked.choices).get(str(value), str(value))
        return soft(str(value))

    def words(self, name: str) -> str:
        return self.book.word(f"entries.{self.raw['n']}.{name}") if name in self.raw["words"] else ""


@dataclass(frozen=True)
class Book:
    """Reads a snapshot: entries by kind, names and words from the personal part, times in the zone of the site."""

    facts: Mapping[str, Any]
    personal: Mapping[str, Any] = field(default_factory=dict)
    photos: Mapping[str, str] = field(default_factory=dict)  # sha256 -> where the picture is

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.facts["job"]["time_zone"])

    def local(self, at: datetime, form: str = "%d %b %Y %H:%M") -> str:
        return f"{at.astimezone(self.zone):{form}}"

    def raw_word(self, key: str) -> Any:
        row = self.personal.get("words", {}).get(key)
        return row["value"] if row else None

    def word(self, key: str) -> str:
        """Empty when there was none, told as erased when it was."""
        value = self.raw_word(key)
        if value is None:
            return ERASED if key in self.facts["commitments"] else ""
        return soft(str(value))

    def person(self, code: str) -> str:
        if not code:
            return DASH
        found = self.raw_word(f"people.{code}")
        return soft(str(found["name"])) if found else f"{code} {ERASED}"

    def roles(self, code: str) -> str:
        found = self.raw_word(f"people.{code}")
        return soft(str(found["roles"])) if found else ""

    def rows(self, *kinds: str, subject: str | None = None) -> list[Row]:
        """Current entries of these kinds in order."""
        return [
            Row(raw, self)
            for raw in self.facts["entries"]
            if raw["kind"] in kinds and raw["standing"] == "current" and (subject is None or raw["subject"] == subject)
        ]

    def last(self, kind: str, subject: str | None = None) -> Row | None:
        found = self.rows(kind, subject=subject)
        return found[-1] if found else None

    def row(self, number: str) -> Row | None:
        return next((Row(raw, self) for raw in self.facts["entries"] if raw["n"] == number), None)

    def limit(self, code: str) -> Mapping[str, Any] | None:
        return next((row for row in self.facts["limits"] if row["code"] == code), None)

    def instrument(self, code: str) -> str:
        found = next((row for row in self.facts["instruments"] if row["code"] == code), None)
        return f"{found['name']} {found['serial']}" if found else DASH


def parse(text: str) -> datetime:
    return datetime.fromisoformat(text)


def text(value: object, css: str = "", unit: str = "") -> Cell:
    return Cell(str(value) if value not in (None, "") else DASH, css, unit=unit)


def num(value: object, unit: str = "") -> Cell:
    return text(value, "num", unit)


def outcome(code: str) -> Cell:
    """A verdict as word and shape."""
    state, word = STATES.get(code, ("open", "Logged"))
    return Cell(word, state=state)


def short(value: float | str | None, digits: int = 3) -> str:
    """A computed number to so many significant digits."""
    if value is None or value == "":
        return DASH
    number = float(value)
    shown = f"{number:.0f}" if abs(number) >= 10**digits else f"{float(f'{number:.{digits}g}'):.10g}"
    return shown.replace("-", "−")


def judged(row: Row, about: str = "") -> list[Judged]:
    """The verdicts of an entry in words, with figures and source."""
    return [_judged(verdict, about or f"{row.raw['label']} {row.subject}".strip()) for verdict in row.raw["verdicts"]]


def _judged(verdict: Mapping[str, Any], about: str) -> Judged:
    state, word = STATES.get(verdict["outcome"], ("open", verdict["outcome"]))
    return Judged(
        about=about,
        state=state,
        word=word,
        reason=soft(verdict["reason"]),
        figures="; ".join(_figure(one) for one in verdict["figures"]),
        source=source(verdict["source"], verdict["status"]),
        way_out=verdict["way_out"],
    )


def _figure(one: Mapping[str, Any]) -> str:
    unit = UNITS.get(one["unit"], one["unit"])
    unit = f" {unit}" if unit and unit != "%" else unit
    u = f" ± {short(2 * float(one['u']), 2)}" if one["u"] and float(one["u"]) else ""
    limit = f" (limit {short(one['limit'], 4)}{unit})" if one["limit"] else ""
    return f"{one['name']} {short(one['value'], 4)}{u}{unit}{limit}"


def source(text: str, status: str) -> str:
    """A figure from memory is told as unconfirmed, never as a requirement."""
    if status == "memory":
        return f"{text} (unconfirmed figure, not a requirement)"
    if status in {"common practice", "house default"}:
        return f"{text} ({status})" if text else status
    return text
