"""A visit as an empty sheet to print: what is written by hand when the phone is dead, in the words of the phone's own forms."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import segno
from django.conf import settings
from django.utils.safestring import SafeString, mark_safe

from jobs.visits.fold import subjects
from jobs.visits.given import codes_of, plan_json
from jobs.visits.kinds import KINDS, Answer, Field, Kind, Of
from jobs.visits.kinds.base import MINTED
from jobs.visits.ledger import Ledger
from jobs.visits.models import Visit
from jobs.visits.procedure import STEPS

LINES_FOR_A_SERIES: Final = 12
LINES_TO_SPARE: Final = 3
EVERYWHERE: Final = ("note",)


@dataclass(frozen=True)
class Box:
    """One answer: a label over a line, or words to tick."""

    label: str
    unit: str
    ticks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Block:
    """One kind of entry: its boxes once for each of `names`, which are empty where there is none or the crew gives the number."""

    title: str
    names: tuple[str, ...]
    boxes: tuple[Box, ...]
    cautions: tuple[str, ...]
    is_series: bool
    is_numbered: bool


def blocks(visit: Visit, seen: Ledger) -> list[Block]:
    """What this visit logs, in the order of the work; a caution is printed where it first matters."""
    plan, codes = plan_json(seen.plan), codes_of(seen.plan)
    told: set[str] = set()
    found = []
    ours = {step["code"] for step in seen.folded["steps"] if not step["not_ours"]}
    for kind, names in _kinds(visit, plan, ours):
        cautions = tuple(line for line in kind.cautions if line not in told)
        told.update(cautions)
        boxes = tuple(_box(field, codes) for field in kind.fields if field.answer is not Answer.PHOTO)
        found.append(Block(kind.label, names, boxes, cautions, kind.repeats, kind.of in MINTED))
    return found


def _kinds(visit: Visit, plan: dict[str, Any], ours: set[str]) -> Iterator[tuple[Kind, tuple[str, ...]]]:
    for step in STEPS:
        if step["phase"] != visit.kind or step["code"] not in ours:
            continue
        kind = KINDS[step["kind"]]
        names = tuple(name for name in subjects(step["each"], "", plan) if name) if _is_named(kind) else ()
        yield kind, names or ("",) * (1 if kind.of is Of.JOB else LINES_TO_SPARE)
        if kind.code == "pressure_test":
            yield from ((KINDS[code], _lines(KINDS[code])) for code in ("pressure_reading", "pressure_end"))
    yield from ((KINDS[code], _lines(KINDS[code])) for code in EVERYWHERE)


def _is_named(kind: Kind) -> bool:
    """Loops, sections and boreholes have names before the visit; joints, tests and batches get theirs there."""
    return kind.of in {Of.LOOP, Of.LOOP_OR_HEADER, Of.SECTION, Of.BOREHOLE}


def _lines(kind: Kind) -> tuple[str, ...]:
    return ("",) * (LINES_FOR_A_SERIES if kind.repeats else 1)


def _box(field: Field, codes: dict[str, tuple[str, ...]]) -> Box:
    ticks = [words for _, words in field.choices] + [code for source in field.choices_from for code in codes[source]]
    if field.answer is Answer.YES:
        ticks = ["yes", "no"]
    return Box(field.label, " or ".join(field.units[:2]), tuple(ticks))


def code_of(visit: Visit) -> SafeString:
    """An SVG code that opens this visit on a phone, built from the site's own address."""
    out = io.BytesIO()
    link = f"{settings.SITE_URL}/field/visit/{visit.pk}"
    segno.make(link, error="m", micro=False).save(
        out, kind="svg", xmldecl=False, svgns=True, border=0, omitsize=True, nl=False
    )
    return mark_safe(out.getvalue().decode("utf-8"))  # noqa: S308 - drawn here, from our own address
