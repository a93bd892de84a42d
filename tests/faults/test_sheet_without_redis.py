"""The sheet is handed in and approved while Redis is gone; its PDF is set when Redis is back."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from groundloop.demo.people import PEOPLE, WORD
from jobs.firms.models import Role
from tests.faults.phone import Phone
from tests.running.separate import Separate
from tests.running.services import Redis

pytestmark = pytest.mark.redis

CREW = next(person for person in PEOPLE if Role.CREW in person.roles)
JOB = """
from jobs.firms.models import Firm
from jobs.planning.models import JobState
from tests.build import a_job
print(a_job(Firm.objects.get(), state=JobState.READY).pk)
"""
# An unfinished job has many findings; the manager waives each with a reason.
APPROVE = """
import time
from jobs.firms import clock
from jobs.firms.models import Firm, Member, Role
from jobs.firms.scope import scope
from jobs.planning.models import Job
from jobs.sheets import actions, queries
firm = Firm.objects.get()
manager = next(m for m in Member.objects.filter(firm=firm) if m.has_role(Role.MANAGER))
started = time.monotonic()
with scope(firm.pk):
    job = Job.objects.get()
    sheet = actions.catch_up(job)
    for finding in queries.open_findings(sheet):
        actions.answer_finding(finding, text="Not part of this exercise.", waive=True, by=manager, at=clock.now())
    job.refresh_from_db()
    actions.approve(sheet, seen_version=job.version, by=manager, at=clock.now())
print(time.monotonic() - started)
"""
PDF = """
from jobs.files import store
from jobs.firms.models import Firm
from jobs.firms.scope import scope
from jobs.sheets.models import Sheet
with scope(Firm.objects.get().pk, writes=False):
    sheet = Sheet.objects.get()
    print(store.read(sheet.pdf)[:5].decode() if sheet.pdf_id else "none")
"""
STATES = """
from jobs.work.models import Work
print(*Work.objects.filter(kind="sheet_pdf").values_list("state", flat=True))
"""


@pytest.fixture
def separate(live_database: Path, redis: Redis) -> Iterator[Separate]:
    found = Separate(live_database, redis.url).start()
    yield found
    found.kill9()


def test_the_pdf_comes_after_redis_is_back(separate: Separate, redis: Redis) -> None:
    phone = Phone(separate.browser(CREW.email, WORD), separate.python(JOB).strip(), seed=7)
    redis.stop()
    phone.waiting.append(phone.entry("sheet_submit", {"complete": {"value": True}}, {}))
    started = time.monotonic()
    phone.send()
    assert time.monotonic() - started < 3
    assert list(phone.acknowledged.values()) == ["stored"]
    assert float(separate.python(APPROVE)) < 10
    time.sleep(3)
    assert separate.python(STATES).split() == ["wanted"]
    assert separate.python(PDF).strip() == "none"
    redis.start()
    until = time.monotonic() + 60
    while separate.python(STATES).split() != ["done"]:
        assert time.monotonic() < until, separate.logs()
        time.sleep(0.5)
    assert separate.python(PDF).strip() == "%PDF-"
