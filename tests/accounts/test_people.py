"""The people page, and what a manager changes there."""

from __future__ import annotations

from datetime import UTC, datetime
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.accounts import actions
from jobs.accounts.errors import LastManager
from jobs.firms.models import AuditEvent, Member, Role
from jobs.firms.scope import scope
from tests.people import Team, a_team, member, signed_in

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
PEOPLE = "/account/people/"


@pytest.fixture
def team() -> Team:
    return a_team()


def test_manager_and_scheduler_see_everybody_crew_does_not(team: Team) -> None:
    for who in (team.manager, team.scheduler):
        page = signed_in(who).get(PEOPLE).content.decode()
        assert all(person.user.name in page for person in team.insiders)
        assert team.outsider.user.name not in page
    assert "Invite somebody" in signed_in(team.manager).get(PEOPLE).content.decode()
    assert "Invite somebody" not in signed_in(team.scheduler).get(PEOPLE).content.decode()
    for who in (team.crew, team.engineer):
        assert signed_in(who).get(PEOPLE).status_code == 403
    assert Client().get(PEOPLE).status_code == 302


def test_the_page_asks_as_often_for_thirty_as_for_three(team: Team) -> None:
    client = signed_in(team.manager)
    client.get(PEOPLE)
    with CaptureQueriesContext(
        connection,
    ) as few:
        client.get(PEOPLE)
    for number in range(30):
        member(team.firm, Role.CREW, name=f"Crew {number}")
    with CaptureQueriesContext(connection) as many:
        client.get(PEOPLE)
    assert len(few) == len(many)


def test_roles_change_and_count_at_the_next_request(team: Team) -> None:
    crew = signed_in(team.crew)
    assert crew.get(PEOPLE).status_code == 403
    where = reverse("accounts:member", args=[team.crew.pk])
    assert signed_in(team.manager).get(where).status_code == 200
    assert signed_in(team.manager).post(where, {"roles": ["crew", "scheduler"]}).headers["Location"] == PEOPLE
    assert crew.get(PEOPLE).status_code == 200
    with scope(team.firm.pk):
        event = AuditEvent.objects.get()
    assert (event.verb, event.actor_id, event.subject_id) == ("roles_changed", team.manager.pk, team.crew.pk)
    assert event.detail == {"before": ["crew"], "after": ["crew", "scheduler"]}


@pytest.mark.parametrize("roles", [[], ["king"], ["crew", "king"]])
def test_unknown_roles_and_none_are_refused(team: Team, roles: list[str]) -> None:
    where = reverse("accounts:member", args=[team.crew.pk])
    assert signed_in(team.manager).post(where, {"roles": roles}).status_code == 200
    team.crew.refresh_from_db()
    assert team.crew.roles == ["crew"]


def test_who_is_switched_off_is_out_at_the_next_request_and_back_when_switched_on(team: Team) -> None:
    crew, manager = signed_in(team.scheduler), signed_in(team.manager)
    switch = reverse("accounts:member-switch", args=[team.scheduler.pk])
    assert crew.get(PEOPLE).status_code == 200
    manager.post(switch, {"to": "off"})
    assert crew.get(PEOPLE).status_code == 403
    assert "Switched off" in manager.get(PEOPLE).content.decode()
    manager.post(switch, {"to": "on"})
    assert crew.get(PEOPLE).status_code == 200


def test_a_switched_off_user_is_signed_out(team: Team) -> None:
    client = signed_in(team.manager)
    team.manager.user.is_active = False
    team.manager.user.save()
    assert client.get(PEOPLE).status_code == 302


def test_the_last_manager_stays(team: Team) -> None:
    client = signed_in(team.manager)
    page = client.post(reverse("accounts:member-switch", args=[team.manager.pk]), {"to": "off"}, follow=True)
    assert "only manager" in page.content.decode()
    page = client.post(reverse("accounts:member", args=[team.manager.pk]), {"roles": ["crew"]})
    assert "only manager" in page.content.decode()
    team.manager.refresh_from_db()
    assert team.manager.is_active
    assert team.manager.roles == ["manager"]


def test_with_a_second_manager_the_first_may_go(team: Team) -> None:
    second = member(team.firm, Role.MANAGER, name="Second Manager")
    with scope(team.firm.pk):
        actions.switch_off(team.manager, by=second, at=AT)
        with pytest.raises(LastManager):
            actions.switch_off(second, by=second, at=AT)
    assert Member.objects.get(pk=team.manager.pk).is_active is False


@pytest.mark.parametrize("name", ["accounts:member", "accounts:member-switch"])
def test_another_firms_people_are_404_like_nobody(team: Team, name: str) -> None:
    client = signed_in(team.outsider)
    for pk in (team.crew.pk, uuid4()):
        assert client.post(reverse(name, args=[pk]), {"roles": ["manager"], "to": "off"}).status_code == 404
    for who in (team.scheduler, team.crew, team.engineer):
        assert signed_in(who).post(reverse(name, args=[team.crew.pk]), {"to": "off"}).status_code == 403
    team.crew.refresh_from_db()
    assert team.crew.is_active
    assert team.crew.roles == ["crew"]


def test_who_works_for_two_firms_chooses(team: Team) -> None:
    also = member(team.other_firm, Role.CREW, user=team.manager.user)
    client = signed_in(team.manager)
    page = client.get("/account/firms/").content.decode()
    assert team.firm.name in page
    assert team.other_firm.name in page
    assert client.post("/account/firms/", {"member": str(also.pk)}).headers["Location"] == "/field/"
    assert client.get(PEOPLE).status_code == 403, "crew there, manager here"
    assert client.post("/account/firms/", {"member": str(team.manager.pk)}).headers["Location"] == "/"
    assert client.get(PEOPLE).status_code == 200


def test_nobody_chooses_a_membership_of_somebody_else_or_one_that_ended(team: Team) -> None:
    client = signed_in(team.crew)
    for pk in (team.manager.pk, team.outsider.pk, uuid4(), "x"):
        assert client.post("/account/firms/", {"member": str(pk)}).status_code == 404
    team.crew.is_active = False
    team.crew.save()
    assert client.post("/account/firms/", {"member": str(team.crew.pk)}).status_code == 404
    assert "No firm has you as a member" in client.get("/account/firms/").content.decode()


def test_a_session_that_names_a_foreign_membership_gets_ones_own(team: Team) -> None:
    client = signed_in(team.crew)
    session = client.session
    session["member"] = str(team.outsider.pk)
    session.save()
    assert client.get(PEOPLE).status_code == 403
