"""A firm's first step, by command; then its manager goes on in the browser."""

from __future__ import annotations

import io

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from jobs.firms.models import Firm, Member
from tests.people import PASSWORD

pytestmark = pytest.mark.django_db


def test_the_first_manager_sets_a_password_and_invites(client: Client) -> None:
    out = io.StringIO()
    call_command(
        "add_firm", "Fenland Loops", "Nia@Example.test", "Nia Rook", "--time-zone", "Europe/Berlin", stdout=out
    )
    link = out.getvalue().strip().splitlines()[-1].removeprefix("http://localhost:8000")
    assert client.post(link, {"name": "Nia Rook", "password": PASSWORD}).status_code == 302
    member = Member.objects.get()
    assert (member.user.email, member.roles) == ("nia@example.test", ["manager"])
    assert (member.firm.name, member.firm.time_zone) == ("Fenland Loops", "Europe/Berlin")
    assert client.get("/account/people/invite/").status_code == 200


@pytest.mark.parametrize(
    ("email", "zone"), [("nobody", "Europe/Berlin"), ("a@example.test", "Mars/Olympus"), ("a@example.test", "../x")]
)
def test_what_cannot_be_is_refused_in_one_sentence(email: str, zone: str) -> None:
    with pytest.raises(CommandError, match="Give a mail address"):
        call_command("add_firm", "Fenland Loops", email, "Nia Rook", "--time-zone", zone)
    assert not Firm.objects.exists()
