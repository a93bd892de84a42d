"""Numbers that are too neat, too fine or out of the usual range."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal, InvalidOperation

from jobs.sheets.evidence import Evidence, Item, Kit
from jobs.sheets.findings.base import Found, Severity, check, found, shown
from jobs.visits.kinds import KINDS, UNITS, Answer, Field, convert

# How the register of instruments calls a unit that entries call otherwise.
SAME_UNIT = {"brix": "°Bx"}


@check("V1", "Identical readings")
def identical(seen: Evidence) -> Iterator[Found]:
    """Three sets of final readings or three changeover times that are equal to the last figure."""
    sets = [(item, _numbers(item, "flow", "t_in", "t_out")) for item in seen.of("final_reading")]
    same = [item for item, values in sets if values and values == sets[0][1]]
    if len(sets) >= 3 and len(same) == len(sets):
        yield found(
            "V1",
            Severity.WARN,
            f"{len(same)} sets of final readings are equal to the last figure. Was each one read anew?",
            *same,
            subject="",
            field="final_reading",
        )
    yield from _same_changeover(seen)


def _numbers(item: Item, *names: str) -> tuple[object, ...]:
    values = tuple(item.entry.value(name) for name in names)
    return values if all(value is not None for value in values) else ()


def _same_changeover(seen: Evidence) -> Iterator[Found]:
    """Loops of different length cannot take the same time to the second."""
    lengths = {str(row["code"]): float(row["length_m"]) for row in seen.array.loops}
    runs: dict[float, list[Item]] = {}
    for item in seen.of("loop_fill"):
        start, full = item.entry.time("started"), item.entry.time("full_colour")
        if start and full and item.subject in lengths:
            runs.setdefault((full - start).total_seconds(), []).append(item)
    for seconds, items in runs.items():
        different = {lengths[item.subject] for item in items}
        if len(items) >= 3 and len(different) >= 3:
            yield found(
                "V1",
                Severity.WARN,
                f"{len(items)} loops of different length took exactly {shown(seconds / 60)} min. Was each one timed?",
                *items,
                subject="",
                field="full_colour",
            )


@check("V5", "Finer than the instrument reads")
def too_fine(seen: Evidence) -> Iterator[Found]:
    for item in seen.current:
        kind, kit = KINDS.get(item.kind), seen.kit.get(item.entry.instrument)
        if kind is None or kit is None or not kit.resolution:
            continue
        for field in kind.fields:
            if field.answer is Answer.NUMBER and _is_finer(item, field, kit):
                unit = item.entry.unit(field.name)
                yield found(
                    "V5",
                    Severity.WARN,
                    f"{_about(field, item)} is {item.entry.payload[field.name]['text']} {unit}; {kit} reads in "
                    f"steps of {shown(kit.resolution)} {kit.unit}. Which instrument was read?",
                    item,
                    field=f"{item.kind}.{field.name}",
                )


def _about(field: Field, item: Item) -> str:
    return f"{field.label} {item.subject}".strip()


def _is_finer(item: Item, field: Field, kit: Kit) -> bool:
    """True when a value read in the instrument's own unit does not fall on one of its steps."""
    answer = item.entry.payload.get(field.name) or {}
    unit = item.entry.unit(field.name)
    if unit != SAME_UNIT.get(kit.unit, kit.unit) or unit not in UNITS:
        return False
    try:
        typed = Decimal(str(answer.get("text", "")).replace(",", ".").strip())
        # Half a step may be read between two marks. A number too large to be divided is no reading of this instrument.
        return (typed * 2) % Decimal(str(kit.resolution)) != 0
    except InvalidOperation:
        return False


@check("V6", "Outside the usual range")
def unusual(seen: Evidence) -> Iterator[Found]:
    for item in seen.current:
        kind = KINDS.get(item.kind)
        for field in kind.fields if kind else ():
            if field.soft is None or not field.units or f"{field.name}_reason" in item.texts:
                continue
            unit = item.entry.unit(field.name)
            value = item.entry.number(field.name, field.units[0])
            # The range of a field with units of two kinds (Brix, degrees) is only of the first.
            if value is None or convert(1, unit or field.units[0], field.units[0]) is None:
                continue
            low, high = field.soft
            if not low <= value <= high:
                yield found(
                    "V6",
                    Severity.WARN,
                    f"{_about(field, item)} is {shown(value, 4)} {field.units[0]}; {shown(low)} to {shown(high)} "
                    f"is usual. Is it right?",
                    item,
                    field=f"{item.kind}.{field.name}",
                )
