"""The wrapper around every view of a firm, tried on views of its own."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from http import HTTPStatus
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import AnonymousUser
from django.contrib.sessions.backends.db import SessionStore
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.template.response import SimpleTemplateResponse
from django.test import RequestFactory

from jobs.firms import clock
from jobs.firms.access import SESSION_KEY, MemberRequest, member_of, member_view
from jobs.firms.errors import NoFirmInScope
from jobs.firms.models import Device, Member, Role
from jobs.firms.queries import members_of
from jobs.firms.scope import firm_in_scope, scope
from tests.people import Team, a_team, member

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


@pytest.fixture
def team() -> Team:
    return a_team()


def ask(
    view: Callable[..., HttpResponseBase], who: Member | None, method: str = "get", chosen: str = ""
) -> HttpResponseBase:
    request = getattr(RequestFactory(), method)("/somewhere?x=1")
    request.user = who.user if who else AnonymousUser()
    request.session = SessionStore()
    if chosen:
        request.session[SESSION_KEY] = chosen
    return view(request)


def shows_firm(request: MemberRequest) -> HttpResponse:
    return HttpResponse(f"{request.member} {firm_in_scope()}")


def test_a_member_is_inside_the_scope_of_the_firm(team: Team) -> None:
    answer = ask(member_view()(shows_firm), team.crew)
    assert isinstance(answer, HttpResponse)
    assert answer.content.decode() == f"Cato Birch {team.firm.pk}"
    with pytest.raises(NoFirmInScope):
        firm_in_scope()


def test_roles_are_asked_for(team: Team) -> None:
    view = member_view(Role.MANAGER, Role.SCHEDULER)(shows_firm)
    for who in (team.manager, team.scheduler):
        assert ask(view, who).status_code == HTTPStatus.OK
    for who in (team.crew, team.engineer):
        with pytest.raises(PermissionDenied):
            ask(view, who)


def test_somebody_with_two_roles_may_use_either(team: Team) -> None:
    both = member(team.firm, Role.CREW, Role.MANAGER)
    assert ask(member_view(Role.MANAGER)(shows_firm), both).status_code == HTTPStatus.OK
    assert ask(member_view(Role.CREW)(shows_firm), both).status_code == HTTPStatus.OK


def test_nobody_signed_in_is_sent_to_sign_in_and_an_api_gets_401() -> None:
    answer = ask(member_view()(shows_firm), None)
    assert (answer.status_code, answer.headers["Location"]) == (302, "/account/login/?next=/somewhere%3Fx%3D1")
    answer = ask(member_view(api=True)(shows_firm), None)
    assert answer.status_code == HTTPStatus.UNAUTHORIZED
    assert isinstance(answer, HttpResponse)
    assert "error" in json.loads(answer.content)


def test_no_membership_left_is_403(team: Team) -> None:
    team.crew.is_active = False
    team.crew.save()
    with pytest.raises(PermissionDenied):
        ask(member_view()(shows_firm), team.crew)
    assert ask(member_view(api=True)(shows_firm), team.crew).status_code == HTTPStatus.UNAUTHORIZED


def test_the_firm_chosen_counts_only_while_one_belongs_to_it(team: Team) -> None:
    also = member(team.other_firm, Role.CREW, user=team.crew.user)

    def firm_with(chosen: str) -> str:
        answer = ask(member_view()(shows_firm), team.crew, chosen=chosen)
        assert isinstance(answer, HttpResponse)
        return answer.content.decode().split()[-1]

    assert firm_with("") == str(team.firm.pk), "the first by name"
    assert firm_with(str(also.pk)) == str(team.other_firm.pk)
    assert firm_with(str(team.outsider.pk)) == str(team.firm.pk), "somebody else's membership"
    also.is_active = False
    also.save()
    assert firm_with(str(also.pk)) == str(team.firm.pk)


def test_a_view_that_writes_and_then_fails_leaves_nothing(team: Team) -> None:
    def half(request: MemberRequest) -> HttpResponse:
        Device.objects.create(label="half", first_seen_at=AT, last_seen_at=AT)
        raise ValueError("after the write")

    with pytest.raises(ValueError, match="after"):
        ask(member_view()(half), team.crew, "post")
    with scope(team.firm.pk):
        assert not Device.objects.exists()


def test_own_scope_leaves_opening_it_to_the_view(team: Team) -> None:
    def inbox(request: MemberRequest) -> HttpResponse:
        with pytest.raises(NoFirmInScope):
            firm_in_scope()
        return HttpResponse("ok")

    assert ask(member_view(own_scope=True)(inbox), team.crew, "post").status_code == HTTPStatus.OK


def test_a_lazily_rendered_page_is_rendered_inside(team: Team) -> None:
    class Late(SimpleTemplateResponse):
        @property
        def rendered_content(self) -> str:
            return str(firm_in_scope())

    def late(request: MemberRequest) -> HttpResponseBase:
        return Late("x")

    answer = ask(member_view()(late), team.crew)
    assert isinstance(answer, Late)
    assert answer.content.decode() == str(team.firm.pk)


def test_members_by_role_and_name(team: Team) -> None:
    assert [str(m) for m in members_of(team.firm.pk)] == ["Cato Birch", "Edda Pine", "Mara Fenwick", "Sol Harrow"]
    assert members_of(team.firm.pk, Role.ENGINEER) == [team.engineer]
    team.engineer.is_active = False
    team.engineer.save()
    assert members_of(team.firm.pk, Role.ENGINEER) == []
    assert team.outsider not in members_of(team.firm.pk)


def test_member_of_nobody_is_none() -> None:
    request = RequestFactory().get("/")
    request.user = AnonymousUser()
    assert member_of(request) is None


def test_the_clock_may_be_moved_by_a_file(settings: Any, tmp_path: Path) -> None:
    settings.CLOCK_FILE = str(tmp_path / "clock")
    (tmp_path / "clock").write_text("2026-03-02T08:00:00+00:00\n", encoding="ascii")
    assert clock.now() == AT
    settings.CLOCK_FILE = ""
    assert abs((clock.now() - datetime.now(UTC)).total_seconds()) < 5
