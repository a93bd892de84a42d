"""Redis stops, or hangs: whoever is at work notices nothing, and what was wanted is made when it is back."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from groundloop.demo.people import PEOPLE, WORD
from jobs.firms.models import Role
from tests.running.separate import Separate
from tests.running.services import Redis

pytestmark = pytest.mark.redis

MANAGER = next(person for person in PEOPLE if Role.MANAGER in person.roles)
STATES = """
from jobs.work.models import Work
print(" ".join(Work.objects.order_by("wanted_at").values_list("state", flat=True)))
"""


@pytest.fixture
def separate(live_database: Path, redis: Redis) -> Iterator[Separate]:
    found = Separate(live_database, redis.url).start()
    yield found
    found.kill9()


def test_redis_stopped_what_is_wanted_is_kept_and_made_when_it_is_back(separate: Separate, redis: Redis) -> None:
    _goes_on(separate, away=redis.stop, back=redis.start)


def test_redis_hanging_what_is_wanted_is_kept_and_made_when_it_is_back(separate: Separate, redis: Redis) -> None:
    _goes_on(separate, away=redis.hang, back=redis.go_on)


def test_people_can_sign_in_while_redis_is_gone(separate: Separate, redis: Redis) -> None:
    redis.stop()
    started = time.monotonic()
    separate.browser(MANAGER.email, WORD)
    assert time.monotonic() - started < 8


def _goes_on(separate: Separate, *, away: Callable[[], None], back: Callable[[], None]) -> None:
    manager = separate.browser(MANAGER.email, WORD)
    manager.get("/account/people/invite/")
    away()
    started = time.monotonic()
    reply = manager.post(
        "/account/people/invite/", {"email": "new.hand@example.test", "name": "New Hand", "roles": ["crew"]}
    )
    took = time.monotonic() - started
    assert reply.status == 200, reply.text[:500]
    assert took < 3, f"answered after {took:.1f} s"
    assert separate.python(STATES).split() == ["wanted"]
    time.sleep(4)  # worker and beat live through it
    back()
    until = time.monotonic() + 40
    while separate.python(STATES).split() != ["done"]:
        assert time.monotonic() < until, f"not made after Redis was back\n{separate.logs()}"
        time.sleep(0.5)
    assert len(list((separate.data / "mail").iterdir())) == 1
    assert all(process.running for process in separate.processes), separate.logs()
