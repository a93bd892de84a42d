"""The main job in Chromium: order at the desk, work on a phone with the server stopped, overdue run, review, sheet.

The phone is 360 × 740. Its clock is set to the time of each entry, the server's clock follows; nothing else is simulated.
"""

from __future__ import annotations

import re
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from playwright.sync_api import Browser, expect
from pypdf import PdfReader

from groundloop.demo import desk, packed, people, story
from groundloop.demo.browserless import Visitor
from groundloop.demo.load import DESIGN as USUAL
from groundloop.demo.load import INSTRUMENTS
from groundloop.demo.pictures import picture
from tests.field.conftest import chromium  # noqa: F401 - a fixture
from tests.field.office import Crew
from tests.journeys.people_at_work import PATIENCE_MS, CrewPhone, Desk, phone_of
from tests.running.server import Server

pytestmark = pytest.mark.browser
OFFICE_DAY = story.START - timedelta(days=6)
DESIGN = {**USUAL, "bin_l": 1000}  # one batch is enough to see


@dataclass
class World:
    server: Server
    clock: Path
    photo: Path

    def time(self, at: datetime) -> None:
        part = self.clock.with_suffix(".part")
        part.write_text(at.isoformat(), encoding="ascii")
        part.replace(self.clock)

    def until(self, ready: Callable[[], Any], what: str, within_s: float = 60) -> Any:
        end = time.monotonic() + within_s
        while time.monotonic() < end:
            if found := ready():
                return found
            time.sleep(0.3)
        raise AssertionError(f"waited in vain for {what}")

    def mails(self) -> list[str]:
        folder = self.server.data / "mail"
        return [file.read_text(encoding="utf-8") for file in folder.glob("*")] if folder.exists() else []


@pytest.fixture
def world(live_database: Path, tmp_path: Path) -> Iterator[World]:
    clock, photo = tmp_path / "clock", tmp_path / "photo.png"
    clock.write_text(OFFICE_DAY.isoformat(), encoding="ascii")
    photo.write_bytes(picture("trench of the journey"))
    server = Server(
        live_database, GROUNDLOOP_CLOCK_FILE=str(clock), GROUNDLOOP_DEMO="1", WORK_SWEEP_SECONDS="1"
    ).start()
    yield World(server, clock, photo)
    if server.process.running:
        server.kill9()


def order_at_the_desk(office: Desk, manager: Desk) -> str:
    """The scheduler's part, in the browser; returns the job's address."""
    manager.open("/limits/")
    manager.page.get_by_role("button", name=re.compile("starter|sets", re.IGNORECASE)).first.click()
    product = {
        "name": "Meadow PG concentrate", "base": "propylene glycol", "concentrate_mass_pct": "96", "density_kg_m3": "1055",
        "minimum_mass_pct": "25", "colour": "green", "drum_l": "25",
    }  # fmt: skip
    office.fill("/fluids/new", product)
    for instrument in INSTRUMENTS:
        words = {
            "gauge": "Pressure gauge",
            "refractometer": "Refractometer",
            "flow_meter": "Flow meter",
            "thermometers": "Paired",
        }
        scale = {"scale": "Brix"} if "scale" in instrument else {}
        values = {**instrument, **scale, "kind": words[instrument["kind"]], "calibration_due_date": "2026-12-31"}
        office.fill("/instruments/new", values)
    office.fill("/jobs/new", {
        "title": "Orchard House array", "rule_set": "Small domestic, metric", "planned_start_date": "2026-03-09",
        "customer_name": "Hazel Orchard Farm", "site_name": "Orchard House", "address": "Nether Lane, Westcombe",
        "contact_name": "R. Hazel", "contact_phone": "01632 960115",
    })  # fmt: skip
    job = re.search(r"/jobs/[0-9a-f-]{36}/", office.page.url)
    assert job, office.page.url
    ground = f"{job.group()}ground/"
    office.fill(f"{ground}design", {**DESIGN, "product": "Meadow PG"})
    for number, (title, length) in enumerate(
        (("Manifold to B1 and B2", 12), ("Manifold to B3 and B4", 20), ("Manifold to plant room", 15)), 1
    ):
        office.fill(
            f"{ground}sections/new", {"code": f"S{number}", "title": title, "length_m": length, "depth_mm": 900}
        )
    for number in range(1, 5):
        office.fill(f"{ground}boreholes/new", {"code": f"B{number}", "depth_m": 100})
    office.fill(f"{ground}manifold", {"ports": 4, "place": "Chamber beside the garage", "rating_bar": 10})
    office.fill(f"{ground}header", {"pipe": "63 × 5.8", "length_each_way_m": 15, "section": "S3"})
    for code, port, hole, lateral, section in desk.LOOPS:
        office.fill(f"{ground}loops/new", {
            "code": code, "port": port, "borehole": hole, "pipe": "40 × 3.7", "array_m": 200, "lateral_m": f"{lateral},0",
            "section": section, "fittings_k": 6,
        })  # fmt: skip
    office.open(f"{ground}loops/import")
    office.enter("text", desk.LIST)
    office.page.locator("main form button[type=submit]").first.click()
    office.page.locator("button[name=take]").click()
    expect(office.page.locator("main")).to_contain_text("2 loops are imported")
    return job.group()


