"""The whole job on two phones, by taps: the crew's and the engineer's, filling with the server down, until the sheet is ready.

Each phone has a clock of its own, set to the time of each entry; the server's clock follows while it runs. Nothing else is
simulated. Taps are counted by a listener in the page; figures on the pad are not.
"""

from __future__ import annotations

import json
import re
import sys
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

import pytest
from playwright.sync_api import Browser, Page, expect

from groundloop.demo import packed, story
from groundloop.demo.browserless import Visitor
from tests.field.conftest import chromium  # noqa: F401 - a fixture
from tests.field.office import PASSWORD, Crew
from tests.journeys.people_at_work import PATIENCE_MS
from tests.journeys.tapped_phone import TappedPhone
from tests.journeys.test_main_job import World, world  # noqa: F401 - a fixture
from tests.running.server import Server

pytestmark = [pytest.mark.browser, pytest.mark.long]
# Budgets of the project's own: ten taps a loop, two a pressure reading.
FILL_TAPS, READING_TAPS = 40, 2
NO_SIGNAL = timedelta(minutes=40)
MANAGER = "manager@two-phones.example"
DAYS = {"ground": 0, "fill": 1, "start": 2, "follow_up": 5, "final": 13}
SEED = f"""
import json
from datetime import timedelta
from tests import build
from tests.people import a_firm, a_user, member
from jobs.firms import clock
from jobs.firms.models import Role
from jobs.firms.scope import scope
from jobs.visits import actions as visits
from jobs.visits.models import VisitKind
now = clock.now()
firm = a_firm()
def person(name, email, role):
    return member(firm, role, user=a_user(name, email=email, password="{PASSWORD}"))
manager = person("Odile Marsh", "{MANAGER}", Role.MANAGER)
crew = [person("Tomas Reed", "crew@two-phones.example", Role.CREW), person("Edda Pine", "engineer@two-phones.example", Role.ENGINEER)]
build.instruments(firm)
job = build.a_job(firm, design={{"bin_l": 1000}})  # one batch is enough to see
with scope(firm.pk):
    made = {{kind: str(visits.plan_visit(job, by=manager, at=now, crew=crew, kind=VisitKind(kind), planned_date=(now + timedelta(days=days)).date()).pk)
        for kind, days in {DAYS}.items()}}
print(json.dumps({{"job": str(job.pk), "visits": made, "people": [[each.user.email, str(each.pk)] for each in crew]}}))
"""


def in_office(server: Server) -> list[tuple[str, str]]:
    return [(row[0], row[1]) for row in server.rows("SELECT id, held FROM visits_entry")]


