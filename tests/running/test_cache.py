"""The cache of the sign-in limits: real while Redis is there, empty and quick while it is not."""

from __future__ import annotations

import time

import pytest

from groundloop import cache as module
from groundloop.cache import PatientCache
from tests.running.server import wait_for_port
from tests.running.services import Redis

pytestmark = pytest.mark.redis


@pytest.fixture
def cache(redis: Redis, monkeypatch: pytest.MonkeyPatch) -> PatientCache:
    monkeypatch.setattr(module, "_silent_until", 0.0)
    wait_for_port(redis.port)
    return PatientCache(redis.url, {"OPTIONS": {"socket_timeout": 0.5, "socket_connect_timeout": 0.5}})


def test_it_keeps_what_it_is_given(cache: PatientCache) -> None:
    assert cache.add("tries", [1])
    assert not cache.add("tries", [2])
    cache.set("tries", [1, 2])
    assert cache.get("tries") == [1, 2]
    assert cache.delete("tries")
    assert cache.get("tries", "none") == "none"


@pytest.mark.parametrize("fault", ["stop", "hang"])
def test_without_redis_it_is_empty_waits_once_and_comes_back(
    cache: PatientCache, redis: Redis, fault: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    cache.set("tries", [1])
    getattr(redis, fault)()
    started = time.monotonic()
    for _ in range(20):
        assert cache.get("tries", []) == []
        assert cache.add("lock", 1)
        cache.set("tries", [9])
        assert not cache.delete("lock")
    assert time.monotonic() - started < 2
    if fault == "stop":
        redis.start()
        wait_for_port(redis.port)
    else:
        redis.go_on()
    monkeypatch.setattr(module, "_silent_until", 0.0)  # the silence is over
    assert cache.add("fresh", 1)
    assert cache.get("fresh") == 1
