"""The sections on what lies in the ground: drawing, loops, boreholes, trench, joints, pressure tests."""

from __future__ import annotations

from typing import Any

from jobs.sheets.charts import ACCENT, FAIL, SOFT, Level, Series, curve
from jobs.sheets.page.base import Book, Cell, Row, Section, Table, judged, num, outcome, short, text

SHORT = "%d %b %H:%M"


def loops(book: Book) -> Section:
    """Port and borehole of each loop stand in the drawing."""
    array = book.facts["array"]
    numbers = {row["code"]: row for row in book.facts["numbers"].get("loops") or []}
    rows = [_loop(row, numbers.get(row["code"], {})) for row in array["loops"]]
    pipes = sorted(
        {f"{row.get('material', '')} {short(row['od_mm'])} × {short(row['wall_mm'])} mm" for row in array["loops"]}
    )
    notes = [f"Loops: {', '.join(pipes)}."] if pipes else []
    header = array["header"]
    if header:
        notes.append(
            f"Main header H: {header.get('material', '')} {short(header['od_mm'])} × {short(header['wall_mm'])} mm, "
            f"{short(header['length_each_way_m'])} m each way."
        )
    flow = book.facts["numbers"].get("flow") or {}
    if flow:
        notes.append(
            f"Design: {short(flow.get('source_duty_kw'))} kW from the ground, {short(flow.get('design_flow_l_min'))} L/min, "
            f"{short(flow.get('spread_k'))} K, {short(flow.get('total_drop_kpa'))} kPa in all."
        )
    columns = (("Loop", ""), ("Array", "num"), ("Lateral", "num"), ("Volume", "num"), ("Flow", "num"), ("Drop", "num"))
    return Section(
        "array",
        "Ground array as designed",
        svg=array["drawing"],
        tables=(Table(columns, rows),),
        notes=notes,
        split=True,
    )


def _loop(row: dict[str, Any], numbers: dict[str, Any]) -> list[Cell]:
    running = numbers.get("running") or {}
    return [
        text(row["code"]),
        num(short(row.get("array_m")), "m"),
        num(short(row.get("lateral_m")), "m"),
        num(short(numbers.get("volume_l")), "L"),
        num(short(running.get("flow_l_min")), "L/min"),
        num(short(running.get("drop_kpa")), "kPa"),
    ]


def boreholes(book: Book) -> Section | None:
    holes = book.facts["array"]["boreholes"]
    if not holes:
        return None
    seen = ("log_seen", "grout_sheet_seen", "test_before_seen", "test_after_seen", "utube_certificate_seen", "accepted")
    rows = []
    for hole in holes:
        row = book.last("driller_papers", hole["code"])
        answers = [text(row.shown(name)) for name in seen] if row else [text("")] * len(seen)
        rows.append([text(hole["code"]), num(short(hole["depth_m"]), "m"), *answers, text(row.when if row else "")])
    columns = (
        ("Borehole", ""), ("Depth", "num"), ("Log", ""), ("Grout sheet", ""), ("Test before", ""), ("Test after", ""),
        ("U-tube", ""), ("Accepted", ""), ("Seen", ""),
    )  # fmt: skip
    return Section("boreholes", "Boreholes: driller's papers", tables=(Table(columns, rows),))


def trench(book: Book) -> Section | None:
    sections = book.facts["array"]["sections"]
    if not sections:
        return None
    rows = [_trench(book, section) for section in sections]
    columns = (
        ("Section", ""), ("Depth", "num"), ("Bed", ""), ("Thickness", "num"), ("Stones left", ""), ("In test", ""),
        ("Released", ""), ("Watch pressure", "num"), ("Covered", ""), ("under", "num"), ("", ""),
    )  # fmt: skip
    partial = [
        [text(row.subject), text(row.when), num(row.shown("cover")), text(row.shown("joints_open")), text(row.by)]
        for row in book.rows("partial_cover")
    ]
    heads = (("Section", ""), ("Time", ""), ("Cover", "num"), ("Joints left open to view", ""), ("By", ""))
    tables = (Table(columns, rows), Table(heads, partial, "Partly covered before the test"))
    return Section("trench", "Trench sections and backfill", tables=tables)


def _trench(book: Book, section: dict[str, Any]) -> list[Cell]:
    code = section["code"]
    logged, released = book.last("trench_section", code), book.last("backfill_release", code)
    covered = book.last("covered", code)
    passed = book.row(book.facts["tested"].get(code, ""))
    early = covered and not released
    return [
        text(f"{code} {section.get('title', '')}".strip()),
        num(logged.shown("depth") if logged else ""),
        text(logged.shown("bed_material") if logged else ""),
        num(logged.shown("bed") if logged else ""),
        text(logged.shown("stones") if logged else ""),
        text(passed.subject) if passed else Cell("not tested", state="fail"),
        text(book.local(released.at, SHORT) if released else ""),
        num(released.shown("watch_pressure") if released else ""),
        Cell("covered before release", state="fail")
        if early
        else text(book.local(covered.at, SHORT) if covered else ""),
        num(covered.shown("cover") if covered else ""),
        outcome(logged.outcome) if logged else text(""),
    ]


