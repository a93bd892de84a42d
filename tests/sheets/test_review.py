"""A sheet from the hand-in on the phone to the approval, and all the ways in which it may not go on."""

from __future__ import annotations

import json
from datetime import timedelta
from uuid import uuid4

import pytest

from jobs.firms.models import AuditEvent
from jobs.planning.models import Job, JobState
from jobs.sheets import actions, facts, queries
from jobs.sheets.errors import JobChanged, SheetRefused
from jobs.sheets.models import Severity, SheetState
from jobs.visits.models import Ask, Entry
from jobs.work.models import Work
from tests.build import a_job
from tests.build_entries import happy_entries, n, send
from tests.people import Team
from tests.sheets.world import World, handed_in


def state_of(world: World) -> str:
    with world.scope():
        return str(Job.objects.get(pk=world.job.pk).state)


def test_the_crews_hand_in_becomes_a_sheet_when_it_is_read(world: World) -> None:
    sheet = world.sheet()
    assert (sheet.revision, sheet.state) == (1, SheetState.SUBMITTED)
    assert sheet.submitted_by == world.team.engineer
    assert state_of(world) == JobState.SUBMITTED


def test_a_clean_job_has_no_blocking_finding(world: World) -> None:
    blocking = [row.text for row in world.findings(world.sheet()) if row.severity == Severity.BLOCK]
    assert blocking == []


def test_reading_again_changes_nothing(world: World) -> None:
    first = world.sheet()
    before = [(row.pk, row.text) for row in world.findings(first)]
    again = world.sheet()
    assert (again.pk, again.seen_version) == (first.pk, first.seen_version)
    assert [(row.pk, row.text) for row in world.findings(again)] == before


def test_before_the_work_is_done_the_office_cannot_hand_in(team: Team) -> None:
    world = handed_in(team, "tested")
    with world.scope():
        Job.objects.filter(pk=world.job.pk).update(state=JobState.ACCEPTED)
        with pytest.raises(SheetRefused, match="cannot be handed in"):
            actions.submit(world.job, by=team.scheduler, at=world.at)


def test_handed_in_too_early_it_blocks(team: Team) -> None:
    world = handed_in(team, "filled")
    with world.scope():
        sheet = actions.submit(world.job, by=team.scheduler, at=world.at)
    codes = {(row.check_code, row.field) for row in world.findings(sheet) if row.severity == Severity.BLOCK}
    assert {("M1", "purge"), ("M1", "final_reading"), ("M1", "deaeration_start")} <= codes


def test_approving_freezes_facts_hash_and_wants_the_pdf(world: World) -> None:
    sheet = world.approve()
    assert sheet.state == SheetState.APPROVED
    assert facts.digest(sheet.facts) == sheet.facts_hash
    assert facts.broken_commitments(json.loads(sheet.facts), sheet.personal) == []
    assert state_of(world) == JobState.APPROVED
    assert Work.objects.get(kind="sheet_pdf").key == str(sheet.pk)
    with world.scope():
        event = AuditEvent.objects.get(verb="sheet_approved")
    assert event.detail["hash"] == sheet.facts_hash
    assert not sheet.self_reviewed


def test_open_questions_stop_the_approval(world: World) -> None:
    world.logs("override", "H6:S1", text={"reason": "The digger had to leave, dry weather ended."})
    sheet = world.sheet()
    assert any(row.check_code == "H2" for row in world.findings(sheet))
    with world.scope(), pytest.raises(SheetRefused, match="still open"):
        actions.approve(sheet, seen_version=sheet.seen_version, by=world.team.manager, at=world.at)


