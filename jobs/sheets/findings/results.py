"""What the judgements said: results that do not pass, and steps of which nothing is logged."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

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


class Step(NamedTuple):
    """A kind that must be logged: in which phase, for what, in which ways of filling, how grave it is when it is not."""

    kind: str
    phase: str
    of: str = ""
    severity: Severity = Severity.BLOCK
    procedures: tuple[str, ...] = ()


BY_LOOP, ON_SITE, WITH_WATER = (
    ("loop_by_loop",),
    ("loop_by_loop", "circulate"),
    ("loop_by_loop", "circulate", "water_only"),
)
STEPS = (
    Step("services_permit", "permits", severity=Severity.WARN),
    Step("driller_papers", "boreholes", "boreholes"),
    Step("trench_section", "trench", "sections"),
    Step("pipe_laid", "pipe", "loops", Severity.WARN),
    Step("manifold_port", "pipe", "ports", Severity.WARN),
    Step("header_penetration", "header", "header", Severity.WARN),
    Step("backfill_release", "backfill", "sections"),
    Step("flush", "flush", "loops", procedures=WITH_WATER),
    Step("flush", "flush", "header"),
    Step("plant_connection", "header", severity=Severity.WARN),
    Step("mix_batch", "fill", procedures=BY_LOOP),
    Step("loop_fill", "fill", "loops", procedures=BY_LOOP),
    Step("circulation", "fill", procedures=("circulate",)),
    Step("strength_reading", "fill", "loops", procedures=("pre_filled",)),
    Step("purge", "purge"),
    Step("residual_air", "purge"),
    Step("balance_reading", "balance", "ports", Severity.WARN),
    Step("static_pressure", "start"),
    Step("source_settings", "start"),
    Step("deaeration_start", "start"),
)


@check("M1", "Steps of which nothing is logged")
def missing_steps(seen: Evidence) -> Iterator[Found]:
    """Of the phases that are ours and the way in which this array is filled."""
    header = ("H",) if seen.array.header else ()
    subjects: dict[str, tuple[str, ...]] = {
        "": ("",),
        "boreholes": tuple(str(row["code"]) for row in seen.array.boreholes),
        "sections": seen.array.section_codes,
        "loops": seen.array.loop_codes,
        "ports": seen.array.loop_codes if seen.array.manifold else (),
        "header": header,
    }
    for step in STEPS:
        if not seen.ours(step.phase) or (step.procedures and seen.fill not in step.procedures):
            continue
        for subject in subjects[step.of]:
            if not seen.of(step.kind, subject if step.of else None):
                yield from _missing(seen, step.kind, subject, step.severity)
    if seen.ours("final"):
        yield from _too_few_sets(seen)


def _missing(seen: Evidence, kind: str, subject: str, severity: Severity) -> Iterator[Found]:
    """What is held is told by its own finding; what was undone wants to be done again."""
    logged = [item for item in seen.items if item.kind == kind and item.subject == subject]
    if any(item.standing is Standing.HELD for item in logged):
        return
    step = f"“{KINDS[kind].label}”" + (f" of {subject}" if subject else "")
    if any(item.standing is Standing.VOID for item in logged):
        said = f"{step} was logged and does not count any more. Was it done again?"
    else:
        said = f"Nothing is logged for {step}. Was it done?"
    yield Found("M1", severity, said, subject, tuple(item.id for item in logged), kind)


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
