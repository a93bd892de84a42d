"""The snapshot that is signed: canonical JSON of what was ordered, observed, judged and answered, and its hash.

No row ids, no times of receipt, nothing of the transport: the same job gives the same bytes. Every number is a string
with its unit. Names and free words lie apart and enter only as salted commitments, so that a person can be erased and
the sheet still be verified.
"""

from __future__ import annotations

import hashlib
import hmac
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import rfc8785

from calcs.verdict import Verdict
from jobs.sheets.curves import curves
from jobs.sheets.evidence import Evidence, Item, Kit, Person
from jobs.visits.kinds import KINDS, Answer, Field

SCHEMA = "1"
Json = dict[str, Any]


@dataclass(frozen=True)
class Answered:
    """A finding as it stood at approval."""

    code: str
    severity: str
    text: str
    subject: str = ""
    field: str = ""
    entries: tuple[str, ...] = ()
    answer: str = ""
    waived: bool = False
    by: Person | None = None


@dataclass(frozen=True)
class Approval:
    """Who signs the sheet and what the snapshot is bound to. `key` is secret and salts the commitments."""

    revision: int
    by: Person
    at: datetime
    submitted_by: Person
    submitted_at: datetime
    key: str
    self_reviewed: bool = False
    previous_hash: str = ""
    reason: str = ""  # why this revision was opened
    findings: tuple[Answered, ...] = ()


@dataclass(frozen=True)
class Snapshot:
    """`text` is what is hashed. `personal` holds names and words with their salts, by the keys of the commitments."""

    text: str
    personal: Json
    hash: str = field(default="")

    @property
    def facts(self) -> Json:
        found: Json = json.loads(self.text)
        return found


def snapshot(seen: Evidence, approval: Approval) -> Snapshot:
    """Pure and deterministic: equal arguments give equal bytes."""
    book = _Book(approval.key)
    facts = {
        "schema": SCHEMA,
        "revision": str(approval.revision),
        "previous": approval.previous_hash,
        "job": _job(seen, book),
        "design": _numbers(seen.ordered.design),
        "fill": seen.fill,
        "scope": _scope(seen, book),
        "array": _array(seen),
        "numbers": _numbers(seen.numbers),
        "rule_set": {"name": seen.ordered.rule_set, "method": seen.ordered.method},
        "limits": [_limit(seen, code) for code in seen.limits],
        "entries": _entries(seen, book),
        "tested": {subject: book.numbers[entry] for subject, entry in seen.passed.items() if entry in book.numbers},
        "curves": _numbers(curves(seen)),
        "hold_points": _holds(seen, book),
        "findings": [_finding(one, book, at) for at, one in enumerate(approval.findings, 1)],
        "approval": _approval(approval, book),
        "instruments": [_kit(code, kit) for code, kit in book.kit.values()],
    }
    facts["people"] = book.people_facts()
    facts["commitments"] = book.commitments()
    text = canonical(facts)
    return Snapshot(text, book.personal(), digest(text))


def canonical(value: Any) -> str:
    """RFC 8785. Floats do not get in: numbers are strings here."""
    return rfc8785.dumps(value).decode("utf-8")


def digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def commitment(salt: str, value: Any) -> str:
    """Binds the snapshot to a name or a text without telling it."""
    return digest(salt + canonical(value))


def broken_commitments(facts: Mapping[str, Any], personal: Mapping[str, Any]) -> list[str]:
    """Keys whose words are not those that were committed to. What was erased is not broken."""
    told = personal.get("words", {})
    return sorted(
        key
        for key, hashed in facts["commitments"].items()
        if key in told and commitment(told[key]["salt"], told[key]["value"]) != hashed
    )


def erase(personal: Mapping[str, Any], person: str) -> Json:
    """The personal part without the name and the words of one person, by id."""
    code = personal["who"].get(person)
    return {
        "words": {key: row for key, row in personal["words"].items() if code is None or row["of"] != code},
        "who": {key: value for key, value in personal["who"].items() if key != person},
    }


