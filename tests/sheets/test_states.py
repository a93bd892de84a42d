"""Every event in every state of a sheet, and any walk through them: nothing is approved while a block is open."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test
from pytest_django import DjangoDbBlocker

from jobs.firms.errors import Refused
from jobs.planning.models import Job, JobState
from jobs.sheets import actions, facts, queries
from jobs.sheets.models import Finding, Severity, Sheet, SheetState
from jobs.visits.models import Entry
from tests.people import a_team
from tests.sheets.world import World, handed_in

REASON = "The owner moved the vent."


@pytest.fixture(scope="module")
def short_job(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[World]:
    """Only the driller's papers are logged: much is missing, so that there are blocks to waive."""
    with django_db_blocker.unblock(), transaction.atomic():
        world = handed_in(a_team(), "papers", photos=False)
        with world.scope():
            Job.objects.filter(pk=world.job.pk).update(state=JobState.IN_GROUND)
            world.job.refresh_from_db()
        yield world
        transaction.set_rollback(True)


@pytest.fixture
def world(short_job: World, db: None) -> World:
    return replace(short_job, log=replace(short_job.log, entries=list(short_job.log.entries)))


class NothingThere(Exception):
    """No finding to answer."""


def latest(world: World) -> Sheet | None:
    with world.scope():
        return queries.latest(world.job)


def must(world: World) -> Sheet:
    found = latest(world)
    assert found
    return found


def submit(world: World) -> None:
    with world.scope():
        actions.submit(world.job, by=world.team.scheduler, at=world.later())


def approve(world: World) -> None:
    sheet = must(world)
    with world.scope():
        actions.approve(sheet, seen_version=sheet.seen_version, by=world.team.manager, at=world.later())


def give_back(world: World) -> None:
    sheet = must(world)
    with world.scope():
        entry = Entry.objects.filter(job=world.job).first()
        assert entry
        actions.send_back(sheet, entry=entry, field="accepted", text="Seen?", by=world.team.manager, at=world.later())


def answer(world: World, severity: Severity, *, waive: bool) -> None:
    sheet = must(world)
    with world.scope():
        row = sheet.findings.filter(severity=severity).first()
        if row is None:
            raise NothingThere
        actions.answer_finding(row, text="Talked it over.", waive=waive, by=world.team.manager, at=world.later())


def settle(world: World) -> None:
    world.settle(must(world))


def reopen(world: World) -> None:
    with world.scope():
        actions.reopen(must(world), reason=REASON, by=world.team.manager, at=world.later())


def to_submitted(world: World) -> None:
    submit(world)


def to_settled(world: World) -> None:
    submit(world)
    settle(world)


def to_returned(world: World) -> None:
    submit(world)
    give_back(world)


def to_approved(world: World) -> None:
    to_settled(world)
    approve(world)


def to_opened_again(world: World) -> None:
    to_approved(world)
    reopen(world)


def old_one(world: World) -> Sheet:
    """An approved sheet that a later one has replaced."""
    to_approved(world)
    first = must(world)
    reopen(world)
    to_settled(world)
    approve(world)
    with world.scope():
        return Sheet.objects.get(pk=first.pk)


Step = Callable[[World], None]
STATES: dict[str, Step] = {
    "submitted": to_submitted, "settled": to_settled, "returned": to_returned, "approved": to_approved,
    "opened again": to_opened_again,
}  # fmt: skip
EVENTS: dict[str, Step] = {
    "submit": submit, "approve": approve, "give back": give_back, "reopen": reopen,
    "waive": lambda world: answer(world, Severity.BLOCK, waive=True),
    "answer a block": lambda world: answer(world, Severity.BLOCK, waive=False),
}  # fmt: skip
# State after the event; None: refused and nothing is changed.
TABLE: dict[tuple[str, str], SheetState | None] = {
    ("submitted", "submit"): SheetState.SUBMITTED,
    ("submitted", "approve"): None,
    ("submitted", "give back"): SheetState.RETURNED,
    ("submitted", "reopen"): None,
    ("submitted", "waive"): SheetState.SUBMITTED,
    ("submitted", "answer a block"): None,
    ("settled", "submit"): SheetState.SUBMITTED,
    ("settled", "approve"): SheetState.APPROVED,
    ("settled", "give back"): SheetState.RETURNED,
    ("settled", "reopen"): None,
    ("settled", "waive"): SheetState.SUBMITTED,
    ("settled", "answer a block"): None,
    ("returned", "submit"): SheetState.SUBMITTED,
    ("returned", "approve"): None,
    ("returned", "give back"): SheetState.RETURNED,
    ("returned", "reopen"): None,
    ("returned", "waive"): None,
    ("returned", "answer a block"): None,
    ("approved", "submit"): None,
    ("approved", "approve"): None,
    ("approved", "give back"): None,
    ("approved", "reopen"): SheetState.RETURNED,
    ("approved", "waive"): None,
    ("approved", "answer a block"): None,
    ("opened again", "submit"): SheetState.SUBMITTED,
    ("opened again", "approve"): None,
    ("opened again", "give back"): SheetState.RETURNED,
    ("opened again", "reopen"): None,
}


def snapshot(world: World) -> list[tuple[Any, ...]]:
    with world.scope():
        sheets = Sheet.objects.filter(job=world.job).order_by("revision")
        rows: list[tuple[Any, ...]] = [(one.revision, one.state, one.facts_hash, one.reason) for one in sheets]
        rows += sorted(Finding.objects.values_list("check_code", "subject", "field", "answer", "waived"))
        return [*rows, (Job.objects.get(pk=world.job.pk).state,)]