def test_a_block_needs_a_waiver_with_a_reason(world: World) -> None:
    world.logs("pressure_reading", "T9", phase="isolated", pressure=n("5.9", "bar"))
    world.correct(world.entry("final_reading", "R1"), flow=n("20", "L/min"))
    sheet = world.sheet()
    block = next(row for row in world.findings(sheet) if row.check_code == "F10" and row.field == "flow")
    by, at = world.team.manager, world.later()
    with world.scope():
        with pytest.raises(SheetRefused, match="blocks"):
            actions.answer_finding(block, text="It is fine.", by=by, at=at)
        with pytest.raises(SheetRefused, match="10 characters"):
            actions.answer_finding(block, text="fine", waive=True, by=by, at=at)
        actions.answer_finding(block, text="The meter was read with the valve half shut.", waive=True, by=by, at=at)
    world.settle(sheet)
    approved = world.approve()
    printed = next(row for row in json.loads(approved.facts)["findings"] if row["code"] == "F10" and row["waived"])
    assert printed["by"]


@pytest.mark.parametrize("text", ["", "   ", "Fine.    ", "123456789"])
def test_a_question_needs_an_answer_in_words(world: World, text: str) -> None:
    world.logs("override", "H6:S1", text={"reason": "The digger had to leave, dry weather ended."})
    row = next(row for row in world.findings(world.sheet()) if row.severity == Severity.WARN)
    with world.scope():
        with pytest.raises(SheetRefused, match="10 characters"):
            actions.answer_finding(row, text=text, by=world.team.manager, at=world.later())
        row.refresh_from_db()
        assert not row.is_settled
        actions.answer_finding(row, text=" 0123456789 ", by=world.team.manager, at=world.later())
        row.refresh_from_db()
    assert (row.answer, row.is_settled) == ("0123456789", True)


def test_an_answer_falls_when_its_evidence_changes(world: World) -> None:
    world.correct(world.entry("final_reading", "R1"), flow=n("20", "L/min"))
    sheet = world.sheet()
    world.settle(sheet)
    with world.scope():
        assert not queries.open_findings(sheet).exists()
    world.correct(world.entry("final_reading", "R1"), flow=n("21", "L/min"))
    sheet = world.sheet()
    with world.scope():
        assert queries.open_findings(sheet).filter(check_code="F10").exists()


def test_what_the_manager_did_not_see_is_not_approved(world: World) -> None:
    sheet = world.sheet()
    world.settle(sheet)
    seen = sheet.seen_version
    world.logs("note", "", text={"note": "The vent was open when I came back."})
    with world.scope(), pytest.raises(JobChanged, match="Note, Cato Birch"):
        actions.approve(sheet, seen_version=seen, by=world.team.manager, at=world.later())
    assert world.sheet().state == SheetState.SUBMITTED


def test_approving_twice_is_one_approval(world: World) -> None:
    sheet = world.approve()
    with world.scope(), pytest.raises(SheetRefused, match="does not wait"):
        actions.approve(sheet, seen_version=sheet.seen_version, by=world.team.manager, at=world.later())
    with world.scope():
        assert AuditEvent.objects.filter(verb="sheet_approved").count() == 1


def test_who_logged_work_is_told_as_self_reviewed(world: World) -> None:
    sheet = world.sheet()
    world.settle(sheet)
    with world.scope():
        made = actions.approve(sheet, seen_version=sheet.seen_version, by=world.team.engineer, at=world.later())
    assert made.self_reviewed
    assert json.loads(made.facts)["approval"]["self_reviewed"] is True


def send_back(world: World) -> None:
    sheet, entry = world.sheet(), world.entry("static_pressure")
    with world.scope():
        actions.send_back(
            sheet, entry=entry, field="precharge", text="Measured with the water side empty?", by=world.team.manager,
            at=world.later(),
        )  # fmt: skip


def test_one_field_goes_back_and_comes_again_as_the_next_revision(world: World) -> None:
    send_back(world)
    assert state_of(world) == JobState.RETURNED
    with world.scope():
        ask = Ask.objects.get()
    assert (ask.to, ask.field) == (world.team.engineer, "precharge")
    assert world.sheet().state == SheetState.RETURNED, "it waits for the crew"

    world.correct(world.entry("static_pressure"), precharge=n("0.6", "bar"))
    sheet = world.sheet()
    assert (sheet.revision, sheet.state) == (2, SheetState.SUBMITTED)
    assert state_of(world) == JobState.SUBMITTED
    with world.scope():
        assert queries.sheets_of(world.job).get(revision=1).state == SheetState.SUPERSEDED

    approved = world.approve()
    row = [one for one in json.loads(approved.facts)["entries"] if one["kind"] == "static_pressure"]
    assert [(one["standing"], one["values"]["precharge"]["text"]) for one in row] == [
        ("superseded", "0.5"),
        ("current", "0.6"),
    ]