def see_the_numbers(office: Desk, job: str) -> None:
    office.open(f"{job}ground/numbers")
    page = office.page.locator("main")
    for words in ("The system holds", "838", "Concentrate", "283", "Design flow", "48.3", "laminar", "First colour"):
        expect(page).to_contain_text(words)


def plan(office: Desk, job: str, kind: str, day: datetime) -> None:
    office.open(f"{job}visits/new")
    office.enter("kind", kind)
    office.enter("planned_date", day.date().isoformat())
    office.page.get_by_label("Tomas Reed").check()
    office.page.locator("main .btn--main").click()
    expect(office.page.locator(".error")).to_have_count(0)


def work_of(world: World, job: str) -> story.Work:
    """The story, told from the crew's own work pack; asked for over HTTP, beside the phone."""
    person = next(each for each in people.PEOPLE if each.email.startswith("crew"))
    visitor = Visitor(world.server.base_url)
    visitor.sign_in(person.email, person.password)
    return packed.work_of(visitor.api("GET", "/field/api/pack").json(), job.split("/")[2])


def entries_in_office(world: World) -> list[tuple[str, str]]:
    return [(row[0], row[1]) for row in world.server.rows("SELECT id, held FROM visits_entry ORDER BY device_seq")]


def crew_on(world: World, kind: str) -> Crew:
    """The crew's visit of this kind."""
    visit, job = world.server.rows("SELECT id, job_id FROM visits_visit WHERE kind = ?", kind)[0]
    return Crew("", "", str(UUID(visit)), str(UUID(job)))


def type_stage(phone: CrewPhone, work: story.Work, stage: str, world: World) -> int:
    before = len(work.log.entries)
    getattr(work, stage)()
    new = work.log.entries[before:]
    for entry in new:
        phone.log(entry, photo=world.photo)
    return len(new)


def typed_wrongly(entries: list[dict[str, Any]]) -> None:
    """0.8 L became 5.5 L: what the manager will ask about."""
    check = next(entry for entry in entries if entry["kind"] == "follow_up")
    check["payload"]["top_up"] = story.n("5.5", "L")


