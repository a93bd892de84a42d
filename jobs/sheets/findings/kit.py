"""Instruments fit to be believed, and everything counted."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from zoneinfo import ZoneInfo

from jobs.sheets.evidence import Evidence, Item
from jobs.sheets.findings.base import Found, Severity, asked, check, found, shown
from jobs.visits.kinds import KINDS


@check("Q1", "Calibration of the instruments")
def out_of_calibration(seen: Evidence) -> Iterator[Found]:
    used: dict[str, list[Item]] = {}
    for item in seen.current:
        if item.entry.instrument in seen.kit:
            used.setdefault(item.entry.instrument, []).append(item)
    zone = ZoneInfo(seen.ordered.time_zone)
    for key, items in used.items():
        kit = seen.kit[key]
        if not kit.calibration_due:
            yield found(
                "Q1",
                Severity.NOTE,
                f"No calibration date is known for {kit}. Is there a certificate?",
                *items,
                subject=str(kit)[:40],
                field="unknown",
            )
            continue
        due = date.fromisoformat(kit.calibration_due)
        late = [item for item in items if item.at.astimezone(zone).date() > due]
        if late:
            yield found(
                "Q1",
                Severity.BLOCK,
                f"The calibration of {kit} was due on {due:%d %b %Y}; {len(late)} readings are later. "
                f"Was it calibrated in between?",
                *late,
                subject=str(kit)[:40],
            )


@check("Q2", "Readings without an instrument")
def no_instrument(seen: Evidence) -> Iterator[Found]:
    loose: dict[str, list[Item]] = {}
    for item in seen.current:
        kind = KINDS.get(item.kind)
        if kind and kind.instrument and item.entry.instrument not in seen.kit:
            loose.setdefault(item.kind, []).append(item)
    for code, items in loose.items():
        kind = KINDS[code]
        yield found(
            "Q2",
            Severity.WARN,
            f"{kind.label}: no {kind.instrument.replace('_', ' ')} is named for {len(items)} of the entries. "
            f"With what was it read?",
            *items,
            subject="",
            field=code,
        )


@check("Q4", "Zero check of the refractometer")
def not_zeroed(seen: Evidence) -> Iterator[Found]:
    for item in seen.of("strength_reading"):
        if not item.entry.yes("zeroed"):
            yield found(
                "Q4",
                Severity.WARN,
                f"The refractometer was not zeroed before {item.subject or 'a sample'} was read. Was it zeroed that day?",
                item,
                field=f"zeroed {item.at:%d %H:%M}",
            )


@check("Q6", "Counts")
def counts(seen: Evidence) -> Iterator[Found]:
    ports = seen.array.manifold.get("ports")
    if ports is not None and len(seen.array.loops) > int(ports):
        yield Found(
            "Q6",
            Severity.BLOCK,
            f"The manifold has {ports} ports and the plan {len(seen.array.loops)} loops. Which is right?",
            field="ports",
        )
    if seen.ours("pipe"):
        yield from _joints(seen)
    if not seen.ours("test"):
        return
    untested = [code for code in (*seen.array.loop_codes, *seen.array.section_codes) if not seen.passed_test_of(code)]
    if seen.array.header and not seen.passed_test_of("H"):
        untested.append("H")
    if untested:
        yield Found(
            "Q6",
            Severity.BLOCK,
            asked(f"Not inside a passed pressure test: {', '.join(untested)}.", "Was it tested?"),
            field="tested",
        )


def _joints(seen: Evidence) -> Iterator[Found]:
    for trench in seen.of("trench_section"):
        drawn = trench.entry.number("joints", "pcs")
        if drawn is None or seen.last("trench_section", trench.subject) is not trench:
            continue
        logged = [item for item in seen.of("joint") if item.entry.choice("section") == trench.subject]
        if len({item.subject for item in logged}) != int(drawn):
            yield found(
                "Q6",
                Severity.BLOCK,
                f"{len(logged)} joints are logged in {trench.subject}; the drawing shows {shown(drawn)}. "
                f"Which one is missing?",
                trench,
                *logged,
                field="joints",
            )
