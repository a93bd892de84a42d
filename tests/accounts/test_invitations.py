"""An invitation: by mail, once, for three days, for one address and the roles it names."""

from __future__ import annotations

import re
from datetime import timedelta
from uuid import uuid4

import pytest
import time_machine
from django.core import mail as outbox
from django.test import Client
from django.urls import reverse

from jobs.accounts.models import Invitation, LinkToken
from jobs.firms import clock
from jobs.firms.models import AuditEvent, Member, Role, User
from jobs.firms.scope import scope
from jobs.work.models import Mail
from jobs.work.sweep import sweep
from tests.people import PASSWORD, Team, a_team, a_user, member, signed_in

pytestmark = pytest.mark.django_db
INVITE = "/account/people/invite/"
NEW = {"name": "Nia Rook", "password": PASSWORD}


@pytest.fixture
def team() -> Team:
    return a_team()


def invite(team: Team, email: str = "nia@example.test", *roles: str) -> str:
    """Invites through the page, sends the mail, gives the path of the link in it."""
    data = {"name": "Nia Rook", "email": email, "roles": roles or ["crew"]}
    assert signed_in(team.manager).post(INVITE, data).status_code == 302
    sweep(clock.now())
    found = re.search(r"http://localhost:8000(/account/invitation/\S+)", str(outbox.outbox[-1].body))
    assert found
    return found[1]


def test_a_new_person_sets_name_and_password_and_is_in(team: Team) -> None:
    link, browser = invite(team, "Nia@Example.test", "scheduler", "crew"), Client()
    letter = outbox.outbox[-1]
    assert letter.to == ["nia@example.test"]
    assert letter.subject == f"{team.manager.user.name} invites you to {team.firm.name}"
    assert "office scheduler, ground crew" in letter.body
    page = browser.get(link).content.decode()
    assert team.firm.name in page
    assert "nia@example.test" in page
    answer = browser.post(link, {"name": "Nia R. Rook", "password": PASSWORD})
    assert (answer.status_code, answer.headers["Location"]) == (302, "/")
    assert browser.get("/account/people/").status_code == 200
    user = User.objects.get(email="nia@example.test")
    assert user.name == "Nia R. Rook"
    assert user.check_password(PASSWORD)
    joined = Member.objects.get(user=user)
    assert (joined.firm, joined.roles) == (team.firm, ["scheduler", "crew"])
    with scope(team.firm.pk):
        assert [event.verb for event in AuditEvent.objects.order_by("at")] == ["invited", "joined"]


def test_looking_at_the_link_changes_nothing(team: Team) -> None:
    """Mail scanners follow links."""
    link = invite(team)
    for _ in range(3):
        assert Client().get(link).status_code == 200
    assert Client().head(link).status_code == 200
    assert Client().post(link, NEW).status_code == 302


def test_somebody_with_an_account_just_joins_and_is_not_signed_in_by_it(team: Team) -> None:
    user = a_user("Nia Rook", email="nia@example.test", password=PASSWORD)
    member(team.other_firm, Role.CREW, user=user)
    link, browser = invite(team), Client()
    page = browser.get(link).content.decode()
    assert "password you have" in page
    browser.post(link, {"password": "another-password-entirely", "name": "Mallory"})
    assert "_auth_user_id" not in browser.session
    user.refresh_from_db()
    assert user.name == "Nia Rook"
    assert user.check_password(PASSWORD)
    assert {m.firm_id for m in user.memberships.all()} == {team.firm.pk, team.other_firm.pk}


def test_signed_in_they_go_on_in_the_new_firm(team: Team) -> None:
    user = a_user("Nia Rook", email="nia@example.test")
    browser = signed_in(member(team.other_firm, Role.CREW, user=user))
    browser.post(invite(team, "nia@example.test", "scheduler"))
    assert team.manager.user.name in browser.get("/account/people/").content.decode()


def test_somebody_else_who_is_signed_in_cannot_take_it(team: Team) -> None:
    link, browser = invite(team), signed_in(team.outsider)
    for answer in (browser.get(link), browser.post(link, NEW)):
        assert "for somebody else" in answer.content.decode()
    assert not User.objects.filter(email="nia@example.test").exists()


