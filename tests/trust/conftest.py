"""One world for all tests of a module, in a transaction that is thrown away; each test in a savepoint of its own."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.core.cache import cache
from django.db import transaction
from pytest_django.plugin import DjangoDbBlocker

from tests.trust import world as worlds
from tests.trust.world import World


@pytest.fixture(scope="module")
def standing_world(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[World]:
    with django_db_blocker.unblock(), transaction.atomic():
        made = worlds.make()
        assert made.before
        yield made
        transaction.set_rollback(True)


@pytest.fixture
def world(standing_world: World) -> Iterator[World]:
    cache.clear()
    with transaction.atomic():
        yield standing_world
        transaction.set_rollback(True)
