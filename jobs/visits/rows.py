"""Lines of the ledger as pages show them: answers in words, verdicts, marks. Also for the job page and the visit page."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from calcs.verdict import Outcome, Verdict
from jobs.planning.models import Job
from jobs.sums.parse import shown
from jobs.visits.kinds import KINDS, Answer, Field
from jobs.visits.ledger import HoldPoint, Ledger, Line, Standing
from jobs.visits.models import Entry
from jobs.visits.trade import REASONS, held_words, source_words

STATE = {Outcome.PASS: "pass", Outcome.WARN: "warn", Outcome.FAIL: "fail", Outcome.CANNOT_TELL: "unknown"}
UNKNOWN = {"not_known": "not known", "not_applicable": "does not apply"}


@dataclass(frozen=True)
class Said:
    """A verdict in words, with the class of its state."""

    state: str
    word: str
    reason: str
    way_out: str
    source: str
    figures: tuple[str, ...] = ()


@dataclass(frozen=True)
class Row:
    """One line of the timeline. `mark` is a state class with its words; `is_struck` when it no longer counts."""

    id: str
    at: datetime
    label: str
    subject: str
    person: str
    received_at: datetime
    answers: tuple[tuple[str, str], ...]
    verdicts: tuple[Said, ...]
    marks: tuple[tuple[str, str], ...] = ()
    is_struck: bool = False
    is_held: bool = False


def zone_of(job: Job) -> ZoneInfo:
    try:
        return ZoneInfo(job.site.time_zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return ZoneInfo("UTC")


def timeline(lines: Iterable[Line], job: Job) -> list[Row]:
    """Every entry, also what was corrected, is held or was left out; times of the site."""
    return [row(line, job) for line in lines]


def row(line: Line, job: Job) -> Row:
    zone = zone_of(job)
    return Row(
        id=line.id,
        at=line.logged.observed_at.astimezone(zone),
        label=line.label,
        subject=line.subject,
        person=line.person,
        received_at=line.received_at.astimezone(zone),
        answers=tuple(answers(line, zone)),
        verdicts=tuple(said(verdict) for verdict in line.verdicts),
        marks=tuple(marks(line)),
        is_struck=line.standing in {Standing.SUPERSEDED, Standing.LEFT_OUT},
        is_held=line.standing is Standing.HELD,
    )


def marks(line: Line) -> list[tuple[str, str]]:
    """What a reader must know about how this entry stands."""
    standing = {
        Standing.HELD: [("held", f"Held: {line.why}")],
        Standing.SUPERSEDED: [("done", "Corrected")],
        Standing.LEFT_OUT: [("done", "Left out by the office")],
        Standing.CURRENT: [],
    }
    found = [*standing[line.standing]]
    if line.supersedes:
        found.append(("open", REASONS.get(line.reason, "Correction")))
    if line.source != "typed":
        found.append(("open", source_words(line.source)))
    return [*found, *_warnings(line)]


def _warnings(line: Line) -> list[tuple[str, str]]:
    found = []
    if line.in_conflict:
        found.append(("warn", "Corrected more than once: choose one"))
    if line.void_for:
        found.append(("warn", f"Undone by later work for {', '.join(line.void_for)}"))
    if line.overridden_by:
        by = " by the office" if line.overridden_by == "office" else ""
        found.append(("fail", f"Past a closed hold point{by}"))
    return found


def said(verdict: Verdict) -> Said:
    figures = tuple(_figure(f.name, f.value, f.unit, f.limit) for f in verdict.figures)
    state, word = STATE[verdict.outcome], verdict.outcome.value.capitalize()
    return Said(state, word, verdict.reason, verdict.way_out, verdict.source.label, figures)


def _figure(name: str, value: float, unit: str, limit: float | None) -> str:
    against = "" if limit is None else f" (limit {_three(limit)})"
    return f"{name} {_three(value)} {unit}".rstrip() + against


def _three(value: float) -> str:
    """To three figures, never as a power of ten."""
    return shown(float(f"{value:.3g}"))


def answers(line: Line, zone: ZoneInfo) -> list[tuple[str, str]]:
    """Label and answer as typed, in the order of the form; then the side text."""
    kind = KINDS.get(line.kind)
    if kind is None:
        return [(name, str(_bare(found))) for name, found in line.logged.payload.items()]
    found = []
    for one in kind.fields:
        given = line.logged.payload.get(one.name)
        if one.answer.is_text:
            words = _text(one, line.texts)
        elif one.answer is Answer.INSTRUMENT:
            words = _kit(given, line)
        else:
            words = _answer(one, given, zone)
        if words:
            found.append((one.label, words))
    return found


def _kit(found: Any, line: Line) -> str:
    """The name of a pump; as typed when it is not on the list any more."""
    if not isinstance(found, Mapping):
        return ""
    if "unknown" in found:
        return UNKNOWN.get(str(found["unknown"]), "not answered")
    known = line.facts.instruments.get(str(found.get("value"))) if line.facts else None
    return known.name if known else str(found.get("value") or "")


def _text(one: Field, texts: Mapping[str, Any]) -> str:
    value = texts.get(one.name)
    if not value:
        return ""
    return "drawn" if one.answer is Answer.STROKES else str(value)


def _answer(one: Field, found: Any, zone: ZoneInfo) -> str:
    """One answer in words; nothing for one that was not given."""
    if not isinstance(found, Mapping):
        return ""
    if "unknown" in found:
        return UNKNOWN.get(str(found["unknown"]), "not answered")
    value = found.get("value")
    if value in (None, "", []) and not found.get("text"):
        return ""
    makers: dict[Answer, Callable[[], str]] = {
        Answer.NUMBER: lambda: f"{found.get('text', value)} {found.get('unit', '')}".removesuffix(" pcs").rstrip(),
        Answer.YES: lambda: "yes" if value is True else "no",
        Answer.TIME: lambda: _time(value, zone),
        Answer.PERSON: lambda: "",
        Answer.PHOTO: lambda: _photos(value),
        Answer.MANY: lambda: ", ".join(map(str, value)) if isinstance(value, list) else str(value),
    }
    made = makers.get(one.answer)
    return made() if made else dict(one.choices).get(str(value), str(value))


def _photos(value: Any) -> str:
    count = len(value) if isinstance(value, list) else 0
    return f"{count} photo{'s' if count != 1 else ''}"


def _time(value: Any, zone: ZoneInfo) -> str:
    try:
        return f"{datetime.fromisoformat(str(value)).astimezone(zone):%d %b %H:%M}"
    except (ValueError, OverflowError):
        return str(value)


def _bare(found: Any) -> Any:
    return found.get("value") if isinstance(found, Mapping) else found


@dataclass(frozen=True)
class HoldRow:
    """A hold point with its subjects, for the panel on the job page."""

    code: str
    label: str
    closed: tuple[HoldPoint, ...] = ()
    passed: tuple[HoldPoint, ...] = ()
    open: tuple[str, ...] = field(default=())
    not_ours: tuple[str, ...] = ()  # phases that are not ours and count as standing

    @property
    def state(self) -> tuple[str, str]:
        if self.passed:
            return "fail", "Passed without release"
        return ("held", "Holds") if self.closed else ("pass", "Released")


def holds(seen: Ledger) -> list[HoldRow]:
    """Hold points by code: what keeps them closed, and where somebody went past."""
    gone = {(row["hold_point"], row["subject"]) for row in seen.folded["overrides"]}
    by_code: dict[str, list[HoldPoint]] = {}
    for point in seen.hold_points:
        by_code.setdefault(point.code, []).append(point)
    return [
        HoldRow(
            code=code,
            label=points[0].label,
            closed=tuple(point for point in points if not point.is_open),
            passed=tuple(point for point in points if (code, point.subject) in gone),
            open=tuple(point.subject for point in points if point.is_open),
            not_ours=points[0].not_ours,
        )
        for code, points in by_code.items()
    ]


@dataclass(frozen=True)
class HeldRow:
    """An entry on the list of what waits for the office; no ledger is folded for it."""

    entry: Entry
    label: str
    why: str


def held(entries: Iterable[Entry]) -> list[HeldRow]:
    return [
        HeldRow(entry, _label(entry.kind), held_words(entry.held) if entry.held else "the order of the work")
        for entry in entries
    ]


def _label(kind: str) -> str:
    known = KINDS.get(kind)
    return known.label if known else kind
