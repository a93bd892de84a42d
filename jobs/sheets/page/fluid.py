"""The sections on water and fluid: flush, mix, fill, purge, residual air."""

from __future__ import annotations

from datetime import datetime

from jobs.sheets.charts import FillRun, fill_runs
from jobs.sheets.page.base import Book, Cell, Judged, Row, Section, Table, judged, num, outcome, short, text


def flush(book: Book) -> Section | None:
    rows = [
        [
            text(row.subject), text(row.when), num(row.shown("flow")), num(row.shown("minutes")),
            text(row.shown("direction")), text(row.shown("debris")), text(row.shown("clear")), text(row.by),
            outcome(row.outcome),
        ]
        for row in book.rows("flush")
    ]  # fmt: skip
    columns = (
        ("Pipe", ""), ("Time", ""), ("Flow", "num"), ("For", "num"), ("Direction", ""), ("Dirt", ""), ("Clear", ""),
        ("By", ""), ("", ""),
    )  # fmt: skip
    return Section("flush", "Flush", judged=_not_good(book, "flush"), tables=(Table(columns, rows),)) if rows else None


def _not_good(book: Book, *kinds: str) -> list[Judged]:
    """Verdicts that need words: all but plain passes; one pass to name the source."""
    found = [one for row in book.rows(*kinds) for one in judged(row)]
    wanting = [one for one in found if one.state != "pass"]
    passed = [one for one in found if one.state == "pass"]
    return [*wanting, *passed[:1]]


def mix(book: Book) -> Section | None:
    batches = book.rows("mix_batch")
    readings = book.rows("strength_reading")
    if not batches and not readings:
        return None
    fluid = book.facts["numbers"].get("fluid") or {}
    intro = ""
    if fluid:
        intro = (
            f"Target: {fluid.get('product', '')}, {fluid.get('base_label', '')}, {short(fluid.get('target_mass_pct'))} % by "
            f"mass, freezing at {short(fluid.get('freezing_point_c'))} °C."
        )
    return Section(
        "mix",
        "Antifreeze: mix and strength",
        intro=intro,
        judged=_not_good(book, "mix_batch", "strength_reading"),
        tables=_mix_tables(book, batches, readings),
    )


def _mix_tables(book: Book, batches: list[Row], readings: list[Row]) -> list[Table]:
    drums = [
        [
            text(row.shown("lot")),
            num(row.shown("drums")),
            num(row.shown("drum_l")),
            num(row.shown("strength")),
            text(row.when),
        ]
        for row in book.rows("fluid_delivery")
    ]
    mixed = [
        [
            text(row.subject), text(row.when), num(row.shown("water")), num(row.shown("concentrate")),
            num(row.shown("stirred")), num(row.shown("temperature")), text(row.by), outcome(row.outcome),
        ]
        for row in batches
    ]  # fmt: skip
    read = [
        [
            text(row.subject), text(row.when), text(row.shown("place")), text(row.shown("zeroed")),
            text(row.shown("scale")), num(row.shown("value")), num(row.shown("sample_temperature")),
            num(freezing(row)), text(row.raw["instrument"]), outcome(row.outcome),
        ]
        for row in readings
    ]  # fmt: skip
    return [
        Table((("Lot", ""), ("Drums", "num"), ("Each", "num"), ("Label says", "num"), ("Seen", "")), drums, "Delivered"),
        Table((("Batch", ""), ("Time", ""), ("Water", "num"), ("Concentrate", "num"), ("Stirred", "num"), ("Water at", "num"), ("By", ""), ("", "")), mixed, "Mixed"),
        Table((("Sample", ""), ("Time", ""), ("From", ""), ("Zeroed", ""), ("Scale", ""), ("Reading", "num"), ("Sample at", "num"), ("Freezes at", "num"), ("With", ""), ("", "")), read, "Read"),
    ]  # fmt: skip


