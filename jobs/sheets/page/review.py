"""The sections on who answers: hold points, findings, photos, signatures, instruments, limits, struck entries."""

from __future__ import annotations

import json
from typing import Any

from jobs.sheets.charts import strokes
from jobs.sheets.page.base import (
    DASH,
    ERASED,
    Book,
    Cell,
    Picture,
    Row,
    Section,
    Signature,
    Table,
    num,
    parse,
    short,
    soft,
    source,
    text,
)
from jobs.visits.kinds import KINDS

SEVERITIES = {"block": "Blocks", "warn": "Question", "note": "Note"}


def holds(book: Book) -> Section | None:
    rows = [_hold(book, row) for row in book.facts["hold_points"]]
    overrides = [
        [
            Cell(row.subject, "red"), Cell(f"“{row.words('reason') or ERASED}”", "red"), Cell(row.by, "red"),
            Cell(row.when, "red"),
        ]
        for row in book.rows("override")
    ]  # fmt: skip
    if not rows and not overrides:
        return None
    columns = (("", ""), ("Hold point", ""), ("For", ""), ("State", ""), ("Passed", ""), ("By", ""))
    tables = [Table(columns, rows)]
    if overrides:
        heads = (("Hold point", ""), ("Why somebody went past it", ""), ("Who", ""), ("When", ""))
        tables.insert(0, Table(heads, overrides, "Overrides"))
    return Section("holds", "Hold points and releases", tables=tables)


def _hold(book: Book, row: dict[str, Any]) -> list[Cell]:
    if row["override"]:
        state = Cell("gone past", "red", state="fail")
    elif row["released"]:
        state = Cell("released", state="pass")
    else:
        state = Cell("closed", state="fail")
    red = "red" if row["override"] else ""
    passed = book.local(parse(row["passed_at"])) if row["passed_at"] else ""
    return [
        Cell(row["code"], red),
        Cell(row["title"], red),
        text(row["subject"], red),
        state,
        text(passed, red),
        text(book.person(row["passed_by"]), red),
    ]


def findings(book: Book) -> Section | None:
    rows = []
    for row in book.facts["findings"]:
        answer = book.word(f"findings.{row['n']}.answer")
        waived = "Waived: " if row["waived"] else ""
        css = "red" if row["waived"] else ""
        rows.append(
            [
                Cell(row["code"]), Cell(SEVERITIES.get(row["severity"], row["severity"])), text(row["subject"]),
                Cell(soft(row["text"])), Cell(f"{waived}{answer}" if answer else DASH, css), text(book.person(row["by"])),
            ]
        )  # fmt: skip
    columns = (("Check", ""), ("", ""), ("For", ""), ("What the check asked", ""), ("Answer", ""), ("By", ""))
    if not rows:
        return Section("findings", "Findings and answers", notes=("The automatic checks raised no question.",))
    return Section("findings", "Findings and answers", tables=(Table(columns, rows, wide=True),))


def photos(book: Book) -> Section | None:
    current = (raw for raw in book.facts["entries"] if raw["standing"] == "current")
    pictures = [_picture(book, raw, sha) for raw in current for sha in _hashes(raw)]
    return Section("photos", "Photos", pictures=pictures) if pictures else None


def _hashes(raw: dict[str, Any]) -> list[str]:
    return [str(sha) for field in ("photo", "gauge") for sha in (raw["values"].get(field) or {}).get("value") or []]


def _picture(book: Book, raw: dict[str, Any], sha: str) -> Picture:
    kind = KINDS.get(raw["kind"])
    shot = str((raw["values"].get("shot") or {}).get("value") or "")
    field = kind.field_of("shot") if kind else None
    title = dict(field.choices).get(shot, shot) if field and shot else raw["label"]
    caption = book.word(f"entries.{raw['n']}.caption") if "caption" in raw["words"] else ""
    detail = f"{book.local(parse(raw['observed_at']))} · {book.person(raw['by'])} · {sha[:12]}"
    return Picture(book.photos.get(sha, ""), f"{title} {raw['subject']} {caption}".strip(), detail)


