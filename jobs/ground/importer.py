"""A loop list from a spreadsheet or a paste: read, checked row by row, and taken only when every row is right."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

from jobs.ground.errors import ImportRefused
from jobs.ground.trade import BOREHOLE_CODE, LOOP_CODE, next_code, next_port
from jobs.sums.parse import NotANumber, parse_number

MOST_ROWS: Final = 300
# Half of it as text stays below what the csv module takes as one cell.
MOST_BYTES: Final = 200_000
SEPARATORS: Final = ("\t", ";", ",")


@dataclass(frozen=True)
class Column:
    """A column we know: its own name, the unit of its numbers, and the range that is possible at all."""

    name: str
    unit: str = ""
    low: float = 0.0
    high: float = 0.0
    words: tuple[str, ...] = ()


COLUMNS: Final = (
    Column("loop", words=("code", "loop code", "loop no", "loop number")),
    Column("port", low=1, high=60, words=("port no", "port number")),
    Column("kind", words=("type",)),
    Column("borehole", words=("bore", "hole")),
    Column("depth", "m", 5, 600, ("borehole depth",)),
    Column("outside diameter", "mm", 10, 250, ("od", "diameter", "pipe od")),
    Column("wall", "mm", 1, 30, ("wall thickness", "pipe wall")),
    Column("material", words=("pipe material", "grade")),
    Column("array length", "m", 1, 1500, ("array", "length", "loop length", "length in ground")),
    Column("lateral", "m", 0, 1000, ("lateral length", "laterals")),
    Column("fittings", low=0, high=500, words=("fittings k", "sum of k")),
    Column("section", words=("trench section", "trench")),
)
NEEDED: Final = ("outside diameter", "wall", "array length")
BY_WORD: Final = {word: column for column in COLUMNS for word in (column.name, *column.words)}
UNITS: Final = ("mm", "m", "ft", "feet", "in", "inch", "inches", "cm")


@dataclass(frozen=True)
class Known:
    """What the job has already: codes and ports that are taken, boreholes and sections to refer to."""

    loops: frozenset[str] = frozenset()
    ports: frozenset[int] = frozenset()
    boreholes: frozenset[str] = frozenset()
    sections: frozenset[str] = frozenset()
    ports_of_manifold: int = 0


@dataclass(frozen=True)
class LoopRow:
    """One loop as read, ready to be taken."""

    code: str
    port: int
    kind: str
    borehole: str
    depth_m: float | None
    section: str
    od_mm: float
    wall_mm: float
    material: str
    array_m: float
    lateral_m: float
    fittings_k: float


@dataclass
class ReadRow:
    """One line of the list: what was in it, the loop it makes, and what is wrong, one sentence each."""

    line: int
    cells: list[str]
    loop: LoopRow | None = None
    errors: list[str] = field(default_factory=list)


@dataclass
class LoopList:
    """The whole list as read. `problems` concern the list as such, such as its heading."""

    heading: list[str] = field(default_factory=list)
    rows: list[ReadRow] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)

    @property
    def is_right(self) -> bool:
        return bool(self.rows) and not self.problems and not any(row.errors for row in self.rows)

    @property
    def wrong(self) -> int:
        return sum(1 for row in self.rows if row.errors)

    def loops(self) -> list[LoopRow]:
        """All loops. Raises `ImportRefused` unless every row is right."""
        if not self.is_right:
            raise ImportRefused("Nothing was imported; put right the rows that are marked, then check the list again.")
        return [row.loop for row in self.rows if row.loop]


def text_of(data: bytes) -> str:
    """The text of an uploaded file. Raises `ImportRefused`."""
    if len(data) > MOST_BYTES:
        raise ImportRefused("This file is too large for a loop list; save only the loops as CSV.")
    if b"\0" in data or data[:2] == b"PK":
        raise ImportRefused("This is not a text file; save the sheet as CSV and choose that.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def read(text: str, known: Known) -> LoopList:
    """The list with what is wrong in it. Never raises on what people paste."""
    found = LoopList()
    if len(text) > MOST_BYTES // 2:
        found.problems.append("This list is too long; import it in parts.")
        return found
    lines = _lines(text)
    if not lines:
        found.problems.append("Paste the list with its heading line, or choose a file.")
        return found
    found.heading = [cell.strip() for cell in lines[0][1]]
    columns = _columns(found)
    if found.problems:
        return found
    if len(lines) - 1 > MOST_ROWS:
        found.problems.append(f"The list has more than {MOST_ROWS} rows; import it in parts.")
        return found
    found.rows = [ReadRow(number, [cell.strip() for cell in cells]) for number, cells in lines[1:]]
    if not found.rows:
        found.problems.append("There is no loop below the heading line.")
    _Reading(columns, known).fill(found.rows)
    return found


def _lines(text: str) -> list[tuple[int, list[str]]]:
    """Lines that hold anything, with their numbers; split at tab, semicolon or comma, whichever the heading has."""
    tidy = text.replace("\r\n", "\n").replace("\r", "\n").replace("\0", "").lstrip("\ufeff")
    first = next((line for line in tidy.split("\n") if line.strip()), "")
    separator = next((mark for mark in SEPARATORS if mark in first), ";")
    numbered = []
    for number, line in enumerate(tidy.split("\n"), start=1):
        cells = next(iter(csv.reader(io.StringIO(line), delimiter=separator)), [])
        if any(cell.strip() for cell in cells):
            numbered.append((number, cells))
    return numbered


def _columns(found: LoopList) -> list[Column | None]:
    """The known column of each heading; None for one we leave alone."""
    columns: list[Column | None] = []
    for heading in found.heading:
        name, unit = _split_unit(heading)
        column = BY_WORD.get(name)
        if column and unit and unit != column.unit:
            given = f"give it in {column.unit}" if column.unit else "leave the unit out"
            found.problems.append(f"The column “{heading}” is in {unit}; {given}.")
        if column and column in columns:
            found.problems.append(f"The column “{column.name}” stands twice in the heading; leave one out.")
        columns.append(column)
    have = {column.name for column in columns if column}
    found.problems += [f"There is no column “{name}”; the heading must name it." for name in NEEDED if name not in have]
    return columns


def _split_unit(heading: str) -> tuple[str, str]:
    """ "Array length (m)" and "array_m" are the column and its unit."""
    words = re.sub(r"[\s_()\[\],./]+", " ", heading.strip().lower()).strip().split(" ")
    unit = words.pop() if len(words) > 1 and words[-1] in UNITS else ""
    return " ".join(words), unit


class _Reading:
    """Row after row, remembering the codes and ports that earlier rows have taken."""

    def __init__(self, columns: list[Column | None], known: Known) -> None:
        self.columns, self.known = columns, known
        self.codes, self.ports = set(known.loops), set(known.ports)
        self.holes: set[str] = set()

    def fill(self, rows: Iterable[ReadRow]) -> None:
        for row in rows:
            row.loop = self.one(row)

    def one(self, row: ReadRow) -> LoopRow | None:
        if len(row.cells) > len(self.columns):
            row.errors.append(
                "There are more cells than headings; with commas between cells, write numbers with a point."
            )
            return None
        cells = {column.name: cell for column, cell in zip(self.columns, row.cells, strict=False) if column is not None}
        numbers = {column.name: self.number(row, column, cells) for column in COLUMNS if column.high}
        loop = self.loop(row, cells, numbers)
        return None if row.errors else loop

    def number(self, row: ReadRow, column: Column, cells: dict[str, str]) -> float | None:
        """The number in its range, or None with what is wrong."""
        text = cells.get(column.name, "")
        if not text:
            if column.name in NEEDED:
                row.errors.append(f"The {column.name} is missing.")
            return None
        try:
            value = parse_number(text)
        except NotANumber as error:
            row.errors.append(f"{column.name.capitalize()}: {error}")
            return None
        if not column.low <= value <= column.high:
            unit = f" {column.unit}" if column.unit else ""
            row.errors.append(
                f"The {column.name} of {text}{unit} must be from {column.low:g} to {column.high:g}{unit}."
            )
            return None
        return value

    def loop(self, row: ReadRow, cells: dict[str, str], numbers: dict[str, float | None]) -> LoopRow | None:
        od, wall, array = numbers["outside diameter"], numbers["wall"], numbers["array length"]
        if od and wall and wall >= od / 2:
            row.errors.append("The wall must be less than half of the outside diameter.")
        code, port = self.code(row, cells), self.port(row, numbers["port"])
        kind = self.kind(row, cells)
        borehole, section = self.borehole(row, cells, numbers["depth"]), self.section(row, cells)
        if od is None or wall is None or array is None:
            return None
        return LoopRow(
            code=code,
            port=port,
            kind=kind,
            borehole=borehole,
            depth_m=numbers["depth"],
            section=section,
            od_mm=od,
            wall_mm=wall,
            material=cells.get("material", "")[:20] or "PE 100",
            array_m=array,
            lateral_m=numbers["lateral"] or 0.0,
            fittings_k=6.0 if numbers["fittings"] is None else numbers["fittings"],
        )

    def code(self, row: ReadRow, cells: dict[str, str]) -> str:
        text = cells.get("loop", "").upper().replace(" ", "")
        if re.fullmatch(r"[0-9]{1,4}", text):
            text = f"L{int(text)}"
        code = text or next_code("L", self.codes)
        if not LOOP_CODE.fullmatch(code):
            row.errors.append(f"“{cells.get('loop', '')}” is no loop code; write L1, L2 and so on.")
        elif code in self.codes:
            where = "on this job" if code in self.known.loops else "further up"
            row.errors.append(f"{code} stands already {where}; give this loop another code.")
        self.codes.add(code)
        return code

    def port(self, row: ReadRow, number: float | None) -> int:
        if number is not None and number != int(number):
            row.errors.append("The port must be a whole number.")
        port = next_port(self.ports) if number is None else int(number)
        if port in self.ports:
            row.errors.append(f"Port {port} is taken; put this loop on another port.")
        most = self.known.ports_of_manifold
        if most and port > most:
            row.errors.append(f"The manifold has {most} ports; there is no port {port}.")
        self.ports.add(port)
        return port

    def kind(self, row: ReadRow, cells: dict[str, str]) -> str:
        kind = cells.get("kind", "").lower() or ("borehole" if cells.get("borehole") else "trench")
        if kind not in {"borehole", "trench"}:
            row.errors.append("The kind must be borehole or trench.")
        return kind

    def borehole(self, row: ReadRow, cells: dict[str, str], depth: float | None) -> str:
        code = cells.get("borehole", "").upper().replace(" ", "")
        if not code:
            return ""
        if not BOREHOLE_CODE.fullmatch(code):
            row.errors.append(f"“{cells['borehole']}” is no borehole code; write B1, B2 and so on.")
        elif code not in self.known.boreholes | self.holes:
            if depth is None:
                row.errors.append(f"{code} is new to this job; give its depth.")
            self.holes.add(code)
        return code

    def section(self, row: ReadRow, cells: dict[str, str]) -> str:
        code = cells.get("section", "").upper().replace(" ", "")
        if code and code not in self.known.sections:
            row.errors.append(f"There is no section {code} on this job; add it first or leave the cell empty.")
        return code