@dataclass
class _Book:
    """Gives people, instruments and entries their codes, and keeps words apart."""

    key: str
    people: dict[str, tuple[str, Person]] = field(default_factory=dict)
    kit: dict[str, tuple[str, Kit]] = field(default_factory=dict)
    numbers: dict[str, str] = field(default_factory=dict)
    words: dict[str, Json] = field(default_factory=dict)

    def person(self, who: Person) -> str:
        if who.id not in self.people:
            code = f"P{len(self.people) + 1}"
            self.people[who.id] = (code, who)
            self.keep(f"people.{code}", {"name": who.name, "roles": who.roles}, of=code)
        return self.people[who.id][0]

    def instrument(self, kit: Kit) -> str:
        if kit.id not in self.kit:
            self.kit[kit.id] = (f"I{len(self.kit) + 1}", kit)
        return self.kit[kit.id][0]

    def keep(self, key: str, value: Any, *, of: str = "") -> None:
        """Puts words apart. `of`: whose they are."""
        salt = hmac.new(self.key.encode(), key.encode(), hashlib.sha256).hexdigest()[:32]
        self.words[key] = {"value": value, "salt": salt, "of": of}

    def people_facts(self) -> list[str]:
        return [code for code, _ in self.people.values()]

    def commitments(self) -> dict[str, str]:
        return {key: commitment(row["salt"], row["value"]) for key, row in self.words.items()}

    def personal(self) -> Json:
        """`who`: member id -> code, so that somebody can be found and erased."""
        return {"words": self.words, "who": {key: code for key, (code, _) in self.people.items()}}


def number(value: float) -> str:
    """Six significant digits; what nobody measured is not printed.

    >>> number(216.0), number(0.1 + 0.2), number(-0.0)
    ('216', '0.3', '0')
    """
    text = f"{value:.6g}"
    return "0" if text == "-0" else text


