"""Every URL, every kind of person, every method: generated from the URL list, for objects of one's own and another firm."""

from __future__ import annotations

import re
from typing import Any
from urllib.parse import unquote

import pytest
from django.http import HttpResponse
from django.test import Client

from jobs.firms.models import Member
from tests.people import Team, signed_in
from tests.trust.url_table import BY_NAME, PUBLIC, TABLE, Row
from tests.trust.world import CANARY, World

SAFE = ("GET", "HEAD", "OPTIONS")
UNSAFE = ("POST", "PUT", "PATCH", "DELETE")
ROWS = [row for row in TABLE if row.name != "field:shell-path"]
FOR_MEMBERS = [row for row in ROWS if row.roles]
WITH_OBJECT = [row for row in FOR_MEMBERS if row.obj and not row.own]


def ids(row: Row) -> str:
    return row.name


def ask(client: Client, method: str, path: str, data: Any = None) -> Any:
    """As a browser would; a view that fails raises here."""
    if data is not None:
        return client.generic(method, path, data, content_type="application/json")
    return getattr(client, method.lower())(path)


def content(answer: Any) -> str:
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    return unquote(f"{body.decode('utf-8', 'replace')} {answer.headers}")


def leaks(answer: Any, world: World, *, besides: str = "") -> set[str]:
    """The canary, or the id of any row of the insiders' firm, in the body or the head."""
    text = content(answer)
    found = {CANARY} if CANARY in text else set()
    named = set(re.findall(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}", text))
    return found | {pk for pk in named & world.ids if pk not in besides}


def people(team: Team) -> dict[str, Member]:
    return {"manager": team.manager, "scheduler": team.scheduler, "crew": team.crew, "engineer": team.engineer}


@pytest.mark.parametrize("method", [*SAFE, *UNSAFE])
@pytest.mark.parametrize("row", WITH_OBJECT, ids=ids)
def test_another_firms_object_is_404_like_one_nobody_has(world: World, row: Row, method: str) -> None:
    client = signed_in(world.team.outsider)
    theirs, nobodys = world.path(row), world.unknown_path(row)
    answer, unknown = ask(client, method, theirs), ask(client, method, nobodys)
    assert answer.status_code in {404, 405}, answer.status_code
    assert answer.status_code == unknown.status_code
    assert content(answer).replace(theirs, nobodys) == content(unknown)
    assert leaks(answer, world, besides=theirs) == set()
    assert method not in UNSAFE or world.digest() == world.before
    if method == "GET":
        posted = ask(client, "POST", theirs)
        assert 404 in {answer.status_code, posted.status_code}, "no method says 404: nothing was tried"


@pytest.mark.parametrize("row", [row for row in FOR_MEMBERS if not row.obj or row.own], ids=ids)
def test_pages_without_an_object_show_an_outsider_nothing_of_the_firm(world: World, row: Row) -> None:
    client = signed_in(world.team.outsider)
    path = world.path(row)
    for method in (*SAFE, *UNSAFE):
        answer = ask(client, method, path)
        assert answer.status_code < 500
        assert leaks(answer, world, besides=path) == set()
    assert world.digest() == world.before


@pytest.mark.parametrize("row", FOR_MEMBERS, ids=ids)
def test_a_wrong_role_is_403_and_changes_nothing(world: World, row: Row) -> None:
    wrong = [who for who in people(world.team).values() if not who.has_role(*row.roles)]
    for who in wrong:
        client = signed_in(who)
        codes = {method: ask(client, method, world.path(row)).status_code for method in (*SAFE, *UNSAFE)}
        assert set(codes.values()) <= {403, 405}, (str(who), codes)
        assert 403 in {codes["GET"], codes["POST"]}, codes
    assert world.digest() == world.before


@pytest.mark.parametrize("row", ROWS, ids=ids)
def test_nobody_signed_in_is_sent_to_sign_in(world: World, row: Row) -> None:
    client = Client()
    path = world.path(row)
    for method in (*SAFE, *UNSAFE):
        answer = ask(client, method, path)
        assert answer.status_code < 500
        if row.who == PUBLIC:
            continue
        if answer.status_code == 302:
            assert answer.headers["Location"].startswith("/account/login/?next="), answer.headers["Location"]
        else:
            assert answer.status_code in {401, 403, 405}, (method, answer.status_code)
            assert answer.status_code != 403 or row.name == "api-schema"
        assert leaks(answer, world, besides=path) == set()
    assert row.who == PUBLIC or world.digest() == world.before


@pytest.mark.parametrize("row", [row for row in ROWS if row.who == PUBLIC], ids=ids)
def test_public_pages_tell_nothing_of_any_firm_and_change_nothing(world: World, row: Row) -> None:
    if row.name == "accounts:invitation":
        pytest.skip("whoever holds the link was sent it: it names the firm and the roles")
    client, path = Client(), world.path(row)
    for method in (*SAFE, *UNSAFE):
        assert leaks(ask(client, method, path), world, besides=path) == set()
    assert world.digest() == world.before


@pytest.mark.parametrize("row", FOR_MEMBERS, ids=ids)
def test_a_right_role_gets_in(world: World, row: Row) -> None:
    for who in people(world.team).values():
        if not who.has_role(*row.roles):
            continue
        client = signed_in(who)
        got = ask(client, "GET", world.path(row))
        assert got.status_code in {200, 302, 304, 404, 405, *([400] if row.is_api else [])}, got.status_code
        assert got.status_code != 404 or row.name in {"sheets:pdf", "sheets:facts"}, "its own object must be found"
        if got.status_code == 405:
            assert ask(client, "POST", world.path(row)).status_code not in {401, 403, 404, 405}


@pytest.mark.parametrize("row", FOR_MEMBERS, ids=ids)
def test_without_the_forgery_token_nothing_is_written(world: World, row: Row) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(world.team.manager.user)
    for method in UNSAFE:
        answer: HttpResponse = ask(client, method, world.path(row), b"{}")
        assert answer.status_code in {403, 405}, (method, answer.status_code)
    assert world.digest() == world.before


@pytest.mark.parametrize("row", FOR_MEMBERS, ids=ids)
def test_looking_changes_nothing_of_what_people_entered(world: World, row: Row) -> None:
    """A page may bring a sheet's findings up to date; it never touches what was planned, logged or signed."""
    kept = ("planning.", "ground.", "visits.Entry", "visits.Visit", "visits.Run", "firms.", "members", "accounts.")
    before = {name: rows for name, rows in world.before.items() if name.startswith(kept)}
    client = signed_in(world.team.manager)
    for method in SAFE:
        ask(client, method, world.path(row))
    assert {name: rows for name, rows in world.digest().items() if name.startswith(kept)} == before


@pytest.mark.parametrize("row", FOR_MEMBERS, ids=ids)
def test_who_was_switched_off_is_out_everywhere(world: World, row: Row) -> None:
    clients = {who.pk: signed_in(who) for who in world.team.insiders if who.has_role(*row.roles)}
    for who in world.team.insiders:
        Member.objects.filter(pk=who.pk).update(is_active=False)
    for client in clients.values():
        for method in ("GET", "POST"):
            assert ask(client, method, world.path(row)).status_code in {401, 403, 405}


def test_the_canary_sings_for_the_firms_own_people(world: World) -> None:
    """Else the tests above would prove nothing."""
    client = signed_in(world.team.manager)
    for name in (
        "accounts:people", "planning:customers", "planning:customer", "planning:site", "planning:instruments",
        "planning:products", "visits:visit", "visits:entries", "visits:held-item", "office:board", "office:job",
        "sheets:sheet", "ground:array", "field:api-pack",
    ):  # fmt: skip
        answer = client.get(world.path(BY_NAME[name]))
        assert answer.status_code == 200, name
        assert CANARY in content(answer), name
    assert leaks(client.get(world.path(BY_NAME["office:job"])), world) > {CANARY}