@dataclass
class TwoPhones:
    """The firm, its job, and how far the two have come; `typed` counts entries."""

    chromium: Browser
    world: World
    visits: dict[str, str] = field(default_factory=dict)
    typed: int = 0

    def book(self) -> None:
        """Both are booked on every visit, and store their work while there is signal."""
        self.world.time(story.START)
        told = json.loads(self.world.server.python(SEED).strip().splitlines()[-1])
        self.visits = told["visits"]
        self.crew, self.engineer = (
            TappedPhone(self.chromium, self.world.server, Crew(email, person, self.visits["ground"], told["job"]))
            for email, person in told["people"]
        )
        for phone in self.phones:
            phone.clock(story.START)
            phone.sign_in(self.world.server)
            phone.ready()
        visitor = Visitor(self.world.server.base_url)
        visitor.sign_in(self.crew.crew.email, PASSWORD)
        self.work = packed.work_of(visitor.api("GET", "/field/api/pack").json(), told["job"])

    @property
    def phones(self) -> tuple[TappedPhone, TappedPhone]:
        return self.crew, self.engineer

    def tell(self, stage: str) -> list[dict[str, Any]]:
        """What the story logs next."""
        before = len(self.work.log.entries)
        getattr(self.work, stage)()
        return self.work.log.entries[before:]

    def log(self, phone: TappedPhone, visit: str, entries: list[dict[str, Any]], *, signal: bool = True) -> None:
        phone.crew = Crew(phone.crew.email, phone.crew.id, self.visits[visit], phone.crew.job)
        for entry in entries:
            at = datetime.fromisoformat(entry["observed_at"])
            if signal:
                self.world.time(at + timedelta(seconds=30))
            phone.log(entry, photo=self.world.photo)
            if signal:
                # Before the clocks go on: a phone that sends days later would be taken for one whose clock is off.
                phone.bar("All received", within=60_000)
        # The start of a fill is told by itself.
        self.typed += len(entries) + sum(each["kind"] == "loop_fill" for each in entries)

    def stages(self, phone: TappedPhone, visit: str, *names: str) -> None:
        for name in names:
            self.log(phone, visit, self.tell(name))

    def newest(self, at: datetime) -> None:
        """Both ask for the work again: what the other one logged is theirs too."""
        self.world.time(at)
        for phone in self.phones:
            phone.clock(at)
            phone.page.goto(f"{phone.base_url}/field/")
            phone.page.get_by_role("button", name="Get the newest work").click()
            expect(phone.page.get_by_text("The newest work is on this phone.")).to_be_visible(timeout=PATIENCE_MS)

    def sees_filled(self, phone: TappedPhone, count: int) -> None:
        phone.page.goto(f"{phone.base_url}/field/visit/{self.visits['fill']}")
        expect(phone.page.get_by_role("main")).to_contain_text(
            re.compile(rf"[Ff]illed:? {count}\b"), timeout=PATIENCE_MS
        )

    def fill_without_signal(self) -> None:
        """Two loops each, one after the other; each phone knows of its own two only, and nothing is in the office."""
        before, known = self.work.log.at, len(in_office(self.world.server))
        assert self.world.server.stop() == 0
        entries = self.tell("filled")
        self.log(self.crew, "fill", entries[:2], signal=False)
        self.log(self.engineer, "fill", entries[2:4], signal=False)
        self.log(self.crew, "fill", entries[4:], signal=False)
        assert self.work.log.at - before >= NO_SIGNAL
        for phone in self.phones:
            self.sees_filled(phone, 2)
            phone.bar("on this phone – no signal")
        assert len(in_office(self.world.server)) == known

    def get_signal(self) -> None:
        at = self.work.log.at + timedelta(minutes=1)
        self.world.time(at)
        self.world.server.start()
        for phone in self.phones:
            phone.clock(at)
            phone.page.goto(f"{phone.base_url}/field/")
            phone.bar("All received", within=60_000)
        self.newest(at)
        for phone in self.phones:
            self.sees_filled(phone, 4)

    def review(self) -> Page:
        """The manager opens the sheet that waits."""
        context = self.chromium.new_context(viewport={"width": 1440, "height": 900}, locale="en-GB")
        for cookie in self.world.server.browser(MANAGER, PASSWORD).cookies:
            context.add_cookies([{"name": cookie.name, "value": cookie.value or "", "url": self.world.server.base_url}])
        page = context.new_page()
        page.goto(f"{self.world.server.base_url}/sheets/")
        page.locator("main a[href*=review]").first.click()
        return page

    def spent(self) -> dict[str, list[int]]:
        kinds = sorted({kind for phone in self.phones for kind in phone.spent})
        return {kind: [taps for phone in self.phones for taps in phone.spent.get(kind, [])] for kind in kinds}


def test_the_whole_job_on_two_phones(chromium: Browser, world: World) -> None:  # noqa: F811
    job = TwoPhones(chromium, world)
    job.book()
    job.stages(job.crew, "ground", "papers", "trenched", "joined", "tested", "released", "covered")
    job.stages(job.crew, "fill", "flushed", "mixed")
    job.newest(job.work.log.at + timedelta(minutes=1))
    job.fill_without_signal()
    job.get_signal()
    job.stages(job.crew, "fill", "purged")
    job.newest(job.work.log.at + timedelta(minutes=1))
    job.stages(job.engineer, "start", "running")
    job.stages(job.engineer, "follow_up", "checked")
    job.stages(job.engineer, "final", "final", "submitted")
    job.newest(job.work.log.at + timedelta(minutes=1))  # and tells the office that nothing waits on either phone

    once_and_in_force(job)
    few_taps(job.spent())
    ready_for_review(job)
    assert [phone.problems for phone in job.phones] == [[], []]


def once_and_in_force(job: TwoPhones) -> None:
    """Each entry that was ever on one of the phones is in the office once, and none is held."""
    here = [UUID(each["id"]).hex for phone in job.phones for each in phone.stored()]
    there = in_office(job.world.server)
    assert sorted(UUID(key).hex for key, _ in there) == sorted(here)
    assert len(here) == job.typed
    assert {held for _, held in there} == {""}


def few_taps(spent: dict[str, list[int]]) -> None:
    for kind, taps in spent.items():
        sys.stdout.write(f"{kind}: {len(taps)} entries, {sum(taps)} taps, at most {max(taps)}\n")
    assert len(spent["loop_fill"]) == 4
    assert sum(spent["loop_fill"]) <= FILL_TAPS
    assert set(spent["pressure_reading"]) == {READING_TAPS}


def ready_for_review(job: TwoPhones) -> None:
    """The sheet waits for the manager, says who logged, and nothing in it stands in the way."""
    job.world.time(job.work.log.at + timedelta(hours=1))
    page = job.review()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Review of job 1")
    for name in ("Tomas Reed", "Edda Pine"):
        expect(page.get_by_role("main")).to_contain_text(name)
    blocking = page.locator(".finding", has=page.locator(".state--fail")).locator(".finding__text")
    assert blocking.all_inner_texts() == []
