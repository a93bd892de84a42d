"""The job page: what the rooms below tell of one job, put side by side."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from calcs.verdict import Outcome
from jobs.firms.models import Member, Role
from jobs.ground import results
from jobs.ground.drawing import Mark, array_svg
from jobs.office import queries
from jobs.office.trade import stations
from jobs.planning.models import Job, JobState
from jobs.planning.trade import PAUSES, may_be_visited, may_move
from jobs.reminders.queries import open_reminders
from jobs.visits import queries as visits
from jobs.visits.queries import Ledger

# How far a loop has come, by the last of these facts that stands for it.
LOOP_FACTS = (("tested", "tested"), ("flushed", "flushed"), ("filled", "filled"))
SECTION_FACTS = (("trenched", "open"), ("tested", "tested"), ("released", "released"), ("covered", "covered"))
LATEST = 8
HAND_IN = (Role.SCHEDULER, Role.MANAGER, Role.ENGINEER)


def job_page(job: Job, member: Member, *, at: datetime) -> dict[str, Any]:
    """Everything the template needs."""
    ledger, numbers = visits.ledger(job), results.numbers(job)
    newest_first = sorted(ledger.lines, key=lambda line: line.received_at, reverse=True)[:LATEST]
    return {
        "job": job,
        "may_edit": member.works_at_desk and job.state not in queries.OVER,
        "may_plan": member.works_at_desk and may_be_visited(job.state),
        "may_pause": member.works_at_desk and may_move(job.state, JobState.ON_HOLD),
        "may_resume": member.works_at_desk and job.state in PAUSES,
        "may_cancel": member.has_role(Role.MANAGER) and may_move(job.state, JobState.CANCELLED),
        "line": stations(job.state_before_hold or job.state),
        "numbers": numbers,
        "figures": results.numbers_json(numbers),
        "drawing": array_svg(ledger.plan, marks(ledger)),
        "holds": visits.holds(ledger),
        "rows": visits.timeline(newest_first, job),
        "entry_count": len(ledger.lines),
        "covered_early": ledger.covered_early,
        "visits": visits.visits_of_job(job),
        "asks": visits.open_asks(job),
        "run": visits.run_of(job),
        "reminders": [each for each in open_reminders(member, at=at) if each.job.pk == job.pk],
        "sheets": queries.sheets_of(job),
        "may_hand_in": job.state in {JobState.READY, JobState.RETURNED} and member.has_role(*HAND_IN),
        "at": at,
    }


def marks(ledger: Ledger) -> dict[str, Mark]:
    """State of every loop, section and the header for the drawing; a failed verdict shows before any progress."""
    failed = {
        line.subject for line in ledger.current if line.outcome is Outcome.FAIL and line.subject and line.kind != "note"
    }
    found: dict[str, Mark] = {}
    for loop in ledger.plan.loops:
        found[loop.code] = _mark(ledger, loop.code, LOOP_FACTS, failed)
    for section in ledger.plan.sections:
        found[section.code] = _section_mark(ledger, section.code, failed)
    if ledger.plan.header:
        found["H"] = _mark(ledger, "H", LOOP_FACTS[:2], failed)
    return found


def _mark(ledger: Ledger, code: str, facts: tuple[tuple[str, str], ...], failed: set[str]) -> Mark:
    reached = [word for fact, word in facts if ledger.has(fact, code)]
    if code in failed:
        return Mark("fail", "failed")
    return Mark("done" if len(reached) == len(facts) else "open", reached[-1] if reached else "to lay")


def _section_mark(ledger: Ledger, code: str, failed: set[str]) -> Mark:
    if code in ledger.covered_early:
        return Mark("fail", "covered early")
    return _mark(ledger, code, SECTION_FACTS, failed)
