"""Handlers for made-up kinds, taken out again after each test."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from jobs.work import handlers


@pytest.fixture(autouse=True)
def _registry_as_found() -> Iterator[None]:
    work, due = dict(handlers._work), dict(handlers._due)
    yield
    handlers._work.clear()
    handlers._due.clear()
    handlers._work.update(work)
    handlers._due.update(due)
