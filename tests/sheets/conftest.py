from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest
from django.db import transaction
from pytest_django import DjangoDbBlocker

from tests.people import Team, a_team
from tests.sheets.world import World, handed_in


@pytest.fixture
def team(db: None) -> Team:
    return a_team()


@pytest.fixture(scope="module")
def logged(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[World]:
    """The main job, logged whole and handed in on the phone; built once per module, undone at its end."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield handed_in(a_team())
        transaction.set_rollback(True)


@pytest.fixture
def world(logged: World, db: None) -> World:
    """That job as it stands after the hand-in; every photo is here. What a test does to it is undone after the test."""
    return replace(logged, log=replace(logged.log, entries=list(logged.log.entries)))
