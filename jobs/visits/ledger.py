"""The ledger of a job, read once and folded: every entry with its standing, its verdicts, and the state of the work."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from enum import StrEnum
from functools import cached_property
from typing import Any
from uuid import UUID

from calcs.verdict import Outcome, Verdict
from jobs.ground.trade import Plan
from jobs.planning.models import Job
from jobs.visits import given
from jobs.visits.fold import fold
from jobs.visits.judging import outcomes, verdicts_of, worst
from jobs.visits.kinds import KINDS, Facts, Logged
from jobs.visits.models import Entry, Run
from jobs.visits.ordering import in_order, sort_out, strike
from jobs.visits.procedure import TABLE, hold_label, hold_point_of
from jobs.visits.trade import CLOCK_LOST_S, CLOCK_OFF_S, held_words

__all__ = ["HoldPoint", "Ledger", "Line", "Standing", "as_dict", "read", "worst"]


class Standing(StrEnum):
    """How an entry stands. Only what is current counts; the rest stays visible."""

    CURRENT = "current"
    SUPERSEDED = "superseded"
    HELD = "held"
    LEFT_OUT = "left_out"


@dataclass(frozen=True)
class Line:
    """One entry as pages, sheets and the phone show it. `void_for`: subjects for which later work undid it."""

    logged: Logged
    standing: Standing
    person_id: UUID
    person: str
    received_at: datetime
    source: str = "typed"
    supersedes: str = ""
    reason: str = ""
    held: str = ""
    texts: Mapping[str, Any] = field(default_factory=dict)
    superseded_by: tuple[str, ...] = ()
    in_conflict: bool = False
    void_for: tuple[str, ...] = ()
    void_by: str = ""
    overridden_by: str = ""  # id of the override entry, or "office"
    facts: Facts | None = field(default=None, repr=False, compare=False)  # what it is judged with, when it counts
    seq: int = 0
    device: str = ""
    visit: str = ""

    @cached_property
    def verdicts(self) -> tuple[Verdict, ...]:
        """Judged when somebody asks: receiving an entry needs the fold only."""
        return verdicts_of(self.facts, self.logged) if self.facts else ()

    @property
    def id(self) -> str:
        return self.logged.id

    @property
    def kind(self) -> str:
        return self.logged.kind

    @property
    def subject(self) -> str:
        return self.logged.subject

    @property
    def label(self) -> str:
        known = KINDS.get(self.kind)
        return known.label if known else self.kind.replace("_", " ").capitalize()

    @property
    def why(self) -> str:
        """Why it is held, in words."""
        return held_words(self.held) if self.held else ""

    @property
    def outcome(self) -> Outcome | None:
        return worst(self.verdicts)


@dataclass(frozen=True)
class HoldPoint:
    """A hold point of this job for one subject, as things stand."""

    code: str
    label: str
    subject: str
    is_open: bool
    missing: tuple[str, ...]
    overridden_by: str
    not_ours: tuple[str, ...] = ()  # phases that are not ours and count as standing


@dataclass(frozen=True)
class Ledger:
    """All of a job's entries in the order of the work. `folded` is the fold's own result, as the phone has it."""

    lines: tuple[Line, ...]
    folded: Mapping[str, Any]
    facts: Facts
    plan: Plan
    outcomes: Mapping[str, str]
    case: Mapping[str, Any] = field(default_factory=dict)  # `plan` and `given` as the fold had them

    @property
    def current(self) -> tuple[Line, ...]:
        return tuple(line for line in self.lines if line.standing is Standing.CURRENT)

    @property
    def held(self) -> tuple[Line, ...]:
        return tuple(line for line in self.lines if line.standing is Standing.HELD)

    @cached_property
    def by_id(self) -> dict[str, Line]:
        return {line.id: line for line in self.lines}

    def of(self, kind: str, subject: str | None = None) -> list[Line]:
        """Current entries of a kind that happened, for one subject when it is given."""
        happened = [line for line in self.current if line.kind == kind and line.reason != "withdrawn"]
        return [line for line in happened if subject is None or line.subject == subject]

    def has(self, fact: str, subject: str = "") -> bool:
        """Does this fact stand: `has("tested", "S1")`."""
        return subject in self.folded["facts"].get(fact, {})

    def subjects(self, fact: str) -> list[str]:
        """For whom a fact stands."""
        return sorted(self.folded["facts"].get(fact, {}))

    @property
    def hold_points(self) -> list[HoldPoint]:
        return [
            HoldPoint(
                code=row["code"],
                label=hold_label(row["code"]),
                subject=row["subject"],
                is_open=row["open"],
                missing=tuple(row["missing"]),
                overridden_by=row["overridden_by"],
                not_ours=tuple(row["not_ours"]),
            )
            for row in self.folded["hold_points"]
        ]

    @property
    def covered_early(self) -> list[str]:
        """Sections that the crew covered before they were released."""
        return sorted(set(self.folded["covered_early"]))

    @property
    def waits_for(self) -> str:
        """Code of the first hold point whose step is still to do; empty when none is left."""
        for step in self.folded["steps"]:
            if step["to_do"]:
                row = hold_point_of(step["kind"])
                if row and row["each"]:
                    return str(row["code"])
        return ""


def read(job: Job, *, plus: Entry | None = None, plan: Plan | None = None) -> Ledger:
    """The folded ledger; `plus` is an entry that is not in the database yet."""
    plan = plan or given.plan_for(job)
    rows = list(Entry.objects.filter(job=job).select_related("person__user", "text", "decision"))
    if plus is not None:
        rows.append(plus)
    facts = given.facts_of(job, plan)
    entries = [as_dict(row) for row in rows]
    current = _current(entries)
    facts = replace(facts, entries=tuple(_logged(entry) for entry in current if entry["reason"] != "withdrawn"))
    found = outcomes(facts)
    run = Run.objects.filter(job=job).first()
    case = {
        "plan": given.plan_json(plan),
        "entries": entries,
        "outcomes": found,
        "given": given.given_json(job, run, facts, plan),
    }
    folded = fold(case, TABLE)
    told = {name: case[name] for name in ("plan", "given")}
    return Ledger(_lines(rows, current, folded, facts), folded, facts, plan, found, told)


def as_dict(row: Entry) -> dict[str, Any]:
    """An entry for the fold. The time of a phone whose clock is off is put right; what it said itself stays in the row."""
    is_off = CLOCK_OFF_S < abs(row.clock_offset_s) < CLOCK_LOST_S
    off = timedelta(seconds=row.clock_offset_s) if is_off else timedelta()
    decision = getattr(row, "decision", None)
    return {
        "id": str(row.pk),
        "kind": row.kind,
        "subject": row.subject,
        "payload": row.payload,
        "at": (row.observed_at + off).isoformat(),
        "recorded_at": row.recorded_at.isoformat(),
        "person": str(row.person_id),
        "instrument": str(row.instrument or ""),
        "device": str(row.device),
        "seq": row.device_seq,
        "supersedes": str(row.supersedes or ""),
        "reason": row.reason,
        "held": row.held,
        "decision": "" if decision is None else "taken" if decision.taken else "left_out",
    }


def _current(entries: list[dict[str, Any]]) -> list[dict[str, Any]]:
    standing, _, _ = sort_out(entries)
    struck, _ = strike(standing)
    return in_order(standing, struck)


def _logged(entry: Mapping[str, Any]) -> Logged:
    return Logged(
        id=entry["id"],
        kind=entry["kind"],
        subject=entry["subject"],
        payload=entry["payload"],
        observed_at=datetime.fromisoformat(entry["at"]),
        recorded_at=datetime.fromisoformat(entry["recorded_at"]),
        person=entry["person"],
        instrument=entry["instrument"],
    )


def _lines(
    rows: list[Entry], current: list[dict[str, Any]], folded: Mapping[str, Any], facts: Facts
) -> tuple[Line, ...]:
    """Current ones in the order of the work, each followed by what it corrected; then what is held or left out."""
    placed = {entry["id"]: entry for entry in current}
    rank = {key: at for at, key in enumerate(folded["order"])}
    by = {row["entry"]: row["by"] for row in folded["overrides"]}
    made = [_line(row, placed.get(str(row.pk)), folded, facts, by.get(str(row.pk), "")) for row in rows]
    made.sort(key=lambda line: (line.logged.observed_at, rank.get(line.id, -1), line.seq, line.id))
    return tuple(made)


def _line(row: Entry, placed: Mapping[str, Any] | None, folded: Mapping[str, Any], facts: Facts, by: str) -> Line:
    key = str(row.pk)
    logged = _logged(placed or as_dict(row))
    standing = _standing(key, folded)
    void = folded["void"].get(key, {})
    text = getattr(row, "text", None)
    counts = standing is Standing.CURRENT and row.reason != "withdrawn"
    return Line(
        logged=logged,
        standing=standing,
        person_id=row.person_id,
        person=row.person.user.name,
        received_at=row.received_at,
        source=row.source,
        supersedes=str(row.supersedes or ""),
        reason=row.reason,
        held=folded["held"].get(key, ""),
        texts=text.body if text else {},
        superseded_by=tuple(folded["superseded"].get(key, ())),
        in_conflict=bool(row.supersedes) and str(row.supersedes) in folded["conflicts"],
        void_for=tuple(void.get("subjects", ())),
        void_by=void.get("by", ""),
        overridden_by=by,
        facts=facts if counts else None,
        seq=row.device_seq,
        device=str(row.device),
        visit=str(row.visit_id or ""),
    )


def _standing(key: str, folded: Mapping[str, Any]) -> Standing:
    if key in folded["superseded"]:
        return Standing.SUPERSEDED
    if key in folded["held"]:
        return Standing.HELD
    return Standing.LEFT_OUT if key in folded["left_out"] else Standing.CURRENT