def moment(at: datetime) -> str:
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _numbers(value: Any) -> Any:
    """Floats as strings all the way down; their unit is at the end of the name."""
    if isinstance(value, Mapping):
        return {str(key): _numbers(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_numbers(one) for one in value]
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return value
    return number(float(value)) if isinstance(value, int | float) else str(value)


def _job(seen: Evidence, book: _Book) -> Json:
    ordered = seen.ordered
    for key, value in (
        ("job.title", ordered.title),
        ("job.customer", ordered.customer),
        ("job.site", ordered.site),
        ("job.address", ordered.address),
    ):
        book.keep(key, value, of="customer")
    return {"number": str(ordered.number), "firm": ordered.firm, "time_zone": ordered.time_zone}


def _scope(seen: Evidence, book: _Book) -> list[Json]:
    """Phases that are not ours; who and why are words."""
    rows = []
    for phase, row in seen.scope.items():
        for name in ("who", "evidence", "reason"):
            if words := getattr(row, name):
                book.keep(f"scope.{phase}.{name}", words)
        rows.append({"phase": phase, "whose": row.whose})
    return rows


def _array(seen: Evidence) -> Json:
    array = seen.array
    return {
        "loops": _numbers(array.loops),
        "boreholes": _numbers(array.boreholes),
        "sections": _numbers(array.sections),
        "header": _numbers(array.header),
        "manifold": _numbers(array.manifold),
        "drawing": array.svg,
    }


def _limit(seen: Evidence, code: str) -> Json:
    limit = seen.limits[code]
    return {
        "code": code,
        "label": seen.limit_labels.get(code, code),
        "value": number(limit.value),
        "unit": limit.unit,
        "source": limit.source.text,
        "status": limit.source.status.value,
    }


def _kit(code: str, kit: Kit) -> Json:
    return {
        "code": code,
        "kind": kit.kind,
        "name": kit.name,
        "serial": kit.serial,
        "unit": kit.unit,
        "scale": kit.scale,
        "calibration_due": kit.calibration_due,
        **{
            name: number(value)
            for name in ("range_high", "resolution", "accuracy")
            if (value := getattr(kit, name)) is not None
        },
    }


def _entries(seen: Evidence, book: _Book) -> list[Json]:
    for at, item in enumerate(seen.items, 1):
        book.numbers[item.id] = str(at)
    return [_entry(item, seen, book) for item in seen.items]


def _entry(item: Item, seen: Evidence, book: _Book) -> Json:
    code = book.numbers[item.id]
    who = seen.people.get(item.entry.person)
    kit = seen.kit.get(item.entry.instrument)
    by = book.person(who) if who else ""
    for name, words in sorted(item.texts.items()):
        book.keep(f"entries.{code}.{name}", words, of=by)
    return {
        "n": code,
        "kind": item.kind,
        "label": item.label,
        "subject": item.subject,
        "observed_at": moment(item.at),
        "by": by,
        "instrument": book.instrument(kit) if kit else "",
        "standing": item.standing.value,
        "supersedes": book.numbers.get(item.supersedes, ""),
        "reason": item.reason,
        "source": item.source,
        "why": item.why,
        "void_for": list(item.void_for),
        "overridden_by": book.numbers.get(item.overridden_by, item.overridden_by),
        "values": {name: _value(item, name, seen, book) for name in sorted(item.entry.payload)},
        "words": sorted(item.texts),
        "verdicts": [_verdict(verdict) for verdict in item.verdicts],
    }


def _value(item: Item, name: str, seen: Evidence, book: _Book) -> Json:
    raw = item.entry.payload[name]
    known = KINDS.get(item.kind)
    asked = known.field_of(name) if known else None
    if not isinstance(raw, Mapping):
        return {"value": _numbers(raw)}
    if raw.get("unknown"):
        return {"unknown": str(raw["unknown"])}
    return _answer(raw, asked, seen, book)


def _answer(raw: Mapping[str, Any], asked: Field | None, seen: Evidence, book: _Book) -> Json:
    value = raw.get("value")
    if asked and asked.answer is Answer.PERSON:
        who = seen.people.get(str(value))
        return {"person": book.person(who) if who else ""}
    if asked and asked.answer is Answer.INSTRUMENT:
        kit = seen.kit.get(str(value))
        return {"instrument": book.instrument(kit) if kit else ""}
    if isinstance(value, int | float) and not isinstance(value, bool):
        return {"text": str(raw.get("text", "")), "value": number(float(value)), "unit": str(raw.get("unit", ""))}
    if asked and asked.answer is Answer.TIME:
        try:
            return {"time": moment(datetime.fromisoformat(str(value)))}
        except ValueError:
            return {"value": str(value)}
    return {"value": _numbers(value)}


def _verdict(verdict: Verdict) -> Json:
    return {
        "outcome": verdict.outcome.value,
        "reason": verdict.reason,
        "way_out": verdict.way_out,
        "to_method": verdict.to_method,
        "source": verdict.source.text,
        "status": verdict.source.status.value,
        "figures": [
            {
                "name": one.name,
                "value": number(one.value),
                "unit": one.unit,
                "u": "" if one.u is None else number(one.u),
                "limit": "" if one.limit is None else number(one.limit),
            }
            for one in verdict.figures
        ],
    }


def _holds(seen: Evidence, book: _Book) -> list[Json]:
    rows = []
    for hold in seen.holds:
        step = seen.item(hold.step) if hold.step else None
        who = seen.people.get(step.entry.person) if step else None
        rows.append(
            {
                "code": hold.code,
                "title": hold.title,
                "subject": hold.subject,
                "released": hold.released,
                "missing": list(hold.missing),
                "passed_at": moment(step.at) if step else "",
                "passed_by": book.person(who) if who else "",
                "override": book.numbers.get(hold.override, hold.override),
            }
        )
    return rows


def _finding(one: Answered, book: _Book, at: int) -> Json:
    by = book.person(one.by) if one.by else ""
    if one.answer:
        book.keep(f"findings.{at}.answer", one.answer, of=by)
    return {
        "n": str(at),
        "code": one.code,
        "severity": one.severity,
        "subject": one.subject,
        "field": one.field,
        "text": one.text,
        "entries": [book.numbers[entry] for entry in one.entries if entry in book.numbers],
        "waived": one.waived,
        "answered": bool(one.answer),
        "by": by,
    }


def _approval(approval: Approval, book: _Book) -> Json:
    by = book.person(approval.by)
    if approval.reason:
        book.keep("revision.reason", approval.reason, of=by)
    return {
        "by": by,
        "at": moment(approval.at),
        "submitted_by": book.person(approval.submitted_by),
        "submitted_at": moment(approval.submitted_at),
        "self_reviewed": approval.self_reviewed,
    }