@pytest.mark.parametrize(("state", "event"), TABLE, ids=[", ".join(key) for key in TABLE])
def test_every_event_in_every_state(world: World, state: str, event: str) -> None:
    STATES[state](world)
    before, expected = snapshot(world), TABLE[state, event]
    if expected is None:
        with pytest.raises(Refused) as told:
            EVENTS[event](world)
        assert str(told.value).endswith("."), "one clear sentence"
        assert snapshot(world) == before
    else:
        EVENTS[event](world)
        assert must(world).state == expected


def test_the_table_leaves_nothing_out() -> None:
    untold = {(state, event) for state in STATES for event in EVENTS} - set(TABLE)
    assert untold == {("opened again", "waive"), ("opened again", "answer a block")}, "it has no findings yet"


def test_one_opened_again_has_no_findings_yet(world: World) -> None:
    to_opened_again(world)
    with world.scope():
        assert not must(world).findings.exists()


def test_what_was_superseded_does_nothing_any_more(world: World) -> None:
    old = old_one(world)
    assert old.state == SheetState.SUPERSEDED
    manager = world.team.manager
    with world.scope():
        row = old.findings.filter(severity=Severity.BLOCK).first()
        entry = Entry.objects.filter(job=world.job).first()
        assert row
        assert entry
        for step in (
            lambda: actions.approve(old, seen_version=old.seen_version, by=manager, at=world.later()),
            lambda: actions.reopen(old, reason=REASON, by=manager, at=world.later()),
            lambda: actions.send_back(old, entry=entry, field="accepted", text="?", by=manager, at=world.later()),
            lambda: actions.answer_finding(row, text=REASON, waive=True, by=manager, at=world.later()),
        ):
            with pytest.raises(Refused):
                step()


def test_a_block_is_not_settled_by_words(world: World) -> None:
    submit(world)
    with world.scope():
        row = must(world).findings.filter(severity=Severity.BLOCK).first()
        assert row
        row.answer = "Fine."
        assert not row.is_settled
        row.waived = True
        assert row.is_settled


@pytest.mark.parametrize("reason", ["", " ", "short", "123456789", "         x         "])
def test_a_waiver_wants_ten_characters(world: World, reason: str) -> None:
    submit(world)
    with world.scope():
        row = must(world).findings.filter(severity=Severity.BLOCK).first()
        assert row
        with pytest.raises(Refused, match="10 characters"):
            actions.answer_finding(row, text=reason, waive=True, by=world.team.manager, at=world.later())


@pytest.mark.parametrize("off", [-1, 1, 100])
def test_another_version_than_was_seen_is_refused(world: World, off: int) -> None:
    to_settled(world)
    sheet = must(world)
    with world.scope(), pytest.raises(Refused, match="has changed"):
        actions.approve(sheet, seen_version=sheet.seen_version + off, by=world.team.manager, at=world.later())


@pytest.mark.parametrize("state", ["submitted", "returned"])
def test_one_more_entry_counts(world: World, state: str) -> None:
    STATES[state](world)
    before = must(world).entry_count
    world.logs("note", "", text={"note": "One more."})
    if state == "submitted":
        assert world.sheet().entry_count == before + 1
    else:
        submit(world)
        assert (must(world).revision, must(world).entry_count) == (2, before + 1)


class Walk(RuleBasedStateMachine):
    """Any order of what people do; whatever is refused is refused without a trace."""

    world: World

    def __init__(self) -> None:
        super().__init__()
        self.point = transaction.savepoint()
        self.it = replace(Walk.world, log=replace(Walk.world.log, entries=list(Walk.world.log.entries)))

    def teardown(self) -> None:
        transaction.savepoint_rollback(self.point)

    def attempt(self, step: Step) -> None:
        if latest(self.it) is None and step is not submit:
            return
        before = snapshot(self.it)
        try:
            step(self.it)
        except Refused:
            assert snapshot(self.it) == before
        except NothingThere:
            assert snapshot(self.it) == before

    @rule(event=st.sampled_from(sorted(EVENTS)))
    def something_happens(self, event: str) -> None:
        self.attempt(EVENTS[event])

    @rule()
    def all_is_settled(self) -> None:
        self.attempt(settle)

    @rule()
    def an_entry_comes(self) -> None:
        self.it.logs("note", "", text={"note": "More."})
        if latest(self.it):
            self.it.sheet()

    @invariant()
    def nothing_is_approved_with_an_open_finding(self) -> None:
        with self.it.scope():
            sheets = list(Sheet.objects.filter(job=self.it.job).order_by("revision"))
            for sheet in sheets:
                if sheet.facts_hash:
                    assert not queries.open_findings(sheet).exists()
                    assert facts.digest(sheet.facts) == sheet.facts_hash
                else:
                    assert sheet.approved_at is None
            assert sum(sheet.state == SheetState.APPROVED for sheet in sheets) <= 1
            assert [sheet.revision for sheet in sheets] == list(range(1, len(sheets) + 1))
            chained = [sheet.chained_at for sheet in sheets if sheet.chained_at]
            assert chained == list(range(1, len(chained) + 1))

    @invariant()
    def job_and_sheet_agree(self) -> None:
        sheet = latest(self.it)
        if sheet is None:
            return
        with self.it.scope():
            state = Job.objects.get(pk=self.it.job.pk).state
        expected = {
            SheetState.SUBMITTED: JobState.SUBMITTED,
            SheetState.RETURNED: JobState.RETURNED,
            SheetState.APPROVED: JobState.APPROVED,
        }
        assert state == expected[SheetState(sheet.state)]


def test_no_walk_ends_approved_with_a_block_open(world: World) -> None:
    Walk.world = world
    world.at += timedelta(hours=1)
    run_state_machine_as_test(
        Walk,
        settings=settings(
            max_examples=8,
            stateful_step_count=10,
            deadline=None,
            suppress_health_check=list(HealthCheck),
            database=None,
        ),
    )