def test_who_was_switched_off_comes_back_with_the_new_roles(team: Team) -> None:
    team.crew.is_active = False
    team.crew.save()
    link = invite(team, team.crew.user.email, "engineer")
    Client().post(link)
    team.crew.refresh_from_db()
    assert (team.crew.is_active, team.crew.roles) == (True, ["engineer"])


def gone(link: str) -> bytes:
    answer = Client().get(link)
    assert answer.status_code == 404
    assert Client().post(link, NEW).status_code == 404
    return answer.content


def test_used_wrong_old_and_withdrawn_links_give_the_same_page(team: Team) -> None:
    used = invite(team)
    Client().post(used, NEW)
    withdrawn = invite(team, "other@example.test")
    with scope(team.firm.pk):
        pk = Invitation.objects.get(email="other@example.test").pk
    signed_in(team.manager).post(reverse("accounts:withdraw", args=[pk]))
    old = invite(team, "third@example.test")
    wrong = used[:-4] + "AAA/"
    pages = {gone(used), gone(withdrawn), gone(wrong)}
    with time_machine.travel(clock.now() + timedelta(hours=72, seconds=1), tick=False):
        pages.add(gone(old))
    assert len(pages) == 1


def test_it_lasts_72_hours(team: Team) -> None:
    link = invite(team)
    with time_machine.travel(clock.now() + timedelta(hours=71, minutes=59), tick=False):
        assert Client().get(link).status_code == 200


def test_inviting_again_withdraws_the_older_link(team: Team) -> None:
    first = invite(team)
    second = invite(team, "nia@example.test", "engineer")
    gone(first)
    Client().post(second, NEW)
    assert Member.objects.get(user__email="nia@example.test").roles == ["engineer"]


def test_an_active_member_is_not_invited(team: Team) -> None:
    data = {"name": "X", "email": team.crew.user.email.upper(), "roles": ["manager"]}
    page = signed_in(team.manager).post(INVITE, data)
    assert page.status_code == 200
    assert "already works here" in page.content.decode()
    with scope(team.firm.pk):
        assert not Invitation.objects.exists()


def test_a_weak_password_keeps_what_was_typed_and_the_link(team: Team) -> None:
    link = invite(team)
    for password in ("short", "1q2w3e4r5t6y", "nia@example.test", "Nia R. Rook!"):
        page = Client().post(link, {"name": "Nia R. Rook", "password": password})
        assert page.status_code == 200
        assert 'value="Nia R. Rook"' in page.content.decode()
    assert not User.objects.filter(email="nia@example.test").exists()
    assert Client().post(link, NEW).status_code == 302


def test_neither_the_token_nor_the_mail_with_it_is_kept(team: Team) -> None:
    link = invite(team)
    token = link.rstrip("/").rsplit("/", 1)[1]
    assert len(token) >= 43
    with scope(team.firm.pk):
        assert not Mail.objects.get(to="nia@example.test").body
    row = LinkToken.objects.get()
    assert token not in {row.token_hash, str(row.subject), row.purpose}


def test_a_name_with_a_line_break_cannot_break_the_mails_head(team: Team) -> None:
    team.manager.user.name = "Mara\r\nBcc: all@example.test"
    team.manager.user.save()
    invite(team)
    assert outbox.outbox[-1].subject == f"Mara Bcc: all@example.test invites you to {team.firm.name}"
    assert outbox.outbox[-1].bcc == []


def test_only_managers_invite_and_withdraw_and_only_in_their_own_firm(team: Team) -> None:
    invite(team)
    with scope(team.firm.pk):
        withdraw = reverse("accounts:withdraw", args=[Invitation.objects.get().pk])
    for who in (team.scheduler, team.crew, team.engineer):
        assert signed_in(who).get(INVITE).status_code == 403
        assert signed_in(who).post(INVITE, {}).status_code == 403
        assert signed_in(who).post(withdraw).status_code == 403
    assert signed_in(team.outsider).post(withdraw).status_code == 404
    assert signed_in(team.outsider).post(reverse("accounts:withdraw", args=[uuid4()])).status_code == 404
    assert signed_in(team.manager).get(withdraw).status_code == 405
    assert Client().post(withdraw).status_code == 302
    page = signed_in(team.scheduler).get("/account/people/").content.decode()
    assert "nia@example.test" in page
    assert "Nobody is invited" in signed_in(team.outsider).get("/account/people/").content.decode()
