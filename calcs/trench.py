"""The trench: sand and spoil to move, warning tape to lay, and what to look at in each section.

A trench of any depth can fall in. Nothing here lets anybody into one: the competent person on site and the local code do.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import ceil, pi
from typing import Final

from calcs._ranges import between, not_negative, positive
from calcs.errors import OutOfRange
from calcs.sources import Limit, Source, limits
from calcs.units import Quantity, quantity, si
from calcs.verdict import Cause, Figure, Outcome, Verdict, inside

CAUTIONS: Final = (
    "Never enter a trench that is neither supported nor sloped back, whatever its depth.",
    "A competent person inspects it before each shift, after rain and after any fall of soil.",
    "Keep spoil, machines and people back from the edge; fence it off overnight.",
    "The local code and the competent person decide; the figures here do not replace them.",
)
TO_FEET: Final = 0.3048


@dataclass(frozen=True)
class Sand:
    """Sand of one section, in place."""

    volume: Quantity
    mass: Quantity


@dataclass(frozen=True)
class Spoil:
    """Soil of one section: as it lies in the ground, heaped up, and how much of the heap does not go back in."""

    in_ground: Quantity
    heap_low: Quantity
    heap_high: Quantity
    left_low: Quantity
    left_high: Quantity


@dataclass(frozen=True)
class Tape:
    """Warning tape: length with overlaps, whole rolls, and how deep below the surface it lies."""

    length: Quantity
    rolls: int
    depth: Quantity


@dataclass(frozen=True)
class Section:
    """What was seen in one section. None is *not looked at*. `supported` means shored or sloped back."""

    depth: Quantity
    bed: Quantity | None = None
    spoil_distance: Quantity | None = None
    way_out: Quantity | None = None
    supported: bool | None = None
    inspected: bool | None = None
    is_dry: bool | None = None


def trench_rows(*, area: str) -> dict[str, Limit]:
    """The figures of trenches with their sources (units in the rows; range: `fill` or `section`).

    Source: `calcs/data/trench.csv`.

    >>> trench_rows(area="section")["bed"].value
    0.1
    """
    return limits("trench", area)


def sand(
    *, length: Quantity, width: Quantity, bed: Quantity, cover: Quantity | None = None, od: Quantity, pipes: int = 2
) -> Sand:
    """Sand for bed and cover: V = L (W (bed + od + cover) - n pi/4 od^2); without cover V = L W bed. Mass at 1.6 t/m3.

    Range: all above 0, cover 0 or more; pipes fit side by side. Source: geometry; density common practice, no source.

    >>> found = sand(length=quantity(50, "m"), width=quantity(600, "mm"), bed=quantity(100, "mm"), od=quantity(40, "mm"))
    >>> round(found.volume.magnitude, 2), round(found.mass.magnitude, 2)
    (3.0, 4.8)
    """
    long, wide = positive("length", si(length, "m", "length")), positive("width", si(width, "m", "width"))
    under, thick = positive("bed", si(bed, "m", "bed")), positive("outside diameter", si(od, "m", "od"))
    count = between("pipes side by side", pipes, 1, wide / thick, "width over outside diameter")
    if cover is None:
        volume = long * wide * under
    else:
        layer = under + thick + not_negative("cover", si(cover, "m", "cover"))
        volume = long * (wide * layer - count * pi / 4.0 * thick**2)
    density = trench_rows(area="fill")["sand_density"].value
    return Sand(quantity(volume, "m^3"), quantity(volume * density, "tonne"))


def spoil(
    *, length: Quantity, width: Quantity, depth: Quantity, replaced: Quantity | None = None, slope: float = 0.0
) -> Spoil:
    """Soil to dig: V = L (W d + slope d^2); heaped x 1.2 to 1.4; what sand and pipe take the place of is left over.

    Units: m3. `slope` is the run of each side per depth (0 upright, 1 at 45 degrees); `replaced` the volume in the ground
    that does not get its soil back. Range: slope 0 to 3; replaced at most what is dug. Source: geometry; bulking common
    practice, no source.

    >>> found = spoil(length=quantity(50, "m"), width=quantity(600, "mm"), depth=quantity(1, "m"),
    ...     replaced=quantity(3, "m^3"))
    >>> found.in_ground.magnitude, round(found.heap_high.magnitude, 1), round(found.left_low.magnitude, 1)
    (30.0, 42.0, 3.6)
    """
    long, wide = positive("length", si(length, "m", "length")), positive("width", si(width, "m", "width"))
    deep = positive("depth", si(depth, "m", "depth"))
    dug = long * (wide * deep + between("slope", slope, 0.0, 3.0) * deep**2)
    taken = 0.0 if replaced is None else between("replaced", si(replaced, "m^3", "replaced"), 0.0, dug, "what is dug")
    rows = trench_rows(area="fill")
    low, high = rows["bulking_low"].value, rows["bulking_high"].value
    return Spoil(*(quantity(value, "m^3") for value in (dug, low * dug, high * dug, low * taken, high * taken)))


def tape(*, length: Quantity, pipe_top: Quantity, runs: int = 1, roll: Quantity) -> Tape:
    """Warning tape of a trench: runs x length x 1.05, whole rolls; 300 mm above the pipe, never under 150 mm deep.

    Units: m; `pipe_top` the depth of the top of the pipe. Range: pipe at least 150 mm deep. Source: 300 mm common practice;
    150 mm State of Delaware specification 232114 (read); 5 % for overlaps house default.

    >>> found = tape(length=quantity(120, "m"), pipe_top=quantity(0.9, "m"), roll=quantity(100, "m"))
    >>> found.rolls, round(found.depth.magnitude, 2)
    (2, 0.6)
    """
    rows = trench_rows(area="fill")
    least = rows["tape_below_grade"].value
    top = positive("depth of the pipe", si(pipe_top, "m", "depth of the pipe top"))
    if top < least:
        raise OutOfRange(
            what="depth of the pipe",
            value=f"{top:g} m",
            low=f"{least:g} m",
            high="any",
            source=rows["tape_below_grade"].source.text,
        )
    lanes = between("runs of tape", runs, 1, 20)
    needed = positive("length", si(length, "m", "length")) * lanes * (1.0 + rows["tape_overlap"].value)
    whole = ceil(needed / positive("roll", si(roll, "m", "roll")) - 1e-9)
    return Tape(quantity(needed, "m"), whole, quantity(max(least, top - rows["tape_above_pipe"].value), "m"))


def check(
    *, section: Section, rules: Mapping[str, Limit] | None = None, u: Quantity | None = None
) -> tuple[Verdict, ...]:
    """What one section says about depth, bed, support, way out, spoil and inspection; each with its source.

    Units: m. `rules` replaces rows of the area `section` (depth and bed of the job); `u` is the standard uncertainty of the
    staff, none unless given. Range: depth above 0. What was not looked at is *cannot tell*. Source: each row.

    >>> seen = Section(quantity(1.6, "m"), bed=quantity(100, "mm"), supported=False, inspected=True)
    >>> [verdict.outcome.value for verdict in check(section=seen)]
    ['pass', 'pass', 'fail', 'cannot tell', 'cannot tell', 'pass', 'cannot tell']
    """
    rows = {**trench_rows(area="section"), **(rules or {})}
    deep = positive("depth", si(section.depth, "m", "depth"))
    doubt = 0.0 if u is None else not_negative("uncertainty", si(u, "m", "u"))
    return tuple(_found(section, rows, deep, doubt))


def _found(seen: Section, rows: Mapping[str, Limit], deep: float, u: float) -> Iterator[Verdict]:
    yield _at_least("depth", deep, rows["depth"], u, "Dig deeper, or insulate the pipe as the designer says.")
    yield _at_least("bed", _metres(seen.bed, "bed"), rows["bed"], u, "Add sand, with no stone under the pipe.")
    yield _support(seen, rows, deep, u)
    if deep + 2.0 * u >= _limit(rows["egress_depth"]):
        yield _egress(seen, rows)
    far = _metres(seen.spoil_distance, "spoil distance")
    yield _at_least("spoil back from the edge", far, rows["spoil_distance"], u, "Move the spoil back.")
    source = rows["support_depth"].source
    told = ("A competent person inspected it.", "It was not inspected: nobody enters.")
    yield _said(told, source, Outcome.FAIL, holds=seen.inspected)
    dry = ("It is dry.", "There is water in it: pump it out and have it inspected again.")
    yield _said(dry, source, Outcome.WARN, holds=seen.is_dry)


def _limit(row: Limit) -> float:
    """A limit in metres, whether its source speaks metres, millimetres or feet."""
    return row.value * {"m": 1.0, "mm": 1e-3, "ft": TO_FEET}[row.unit]


def _metres(value: Quantity | None, name: str) -> float | None:
    return None if value is None else not_negative(name, si(value, "m", name))


def _at_least(name: str, value: float | None, row: Limit, u: float, way_out: str) -> Verdict:
    least, source = _limit(row), row.source
    if value is None:
        reason = f"The {name} was not measured."
        return Verdict(Outcome.CANNOT_TELL, reason, Cause.READINGS, source=source, way_out="Measure it.")
    figures = (Figure(name, value, "m", u=u, limit=least),)
    outcome = inside(-value, -least, u=u)
    if outcome is Outcome.PASS:
        return Verdict(outcome, f"The {name} is enough.", figures=figures, source=source)
    if outcome is Outcome.FAIL:
        reason = f"The {name} is {value:.2f} m, {least:.2f} m is asked for."
        return Verdict(outcome, reason, Cause.CONDITIONS, figures=figures, source=source, way_out=way_out)
    reason = f"The {name} is too near the limit for this staff."
    again = f"Measure again with care. {way_out}"
    return Verdict(outcome, reason, Cause.RESOLUTION, figures=figures, source=source, way_out=again)


def _support(seen: Section, rows: Mapping[str, Limit], deep: float, u: float) -> Verdict:
    row = rows["support_depth"]
    figures = (Figure("depth", deep, "m", u=u, limit=_limit(row)),)
    if seen.supported is None:
        way_out = "Look, and say so. Nobody enters before."
        reason = "Whether it is supported or sloped back is not said."
        return Verdict(Outcome.CANNOT_TELL, reason, Cause.READINGS, figures=figures, source=row.source, way_out=way_out)
    if seen.supported:
        return Verdict(Outcome.PASS, "It is supported or sloped back.", figures=figures, source=row.source)
    if deep + 2.0 * u >= _limit(row):
        reason = "So deep a trench is supported or sloped back: nobody enters."
        return Verdict(Outcome.FAIL, reason, Cause.CONDITIONS, figures=figures, source=row.source)
    reason = "It is not supported. A trench of any depth can fall in: the competent person decides."
    return Verdict(Outcome.WARN, reason, Cause.CONDITIONS, figures=figures, source=row.source)


def _egress(seen: Section, rows: Mapping[str, Limit]) -> Verdict:
    row, away = rows["egress_distance"], _metres(seen.way_out, "way out")
    if away is None:
        reason = "How far the nearest way out is was not said."
        return Verdict(Outcome.CANNOT_TELL, reason, Cause.READINGS, source=row.source, way_out="Measure it.")
    figures = (Figure("nearest way out", away, "m", limit=_limit(row)),)
    if away <= _limit(row):
        return Verdict(Outcome.PASS, "A way out is near.", figures=figures, source=row.source)
    return Verdict(
        Outcome.FAIL, "The way out is too far: set a ladder.", Cause.CONDITIONS, figures=figures, source=row.source
    )


def _said(words: tuple[str, str], source: Source, worst: Outcome, *, holds: bool | None) -> Verdict:
    good, bad = words
    if holds is None:
        reason = "Nobody said whether this holds: " + good[0].lower() + good[1:]
        return Verdict(Outcome.CANNOT_TELL, reason, Cause.READINGS, source=source, way_out="Look, and say so.")
    if holds:
        return Verdict(Outcome.PASS, good, source=source)
    return Verdict(worst, bad, Cause.CONDITIONS, source=source)
