"""The sections on the plant room: static pressure, settings, de-aeration run, final readings."""

from __future__ import annotations

from jobs.sheets.charts import RunCheck, deaeration
from jobs.sheets.page.base import Book, Row, Section, Table, judged, num, outcome, short, text
from jobs.sheets.page.site import more


def settings(book: Book) -> Section | None:
    static, source = book.rows("static_pressure"), book.rows("source_settings")
    if not static and not source:
        return None
    pressures = [
        [
            text(row.when), num(row.shown("vessel_l")), num(row.shown("precharge")), num(row.shown("pressure")),
            text(row.shown("valve_locked")), text(row.by), outcome(row.outcome),
        ]
        for row in static
    ]  # fmt: skip
    set_to = [
        [
            text(row.when), text(row.shown("serial")), num(row.shown("frost_alarm")), text(row.shown("fluid_set")),
            num(row.shown("flow")), text(row.shown("pump_mode")), text(row.shown("strainer_clean")), text(row.by),
            outcome(row.outcome),
        ]
        for row in source
    ]  # fmt: skip
    tables: tuple[Table, ...] = (
        Table((("Time", ""), ("Vessel", "num"), ("Gas side", "num"), ("Fill pressure, cold", "num"), ("Valve locked open", ""), ("By", ""), ("", "")), pressures, "Static pressure and vessel"),
        Table((("Time", ""), ("Serial number", ""), ("Frost alarm", "num"), ("Fluid set", ""), ("Source flow", "num"), ("Pump", ""), ("Strainer clean", ""), ("By", ""), ("", "")), set_to, "Source side of the heat pump"),
    )  # fmt: skip
    vessel = more(
        book, "static_pressure", ("type", "relief", "low_alarm", "height", "level", "settled"), "Vessel and valves"
    )
    tables = (*tables, vessel) if vessel else tables
    said = [one for row in (*static[-1:], *source[-1:]) for one in judged(row)]
    return Section("settings", "Static pressure and settings", judged=said, tables=tables)


def _day(start: Row, row: Row) -> float:
    return (row.at - (start.time("started") or start.at)).total_seconds() / 86400


def run(book: Book) -> Section | None:
    start = book.last("deaeration_start")
    if start is None:
        return None
    checks = book.rows("follow_up")
    drawn = [RunCheck(0.0, start.number("pressure", "bar"), 0.0)]
    rows, topped = [], 0.0
    for row in checks:
        litres = row.number("top_up", "L") or 0.0
        topped += litres
        drawn.append(RunCheck(_day(start, row), row.number("pressure_on_arrival", "bar"), litres))
        rows.append(
            [
                num(short(_day(start, row)), "d"), text(row.when), num(row.shown("pressure_on_arrival")),
                num(row.shown("t_in")), num(row.shown("t_out")), num(row.shown("top_up")),
                num(row.shown("top_up_strength")), num(row.shown("pressure_left")), text(row.shown("strainer")), text(row.shown("air")), text(row.by),
                outcome(row.outcome),
            ]
        )  # fmt: skip
    columns = (
        ("Day", "num"), ("Time", ""), ("On arrival", "num"), ("From ground", "num"), ("To ground", "num"),
        ("Topped up", "num"), ("of strength", "num"), ("Left at", "num"), ("Strainer", ""), ("Air", ""), ("By", ""), ("", ""),
    )  # fmt: skip
    days = start.number("planned_days", "d")
    rest = more(book, "follow_up", ("debris", "vents", "flow", "pump_stopped", "alarms", "leaks"), "Further answers")
    volume = (book.facts["numbers"].get("volumes") or {}).get("system_l")
    share = f", {short(100 * topped / float(volume), 2)} % of the volume" if volume else ""
    return Section(
        "run",
        "De-aeration run",
        intro=f"Started {book.local(start.time('started') or start.at)} for {short(days)} days; {short(topped)} L topped up in all{share}.",
        svg=deaeration(drawn, ends_day=days),
        judged=[one for row in checks[-1:] for one in judged(row, "Last check")],
        tables=(Table(columns, rows), *((rest,) if rest else ())),
    )


def heat_of(row: Row) -> tuple[str, str]:
    """Measured heat in kW and its expanded uncertainty, as words; empty when it was not judged."""
    for verdict in row.raw["verdicts"]:
        for one in verdict["figures"]:
            if "heat" in one["name"].lower() and one["unit"] in {"W", "kW"}:
                factor = 0.001 if one["unit"] == "W" else 1.0
                doubt = short(2 * float(one["u"]) * factor, 2) if one["u"] else ""
                return short(float(one["value"]) * factor), doubt
    return "", ""


def final(book: Book) -> Section | None:
    rows = []
    sets = book.rows("final_reading")
    for row in sets:
        warm, cold = row.number("t_in", "°C"), row.number("t_out", "°C")
        spread = None if warm is None or cold is None else warm - cold
        heat, doubt = heat_of(row)
        rows.append(
            [
                text(row.subject), text(row.when), num(row.shown("run_minutes")), num(row.shown("flow")),
                num(row.shown("t_in")), num(row.shown("t_out")), num(short(spread), "K"),
                num(f"{heat} ± {doubt}" if doubt else heat, "kW"), num(row.shown("power")), text(row.raw["instrument"]),
                outcome(row.outcome),
            ]
        )  # fmt: skip
    columns = (
        ("Set", ""), ("Time", ""), ("Running for", "num"), ("Flow", "num"), ("From ground", "num"), ("To ground", "num"),
        ("Difference", "num"), ("Heat from ground", "num"), ("Power", "num"), ("With", ""), ("", ""),
    )  # fmt: skip
    if not rows:
        return None
    return Section(
        "final", "Final readings", judged=[one for row in sets[-1:] for one in judged(row)],
        tables=(Table(columns, rows),), notes=("Heat is flow × density × heat capacity × difference; ± is twice the standard uncertainty.",),
    )  # fmt: skip