def joints(book: Book) -> Section | None:
    rows = [
        [
            text(row.subject), text(row.shown("method")), num(row.shown("od")), text(row.shown("section")),
            text(row.shown("loop")), text(row.shown("buried")), text(row.shown("welder")),
            text(book.local(row.time("ended_at") or row.at, SHORT)), num(row.shown("cooling_min")),
            outcome(row.outcome or ("pass" if row.value("visual_ok") is True else "")),
        ]
        for row in book.rows("joint")
    ]  # fmt: skip
    columns = (
        ("Joint", ""), ("Method", ""), ("Pipe", "num"), ("Section", ""), ("Joins", ""), ("Buried", ""), ("Made by", ""),
        ("Finished", ""), ("Cooling", "num"), ("Looks right", ""),
    )  # fmt: skip
    return Section("joints", "Joints", tables=(Table(columns, rows),)) if rows else None


def tests(book: Book) -> list[Section]:
    return [_test(book, start) for start in book.rows("pressure_test")]


def _test(book: Book, start: Row) -> Section:
    readings = book.rows("pressure_reading", subject=start.subject)
    watched = book.rows("watch_reading", subject=start.subject)
    end = book.last("pressure_end", start.subject)
    about = [
        [
            text(", ".join(start.many("covers"))), text(start.shown("method")), num(start.shown("test_pressure")),
            text(start.shown("restraint")), num(start.shown("height")), num(start.shown("lowest_rating")),
            num(start.shown("pipe_temperature")), num(end.shown("pipe_temperature") if end else ""),
            text(end.shown("joints_dry") if end else ""), num(end.shown("watch_pressure") if end else ""),
            num(end.shown("litres_in") if end else ""), num(end.shown("top_ups") if end else ""),
        ]
    ]  # fmt: skip
    heads = (
        ("Covers", ""), ("Method", ""), ("Pressure", "num"), ("Pipe lies", ""), ("Gauge above lowest", "num"),
        ("Lowest rating", "num"), ("Pipe at start", "num"), ("at end", "num"), ("Joints dry", ""), ("Watch pressure", "num"),
        ("Water in", "num"), ("Top-ups", "num"),
    )  # fmt: skip
    first = readings[0].at if readings else start.at
    rows = [
        [
            text(book.local(row.at, SHORT)), num(short((row.at - start.at).total_seconds() / 60), "min"),
            text(row.shown("phase") if row.raw["kind"] == "pressure_reading" else "Watched during backfill"), num(row.shown("pressure")), num(row.shown("litres")), text(row.by),
            text(row.raw["instrument"]),
        ]
        for row in (*readings, *watched)
    ]  # fmt: skip
    columns = (
        ("Time", ""), ("Since start", "num"), ("Phase", ""), ("Pressure", "num"), ("Water", "num"), ("Read by", ""),
        ("Gauge", ""),
    )  # fmt: skip
    return Section(
        f"test-{start.subject}",
        f"Pressure test {start.subject}, {book.local(first, '%d %b %Y')}",
        judged=(*judged(start, "Set-up"), *(judged(end, "Test") if end else ())),
        svg=_curve(book, start, readings),
        svg_note="Measured pressure, with what creep alone would do to a tight pipe of this restraint after it was shut."
        if start.subject in book.facts["curves"]
        else "",
        tables=(Table(heads, about), Table(columns, rows)),
        warnings=_undone(end),
    )


def _undone(end: Row | None) -> list[str]:
    names = ", ".join(end.raw["void_for"]) if end else ""
    return [f"Later work on the pipe undid this test for {names}."] if names else []


def _curve(book: Book, start: Row, readings: list[Row]) -> str:
    points = [
        ((row.at - start.at).total_seconds() / 60, bar)
        for row in readings
        if (bar := row.number("pressure", "bar")) is not None
    ]
    lines = book.facts["curves"].get(start.subject) or {}
    drawn = [
        Series("creep alone", _floats(lines.get("expected")), SOFT, "5 3"),
        Series("leak called below", _floats(lines.get("leak_line")), FAIL, "2 3"),
        Series("measured", points, ACCENT, marks=True),
    ]
    target = start.number("test_pressure", "bar")
    levels = [Level("test pressure", target, SOFT)] if target and not lines else []
    return curve(
        [one for one in drawn if one.points],
        levels=levels, x_name="minutes from the start of the test", y_name="bar",
        title=f"Pressure over time, test {start.subject}",
    )  # fmt: skip


def _floats(pairs: list[list[str]] | None) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in pairs or []]
