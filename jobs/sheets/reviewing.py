"""What the manager looks at: every finding with its evidence beside it. Read only."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.urls import reverse

from jobs.files.queries import by_hashes
from jobs.sheets import facts, gather, queries
from jobs.sheets.evidence import Evidence, Item, Person
from jobs.sheets.findings import CHECKS
from jobs.sheets.models import Finding, Sheet
from jobs.sheets.page import array, whole
from jobs.sheets.page.base import DASH, Book, Judged, Row, judged
from jobs.visits.kinds import KINDS, Answer, Field
from jobs.visits.models import Ask, Entry

MOST_CARDS = 4
NOBODY = Person("", "–", "")


@dataclass(frozen=True)
class Photo:
    small: str
    large: str


@dataclass(frozen=True)
class Card:
    """One entry as evidence: what was logged, when and by whom, what was said of it, what it looked like."""

    entry: str
    title: str
    standing: str
    when: str
    typed: str
    by: str
    instrument: str
    values: Sequence[tuple[str, str, str]]  # label, answer, field
    words: Sequence[tuple[str, str]]
    answers: Sequence[tuple[str, str]]  # field, label with the answer: all that can be sent back
    judged: Sequence[Judged]
    photos: Sequence[Photo]
    missing_photos: int
    svg: str


@dataclass(frozen=True)
class Group:
    """All entries of one kind that count."""

    label: str
    cards: Sequence[Card]


@dataclass(frozen=True)
class Question:
    """A finding with its cards."""

    row: Finding
    label: str
    cards: Sequence[Card]
    more: int


def draft(sheet: Sheet, seen: Evidence, *, at: datetime) -> facts.Snapshot:
    """What the facts would be if it were approved now; for looking at, never kept."""
    who = gather.people([sheet.submitted_by])[str(sheet.submitted_by_id)]
    found = [
        facts.Answered(row.check_code, row.severity, row.text, row.subject, row.field, tuple(row.entries), row.answer, row.waived, _by(row))
        for row in queries.findings_of(sheet)
    ]  # fmt: skip
    approval = facts.Approval(
        sheet.revision, NOBODY, at, who, sheet.submitted_at, key="draft", reason=sheet.reason, findings=tuple(found)
    )
    return facts.snapshot(seen, approval)


def _by(row: Finding) -> Person | None:
    return gather.people([row.answered_by])[str(row.answered_by_id)] if row.answered_by else None


class Cards:
    """Makes the cards of one sheet; everything they need is read once."""

    def __init__(self, sheet: Sheet, seen: Evidence, *, at: datetime) -> None:
        snapshot = draft(sheet, seen, at=at)
        self.seen = seen
        self.book = Book(snapshot.facts, snapshot.personal)
        self.numbers = {item.id: str(number) for number, item in enumerate(seen.items, 1)}
        self.here = set(by_hashes({sha for item in seen.items for sha in item.photos()}))

    def of(self, item: Item, *, drawn: bool = True) -> Card:
        return _card(item, self.book, self.numbers[item.id], self.here, drawn=drawn)


def everything(cards: Cards) -> list[Group]:
    """Every entry that counts, by kind in the order of the work."""
    found: dict[str, list[Card]] = {}
    for item in cards.seen.current:
        found.setdefault(item.kind, []).append(cards.of(item, drawn=False))
    order = {kind: at for at, kind in enumerate(KINDS)}
    kinds = sorted(found, key=lambda kind: order.get(kind, len(order)))
    return [Group(KINDS[kind].label if kind in KINDS else kind, found[kind]) for kind in kinds]


def questions(sheet: Sheet, cards_of: Cards) -> list[Question]:
    """Findings, the gravest first, each with up to four of its entries."""
    found = []
    for row in queries.findings_of(sheet):
        items = [item for entry in row.entries if (item := cards_of.seen.item(entry))]
        cards = [cards_of.of(item) for item in items[:MOST_CARDS]]
        check = CHECKS.get(row.check_code)
        found.append(Question(row, check.label if check else row.check_code, cards, max(len(items) - MOST_CARDS, 0)))
    return found


def _card(item: Item, book: Book, number: str, here: set[str], *, drawn: bool) -> Card:
    row = book.row(number)
    if row is None:
        raise LookupError(number)
    shas = item.photos()
    return Card(
        entry=item.id,
        title=f"{item.label} {item.subject}".strip(),
        standing=item.standing.value,
        when=row.when,
        typed=book.local(item.entry.recorded_at),
        by=row.by,
        instrument=book.instrument(row.raw["instrument"]) if row.raw["instrument"] else "",
        values=_values(row),
        words=[(name.replace("_", " "), row.words(name)) for name in row.raw["words"] if name != "strokes"],
        answers=_answers(row),
        judged=judged(row),
        photos=[_photo(sha) for sha in shas if sha in here],
        missing_photos=sum(sha not in here for sha in shas),
        svg=_curve(book, item) if drawn else "",
    )


def _values(row: Row) -> list[tuple[str, str, str]]:
    kind = KINDS.get(row.raw["kind"])
    names = (
        [field.name for field in kind.fields if field.name in row.raw["values"]] if kind else sorted(row.raw["values"])
    )
    found = []
    for name in names:
        asked = row.field(name)
        if name not in {"photo", "gauge"}:
            found.append((asked.label if asked else name, row.shown(name), name))
    return found


def _answers(row: Row) -> list[tuple[str, str]]:
    """Every field of its kind with what was answered, words and photos too; what an unknown kind brought as it is."""
    kind = KINDS.get(row.raw["kind"])
    if kind is None:
        return [(name, f"{name}: {row.shown(name)}") for name in sorted(row.raw["values"])]
    return [(field.name, f"{field.label}: {_told(row, field)}") for field in kind.fields]


def _told(row: Row, field: Field) -> str:
    if field.answer is Answer.PHOTO:
        return f"{len(row.many(field.name))} sent"
    if field.answer is Answer.STROKES:
        return "signed" if field.name in row.raw["words"] else DASH
    return row.words(field.name) or DASH if field.answer.is_text else row.shown(field.name)


def _photo(sha: str) -> Photo:
    url = reverse("files:photo_by_hash", args=[sha])
    return Photo(f"{url}?size=small", url)


def _curve(book: Book, item: Item) -> str:
    """The pressure curve beside anything that belongs to a test."""
    if item.kind not in {"pressure_test", "pressure_end"}:
        return ""
    return next((section.svg for section in array.tests(book) if section.code == f"test-{item.subject}"), "")


def asked(sheet: Sheet) -> list[tuple[Ask, str]]:
    """What was sent back to the crew, each with the words that the form has for its field."""
    return [(ask, _label(ask.entry.kind, ask.field)) for ask in queries.asks_of(sheet)]


def _label(kind: str, name: str) -> str:
    known = KINDS.get(kind)
    field = known.field_of(name) if known else None
    return field.label if field else name


def changed_since(sheet: Sheet, seen: Evidence) -> list[Item]:
    """What was logged after the revision before this one was handed in; empty for the first."""
    before = queries.sheets_of(sheet.job).filter(revision__lt=sheet.revision).first()
    if before is None:
        return []
    newer = Entry.objects.filter(job=sheet.job_id, received_at__gt=before.submitted_at).values_list("pk", flat=True)
    ids = {str(pk) for pk in newer}
    return [item for item in seen.items if item.id in ids]


def preview(sheet: Sheet, seen: Evidence, *, at: datetime) -> whole.Sheet:
    """The sheet as it would be printed, with the photos' own addresses."""
    snapshot = draft(sheet, seen, at=at)
    return whole.sheet(snapshot.facts, snapshot.personal, hash="draft", link="", photos=addresses(snapshot.facts))


def addresses(snapshot: dict[str, Any]) -> dict[str, str]:
    """Where a browser of the firm finds the photos that are here."""
    named = {
        str(sha)
        for entry in snapshot["entries"]
        for field in ("photo", "gauge")
        for sha in (entry["values"].get(field) or {}).get("value") or []
    }
    return {sha: _photo(sha).small for sha in by_hashes(named)}


def facts_of(sheet: Sheet) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(sheet.facts)
    return found


def entry_of(pk: UUID, sheet: Sheet) -> Entry | None:
    """An entry of this sheet's job."""
    found: Entry | None = Entry.objects.select_related("job", "person__user").filter(pk=pk, job=sheet.job_id).first()
    return found
