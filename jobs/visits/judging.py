"""The outcomes on which facts rest, from the judges of the kinds. Pure."""

from __future__ import annotations

from calcs.verdict import Outcome, Verdict
from jobs.visits.kinds import KINDS, Facts, Logged, purge, running, strength_reading, tightness
from jobs.visits.procedure import FACTS

ORDER = (Outcome.PASS, Outcome.WARN, Outcome.CANNOT_TELL, Outcome.FAIL)
BY_ENTRY = frozenset(row["kind"] for row in FACTS if row.get("judged") == "entry")


def worst(verdicts: tuple[Verdict, ...]) -> Outcome | None:
    """The gravest outcome; None when there is no verdict."""
    return max((verdict.outcome for verdict in verdicts), key=ORDER.index, default=None)


def verdicts_of(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    """What its kind says of an entry; nothing for a kind that is not known."""
    kind = KINDS.get(entry.kind)
    return kind.judge(facts, entry) if kind else ()


def outcomes(facts: Facts) -> dict[str, str]:
    """Outcome by entry id, by code of test or sample, and for `purge` and `run`: what the fold asks for."""
    found: dict[str, str] = {}
    for entry in facts.entries:
        if entry.kind in BY_ENTRY:
            found[entry.id] = (worst(verdicts_of(facts, entry)) or Outcome.PASS).value
    for test in {entry.subject for entry in facts.of("pressure_end")}:
        found[test] = tightness.judge_test(facts, test).outcome.value
    for sample in {entry.subject for entry in facts.of("strength_reading")}:
        found[sample] = strength_reading.judge_subject(facts, sample).outcome.value
    if facts.of("purge"):
        found["purge"] = purge.judge_all(facts).outcome.value
    if facts.of("deaeration_start") or ("start" in facts.scope and facts.of("follow_up")):
        found["run"] = running.judge_run(facts).outcome.value
    return found
