from __future__ import annotations

from itertools import pairwise, product

import pytest

from jobs.firms.scope import scope
from jobs.planning import trade
from jobs.planning.actions import move_state
from jobs.planning.errors import JobClosed, MoveRefused
from jobs.planning.models import JobState
from tests import build
from tests.people import a_firm

STATES = [state.value for state in JobState]
ORDER = [
    "accepted", "designed", "scheduled", "in_ground", "tested", "backfilled", "flushed", "filled", "running_in", "ready",
    "submitted", "approved", "handed_over",
]  # fmt: skip


def test_the_table_names_every_state_and_no_other() -> None:
    assert set(trade.MOVES) == set(STATES)
    assert {to for moves in trade.MOVES.values() for to in moves} <= set(STATES)


def test_the_whole_way_is_open() -> None:
    assert all(trade.may_move(a, b) for a, b in pairwise(ORDER))


@pytest.mark.parametrize(("state", "to"), list(product(STATES, STATES)))
def test_every_pair(state: str, to: str) -> None:
    """What must never be possible, whatever the table says."""
    if not trade.may_move(state, to):
        return
    assert state != to
    assert state != "handed_over"
    assert not (state in trade.DESK and to in {"submitted", "returned", "approved", "handed_over"})
    assert not (to == "approved" and state != "submitted")
    assert not (to == "handed_over" and state != "approved")
    assert not (state == "approved" and to in trade.SITE)


@pytest.mark.django_db
def test_a_refused_move_changes_nothing_and_says_why() -> None:
    firm = a_firm()
    job = build.a_job(firm)
    with scope(firm.pk):
        before = job.version
        with pytest.raises(MoveRefused, match="it cannot become approved from there"):
            move_state(job, JobState.APPROVED, at=build.AT, by=None)
        job.refresh_from_db()
        assert (job.state, job.version) == ("designed", before)


@pytest.mark.django_db
def test_a_job_on_hold_goes_back_only_where_it_came_from() -> None:
    firm = a_firm()
    job = build.a_job(firm, state=JobState.TESTED)
    with scope(firm.pk):
        with pytest.raises(MoveRefused, match="Say why"):
            move_state(job, JobState.ON_HOLD, at=build.AT, by=None)
        move_state(job, JobState.ON_HOLD, at=build.AT, by=None, reason="Rock in section S2")
        assert job.on_hold_reason == "Rock in section S2"
        with pytest.raises(MoveRefused):
            move_state(job, JobState.FILLED, at=build.AT, by=None)
        move_state(job, JobState.TESTED, at=build.AT, by=None)
        assert (job.state, job.on_hold_reason, job.state_before_hold) == ("tested", "", "")


@pytest.mark.django_db
def test_a_closed_job_keeps_its_design() -> None:
    from jobs.ground.actions import add_loop  # noqa: PLC0415

    firm = a_firm()
    job = build.a_job(firm, state=JobState.APPROVED)
    with scope(firm.pk), pytest.raises(JobClosed, match="can no longer be changed"):
        add_loop(job, by=build.somebody(firm), at=build.AT, **build.PIPE, array_m=100.0)  # type: ignore[arg-type]
