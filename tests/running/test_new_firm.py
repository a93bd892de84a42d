"""The first firm of an empty set-up, founded at the keyboard of the machine."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.contrib.auth import authenticate
from django.core.management import CommandError, call_command

from jobs.firms.models import AuditEvent, Firm, Member, Role, User
from jobs.firms.scope import scope
from jobs.planning.models import RuleSet

pytestmark = pytest.mark.django_db
GOOD = "gravel-bucket-seven-tides"


def _found(monkeypatch: pytest.MonkeyPatch, typed: str = GOOD, **options: Any) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{typed}\n"))
    call_command("new_firm", "Fenside Loops", "Boss@example.test", "Bo Fenside", stdout=io.StringIO(), **options)


def test_the_manager_can_sign_in_and_finds_the_starter_rule_sets(monkeypatch: pytest.MonkeyPatch) -> None:
    _found(monkeypatch, time_zone="Europe/Stockholm")
    firm = Firm.objects.get()
    member = Member.objects.get(firm=firm)
    assert firm.time_zone == "Europe/Stockholm"
    assert member.has_role(Role.MANAGER)
    assert authenticate(None, email="boss@example.test", password=GOOD) == member.user
    with scope(firm.pk):
        assert RuleSet.objects.exists()
        assert "firm_founded" in AuditEvent.objects.values_list("verb", flat=True)


@pytest.mark.parametrize(
    ("typed", "options"),
    [("short", {}), ("fenside-fenside-bo", {"time_zone": "Europe/Nowhere"}), ("boss@example.test", {})],
)
def test_what_is_wrong_leaves_nothing_behind(
    typed: str, options: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(CommandError):
        _found(monkeypatch, typed, **options)
    assert not Firm.objects.exists()
    assert not User.objects.exists()


def test_somebody_who_signs_in_already_keeps_their_password(monkeypatch: pytest.MonkeyPatch) -> None:
    user = User.objects.create_user("boss@example.test", "Bo Fenside", GOOD)
    _found(monkeypatch, typed="another-word-altogether")
    user.refresh_from_db()
    assert user.check_password(GOOD)
    assert Member.objects.get().user == user
