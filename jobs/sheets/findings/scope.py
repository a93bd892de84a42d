"""Whose work it was, what nobody knows, what happened on the way: notes and questions, never walls."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from jobs.planning.trade import BY_OTHERS, PHASES
from jobs.sheets.evidence import Evidence, Item
from jobs.sheets.findings.base import Found, Severity, asked, check, found
from jobs.visits.kinds import KINDS, Field
from jobs.visits.trade import source_words

GRAVE = frozenset({"injury", "strike", "spill"})
WATER_OUT = ("loop_fill", "circulation", "mix_batch")


@check("C1", "Phases that are not ours")
def not_ours(seen: Evidence) -> Iterator[Found]:
    """Names stay out of it: they lie apart, so that a person can be erased."""
    for phase, row in seen.scope.items():
        label = PHASES.get(phase, phase)
        if row.whose != BY_OTHERS:
            said = f"{label}: not in this job. Is that as agreed?"
        elif row.evidence:
            said = f"{label}: by others. Is the paper that shows it on file?"
        else:
            said = f"{label}: by others. Nothing is named that shows it. Can a paper be had?"
        yield Found("C1", Severity.NOTE, said, field=phase)


@check("C2", "Answers that are not known")
def not_known(seen: Evidence) -> Iterator[Found]:
    for item in seen.current:
        kind = KINDS.get(item.kind)
        fields = [field for field in kind.fields if _unknown(item, field)] if kind else []
        open_ = [field for field in fields if _unknown(item, field) == "not_known"]
        if not fields:
            continue
        labels = ", ".join(field.label.lower() for field in open_ or fields)
        silent = [field for field in fields if not str(item.texts.get(field.name) or "").strip()]
        why = " No reason is given." if silent else ""
        said = f"{item.name}: {'not known' if open_ else 'said not to apply'}: {labels}.{why}"
        severity = Severity.WARN if open_ or silent else Severity.NOTE
        # About no subject, so that it silences no verdict: what cannot be told without the answer is still told.
        yield found("C2", severity, asked(said, "Can it still be found out?"), item, subject="", field=item.name[:60])


def _unknown(item: Item, field: Field) -> str:
    raw = item.entry.payload.get(field.name)
    return str(raw.get("unknown") or "") if isinstance(raw, Mapping) else ""


@check("C3", "Incidents and near-misses")
def incidents(seen: Evidence) -> Iterator[Found]:
    for item in seen.of("incident"):
        what = item.entry.choice("what")
        label = dict(KINDS["incident"].fields[0].choices).get(what, "Incident")
        severity = Severity.WARN if what in GRAVE or item.entry.yes("stop") else Severity.NOTE
        yield found("C3", severity, f"{label}, {item.at:%d %b}. What was done about it?", item, field=item.id[:8])


@check("C4", "Waste")
def no_waste(seen: Evidence) -> Iterator[Found]:
    """Filling pushes water out, and the first of the mix with it."""
    filled = [item for kind in WATER_OUT for item in seen.of(kind)]
    if filled and not seen.of("waste"):
        yield found(
            "C4", Severity.NOTE, "No waste is logged. Where did the water go?", *filled[-1:], subject="", field="waste"
        )


@check("C5", "Joints below ground without a place")
def not_measured(seen: Evidence) -> Iterator[Found]:
    """What a hold point was gone past for, or what was joined after the release."""
    placed = {item.subject for item in seen.of("position")}
    for item in seen.of("joint"):
        if item.entry.yes("buried") and item.subject not in placed:
            yield found(
                "C5", Severity.WARN, f"The place of joint {item.subject} is not measured. Can it still be done?", item
            )


@check("C6", "Entries that were not typed on the spot")
def second_hand(seen: Evidence) -> Iterator[Found]:
    """Phoned in, read off a photo, copied from paper: as good as what it was taken from."""
    by: dict[str, list[Item]] = {}
    for item in seen.current:
        if item.source != "typed":
            by.setdefault(item.source, []).append(item)
    for source, items in by.items():
        count = "1 entry" if len(items) == 1 else f"{len(items)} entries"
        said = f"{source_words(source)}: {count}. Is what they were taken from kept?"
        yield found("C6", Severity.NOTE, said, *items, subject="", field=source)
