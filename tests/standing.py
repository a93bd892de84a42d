"""One world for all tests of a module: built once in a transaction that is thrown away, each test in a savepoint of its own."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import transaction
from pytest_django import DjangoDbBlocker


@contextmanager
def standing(blocker: DjangoDbBlocker) -> Iterator[None]:
    """What is made inside stands until it is left; a module's fixture yields inside, its tests ask for `db` as well."""
    with blocker.unblock(), transaction.atomic():
        yield
        transaction.set_rollback(True)
