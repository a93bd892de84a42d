"""A view that writes and then fails leaves nothing behind. Asked over HTTP, on a database that really commits."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from jobs.firms.access import SESSION_KEY
from jobs.firms.models import AuditEvent
from tests.real_db import Environment, real_db
from tests.trust import world as worlds
from tests.trust.world import World

__all__ = ["real_db"]
POSTS: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("accounts:invite", "", {"name": "New", "email": "half@example.test", "roles": ["crew"]}),
    ("accounts:member", "member", {"roles": ["engineer"]}),
    ("accounts:member-switch", "member", {"to": "off"}),
    ("accounts:withdraw", "invitation", {}),
    ("planning:customer-new", "", {"name": "Half Written"}),
    ("visits:visit-cancel", "visit", {}),
    ("office:work-again", "work", {}),
)


class Broken(RuntimeError):
    pass


@pytest.fixture
def world(real_db: Environment) -> World:
    cache.clear()
    return worlds.make()


def test_nothing_is_left_behind(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    real, written = AuditEvent.save, list[UUID]()

    def write_and_fail(event: AuditEvent, **how: Any) -> None:
        real(event, **how)
        written.append(event.pk)
        raise Broken

    client = Client(raise_request_exception=False)
    client.force_login(world.team.manager.user)
    session = client.session
    session[SESSION_KEY] = str(world.team.manager.pk)
    session.save()
    before = world.before
    monkeypatch.setattr(AuditEvent, "save", write_and_fail)
    for name, obj, data in POSTS:
        count = len(written)
        path = reverse(name, kwargs=world.objects[obj] if obj else None)
        assert client.post(path, data).status_code == 500, name
        assert len(written) == count + 1, f"{name} never came to its last write"
        assert world.digest() == before, name
    monkeypatch.undo()
    for name, obj, data in POSTS[:2]:
        path = reverse(name, kwargs=world.objects[obj] if obj else None)
        assert client.post(path, data).status_code == 302, "and without the fault it is written"
    assert world.digest() != before
