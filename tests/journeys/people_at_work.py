"""Scheduler, crew and manager as they use the pages: fill a form, tap a phone."""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Page, expect

from groundloop.demo import people
from jobs.visits.kinds import KINDS, Answer, Field
from tests.field.office import PHONE, Phone
from tests.running.server import Server

PATIENCE_MS = 30_000


class Desk:
    """One person at a desktop browser, signed in through the form."""

    def __init__(self, chromium: Browser, server: Server, who: str) -> None:
        self.server = server
        self.context: BrowserContext = chromium.new_context(viewport={"width": 1440, "height": 900}, locale="en-GB")
        self.page: Page = self.context.new_page()
        person = next(each for each in people.PEOPLE if each.email.startswith(who))
        self.open("/account/login/")
        self.page.locator("[name=login]").fill(person.email)
        self.page.locator("[name=password]").fill(person.password)
        self.page.keyboard.press("Enter")
        self.page.wait_for_url(lambda url: "login" not in url)

    def open(self, path: str) -> None:
        self.page.goto(self.server.base_url + path)

    def fill(self, path: str, values: dict[str, Any], *, button: str = "") -> None:
        """Opens the form at `path`, enters `values` by field name, and presses its main button."""
        self.open(path)
        for name, value in values.items():
            self.enter(name, value)
        keys = (
            self.page.locator("main").get_by_role("button", name=button)
            if button
            else self.page.locator("main .btn--main")
        )
        keys.first.click()
        self.page.wait_for_load_state()
        expect(self.page.locator(".error")).to_have_count(0)

    def enter(self, name: str, value: Any) -> None:
        field = self.page.locator(f"main [name={name}]").first
        if field.evaluate("node => node.tagName") == "SELECT":
            labels = field.locator("option").all_inner_texts()
            label = next(each for each in labels if str(value) in each)
            field.select_option(label=label)
        else:
            field.fill(str(value))