@dataclass
class Journey:
    """The people, their browsers, and how far the job has come."""

    chromium: Browser
    world: World
    office: Desk
    manager: Desk
    job: str = ""
    phone: CrewPhone = field(init=False)
    work: story.Work = field(init=False)

    def order(self) -> None:
        self.job = order_at_the_desk(self.office, self.manager)
        see_the_numbers(self.office, self.job)
        plan(self.office, self.job, "Trench, pipe and test", story.START)

    def store_the_pack(self) -> None:
        """The crew stores the work pack; then the server is gone."""
        self.world.time(story.START)
        self.phone = phone_of(self.chromium, self.world.server)
        self.phone.clock(story.START)
        person = next(each for each in people.PEOPLE if each.email.startswith("crew"))
        self.phone.sign_in_here(person.email, person.password)
        self.phone.ready()
        self.work = work_of(self.world, self.job)
        self.phone.crew = crew_on(self.world, "ground")
        assert self.world.server.stop() == 0

    def log_without_signal(self) -> None:
        phone = self.phone
        phone.open()
        expect(phone.page.locator("main")).to_contain_text("Hold point H6", timeout=PATIENCE_MS)
        stages = story.STAGES[: story.STAGES.index("running") + 1]
        typed = sum(type_stage(phone, self.work, stage, self.world) for stage in stages)
        kinds = Counter(entry["kind"] for entry in phone.stored())
        # The tap that starts a fill tells the others so: an entry of its own that nobody types.
        assert kinds.pop("fill_start") == kinds["loop_fill"]
        assert kinds.total() == typed
        phone.bar("on this phone – no signal")
        assert entries_in_office(self.world) == []

    def get_signal(self) -> None:
        """Each entry is in the office once, none held, and the photo after them."""
        stored = self.phone.stored()
        self.set_time(self.work.log.at + timedelta(minutes=1))
        self.world.server.start()
        self.phone.open()
        self.phone.bar("All received", within=120_000)
        there = entries_in_office(self.world)
        assert sorted(UUID(key).hex for key, _ in there) == sorted(UUID(each["id"]).hex for each in stored)
        assert {held for _, held in there} == {""}
        photos = "SELECT count(*) FROM files_storedfile WHERE purpose = 'photo'"
        self.world.until(lambda: self.world.server.rows(photos)[0][0] == 1, "the photo")

    def set_time(self, at: datetime) -> None:
        self.world.time(at)
        self.phone.clock(at)

    def nobody_comes_back(self) -> None:
        """Mails to scheduler and crew, a banner, a visit planned for it."""
        overdue = (self.work.log.at + timedelta(days=12)).replace(hour=9, minute=0)
        self.set_time(overdue)
        self.work.log.at = overdue

        def reminders() -> list[str]:
            return [mail for mail in self.world.mails() if "de-aeration" in mail.lower()]

        mails = self.world.until(lambda: len(reminders()) > 1 and reminders(), "reminders by mail")
        to = {address for mail in mails for address in re.findall(r"^To: (.+)$", mail, re.MULTILINE)}
        assert to == {"office@harrowfell.example", "crew@harrowfell.example"}
        self.office.open("/")
        expect(self.office.page.locator("main")).to_contain_text("overdue")
        plan(self.office, self.job, "De-aeration check", overdue)

    def follow_up(self) -> None:
        """Checks and final readings, now with signal; one litre figure is typed wrongly."""
        self.phone.get_newest_work("De-aeration check")
        self.phone.crew = crew_on(self.world, "follow_up")
        for stage in ("checked", "final", "submitted"):
            before = len(self.work.log.entries)
            getattr(self.work, stage)()
            if stage == "checked":
                typed_wrongly(self.work.log.entries[before:])
            for entry in self.work.log.entries[before:]:
                self.world.time(datetime.fromisoformat(entry["observed_at"]) + timedelta(seconds=30))
                self.phone.log(entry, photo=self.world.photo)
                # Before the clocks go on: a phone that sends days later would be taken for one whose clock is off.
                self.phone.bar("All received", within=60_000)

    def open_review(self) -> None:
        self.manager.open("/sheets/")
        self.manager.page.locator("main a[href*=review]").first.click()
        expect(self.manager.page.locator("h1")).to_contain_text("Review of job 1")

    def send_one_field_back(self) -> None:
        self.world.time(self.work.log.at + timedelta(hours=3))
        self.open_review()
        question = self.manager.page.locator(".finding", has_text="topped up").first
        question.get_by_text("Ask the crew about this entry").first.click()
        question.locator("select[name=field]").first.select_option(value="top_up")
        question.locator("textarea[name=text]").first.fill("5.5 L at the first check: is that what went in?")
        question.get_by_role("button", name="Send back to the crew").first.click()
        expect(self.manager.page.locator("main")).to_contain_text("Sent back")

    def correct_it_on_the_phone(self) -> None:
        self.set_time(self.work.log.at + timedelta(hours=4))
        self.phone.get_newest_work("De-aeration check")
        self.phone.open()
        asked = self.phone.page.locator(".asks")
        expect(asked).to_contain_text("5.5 L at the first check", timeout=PATIENCE_MS)
        asked.get_by_role("button").first.click()
        self.phone.number("top_up", "0.8")
        self.phone.save()
        self.phone.bar("All received", within=60_000)

    def approve(self, folder: Path) -> Path:
        """Every finding answered, approved, made into a PDF in the background."""
        self.world.time(self.work.log.at + timedelta(hours=5))
        self.open_review()
        page = self.manager.page
        blocking = page.locator(".finding", has=page.locator(".state--fail")).locator(".finding__text")
        assert blocking.all_inner_texts() == []
        open_forms = page.locator(".finding:not(:has(.finding__head .state--done)) .finding__right form")
        while open_forms.count():
            open_forms.first.locator("textarea").fill("Asked the crew; as it should be.")
            with page.expect_navigation():
                open_forms.first.get_by_role("button").click()
        expect(page.locator("h1")).to_contain_text("revision 2")
        expect(page.locator("#approve")).to_contain_text("You answer with your name")
        page.get_by_role("button", name="Approve revision 2").click()
        expect(page.locator("main")).to_contain_text("is approved")
        address = re.search(r"/sheets/[0-9a-f-]{36}/", page.url)
        assert address
        expect(page.locator("main a[href$=pdf]").first).to_be_visible(timeout=90_000)
        pdf = folder / "sheet.pdf"
        pdf.write_bytes(self.manager.context.request.get(f"{self.world.server.base_url}{address.group()}pdf").body())
        return pdf


