"""kill -9 of the one process while phones send: what was acknowledged is there afterwards, once."""

from __future__ import annotations

import random
import threading
import uuid
from collections.abc import Iterable

import pytest

from groundloop.demo.people import PEOPLE, WORD
from jobs.firms.models import Role
from tests.faults.phone import Phone
from tests.running.server import Server

CREW = next(person for person in PEOPLE if Role.CREW in person.roles)
JOB = """
from jobs.firms.models import Firm
from tests.build import a_job
print(a_job(Firm.objects.get()).pk)
"""
PHONES, ROUNDS = 3, 3


@pytest.mark.parametrize("seed", [1, pytest.param(2, marks=pytest.mark.long), pytest.param(3, marks=pytest.mark.long)])
def test_every_acknowledged_entry_is_there_after_kill_9(served: Server, seed: int) -> None:
    job, dice = served.python(JOB).strip(), random.Random(seed)
    phones = [Phone(served.browser(CREW.email, WORD), job, seed * 100 + number) for number in range(PHONES)]
    for _ in range(ROUNDS):
        before = sum(len(phone.acknowledged) for phone in phones)
        _kill_while_they_send(served, phones, after_s=dice.uniform(0.3, 1.2))
        acknowledged = {identity for phone in phones for identity in phone.acknowledged}
        assert len(acknowledged) > before, "nothing was acknowledged: the test shows nothing"
        assert acknowledged <= set(_entries(served)), "acknowledged and lost"
        served.start()
    for phone in phones:
        while phone.waiting:
            phone.send()
    sent = {identity for phone in phones for identity in phone.acknowledged}
    rows = _entries(served)
    assert sorted(rows) == sorted(sent), "each exactly once, and nothing else"
    assert served.rows("PRAGMA integrity_check") == [("ok",)]


def _kill_while_they_send(served: Server, phones: Iterable[Phone], *, after_s: float) -> None:
    threads = [threading.Thread(target=phone.work_until_it_breaks) for phone in phones]
    for thread in threads:
        thread.start()
    threading.Event().wait(after_s)
    served.kill9()
    for thread in threads:
        thread.join(timeout=30)
        assert not thread.is_alive()


def _entries(served: Server) -> list[str]:
    return [str(uuid.UUID(identity)) for (identity,) in served.rows("SELECT id FROM visits_entry")]
