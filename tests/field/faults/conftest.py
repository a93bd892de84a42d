"""The fault cases' office: gunicorn as docker-compose.yml runs it, with a Redis of its own.

No worker and no beat run beside it: nothing that a phone sends may have to wait for them.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.running.separate import Composed
from tests.running.server import Server, copy_of, wait_for_port
from tests.running.services import Redis


@contextmanager
def composed(template: Path, folder: Path) -> Iterator[Composed]:
    redis = Redis(folder)
    redis.start()
    try:
        wait_for_port(redis.port)
        server = Composed(copy_of(template, folder / "data"), redis.url)
        try:
            yield server.start()
        finally:
            if server.process.running:
                server.kill9()
    finally:
        redis.stop()


@pytest.fixture(scope="module")
def office(template_data: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """One running office for the tests of a module; each of them takes a crew of its own."""
    with composed(template_data, tmp_path_factory.mktemp("office")) as server:
        yield server


@pytest.fixture
def served(template_data: Path, tmp_path: Path) -> Iterator[Server]:
    """An office of the test's own, which it may stop, kill and restart."""
    with composed(template_data, tmp_path) as server:
        yield server
