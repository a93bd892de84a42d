"""The sections on whose work it was, and on what was logged around it: permit, inspections, pipe as laid, positions, waste."""

from __future__ import annotations

from collections.abc import Sequence

from jobs.planning.trade import PHASES, WHOSE
from jobs.sheets.page.base import Book, Row, Section, Table, judged, outcome, text
from jobs.visits.kinds import KINDS, Answer

NOT_SHOWN = frozenset({Answer.PHOTO, Answer.TEXT, Answer.STROKES})


def scope(book: Book) -> Section | None:
    """Phases that are not ours: who, what shows it, or why they are left out."""
    rows = [
        [
            text(PHASES.get(row["phase"], row["phase"])),
            text(WHOSE.get(row["whose"], row["whose"])),
            text(book.word(f"scope.{row['phase']}.who")),
            text(book.word(f"scope.{row['phase']}.evidence") or book.word(f"scope.{row['phase']}.reason")),
        ]
        for row in book.facts["scope"]
    ]
    if not rows:
        return None
    columns = (("Phase", ""), ("Whose", ""), ("Who", ""), ("What shows it, or why not", ""))
    note = "What is not ours counts as standing at the hold points; this sheet answers for our own work only."
    return Section("scope", "Scope", tables=(Table(columns, rows),), notes=(note,))


def before(book: Book) -> Section | None:
    """Services, permit, inspections of the excavation, checks at the borehole."""
    kinds = ("services_permit", "excavation_inspection", "utube_check", "grouting")
    return _section(book, "before", "Before and in the trench", kinds)


def laid(book: Book) -> Section | None:
    kinds = ("pipe_laid", "manifold_port", "header_penetration", "covered", "watch_release", "plant_connection")
    return _section(book, "laid", "Pipe, manifold and header as built", kinds)


def welded(book: Book) -> Section | None:
    """What belongs to the method of a joint: the main table has what all have."""
    names = (
        "tool_temperature", "heating", "plate_temperature", "soak", "changeover", "bead", "scraped", "clamped", "indicators",
        "weld_no", "lot", "machine", "ambient", "hold_min",
    )  # fmt: skip
    rows = [[text(row.subject), text(row.shown("method")), text(_said(row, names))] for row in book.rows("joint")]
    told = [row for row in rows if row[2].text not in {"", "–"}]
    columns = (("Joint", ""), ("Method", ""), ("How it was made", ""))
    return Section("welded", "How the joints were made", tables=(Table(columns, told),)) if told else None


def positions(book: Book) -> Section | None:
    return _section(book, "positions", "Measured positions", ("position",))


def balance(book: Book) -> Section | None:
    return _section(book, "balance", "Dosing and balance", ("circulation", "balance_reading"))


def more(book: Book, kind: str, names: Sequence[str], caption: str) -> Table | None:
    """Answers for which the table of this kind has no column; nothing when none was given."""
    rows = [[text(row.subject), text(row.when), text(said)] for row in book.rows(kind) if (said := _said(row, names))]
    return Table((("For", ""), ("Time", ""), ("Logged", "")), rows, caption) if rows else None


def site(book: Book) -> Section | None:
    return _section(book, "site", "Leaving, waste and incidents", ("leaving_site", "waste", "incident"))


def _section(book: Book, code: str, title: str, kinds: Sequence[str]) -> Section | None:
    tables = [table for kind in kinds if (table := _table(book, kind))]
    wanting = [one for row in book.rows(*kinds) for one in judged(row) if one.state != "pass"]
    return Section(code, title, judged=wanting, tables=tables) if tables else None


def _table(book: Book, kind: str) -> Table | None:
    """One row per entry: for what, when, what was answered, by whom, and the verdict."""
    rows = [
        [text(row.subject), text(row.when), text(_said(row, _names(kind))), text(row.by), outcome(row.outcome)]
        for row in book.rows(kind)
    ]
    columns = (("For", ""), ("Time", ""), ("Logged", ""), ("By", ""), ("", ""))
    return Table(columns, rows, KINDS[kind].label) if rows else None


def _names(kind: str) -> list[str]:
    return [field.name for field in KINDS[kind].fields if field.answer not in NOT_SHOWN]


def _said(row: Row, names: Sequence[str]) -> str:
    """`Label: answer` for what was answered."""
    told = []
    for name in names:
        field = row.field(name)
        if field and name in row.raw["values"]:
            told.append(f"{field.label}: {row.shown(name)}")
    return "; ".join(told)
