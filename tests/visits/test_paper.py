"""The empty sheet of a visit: every answer of the phone's forms has a box, and nothing is filled in."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
import segno
from django.urls import reverse

from jobs.firms.scope import scope
from jobs.planning import actions as planning
from jobs.planning.models import Job
from jobs.visits import actions, paper, queries
from jobs.visits.kinds import KINDS, Answer
from jobs.visits.models import Visit, VisitKind
from jobs.visits.procedure import STEPS
from tests.people import Team, signed_in
from tests.visits.test_scope import OTHERS

NOW = datetime(2026, 3, 9, 18, 0, tzinfo=UTC)


def planned(team: Team, job: Job, kind: VisitKind) -> Visit:
    with scope(team.firm.pk):
        return actions.plan_visit(
            job, kind=kind, planned_date=date(2026, 3, 9), crew=[team.crew], note="", by=team.scheduler, at=NOW
        )


@pytest.mark.parametrize("kind", list(VisitKind))
def test_every_step_of_the_visit_is_there_with_a_box_for_every_answer(kind: VisitKind, team: Team, job: Job) -> None:
    visit = planned(team, job, kind)
    with scope(team.firm.pk, writes=False):
        seen = queries.ledger(job)
        blocks = {block.title: block for block in paper.blocks(visit, seen)}
    ours = {step["code"] for step in seen.folded["steps"]}
    assert len(ours) > 20
    for step in STEPS:
        if step["phase"] == kind and step["code"] in ours:
            wanted = [field.label for field in KINDS[step["kind"]].fields if field.answer is not Answer.PHOTO]
            assert [box.label for box in blocks[KINDS[step["kind"]].label].boxes] == wanted


def test_a_phase_that_is_not_ours_is_left_off(team: Team, job: Job) -> None:
    visit = planned(team, job, VisitKind.GROUND)
    with scope(team.firm.pk):
        planning.set_scope(job, scope={"pipe": OTHERS}, fill="loop_by_loop", by=team.scheduler, at=NOW)
        titles = [block.title for block in paper.blocks(visit, queries.ledger(Job.objects.get(pk=job.pk)))]
    assert "Pipe laid" not in titles
    assert "Trench section" in titles


def test_what_has_a_name_is_named_and_what_gets_one_on_site_has_room(team: Team, job: Job) -> None:
    visit = planned(team, job, VisitKind.GROUND)
    with scope(team.firm.pk, writes=False):
        seen = queries.ledger(job)
        blocks = {block.title: block for block in paper.blocks(visit, seen)}
    assert blocks["Trench section"].names == tuple(section.code for section in seen.plan.sections)
    assert blocks["Joint"].names == ("", "", "")
    series = blocks["Pressure reading"]
    assert (series.is_series, len(series.names)) == (True, 12)


def test_a_caution_is_printed_once(team: Team, job: Job) -> None:
    visit = planned(team, job, VisitKind.GROUND)
    with scope(team.firm.pk, writes=False):
        told = [line for block in paper.blocks(visit, queries.ledger(job)) for line in block.cautions]
    assert len(told) == len(set(told))
    assert any("Water only" in line for line in told)


def test_the_crew_can_print_it(team: Team, job: Job) -> None:
    visit = planned(team, job, VisitKind.FILL)
    page = signed_in(team.crew).get(reverse("visits:visit-paper", args=[visit.pk]))
    text = page.content.decode()
    assert page.status_code == 200
    assert "<svg" in text
    assert " style=" not in text
    assert f"Job {job.number}" in text


def test_the_code_is_the_address_of_the_visit_on_a_phone(team: Team, job: Job) -> None:
    visit = planned(team, job, VisitKind.FILL)
    modules = segno.make(f"http://localhost:8000/field/visit/{visit.pk}", error="m", micro=False)
    other = segno.make(f"http://localhost:8000/field/visit/{job.pk}", error="m", micro=False)
    assert path_of(modules) in paper.code_of(visit)
    assert path_of(other) not in paper.code_of(visit)


def path_of(code: segno.QRCode) -> str:
    """The drawn squares of a code without a border."""
    drawn: str = code.svg_inline(border=0, omitsize=True)
    return drawn[drawn.index(' d="') : drawn.index('"/>')]
