"""What shows in how entries came: typed late, clocks off, held, in conflict, or still on a phone."""

from __future__ import annotations

from collections.abc import Iterator

from jobs.sheets.evidence import Evidence, Item, Standing
from jobs.sheets.findings.base import Found, Severity, asked, check, found, shown


@check("T6", "Typed long after")
def typed_late(seen: Evidence) -> Iterator[Found]:
    late = [item for item in _with(seen, "late", "late_typing", "typed_late") if item.source != "paper"]
    if late:
        yield found(
            "T6",
            Severity.WARN,
            f"{len(late)} entries were typed long after they were observed. Were they written down first?",
            *late,
            subject="",
        )


@check("T7", "Clocks")
def clocks(seen: Evidence) -> Iterator[Found]:
    ahead = _with(seen, "future", "ahead")
    if ahead:
        yield found(
            "T7",
            Severity.BLOCK,
            f"{len(ahead)} entries say they were observed later than they were typed. Which time is right?",
            *ahead,
            subject="",
            field="future",
        )
    for code, way in (("put_back", "back"), ("put_forward", "forward")):
        put = _with(seen, code)
        if put:
            yield found(
                "T7",
                Severity.NOTE,
                f"A phone's clock was put {way} before {put[0].name}. In which order was the work done?",
                *put,
                subject="",
                field=code,
            )
    off = _with(seen, "clock", "clock_offset", "offset")
    if off:
        ids = {item.id for item in off}
        most = max((abs(one.value or 0) for one in seen.arrivals if one.entry in ids), default=0)
        yield found(
            "T7",
            Severity.NOTE,
            f"A phone's clock was off by up to {shown(most / 60, 2)} min. Do the times still fit together?",
            *off,
            subject="",
            field="clock",
        )


@check("S4", "Sent by somebody else")
def sent_by_another(seen: Evidence) -> Iterator[Found]:
    """The rights are the author's; whoever sent it could not have logged it in their own name. Names nobody."""
    sent = _with(seen, "sender")
    if len(sent) == 1:
        said = f"{sent[0].name} was sent by another person than who logged it. Who saw it?"
        yield found("S4", Severity.WARN, said, *sent, subject="")
    elif sent:
        said = f"{len(sent)} entries were sent by another person than who logged them. Who saw them?"
        yield found("S4", Severity.WARN, said, *sent, subject="")


def _with(seen: Evidence, *codes: str) -> list[Item]:
    ids = {one.entry for one in seen.arrivals if one.code in codes}
    return [item for item in seen.current if item.id in ids]


@check("S1", "Entries that are held")
def held(seen: Evidence) -> Iterator[Found]:
    for item in seen.items:
        if item.standing is Standing.HELD:
            why = item.why or "the office has to look"
            yield found(
                "S1",
                Severity.BLOCK,
                asked(f"{item.name} is held: {why.rstrip('.')}.", "Take it, or leave it out?"),
                item,
                field=f"{item.kind} {item.at:%d %H:%M}",
            )


@check("S2", "Two corrections of one entry")
def in_conflict(seen: Evidence) -> Iterator[Found]:
    by_target: dict[str, list[Item]] = {}
    for item in seen.current:
        if item.supersedes:
            by_target.setdefault(item.supersedes, []).append(item)
    for rivals in by_target.values():
        if len(rivals) > 1:
            yield found(
                "S2",
                Severity.BLOCK,
                f"{rivals[0].name} was corrected {len(rivals)} times from different phones. Which one holds?",
                *rivals,
                field=rivals[0].kind,
            )


@check("S3", "Entries that are still on a phone")
def not_synced(seen: Evidence) -> Iterator[Found]:
    if seen.waiting_phones:
        phones = "A phone" if seen.waiting_phones == 1 else f"{seen.waiting_phones} phones"
        yield Found(
            "S3",
            Severity.BLOCK,
            f"{phones} of this job still had entries to send when last seen. Are they all here now?",
        )
    if seen.unread_items:
        yield Found(
            "S3",
            Severity.WARN,
            f"{seen.unread_items} things came from phones of this job that could not be read. Has somebody looked?",
            field="unread",
        )