class CrewPhone(Phone):
    """A phone on which a whole story is typed, each entry at its own time."""

    def sign_in_here(self, email: str, password: str) -> None:
        self.page.goto(f"{self.base_url}/account/login/")
        self.page.locator("[name=login]").fill(email)
        self.page.locator("[name=password]").fill(password)
        self.page.keyboard.press("Enter")
        self.page.wait_for_url(lambda url: "login" not in url)

    def clock(self, at: datetime) -> None:
        """What the phone believes the time is; its timers run on."""
        self.page.clock.set_fixed_time(at)

    def get_newest_work(self, visit: str) -> None:
        """Asks for the work again and waits until this visit is there."""
        self.page.goto(f"{self.base_url}/field/")
        self.page.get_by_role("button", name="Get the newest work").click()
        expect(self.page.get_by_text(visit).first).to_be_visible(timeout=PATIENCE_MS)

    def log(self, entry: dict[str, Any], *, photo: Path) -> None:
        """Types one entry of the story into its form and saves it."""
        self.clock(datetime.fromisoformat(entry["observed_at"]))
        if entry["kind"] == "loop_fill":
            self._fill_loop(entry, photo)
            return
        self.open(f"log/{entry['kind']}" + (f"/{entry['subject']}" if entry["subject"] else ""))
        expect(self.page.get_by_role("button", name="Save", exact=True)).to_be_visible(timeout=PATIENCE_MS)
        self._instrument(entry)
        for name, value in entry["payload"].items():
            self._answer(entry, KINDS[entry["kind"]].field_of(name), value, photo)
        for name, words in entry["text"].items():
            self._write(name, words)
        self.clock(datetime.fromisoformat(entry["observed_at"]))
        self.save()

    def save(self) -> None:
        """Saves, and answers yes where the phone asks once more."""
        self.page.get_by_role("button", name="Save", exact=True).click()
        asks, saved = self.page.get_by_role("dialog"), self.page.get_by_text("Saved on this phone").first
        expect(asks.or_(saved).first).to_be_visible(timeout=PATIENCE_MS)
        if asks.count():
            asks.get_by_role("button", name=re.compile("^Yes")).click()
        expect(saved).to_be_visible(timeout=PATIENCE_MS)

    def _instrument(self, entry: dict[str, Any]) -> None:
        if KINDS[entry["kind"]].instrument == "gauge":
            self.page.get_by_role("group", name="Read with").get_by_role("button", name="Digital gauge").click()

    def _answer(self, entry: dict[str, Any], field: Field | None, value: dict[str, Any], photo: Path) -> None:
        assert field is not None, entry
        block = self.page.locator(f"#field-{field.name}")
        given = value["value"]
        if field.answer is Answer.NUMBER:
            self.number(field.name, value["text"])
        elif field.answer is Answer.YES:
            block.get_by_role("button", name="Yes" if given else "No", exact=True).click()
        elif field.answer is Answer.CHOICE:
            label = dict(field.choices).get(given, "Main header" if given == "H" else given)
            words = self.page.locator("b", has_text=re.compile(f"^{re.escape(label)}$"))
            block.locator(".toggle").filter(has=words).click()
        elif field.answer is Answer.PERSON:
            block.get_by_role("button", name="Tomas Reed").click()
        elif field.answer is Answer.MANY:
            self._many(block, given, {label: code for code, label in field.choices} | {"Main header": "H"})
        elif field.answer is Answer.TIME:
            self.clock(datetime.fromisoformat(given))
            block.get_by_role("button", name="Now", exact=True).click()
        elif field.answer is Answer.PHOTO:
            block.locator("input[type=file]").last.set_input_files(photo)
            expect(block).to_contain_text("One photo", timeout=PATIENCE_MS)
        else:
            block.locator(".line").fill(given)

    def _many(self, block: Any, given: list[str], codes: dict[str, str]) -> None:
        """`codes`: of labels that are no codes themselves."""
        every = block.get_by_role("button", name="All of them")
        if every.count():
            every.click()
        for toggle in block.locator(".toggle").all():
            label = toggle.locator("b").inner_text()
            if (toggle.get_attribute("aria-pressed") == "true") != (codes.get(label, label) in given):
                toggle.click()

    def _write(self, name: str, words: Any) -> None:
        block = self.page.locator(f"#field-{name}")
        if isinstance(words, str):
            block.locator(".line").fill(words)
            return
        block.locator("canvas").evaluate("canvas => canvas.scrollIntoView({ block: 'center' })")
        box = block.locator("canvas").bounding_box()
        assert box
        for stroke in words:
            x, y = stroke[0]
            self.page.mouse.move(box["x"] + x, box["y"] + y)
            self.page.mouse.down()
            for x, y in stroke[1:]:
                self.page.mouse.move(box["x"] + x, box["y"] + y, steps=4)
            self.page.mouse.up()

    def _fill_loop(self, entry: dict[str, Any], photo: Path) -> None:
        """The screen with the running clock: start, first colour, full colour, then the rest of the form."""
        payload = entry["payload"]
        moments = {
            name: datetime.fromisoformat(payload[name]["value"]) for name in ("started", "first_colour", "full_colour")
        }
        self.clock(moments["started"])
        self.begin_fill(entry["subject"])
        self.page.get_by_role("button", name="Yes", exact=True).click()
        self.page.locator(".reading").first.click()
        self.keyed(payload["flow"]["text"])
        self.page.get_by_role("button", name="Start: fluid goes in now").click()
        self.clock(moments["first_colour"])
        self.page.get_by_role("button", name="First colour", exact=True).click()
        self.clock(moments["full_colour"])
        self.page.get_by_role("button", name="Full colour", exact=True).click()
        self.page.get_by_role("button", name="Go on: waste and reading").click()
        self.keyed(payload["waste"]["text"])
        self.save()

    def begin_fill(self, loop: str) -> None:
        self.open(f"fill/{loop}")

    def keyed(self, text: str, *, key: str = "Keep") -> None:
        """A figure into the pad that is open."""
        self.page.locator(".pad__line").fill(text)
        self.page.get_by_role("button", name=key, exact=True).click()


def phone_of(chromium: Browser, server: Server) -> CrewPhone:
    """The crew's phone; `crew` of the phone is set when a visit is opened."""
    return CrewPhone(chromium.new_context(**PHONE), server.base_url, None)  # type: ignore[arg-type]
