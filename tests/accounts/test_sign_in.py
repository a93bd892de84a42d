"""Signing in and out, forgotten passwords, and what must not be learnt from either."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.core import mail
from django.test import Client
from django.urls import NoReverseMatch, reverse

from jobs.firms.models import Role, User
from tests.people import PASSWORD, a_firm, a_user, member, signed_in

pytestmark = pytest.mark.django_db
LOGIN = "/account/login/"


def ada(*roles: Role) -> User:
    user = a_user("Ada Quill", email="ada@example.test", password=PASSWORD)
    member(a_firm(), *(roles or (Role.MANAGER,)), user=user)
    return user


def sign_in(client: Client, password: str = PASSWORD, email: str = "ada@example.test", **more: str) -> Any:
    return client.post(LOGIN, {"login": email, "password": password, **more})


def test_the_page_says_what_to_do(client: Client) -> None:
    page = client.get(LOGIN).content.decode()
    assert "Sign in" in page
    assert "invitation" in page
    assert reverse("account_reset_password") in page


@pytest.mark.parametrize(
    ("roles", "page"),
    [((Role.MANAGER,), "/"), ((Role.SCHEDULER,), "/"), ((Role.CREW,), "/field/"), ((Role.ENGINEER, Role.MANAGER), "/")],
)
def test_signing_in_leads_to_the_desk_or_the_phone(client: Client, roles: tuple[Role, ...], page: str) -> None:
    ada(*roles)
    answer = sign_in(client)
    assert (answer.status_code, answer.headers["Location"]) == (302, page)


def test_the_mail_address_may_be_typed_in_capitals(client: Client) -> None:
    ada()
    assert sign_in(client, email="Ada@Example.test").status_code == 302


def test_who_works_for_two_firms_is_asked(client: Client) -> None:
    member(a_firm("Second"), Role.CREW, user=ada())
    assert sign_in(client).headers["Location"] == reverse("accounts:firms")


def test_the_session_gets_a_new_key(client: Client) -> None:
    ada()
    client.get(LOGIN)
    session = client.session
    session["x"] = 1
    session.save()
    before = str(session.session_key)
    client.cookies["groundloop"] = before
    sign_in(client)
    assert client.session.session_key != before


def test_wrong_password_unknown_address_and_switched_off_user_look_the_same(client: Client) -> None:
    user = ada()
    wrong = sign_in(client, "not the password")
    unknown = sign_in(client, email="nobody@example.test")
    user.is_active = False
    user.save()
    off = sign_in(client, "not the password")
    texts = [re.findall(r'role="alert".*?</div>', page.content.decode(), re.DOTALL) for page in (wrong, unknown, off)]
    assert texts[0]
    assert texts[0] == texts[1] == texts[2]


def test_after_five_wrong_tries_even_the_right_password_waits(client: Client) -> None:
    ada()
    for _ in range(5):
        sign_in(client, "not the password")
    assert sign_in(client).status_code == 200
    assert "_auth_user_id" not in client.session


@pytest.mark.parametrize(
    "evil",
    [
        "//evil.test/x",
        "/\\evil.test",
        "https://evil.test/",
        "javascript:alert(1)",
        "http:evil.test",
        "///evil.test",
        "\\\\evil.test",
        "https:///evil.test",
        "data:text/html,x",
        "http://localhost:8000/ok",
    ],
)
def test_only_paths_of_this_site_are_followed(client: Client, evil: str) -> None:
    ada()
    assert sign_in(client, next=evil).headers["Location"] == "/"


def test_a_path_of_this_site_is_followed(client: Client) -> None:
    ada()
    asked = client.get(reverse("accounts:people"))
    assert asked.headers["Location"] == f"{LOGIN}?next={reverse('accounts:people')}"
    page = client.get(asked.headers["Location"]).content.decode()
    assert f'name="next" value="{reverse("accounts:people")}"' in page
    assert sign_in(client, next=reverse("accounts:people")).headers["Location"] == reverse("accounts:people")


def test_signing_out_wants_a_press_of_a_button() -> None:
    client = signed_in(member(a_firm(), Role.CREW))
    assert client.get("/account/logout/").status_code == 200
    assert "_auth_user_id" in client.session
    assert client.post("/account/logout/").headers["Location"] == LOGIN
    assert "_auth_user_id" not in client.session


def test_nobody_signs_up(client: Client) -> None:
    data = {"email": "new@example.test", "password1": PASSWORD, "password2": PASSWORD}
    for answer in (client.get("/account/signup/"), client.post("/account/signup/", data)):
        assert "by invitation" in answer.content.decode()
    assert not User.objects.exists()


@pytest.mark.parametrize("name", ["account_email", "account_confirm_login_code", "account_reauthenticate"])
def test_pages_of_the_package_that_we_do_not_have_cannot_be_reached(name: str) -> None:
    with pytest.raises(NoReverseMatch):
        reverse(name)


def link_in_mail() -> str:
    found = re.search(r"http://localhost:8000(/\S+)", str(mail.outbox[-1].body))
    assert found, mail.outbox[-1].body
    return found[1]


def test_a_forgotten_password_is_chosen_anew_once(client: Client) -> None:
    ada()
    asked = client.post("/account/password/reset/", {"email": "ada@example.test"}, follow=True)
    assert "Look at your mail" in asked.content.decode()
    letter = mail.outbox[0]
    assert (letter.to, letter.subject) == (["ada@example.test"], "Choose a new password")
    link = link_in_mail()
    form = client.get(link, follow=True)
    where = form.redirect_chain[-1][0]
    assert link.split("-", 1)[1] not in where, "the key is not in the address of the page with the form"
    new = "kettle-otter-lantern-nine"
    done = client.post(where, {"password1": new, "password2": new}, follow=True)
    assert "Password saved" in done.content.decode()
    assert "opens nothing any more" in Client().get(link, follow=True).content.decode()
    assert sign_in(Client(), new).status_code == 302
    assert sign_in(Client()).status_code == 200


def test_a_weak_new_password_is_refused(client: Client) -> None:
    ada()
    client.post("/account/password/reset/", {"email": "ada@example.test"})
    where = client.get(link_in_mail(), follow=True).redirect_chain[-1][0]
    page = client.post(where, {"password1": "short", "password2": "short"})
    assert "at least 12 characters" in page.content.decode()


def test_an_unknown_address_gets_the_same_page_and_a_mail_that_tells_its_owner(client: Client) -> None:
    ada()
    pages = [
        client.post("/account/password/reset/", {"email": email}, follow=True)
        for email in ("ada@example.test", "nobody@example.test")
    ]
    assert pages[0].redirect_chain == pages[1].redirect_chain
    assert pages[0].content == pages[1].content
    assert (mail.outbox[1].to, mail.outbox[1].subject) == (["nobody@example.test"], "No account for this address")
    assert "http://localhost:8000" in mail.outbox[1].body


def test_the_link_is_made_from_our_address_not_from_the_requests(client: Client) -> None:
    ada()
    data = {"email": "ada@example.test"}
    assert client.post("/account/password/reset/", data, headers={"host": "evil.test"}).status_code == 400
    client.post("/account/password/reset/", data, headers={"x-forwarded-host": "evil.test", "host": "127.0.0.1"})
    assert "http://localhost:8000/account/password/reset/key/" in mail.outbox[-1].body
    assert "evil" not in mail.outbox[-1].body
    assert "127.0.0.1" not in mail.outbox[-1].body


def test_a_mail_host_that_is_down_is_told_and_tells_nothing_else(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def down(self: object, fail_silently: bool = False) -> int:
        raise ConnectionRefusedError

    monkeypatch.setattr("django.core.mail.EmailMessage.send", down)
    ada()
    for email in ("ada@example.test", "nobody@example.test"):
        page = client.post("/account/password/reset/", {"email": email}, follow=True)
        assert "could not be sent just now" in page.content.decode()


def test_a_new_password_of_somebody_signed_in() -> None:
    user = ada()
    client = Client()
    sign_in(client)
    assert "Change the password" in client.get("/account/password/change/").content.decode()
    new = "kettle-otter-lantern-nine"
    data = {"oldpassword": PASSWORD, "password1": new, "password2": new}
    assert client.post("/account/password/change/", data).status_code == 302
    user.refresh_from_db()
    assert user.check_password(new)


def test_a_password_change_ends_the_other_sessions() -> None:
    ada()
    here, there = Client(), Client()
    sign_in(here)
    sign_in(there)
    new = "kettle-otter-lantern-nine"
    here.post("/account/password/change/", {"oldpassword": PASSWORD, "password1": new, "password2": new})
    assert here.get(reverse("accounts:people")).status_code == 200
    assert there.get(reverse("accounts:people")).status_code == 302
