"""Every job in every state, asked to go everywhere: what moves, what stays, and what each state still lets people do."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from jobs.firms.errors import Refused
from jobs.firms.models import AuditEvent, Firm
from jobs.firms.scope import scope
from jobs.ground import actions as ground
from jobs.planning import actions
from jobs.planning.errors import MoveRefused
from jobs.planning.models import Job, JobState
from tests import build
from tests.people import a_firm, a_team, signed_in

pytestmark = pytest.mark.django_db
STATES = tuple(state.value for state in JobState)
SITE = "in_ground tested backfilled flushed filled running_in ready"
# The life of a job as the office tells it, written down once more by hand.
GOES_TO = {
    "accepted": "designed on_hold cancelled",
    "designed": "accepted scheduled on_hold cancelled",
    "scheduled": f"designed {SITE} on_hold cancelled",
    **dict.fromkeys(SITE.split(), f"{SITE} submitted on_hold cancelled"),
    "submitted": f"returned approved {SITE} on_hold cancelled",
    "returned": f"submitted {SITE} on_hold cancelled",
    "approved": "handed_over returned",
    "handed_over": "",
    "cancelled": "accepted",
}


@pytest.fixture
def firm() -> Firm:
    return a_firm()


@pytest.fixture
def job(firm: Firm) -> Job:
    return build.a_job(firm)


def stand(job: Job, state: str, before_hold: str = "") -> Job:
    """The job put into a state as if it had come there."""
    Job.objects.filter(pk=job.pk).update(state=state, state_before_hold=before_hold, on_hold_reason="")
    return Job.objects.get(pk=job.pk)


def moved(job: Job, to: str) -> bool:
    """Whether it moved; a refusal must leave the row as it was and be a sentence."""
    before = Job.objects.values().get(pk=job.pk)
    try:
        actions.move_state(job, JobState(to), at=build.AT, by=None, reason="Rock at 1.1 m")
    except MoveRefused as refusal:
        said = str(refusal)
    else:
        return bool(Job.objects.values("state").get(pk=job.pk)["state"] == to)
    assert said.endswith(".")
    assert JobState(before["state"]).label.lower() in said
    assert Job.objects.values().get(pk=job.pk) == before
    return False


@pytest.mark.parametrize("state", sorted(GOES_TO))
def test_from_here_a_job_goes_only_where_it_should(state: str, job: Job) -> None:
    allowed = set(GOES_TO[state].split()) - {state}
    with scope(job.firm_id):
        went = {to for to in STATES if to != state and moved(stand(job, state), to)}
    assert went == allowed


@pytest.mark.parametrize("before", sorted(set(GOES_TO) - {"approved", "handed_over", "cancelled"}))
def test_a_hold_remembers_where_the_job_stood(before: str, job: Job) -> None:
    with scope(job.firm_id):
        went = {to for to in STATES if to != "on_hold" and moved(stand(job, "on_hold", before), to)}
        assert went == {before, "cancelled"}
        held = stand(job, before)
        actions.move_state(held, JobState.ON_HOLD, at=build.AT, by=None, reason="  Drive is flooded ")
        assert (held.state_before_hold, held.on_hold_reason) == (before, "Drive is flooded")
        actions.resume(held, at=build.AT, by=None)
        assert (held.state, held.state_before_hold, held.on_hold_reason) == (before, "", "")


@pytest.mark.parametrize("before", ["designed", "tested", "returned"])
def test_a_cancelled_job_is_taken_up_where_it_stood(before: str, job: Job) -> None:
    """Were it accepted anew, loops that entries speak of could be taken out of the array."""
    with scope(job.firm_id):
        for by_way_of_hold in (False, True):
            row = stand(job, before)
            if by_way_of_hold:
                actions.move_state(row, JobState.ON_HOLD, at=build.AT, by=None, reason="Drive is flooded")
            actions.move_state(row, JobState.CANCELLED, at=build.AT, by=None)
            actions.resume(row, at=build.AT, by=None)
            assert (row.state, row.state_before_hold) == (before, "")


def test_asking_for_the_state_it_has_does_nothing(job: Job) -> None:
    with scope(job.firm_id):
        for state in STATES:
            row = stand(job, state, "tested" if state == "on_hold" else "")
            seen = (row.version, AuditEvent.objects.count())
            actions.move_state(row, JobState(state), at=build.AT, by=None)
            assert (Job.objects.get(pk=job.pk).version, AuditEvent.objects.count()) == seen


def test_each_move_is_audited_with_where_from_and_where_to(job: Job) -> None:
    by = build.somebody(job.firm_id)
    with scope(job.firm_id):
        actions.move_state(job, JobState.SCHEDULED, at=build.AT, by=by)
        events = AuditEvent.objects.filter(subject_id=job.pk, verb="job_moved")
        told = {(event.detail["before"], event.detail["after"], event.actor_id) for event in events}
    assert told == {("accepted", "designed", by.pk), ("designed", "scheduled", by.pk)}


@pytest.mark.parametrize("state", sorted(set(STATES) - {"on_hold", "cancelled"}))
def test_nothing_resumes_that_was_never_put_on_hold(state: str, job: Job) -> None:
    """A second press of the same key must not take a designed job back to the beginning."""
    with scope(job.firm_id):
        row = stand(job, state)
        with pytest.raises(MoveRefused, match="nothing to resume"):
            actions.resume(row, at=build.AT, by=None)
        assert Job.objects.get(pk=job.pk).state == state


def test_resume_pressed_twice_leaves_the_job_where_it_was() -> None:
    team = a_team()
    job = build.a_job(team.firm)
    desk: Client = signed_in(team.scheduler)
    desk.post(reverse("planning:job-hold", args=[job.pk]), {"reason": "Customer is away"})
    for _ in range(2):
        desk.post(reverse("planning:job-resume", args=[job.pk]))
    with scope(team.firm.pk):
        assert Job.objects.get(pk=job.pk).state == "designed"


CLOSED = ("approved", "handed_over", "cancelled")
BEGUN = (*SITE.split(), "submitted", "returned", "on_hold")
PIPE: dict[str, Any] = {"od_mm": 40.0, "wall_mm": 3.7, "array_m": 150.0}
Act = Callable[[Job, dict[str, Any]], Any]
# What stops once a job is closed, and what stops as soon as the crew has begun.
STOPS_CLOSED: dict[str, Act] = {
    "title": lambda job, who: actions.change_job(job, **who, title="Another title"),
    "design": lambda job, who: ground.set_design(job, **who, cop=4.0),
    "new loop": lambda job, who: ground.add_loop(job, **who, **PIPE, port=4, code="L4"),
    "loop": lambda job, who: ground.change_loop(job.loops.get(code="L1"), **who, array_m=199.0),
    "new borehole": lambda job, who: ground.add_borehole(job, **who, depth_m=80.0),
    "borehole": lambda job, who: ground.change_borehole(job.boreholes.get(code="B1"), **who, depth_m=98.0),
    "new section": lambda job, who: ground.add_section(job, **who, title="Extra", length_m=4.0, depth_mm=900.0),
    "section": lambda job, who: ground.change_section(job.sections.get(code="S1"), **who, length_m=13.0),
    "header": lambda job, who: ground.set_header(job, **who, length_each_way_m=14.0),
    "manifold": lambda job, who: ground.set_manifold(job, **who, place="Plant room"),
}  # fmt: skip
STOPS_BEGUN: dict[str, Act] = {
    "loop out": lambda job, who: ground.remove_loop(job.loops.get(code="L3"), **who),
    "loop code": lambda job, who: ground.change_loop(job.loops.get(code="L1"), **who, code="L9"),
    "borehole code": lambda job, who: ground.change_borehole(job.boreholes.get(code="B1"), **who, code="B9"),
    "section code": lambda job, who: ground.change_section(job.sections.get(code="S1"), **who, code="S9"),
}


def three_loops(firm: Firm) -> tuple[Job, dict[str, Any]]:
    job = build.a_job(firm, laterals_m=(16.0, 24.0, 32.0))
    return job, {"by": build.somebody(firm), "at": build.AT}


def stops(act: Act, job: Job, who: dict[str, Any]) -> bool:
    before = Job.objects.get(pk=job.pk).version
    try:
        act(job, who)
    except Refused as refusal:
        said = str(refusal)
    else:
        assert Job.objects.get(pk=job.pk).version > before
        return False
    assert said.endswith(".")
    assert Job.objects.get(pk=job.pk).version == before
    return True


@pytest.mark.parametrize("what", sorted(STOPS_CLOSED))
def test_an_order_and_its_design_stand_once_closed(what: str, firm: Firm) -> None:
    job, who = three_loops(firm)
    with scope(firm.pk):
        assert [state for state in CLOSED if not stops(STOPS_CLOSED[what], stand(job, state), who)] == []
        assert not stops(STOPS_CLOSED[what], stand(job, "returned"), who)


@pytest.mark.parametrize("what", sorted(STOPS_BEGUN))
def test_what_the_crews_entries_speak_of_stands_once_they_have_begun(what: str, firm: Firm) -> None:
    job, who = three_loops(firm)
    with scope(firm.pk):
        assert [s for s in (*BEGUN, *CLOSED) if not stops(STOPS_BEGUN[what], stand(job, s), who)] == []
        assert not stops(STOPS_BEGUN[what], stand(job, "scheduled"), who)
