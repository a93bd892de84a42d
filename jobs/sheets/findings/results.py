"""What the judgements said: results that do not pass, and steps of which nothing is logged."""

from __future__ import annotations

from collections.abc import Iterator

from calcs.verdict import Outcome
from jobs.sheets.evidence import Evidence, Item, Standing
from jobs.sheets.findings.base import Found, Severity, asked, check, found
from jobs.visits.kinds import KINDS

CODE = "R1"
GRAVE = {Outcome.FAIL: Severity.BLOCK, Outcome.CANNOT_TELL: Severity.WARN, Outcome.WARN: Severity.NOTE}
ASKS = {
    Outcome.FAIL: "What was done about it?",
    Outcome.CANNOT_TELL: "Can that be settled?",
    Outcome.WARN: "Is that as it should be?",
}


@check(CODE, "Results that do not pass")
def not_passed(seen: Evidence) -> Iterator[Found]:
    for item in _that_count(seen):
        worst = item.outcome
        if worst is None or worst is Outcome.PASS:
            continue
        reason = next(verdict for verdict in item.verdicts if verdict.outcome is worst).reason
        yield found(CODE, GRAVE[worst], asked(f"{item.name}: {reason}", ASKS[worst]), item, field=item.kind)


def _that_count(seen: Evidence) -> Iterator[Item]:
    """A later entry of the same kind and subject is a second attempt; a failed test that was repeated is history."""
    latest = {(item.kind, item.subject): item for item in seen.current}
    for item in seen.current:
        known = KINDS.get(item.kind)
        if not (known and known.repeats) and latest[item.kind, item.subject] is not item:
            continue
        if item.kind == "pressure_end" and _was_repeated(seen, item):
            continue
        yield item


def _was_repeated(seen: Evidence, end: Item) -> bool:
    start = seen.last("pressure_test", end.subject)
    covered = start.entry.many("covers") if start else ()
    tests = [seen.passed_test_of(subject) for subject in covered]
    return bool(tests) and all(test is not None and test.at > end.at for test in tests)


@check("M1", "Steps of which nothing is logged")
def missing_steps(seen: Evidence) -> Iterator[Found]:
    per_subject = (
        ("driller_papers", tuple(str(row["code"]) for row in seen.array.boreholes)),
        ("trench_section", seen.array.section_codes),
        ("backfill_release", seen.array.section_codes),
        ("flush", (*seen.array.loop_codes, *(["H"] if seen.array.header else []))),
        ("loop_fill", seen.array.loop_codes),
    )
    for kind, subjects in per_subject:
        for subject in subjects:
            if not seen.of(kind, subject):
                yield from _missing(seen, kind, subject)
    for kind in ("mix_batch", "purge", "residual_air", "static_pressure", "source_settings", "deaeration_start"):
        if not seen.of(kind):
            yield from _missing(seen, kind, "")
    yield from _too_few_sets(seen)


def _missing(seen: Evidence, kind: str, subject: str) -> Iterator[Found]:
    """What is held is told by its own finding; what was undone wants to be done again."""
    logged = [item for item in seen.items if item.kind == kind and item.subject == subject]
    if any(item.standing is Standing.HELD for item in logged):
        return
    step = f"“{KINDS[kind].label}”" + (f" of {subject}" if subject else "")
    if any(item.standing is Standing.VOID for item in logged):
        said = f"{step} was logged and does not count any more. Was it done again?"
    else:
        said = f"Nothing is logged for {step}. Was it done?"
    yield Found("M1", Severity.BLOCK, said, subject, tuple(item.id for item in logged), kind)


def _too_few_sets(seen: Evidence) -> Iterator[Found]:
    sets, least = seen.of("final_reading"), seen.limit("final_sets") or 1
    held = any(item.kind == "final_reading" and item.standing is Standing.HELD for item in seen.items)
    if len(sets) < least and not held:
        yield found(
            "M1",
            Severity.BLOCK,
            f"{len(sets)} sets of final readings are logged; the rules of this job ask for {least:.0f}. Is one missing?",
            *sets,
            subject="",
            field="final_reading",
        )


@check("E5", "Signatures")
def unsigned(seen: Evidence) -> Iterator[Found]:
    signed = seen.of("signature")
    if not signed:
        yield Found("E5", Severity.WARN, "Nobody of the crew has signed. Who answers for the work on site?")
        return
    crew = [item for item in signed if item.entry.choice("role") != "customer"]
    work = [item for item in seen.current if item.kind not in {"signature", "sheet_submit", "photo", "note"}]
    if not crew or not work:
        return
    last = max(crew, key=lambda item: item.at)
    later = [item for item in work if item.at > last.at]
    if later:
        yield found(
            "E5",
            Severity.WARN,
            f"The last signature of the crew is older than {len(later)} later entries. Do they stand for those too?",
            last,
            *later,
            subject="",
        )
