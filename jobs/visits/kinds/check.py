"""Is an entry complete and possible? Pure: it tells the first complaint as a code, and never refuses."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from datetime import datetime
from math import isfinite
from typing import Any

from jobs.visits.kinds.base import MINTED, Answer, Field, Kind, Of
from jobs.visits.kinds.units import convert

Codes = Mapping[str, tuple[str, ...]]
NOT_ANSWERED = ("not_known", "not_applicable")
HASH = re.compile(r"[0-9a-f]{64}")
UNREADABLE = ("answer", "unit")
# A year beyond these is a slip of the date field, and no calendar sum of it would come out.
YEARS = range(2000, 2101)


def complaint(kind: Kind, payload: Mapping[str, Any], text: Mapping[str, Any], codes: Codes) -> str:
    """`missing:photo`, `hard_range:pressure`, `unit:flow`, `answer:covers`; empty when all is well.

    `codes` are the job's subjects: sections, loops, boreholes, header. What cannot be read is told first: the office may
    let anything else count.
    """
    found = list(_complaints(kind, payload, text, codes))
    unreadable = [one for one in found if one.partition(":")[0] in UNREADABLE]
    return (unreadable or found or [""])[0]


def _complaints(kind: Kind, payload: Mapping[str, Any], text: Mapping[str, Any], codes: Codes) -> Iterator[str]:
    for field in kind.fields:
        if not _is_asked(field, payload):
            continue
        found = _of_text(field, text) if field.answer.is_text else _of_answer(field, payload.get(field.name), codes)
        if found:
            yield f"{found}:{field.name}"


def _is_asked(field: Field, payload: Mapping[str, Any]) -> bool:
    if field.only_if is None:
        return True
    other = payload.get(field.only_if[0])
    return isinstance(other, Mapping) and other.get("value") in field.only_if[1]


def _of_text(field: Field, text: Mapping[str, Any]) -> str:
    value = text.get(field.name)
    if value in (None, "", []):
        return "missing" if field.required else ""
    if field.answer is Answer.STROKES:
        return ""
    return "" if isinstance(value, str) and len(value.strip()) >= field.shortest else "missing"


def _of_answer(field: Field, found: Any, codes: Codes) -> str:
    if found is None:
        return "missing" if field.required else ""
    if not isinstance(found, Mapping):
        return "answer"
    value = found.get("value")
    if found.get("unknown") in NOT_ANSWERED:
        return "" if value in (None, "", []) else "answer"
    if value in (None, "", []):
        return "missing" if field.required else ""
    if field.answer is Answer.NUMBER:
        return _of_number(field, value, found.get("unit"))
    return "" if _fits(field, value, codes) else "answer"


def _of_number(field: Field, value: Any, unit: Any) -> str:
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        return "answer"
    if unit not in field.units:
        return "unit"
    usual = convert(float(value), unit, field.units[0])
    if field.hard is None or usual is None:
        return ""
    low, high = field.hard
    return "" if low <= usual <= high else "hard_range"


def _fits(field: Field, value: Any, codes: Codes) -> bool:
    if field.answer is Answer.YES:
        return isinstance(value, bool)
    if field.answer in {Answer.MANY, Answer.PHOTO}:
        if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
            return False
        wanted = _allowed(field, codes)
        return all(HASH.fullmatch(one) if field.answer is Answer.PHOTO else one in wanted for one in value)
    if not isinstance(value, str):
        return False
    if field.answer is Answer.CHOICE:
        return value in _allowed(field, codes)
    return _is_time(value) if field.answer is Answer.TIME else len(value) <= 60


def _allowed(field: Field, codes: Codes) -> set[str]:
    return {code for code, _ in field.choices} | {
        code for source in field.choices_from for code in codes.get(source, ())
    }


def _is_time(value: str) -> bool:
    try:
        found = datetime.fromisoformat(value)
    except ValueError:
        return False
    return found.tzinfo is not None and found.year in YEARS


def subject_fits(kind: Kind, subject: str, codes: Codes) -> bool:
    """Is this a place of the job, or a code that a phone may mint?"""
    if kind.of is Of.JOB:
        return subject == ""
    if kind.of is Of.POINT:
        return subject in codes["boreholes"] or bool(re.fullmatch(r"[JP][1-9]\d{0,3}", subject))
    if kind.of in MINTED:
        return bool(re.fullmatch(MINTED[kind.of] + r"[1-9]\d{0,3}", subject))
    if kind.of is Of.HOLD_POINT:
        return bool(re.fullmatch(r"H[1-9]\d?(:[A-Z][1-9]\d{0,3})?", subject))
    if kind.of is Of.SAMPLE:
        return subject in {"system", *codes["loops"]} or bool(re.fullmatch(r"M[1-9]\d{0,3}", subject))
    named = {
        Of.LOOP: ("loops",),
        Of.LOOP_OR_HEADER: ("loops", "header"),
        Of.HEADER: ("header",),
        Of.BOREHOLE: ("boreholes",),
        Of.SECTION: ("sections",),
    }
    return any(subject in codes[source] for source in named[kind.of])
