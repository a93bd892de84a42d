"""Photos: taken, arrived, and of this place."""

from __future__ import annotations

from collections.abc import Iterator

from jobs.sheets.evidence import Evidence, Item
from jobs.sheets.findings.base import Found, Severity, check, found
from jobs.visits.kinds import KINDS, Answer


@check("E1", "Photos that are missing")
def missing(seen: Evidence) -> Iterator[Found]:
    for item in seen.current:
        kind = KINDS.get(item.kind)
        for field in kind.fields if kind else ():
            if field.answer is Answer.PHOTO and field.required and not item.entry.many(field.name):
                yield found(
                    "E1",
                    Severity.WARN,
                    f"{item.name}: the photo is missing. Is there one?",
                    item,
                    field=item.kind,
                )
        away = [sha for sha in item.photos() if sha not in seen.photos_here]
        if away:
            yield found(
                "E1",
                Severity.BLOCK,
                f"{item.name}: {len(away)} of its photos has not arrived. Is a phone still to be emptied?",
                item,
                field=f"{item.kind} {away[0][:8]}",
            )
    if not any(item.entry.choice("shot") == "label" for item in seen.of("photo")):
        yield Found(
            "E1", Severity.WARN, "There is no photo of the system label in place. Is it on the wall?", field="label"
        )


@check("E2", "Photos used twice")
def used_twice(seen: Evidence) -> Iterator[Found]:
    first: dict[str, Item] = {}
    for item in seen.current:
        for sha in item.photos():
            before = first.setdefault(sha, item)
            if before is not item and (before.kind, before.subject) != (item.kind, item.subject):
                yield found(
                    "E2",
                    Severity.WARN,
                    f"The same photo stands for “{before.name}” and “{item.name}”. Does it show both?",
                    before,
                    item,
                    field=sha[:12],
                )
    for reuse in seen.reused:
        items = [item for item in seen.current if reuse.sha256 in item.photos()]
        yield found(
            "E2",
            Severity.WARN,
            f"A photo of this job also stands in {reuse.where}. Of which one is it?",
            *items,
            field=f"{reuse.sha256[:12]} elsewhere",
        )
