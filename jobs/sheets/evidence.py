"""All that a sheet rests on, as frozen plain data: what was ordered, what lies in the ground, what was logged and judged.

The checks, the facts and the printed page read this and nothing else.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Any
from uuid import UUID

from calcs.sources import Limit
from calcs.verdict import Outcome, Verdict
from jobs.planning.trade import NotOurs
from jobs.visits.kinds import KINDS, Logged


class Standing(StrEnum):
    """How an entry stands. Only what is current counts; the rest stays visible."""

    CURRENT = "current"
    SUPERSEDED = "superseded"
    VOID = "void"
    HELD = "held"


@dataclass(frozen=True)
class Item:
    """One entry with its standing, its side texts and what was said about it."""

    entry: Logged
    standing: Standing = Standing.CURRENT
    texts: Mapping[str, Any] = field(default_factory=dict)
    supersedes: str = ""
    reason: str = ""  # why it supersedes, as a code
    source: str = "typed"
    why: str = ""  # why it is held or void, in words
    overridden_by: str = ""  # id of the override that made it count
    verdicts: tuple[Verdict, ...] = ()
    device: str = ""
    void_for: tuple[str, ...] = ()  # of what a test covers: for which later work undid it

    @property
    def id(self) -> str:
        return self.entry.id

    @property
    def kind(self) -> str:
        return self.entry.kind

    @property
    def subject(self) -> str:
        return self.entry.subject

    @property
    def at(self) -> datetime:
        return self.entry.observed_at

    @property
    def label(self) -> str:
        """What people call this kind of entry."""
        known = KINDS.get(self.kind)
        return known.label if known else self.kind.replace("_", " ").capitalize()

    @property
    def name(self) -> str:
        """Kind and subject as people say them."""
        return f"{self.label} {self.subject}".strip()

    @property
    def starts_at(self) -> datetime:
        """When the step began: a time that was logged as its start, else the time of the entry."""
        return self.entry.time("started") or self.at

    @property
    def ends_at(self) -> datetime:
        times = [self.entry.time(name) for name in ("ended", "full_colour", "ended_at")]
        return next((time for time in times if time), self.at)

    @property
    def outcome(self) -> Outcome | None:
        """The worst of its verdicts; none when it is only a record."""
        order = (Outcome.FAIL, Outcome.CANNOT_TELL, Outcome.WARN, Outcome.PASS)
        found = {verdict.outcome for verdict in self.verdicts}
        return next((outcome for outcome in order if outcome in found), None)

    def pump(self) -> str:
        """The pump, by id; empty when none is named or what is named is no id."""
        try:
            return str(UUID(self.entry.choice("pump")))
        except ValueError:
            return ""

    def photos(self) -> tuple[str, ...]:
        return self.entry.many("photo") + self.entry.many("gauge")


@dataclass(frozen=True)
class Person:
    """Somebody who logged, signed or answered."""

    id: str
    name: str
    roles: str


@dataclass(frozen=True)
class Kit:
    """An instrument with its calibration."""

    id: str
    kind: str
    name: str
    serial: str
    unit: str
    range_high: float | None = None
    resolution: float | None = None
    accuracy: float | None = None
    scale: str = ""
    scale_base: str = ""
    calibration_due: str = ""  # ISO date

    def __str__(self) -> str:
        return f"{self.name} {self.serial}"


@dataclass(frozen=True)
class Hold:
    """A hold point of this job: whether it is open, what keeps it closed, who passed it, and whether against the rule."""

    code: str
    title: str
    subject: str = ""
    released: bool = False
    missing: tuple[str, ...] = ()
    step: str = ""  # id of the first entry that stands past it
    override: str = ""  # id of the override entry, or `office`


@dataclass(frozen=True)
class Arrival:
    """What could only be judged when an entry was received, stored then."""

    entry: str
    code: str
    value: float | None = None


@dataclass(frozen=True)
class Reuse:
    """A photo that also stands elsewhere."""

    sha256: str
    where: str


@dataclass(frozen=True)
class Ordered:
    """What was ordered and designed, as plain numbers with the unit in the name."""

    number: int
    title: str
    customer: str
    site: str
    address: str
    time_zone: str
    firm: str
    design: Mapping[str, Any] = field(default_factory=dict)
    rule_set: str = ""
    method: str = ""


@dataclass(frozen=True)
class Array:
    """What is in the ground by plan; rows of plain values."""

    loops: tuple[Mapping[str, Any], ...] = ()
    boreholes: tuple[Mapping[str, Any], ...] = ()
    sections: tuple[Mapping[str, Any], ...] = ()
    header: Mapping[str, Any] = field(default_factory=dict)
    manifold: Mapping[str, Any] = field(default_factory=dict)
    svg: str = ""

    @property
    def loop_codes(self) -> tuple[str, ...]:
        return tuple(str(loop["code"]) for loop in self.loops)

    @property
    def section_codes(self) -> tuple[str, ...]:
        return tuple(str(section["code"]) for section in self.sections)


@dataclass(frozen=True)
class Evidence:
    """One job at one version. `items` are all entries in the order in which they were observed."""

    ordered: Ordered
    array: Array = field(default_factory=Array)
    numbers: Mapping[str, Any] = field(default_factory=dict)
    limits: Mapping[str, Limit] = field(default_factory=dict)
    limit_labels: Mapping[str, str] = field(default_factory=dict)
    kit: Mapping[str, Kit] = field(default_factory=dict)
    people: Mapping[str, Person] = field(default_factory=dict)
    items: tuple[Item, ...] = ()
    holds: tuple[Hold, ...] = ()
    passed: Mapping[str, str] = field(default_factory=dict)  # subject -> id of the end of its passed test
    arrivals: tuple[Arrival, ...] = ()
    photos_here: frozenset[str] = frozenset()
    reused: tuple[Reuse, ...] = ()
    waiting_phones: int = 0
    unread_items: int = 0
    version: int = 0
    scope: Mapping[str, NotOurs] = field(default_factory=dict)  # phases that are not ours
    fill: str = "loop_by_loop"

    def ours(self, phase: str) -> bool:
        return phase not in self.scope

    def of(self, kind: str, subject: str | None = None) -> list[Item]:
        """What counts of a kind, in order."""
        return [item for item in self.current if item.kind == kind and (subject is None or item.subject == subject)]

    def last(self, kind: str, subject: str | None = None) -> Item | None:
        found = self.of(kind, subject)
        return found[-1] if found else None

    @property
    def current(self) -> Iterator[Item]:
        return (item for item in self.items if item.standing is Standing.CURRENT)

    def item(self, id: str) -> Item | None:  # noqa: A002
        return next((item for item in self.items if item.id == id), None)

    def limit(self, code: str) -> float | None:
        found = self.limits.get(code)
        return found.value if found else None

    def passed_test_of(self, subject: str) -> Item | None:
        """The end of the pressure test by which this stands as tested, voids taken into account."""
        return self.item(self.passed[subject]) if subject in self.passed else None

    @property
    def volume_l(self) -> float | None:
        """Contents of the whole system by plan."""
        found = (self.numbers.get("volumes") or {}).get("system_l")
        return float(found) if isinstance(found, int | float) else None

    def loop_numbers(self, code: str) -> Mapping[str, Any]:
        """The design numbers of one loop; empty when there are none."""
        rows = self.numbers.get("loops") or ()
        return next((row for row in rows if row.get("code") == code), {})
