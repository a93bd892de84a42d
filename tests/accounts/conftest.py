"""Each test starts with no failed sign-in counted against anybody."""

from __future__ import annotations

import pytest
from django.core.cache import cache


@pytest.fixture(autouse=True)
def _nothing_counted() -> None:
    cache.clear()