def signatures(book: Book) -> Section | None:
    found = []
    for row in book.rows("signature"):
        name = row.words("name") or row.by
        found.append(Signature(name, row.shown("role"), row.when, _strokes(book, row.raw["n"])))
    approval = book.facts["approval"]
    found.append(
        Signature(
            book.person(approval["by"]), "Manager, approved in the service", book.local(parse(approval["at"])), ""
        )
    )
    notes = []
    if approval["self_reviewed"]:
        notes.append("Self-reviewed: the approver also logged or handed in work on this sheet.")
    return Section("signatures", "Signatures", signatures=found, notes=notes)


def _strokes(book: Book, number: str) -> str:
    raw = book.raw_word(f"entries.{number}.strokes")
    if isinstance(raw, str):
        try:
            raw = json.loads(raw)
        except ValueError:
            return ""
    try:
        return strokes(raw) if isinstance(raw, list) else ""
    except (TypeError, ValueError, KeyError, IndexError):
        return ""


def instruments(book: Book) -> Section | None:
    rows = [
        [
            text(row["code"]), text(row["kind"].replace("_", " ").capitalize()), text(row["name"]), text(row["serial"]),
            num(short(row.get("range_high")), row["unit"] if row.get("range_high") else ""),
            num(short(row.get("resolution")), row["unit"] if row.get("resolution") else ""),
            num(f"± {short(row.get('accuracy'))}" if row.get("accuracy") else "", row["unit"] if row.get("accuracy") else ""),
            text(row["calibration_due"]),
        ]
        for row in book.facts["instruments"]
    ]  # fmt: skip
    columns = (
        ("", ""), ("Kind", ""), ("Name", ""), ("Serial number", ""), ("Reads to", "num"), ("Steps of", "num"),
        ("Accuracy", "num"), ("Calibration due", ""),
    )  # fmt: skip
    return Section("instruments", "Instruments", tables=(Table(columns, rows),)) if rows else None


def limits(book: Book) -> Section:
    rule_set = book.facts["rule_set"]
    rows = [
        [
            text(row["label"]), num(short(row["value"], 4), "" if row["unit"] == "1" else row["unit"]),
            Cell(soft(source(row["source"], row["status"]))),
        ]
        for row in book.facts["limits"]
    ]  # fmt: skip
    columns = (("Limit", ""), ("Value", "num"), ("Where it comes from", ""))
    return Section(
        "limits",
        "Limits of this job and their sources",
        intro=f"Rule set: {rule_set['name']}. It was frozen for this job; unconfirmed figures are no requirement of the source named.",
        tables=(Table(columns, rows, wide=True),),
    )


def struck(book: Book) -> Section | None:
    """What does not count and stays visible: corrected, void and held entries."""
    rows = []
    for raw in book.facts["entries"]:
        if raw["standing"] == "current":
            continue
        row = Row(raw, book)
        rows.append(
            [
                num(raw["n"]), text(f"{raw['label']} {row.subject}".strip()), Cell(_as_logged(row), "struck"),
                text(book.local(row.at, "%d %b %H:%M")), text(row.by), Cell(f"{raw['standing']}{': ' + raw['why'] if raw['why'] else ''}"),
            ]
        )  # fmt: skip
    columns = (
        ("No.", "num"),
        ("Entry", ""),
        ("As logged", ""),
        ("When", ""),
        ("By", ""),
        ("Why it does not count", ""),
    )
    return (
        Section("struck", "Corrected, void and held entries", tables=(Table(columns, rows, wide=True),))
        if rows
        else None
    )


def _as_logged(row: Row) -> str:
    """Every answer in the order of the form."""
    kind = KINDS.get(row.raw["kind"])
    values = row.raw["values"]
    names = [field.name for field in kind.fields if field.name in values] if kind else sorted(values)
    labels = {name: asked.label if (asked := row.field(name)) else name for name in names}
    told = [f"{labels[name]}: {row.shown(name)}" for name in names if name not in {"photo", "gauge"}]
    return "; ".join(told)


def notes(book: Book) -> Section | None:
    found = [f"{row.when}, {row.by}: {row.words('note')}" for row in book.rows("note") if row.words("note")]
    found += [
        f"{row.when}, {row.by}: {row.words('remark')}" for row in book.rows("sheet_submit") if row.words("remark")
    ]
    return Section("notes", "Notes", notes=found) if found else None