def test_from_order_to_signed_sheet(chromium: Browser, world: World, tmp_path: Path) -> None:  # noqa: F811
    journey = Journey(chromium, world, Desk(chromium, world.server, "office"), Desk(chromium, world.server, "manager"))
    journey.order()
    journey.store_the_pack()
    journey.log_without_signal()
    journey.get_signal()
    journey.nobody_comes_back()
    journey.follow_up()
    journey.send_one_field_back()
    journey.correct_it_on_the_phone()
    check_sheet(journey.approve(tmp_path), journey.work.log.entries)
    assert journey.phone.problems == []


def check_sheet(pdf: Path, entries: list[dict[str, Any]]) -> None:
    """The text, read by an independent library, holds what was typed; the shown hash is in it."""
    text = " ".join(page.extract_text() for page in PdfReader(pdf).pages)
    kinds = {
        "pressure_reading",
        "pressure_end",
        "strength_reading",
        "loop_fill",
        "static_pressure",
        "follow_up",
        "final_reading",
    }
    typed = {
        value["text"]
        for entry in entries
        if entry["kind"] in kinds
        for value in entry["payload"].values()
        if "text" in value
    }
    assert len(typed) > 25
    assert sorted(number for number in typed if number not in text) == []
    for words in (
        "Orchard House",
        "Tomas Reed",
        "Odile Marsh",
        "superseded",
        "Short tightness check",
        "Digital gauge",
        "G-0502",
    ):
        assert words in text, words
    assert "SHA-256" in text
