"""Who may post what to the room: only who may changes anything, with a form as good as the manager's own."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoDbBlocker

from jobs.firms import clock
from jobs.firms.models import AuditEvent, Role
from jobs.planning.models import Job
from jobs.sheets import actions, queries
from jobs.sheets.models import Finding, Severity, Sheet, SheetState
from jobs.visits.models import Ask
from tests.build_entries import n
from tests.people import a_team, member, signed_in
from tests.sheets.world import World, handed_in

NAMES = ("manager", "scheduler", "crew", "engineer", "outsider", "nobody")
MAY = {
    "ask": {"manager"}, "approve": {"manager"}, "answer": {"manager"}, "waive": {"manager"}, "reopen": {"manager"},
    "submit": {"manager", "scheduler", "engineer"},
}  # fmt: skip


@pytest.fixture(scope="module")
def handed(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[World]:
    """With one question and one block open."""
    with django_db_blocker.unblock(), transaction.atomic():
        world = handed_in(a_team(), photos=False)
        world.correct(world.entry("final_reading", "R1"), flow=n("20", "L/min"))
        world.logs("override", "H6:S1", text={"reason": "Rain was coming in."})
        world.sheet()
        yield world
        transaction.set_rollback(True)


@pytest.fixture
def world(handed: World, db: None, monkeypatch: pytest.MonkeyPatch) -> World:
    world = replace(handed, log=replace(handed.log))
    monkeypatch.setattr(clock, "now", lambda: world.at)
    return world


def sheet_of(world: World) -> Sheet:
    with world.scope():
        found = queries.latest(world.job)
    assert found
    return found


def client_of(world: World, name: str) -> Client:
    return Client() if name == "nobody" else signed_in(getattr(world.team, name))


def prepared(world: World, event: str) -> tuple[str, dict[str, Any]]:
    """The world in which the manager's post would succeed, and that post."""
    sheet = sheet_of(world)
    if event in {"approve", "reopen"}:
        world.settle(sheet)
    if event == "reopen":
        with world.scope():
            actions.approve(sheet_of(world), seen_version=sheet.seen_version, by=world.team.manager, at=world.later())
        return reverse("sheets:reopen", args=[sheet.pk]), {"reason": "The owner moved the vent."}
    if event == "approve":
        return reverse("sheets:approve", args=[sheet.pk]), {"seen_version": sheet_of(world).seen_version}
    if event == "ask":
        entry = world.entry("static_pressure")
        return reverse("sheets:ask", args=[sheet.pk]), {"entry": str(entry.pk), "field": "precharge", "text": "Dry?"}
    if event == "submit":
        entry = world.entry("static_pressure")
        with world.scope():
            actions.send_back(
                sheet, entry=entry, field="precharge", text="Dry?", by=world.team.manager, at=world.later()
            )
        return reverse("sheets:submit", args=[world.job.pk]), {}
    severity = Severity.BLOCK if event == "waive" else Severity.WARN
    with world.scope():
        row = queries.open_findings(sheet).filter(severity=severity).first()
    assert row
    data = {"text": "Talked it over with them."} | ({"waive": "on"} if event == "waive" else {})
    return reverse("sheets:answer", args=[row.pk]), data


def state(world: World) -> list[Any]:
    with world.scope():
        return [
            sorted(Sheet.objects.values_list("revision", "state", "facts_hash")),
            sorted(Finding.objects.values_list("pk", "answer", "waived")),
            Ask.objects.count(),
            Job.objects.get(pk=world.job.pk).state,
            AuditEvent.objects.exclude(verb__startswith="sign").count(),
        ]


@pytest.mark.parametrize("event", MAY)
@pytest.mark.parametrize("name", NAMES)
def test_only_who_may_changes_anything(world: World, event: str, name: str) -> None:
    url, data = prepared(world, event)
    before = state(world)
    answer = client_of(world, name).post(url, data)
    if name in MAY[event]:
        assert answer.status_code == 302
        assert state(world) != before
        return
    assert answer.status_code == (302 if name == "nobody" else 404 if name == "outsider" else 403)
    if name == "nobody":
        assert "login" in answer["Location"]
    assert state(world) == before


@pytest.mark.parametrize("event", MAY)
def test_without_the_token_of_the_form_nothing_happens(world: World, event: str) -> None:
    url, data = prepared(world, event)
    before = state(world)
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(world.team.manager.user)
    assert strict.post(url, data).status_code == 403
    assert state(world) == before


@pytest.mark.parametrize("event", MAY)
def test_a_link_does_nothing(world: World, event: str) -> None:
    url, data = prepared(world, event)
    before = state(world)
    assert signed_in(world.team.manager).get(url, data).status_code == 405
    assert state(world) == before


@pytest.mark.parametrize("roles", [(Role.CREW, Role.SCHEDULER), (Role.ENGINEER, Role.CREW), ()])
def test_no_mix_of_other_roles_makes_a_manager(world: World, roles: tuple[Role, ...]) -> None:
    other = member(world.team.firm, *roles, name="Wim Stray")
    url, data = prepared(world, "approve")
    assert signed_in(other).post(url, data).status_code == 403
    assert sheet_of(world).state == SheetState.SUBMITTED


@pytest.mark.parametrize(
    ("event", "data"),
    [
        ("approve", {}), ("approve", {"seen_version": "x"}), ("approve", {"seen_version": "-1"}), ("ask", {}),
        ("ask", {"entry": "x", "field": "f", "text": "t"}), ("ask", {"text": "only"}),
        ("ask", {"field": "f" * 41, "text": "t"}), ("ask", {"field": "precharge", "text": "x" * 501}),
    ],
)  # fmt: skip
def test_forms_that_are_no_good_change_nothing_and_are_no_error(world: World, event: str, data: dict[str, str]) -> None:
    url, good = prepared(world, event)
    before = state(world)
    answer = signed_in(world.team.manager).post(
        url,
        {**({"entry": good["entry"]} if "field" in data and "entry" in good and "entry" not in data else {}), **data},
    )
    assert answer.status_code == 302
    assert state(world) == before
