"""The whole sheet as plain values for its template: title block, summary, sections. Pure."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import segno

from jobs.planning.trade import WHOSE
from jobs.sheets.page import array, fluid, plant, review, site
from jobs.sheets.page.base import STATES, WORST, Book, Figure, Row, Section, parse, short

# What, of which kinds, and of which phases of the job: when all of these are not ours, that is said instead.
SUMMARY: tuple[tuple[str, tuple[str, ...], tuple[str, ...]], ...] = (
    ("Trench and joints", ("trench_section", "joint"), ("trench", "pipe")),
    ("Pressure test", ("pressure_end",), ("test",)),
    ("Flush", ("flush",), ("flush",)),
    ("Mix and strength", ("mix_batch", "strength_reading"), ("fill",)),
    ("Filling", ("loop_fill",), ("fill",)),
    ("Purge and residual air", ("purge", "residual_air"), ("purge",)),
    ("Pressure and settings", ("static_pressure", "source_settings"), ("start",)),
    ("De-aeration run", ("follow_up",), ("follow_up",)),
    ("Final readings", ("final_reading",), ("final",)),
)
# Lines that a way of filling does not have, or has other kinds for.
BY_FILL: dict[str, dict[str, tuple[str, ...]]] = {
    "circulate": {"Mix and strength": ("strength_reading",), "Filling": ("circulation",)},
    "pre_filled": {"Mix and strength": ("strength_reading",), "Filling": ()},
    "water_only": {"Mix and strength": (), "Filling": ()},
}


@dataclass(frozen=True)
class Line:
    """One line of the summary."""

    what: str
    state: str
    word: str
    count: str


@dataclass(frozen=True)
class Sheet:
    """What the template prints."""

    firm: str
    number: str
    title: str
    site: str
    customer: str
    address: str
    revision: str
    approved_at: str
    approved_by: str
    self_reviewed: bool
    reason: str
    hash: str
    previous: str
    link: str
    qr: str
    figures: Sequence[Figure]
    summary: Sequence[Line]
    overrides: int
    waived: int
    sections: Sequence[Section]

    @property
    def hash_short(self) -> str:
        return self.hash[:16]

    @property
    def hash_soft(self) -> str:
        """The whole hash in groups that may break."""
        return "\u200b".join(re.findall(".{1,16}", self.hash))


def sheet(
    facts: Mapping[str, Any],
    personal: Mapping[str, Any],
    *,
    hash: str,  # noqa: A002 - the name on the sheet
    link: str,
    photos: Mapping[str, str],
) -> Sheet:
    """`photos`: sha256 -> where the picture is; `link`: the address at which the hash can be checked."""
    book = Book(facts, personal, photos)
    approval = facts["approval"]
    return Sheet(
        firm=facts["job"]["firm"],
        number=facts["job"]["number"],
        title=book.word("job.title"),
        site=book.word("job.site"),
        customer=book.word("job.customer"),
        address=book.word("job.address"),
        revision=facts["revision"],
        approved_at=book.local(parse(approval["at"])),
        approved_by=book.person(approval["by"]),
        self_reviewed=approval["self_reviewed"],
        reason=book.word("revision.reason"),
        hash=hash,
        previous=facts["previous"],
        link=link,
        qr=qr(link) if link else "",
        figures=[one for one in figures(book) if one.value],
        summary=summary(book),
        overrides=len(book.rows("override")) + sum(row["override"] == "office" for row in facts["hold_points"]),
        waived=sum(row["waived"] for row in facts["findings"]),
        sections=sections(book),
    )


def sections(book: Book) -> list[Section]:
    """In the order of the work. What has nothing in it is left out."""
    makers: tuple[Callable[[Book], Section | None], ...] = (
        array.loops, site.scope, array.boreholes, site.before, array.trench, array.joints, site.welded, site.laid,
        site.positions,
    )  # fmt: skip
    later: tuple[Callable[[Book], Section | None], ...] = (
        fluid.flush, fluid.mix, fluid.fill, fluid.purge, site.balance, plant.settings, plant.run, plant.final, site.site, review.holds,
        review.findings, review.notes, review.photos, review.signatures, review.instruments, review.struck, review.limits,
    )  # fmt: skip
    found = [make(book) for make in makers] + list(array.tests(book)) + [make(book) for make in later]
    return [section for section in found if section is not None]


def qr(link: str) -> str:
    """The link as an SVG code, without a size of its own."""
    out = io.BytesIO()
    segno.make(link, error="m", micro=False).save(
        out, kind="svg", xmldecl=False, svgns=True, border=0, omitsize=True, dark="#16201d", nl=False
    )
    return out.getvalue().decode("utf-8")


def _state(rows: Sequence[Row]) -> tuple[str, str]:
    found = {row.outcome for row in rows}
    code = next((outcome for outcome in WORST if outcome in found), "")
    return STATES.get(code, ("open", "Logged" if rows else "Not logged"))


def summary(book: Book) -> list[Line]:
    lines = []
    not_ours = {row["phase"]: row["whose"] for row in book.facts["scope"]}
    for what, usual, phases in SUMMARY:
        kinds = BY_FILL.get(book.facts["fill"], {}).get(what, usual)
        if not kinds:
            continue
        rows = _that_count(book, kinds)
        state, word = _state(rows)
        if all(phase in not_ours for phase in phases):
            word = word if rows else WHOSE[not_ours[phases[0]]]
        elif rows and _lacks(book, kinds):
            state, word = "fail", "Not all"
        lines.append(Line(what, state, word, f"{len(rows)} {'entry' if len(rows) == 1 else 'entries'}" if rows else ""))
    return lines


def _lacks(book: Book, kinds: tuple[str, ...]) -> bool:
    """True when a loop, a section or a whole step of this line is missing, or is inside no passed test."""
    array = book.facts["array"]
    loops, sections = ([row["code"] for row in array[name]] for name in ("loops", "sections"))
    header = ["H"] if array["header"] else []
    wanted = {"trench_section": sections, "flush": [*loops, *header], "loop_fill": loops}
    if kinds == ("pressure_end",):
        return any(code not in book.facts["tested"] for code in (*loops, *sections, *header))
    return any(
        set(wanted.get(kind, [])) - {row.subject for row in rows} or (not rows and kind != "joint")
        for kind in kinds
        for rows in [book.rows(kind)]
    )


def _that_count(book: Book, kinds: tuple[str, ...]) -> list[Row]:
    """The last entry per kind and subject; every one of those that are repeated by nature."""
    latest = {(row.raw["kind"], row.subject): row for row in book.rows(*kinds)}
    return list(latest.values())


def figures(book: Book) -> list[Figure]:
    """The five numbers somebody looks for years later."""
    numbers = book.facts["numbers"]
    volume = (numbers.get("volumes") or {}).get("system_l")
    readings = [row for row in book.rows("strength_reading") if fluid.freezing(row)]
    system = [row for row in readings if row.subject == "system" or row.value("place") == "system"]
    freezes = fluid.freezing((system or readings)[-1]) if readings else ""
    static, finals = book.last("static_pressure"), book.rows("final_reading")
    heat, doubt = plant.heat_of(finals[-1]) if finals else ("", "")
    return [
        Figure("System volume by plan", short(volume) if volume else "", "L"),
        Figure("Freezing point", freezes.removesuffix(" °C"), "°C"),
        _air(book),
        Figure("Static pressure, cold", short(static.number("pressure", "bar")) if static else "", "bar"),
        Figure("Heat from ground", f"{heat} ± {doubt}" if doubt else heat, "kW"),
    ]


def _air(book: Book) -> Figure:
    checked = book.last("residual_air")
    for verdict in checked.raw["verdicts"] if checked else ():
        for one in verdict["figures"]:
            if one["name"].startswith("air at") and one["unit"] == "L":
                return Figure("Air left in", short(one["value"], 2), "L")
    return Figure("Air left in", "", "L")