def test_two_fields_are_one_return_and_both_must_be_answered(world: World) -> None:
    send_back(world)
    sheet, other = world.sheet(), world.entry("final_reading", "R2")
    with world.scope():
        actions.send_back(sheet, entry=other, field="t_in", text="Read again?", by=world.team.manager, at=world.later())
    world.correct(world.entry("static_pressure"), precharge=n("0.6", "bar"))
    assert world.sheet().state == SheetState.RETURNED
    world.correct(other, t_in=n("3.41", "°C"))
    assert (world.sheet().revision, world.sheet().state) == (2, SheetState.SUBMITTED)


def test_handed_in_again_without_a_change_it_stays_the_same_revision(world: World) -> None:
    send_back(world)
    with world.scope():
        again = actions.submit(world.job, by=world.team.scheduler, at=world.later())
    assert (again.revision, again.state) == (1, SheetState.SUBMITTED)


def test_an_entry_of_another_job_is_not_sent_back(world: World) -> None:
    job = a_job(world.team.firm)
    send(happy_entries(job, "papers", crew=world.team.crew, device=uuid4()), sender=world.team.crew)
    with world.scope():
        other = Entry.objects.filter(job=job)[0]
    with world.scope(), pytest.raises(SheetRefused):
        actions.send_back(
            world.sheet(), entry=other, field="flow", text="Which?", by=world.team.manager, at=world.later()
        )


def test_what_comes_after_the_approval_is_told_as_late(world: World) -> None:
    approved = world.approve()
    world.logs("note", "", text={"note": "Forgot to say: the label hangs on the left."})
    sheet = world.sheet()
    assert sheet.late_entries == 1
    assert sheet.facts_hash == approved.facts_hash
    assert sheet.state == SheetState.APPROVED


def test_opening_again_wants_a_reason_and_makes_the_next_revision(world: World) -> None:
    first = world.approve()
    with world.scope():
        with pytest.raises(SheetRefused, match="10 characters"):
            actions.reopen(first, reason="oops", by=world.team.manager, at=world.later())
        opened = actions.reopen(first, reason="The owner moved the vent.", by=world.team.manager, at=world.later())
    assert (opened.revision, opened.state) == (2, SheetState.RETURNED)
    assert state_of(world) == JobState.RETURNED
    with world.scope():
        assert queries.sheets_of(world.job).get(revision=1).state == SheetState.APPROVED, "it stands until the next is"

    world.logs("note", "", text={"note": "Vent moved to the other wall."})
    world.logs("sheet_submit", "", complete=True)
    sheet = world.sheet()
    assert (sheet.revision, sheet.state) == (2, SheetState.SUBMITTED)
    second = world.approve()
    assert second.previous_hash == first.facts_hash
    assert (first.chained_at, second.chained_at) == (1, 2)
    assert json.loads(second.facts)["previous"] == first.facts_hash
    with world.scope():
        assert queries.sheets_of(world.job).get(revision=1).state == SheetState.SUPERSEDED


def test_it_is_handed_in_when_received_not_when_somebody_looks(world: World) -> None:
    with world.scope():
        received = Entry.objects.filter(job=world.job, kind="sheet_submit").latest("received_at").received_at
        actions.catch_up_all(at=world.at + timedelta(days=3))
        assert [row.submitted_at for row in queries.sheets_of(world.job)] == [received]


def test_the_sweep_finds_what_nobody_reads(world: World) -> None:
    with world.scope():
        assert [job.pk for job in queries.behind()] == [world.job.pk]
        assert actions.catch_up_all(at=world.at) == 1
        assert queries.behind() == []
        assert [row.state for row in queries.sheets_of(world.job)] == [SheetState.SUBMITTED]