def freezing(row: Row) -> str:
    """The judged freezing point of a reading, with its doubt."""
    for verdict in row.raw["verdicts"]:
        for one in verdict["figures"]:
            if "freezing" in one["name"].lower():
                doubt = f" ± {short(2 * float(one['u']), 2)}" if one["u"] and float(one["u"]) else ""
                return f"{short(one['value'])}{doubt} °C"
    return ""


def _since(start: datetime | None, end: datetime | None) -> float | None:
    return (end - start).total_seconds() / 60 if start and end else None


def fill(book: Book) -> Section | None:
    rows, runs = [], []
    plan = {row["code"]: row.get("changeover") or {} for row in book.facts["numbers"].get("loops") or []}
    for row in book.rows("loop_fill"):
        expected = plan.get(row.subject, {})
        run = _run(row, expected)
        runs.append(run)
        rows.append(
            [
                text(row.subject), text(row.shown("only_this_open")), num(row.shown("flow")), text(row.shown("started")),
                num(short(run.expected_first), "min"), num(short(run.seen_first), "min"),
                num(short(run.expected_full), "min"), num(short(run.seen_full), "min"),
                num(row.shown("return_reading")), num(row.shown("waste")), outcome(row.outcome),
            ]
        )  # fmt: skip
    columns = (
        ("Loop", ""), ("Only it open", ""), ("Flow", "num"), ("Started", ""), ("First colour due", "num"), ("seen", "num"),
        ("Full colour due", "num"), ("seen", "num"), ("Return reading", "num"), ("To waste", "num"), ("", ""),
    )  # fmt: skip
    if not rows:
        return None
    return Section(
        "fill", "Filling, loop by loop", svg=fill_runs(runs), judged=_not_good(book, "loop_fill"),
        svg_note="Times are counted from the start of each loop, scaled to the flow that was read.",
        tables=(Table(columns, rows),),
    )  # fmt: skip


def _run(row: Row, expected: dict[str, str]) -> FillRun:
    """Expected times are for the design's filling flow; they scale with the flow that was read."""
    start, flow = row.time("started"), row.number("flow", "L/min")
    planned = float(expected["flow_l_min"]) if expected.get("flow_l_min") else None
    scale = planned / flow if planned and flow else 1.0

    def due(name: str) -> float | None:
        found = expected.get(name)
        return float(found) / 60 * scale if found else None

    return FillRun(
        row.subject,
        _since(start, row.time("first_colour")),
        _since(start, row.time("full_colour")),
        due("first_colour_s"),
        due("full_colour_s"),
    )


def purge(book: Book) -> Section | None:
    purges, checks = book.rows("purge"), book.rows("residual_air")
    if not purges and not checks:
        return None
    purged: list[list[Cell]] = []
    for row in purges:
        quiet = _since(row.time("last_bubble"), row.time("ended"))
        purged.append(
            [
                text(row.when), text(row.shown("open") if row.many("open") else "all"), num(row.shown("flow")), text(row.shown("started")), text(row.shown("last_bubble")),
                text(row.shown("ended")), num(short(quiet), "min"), text(row.by), outcome(row.outcome),
            ]
        )  # fmt: skip
    looked = [
        [
            text(row.when), num(row.shown("bin_diameter")), num(row.shown("level_before")), num(row.shown("level_after")),
            num(row.shown("start_pressure")), num(row.shown("dead_head_pressure")), text(row.by), outcome(row.outcome),
        ]
        for row in checks
    ]  # fmt: skip
    tables = (
        Table((("Logged", ""), ("Open", ""), ("Flow", "num"), ("Started", ""), ("Last bubble", ""), ("Ended", ""), ("After it", "num"), ("By", ""), ("", "")), purged, "Purge"),
        Table((("Time", ""), ("Bin diameter", "num"), ("Level before", "num"), ("Level at pressure", "num"), ("Before", "num"), ("Return shut", "num"), ("By", ""), ("", "")), looked, "Residual air check"),
    )  # fmt: skip
    said = [one for row in (*purges[-1:], *checks[-1:]) for one in judged(row)]
    return Section("purge", "Purge and residual air", judged=said, tables=tables)
