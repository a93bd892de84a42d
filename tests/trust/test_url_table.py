"""The access table knows every URL, and says of each what its view says."""

from __future__ import annotations

from collections import Counter

import pytest

from jobs.firms.models import Role
from tests.trust.url_table import BY_NAME, SIGNED_IN, TABLE, Row
from tests.trust.world import World, patterns

URLS = dict(patterns())


def test_every_url_stands_in_the_table_and_nothing_else_does() -> None:
    assert set(URLS) - set(BY_NAME) == set(), "add these to tests/trust/url_table.py"
    assert set(BY_NAME) - set(URLS) == set(), "these are gone"


def test_no_url_is_there_twice() -> None:
    assert [name for name, count in Counter(row.name for row in TABLE).items() if count > 1] == []
    assert [name for name, count in Counter(name for name, _ in patterns()).items() if count > 1] == []


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row.name)
def test_the_view_asks_for_the_roles_that_the_table_tells(row: Row) -> None:
    """What a view's wrapper asks for can be read from it; a view for members without the wrapper has nothing to read."""
    asked = getattr(URLS[row.name].callback, "firm_roles", None)
    if row.roles:
        assert asked is not None, "not wrapped by member_view"
        assert frozenset(asked) == row.roles
    else:
        assert asked is None, f"the table says {row.who}, the view is for {asked}"


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row.name)
def test_a_path_with_parameters_leads_to_an_object(row: Row) -> None:
    has_parameters = bool(URLS[row.name].pattern.converters or URLS[row.name].pattern.regex.groupindex)
    assert has_parameters == bool(row.obj)


def test_only_a_few_pages_are_for_anybody() -> None:
    """A new one is a decision."""
    open_to_all = {row.name for row in TABLE if not row.roles and row.who != SIGNED_IN}
    assert open_to_all == {
        "healthz", "readyz", "account_login", "account_logout", "account_signup", "account_inactive",
        "account_reset_password", "account_reset_password_done", "account_reset_password_from_key",
        "account_reset_password_from_key_done", "accounts:invitation", "field:shell", "field:shell-path", "field:worker",
        "field:parcel", "field:manifest", "sheets:verify",
    }  # fmt: skip


def test_the_world_has_every_object_the_table_names(world: World) -> None:
    assert {row.obj for row in TABLE if row.obj} == set(world.objects)
    for row in TABLE:
        if row.name != "field:shell-path":
            assert world.path(row).startswith("/")


def test_every_role_is_told_from_the_others_somewhere() -> None:
    for role in Role:
        assert any(role in row.roles for row in TABLE)
    assert any(Role.CREW not in row.roles for row in TABLE if row.roles)
