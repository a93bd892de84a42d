"""A phone's day by dice: saved, killed, reloaded, signed in and out, brought up to date, on a network that fails.

What is watched: `shown` are the notes that the page has said to be *On this phone*; `Story.check` holds what the page says to
be received against the office's own rows.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field

from playwright.sync_api import Error, expect

from tests.field.fault_proxy import FaultProxy
from tests.field.office import PASSWORD, Crew, Phone, entries_of
from tests.field.profile import Kept
from tests.running.server import Server

FAULTS = (
    "refuse", "lose", "lose_posts", "half", "portal", "redirect", "forbidden", "too_large", "500", "502", "503", "429",
)  # fmt: skip
STEPS = 14
SAVED = "Saved on this phone"


@dataclass
class Story:
    """One seed. `log` is the day as it went, for whoever has to understand a failure."""

    seed: int
    office: Server
    proxy: FaultProxy
    kept: Kept
    crew: tuple[Crew, Crew]  # two people who share the phone; the first one owns it
    shown: dict[str, list[str]] = field(default_factory=dict)
    log: list[str] = field(default_factory=list)
    count: int = 0

    def __post_init__(self) -> None:
        self.dice = random.Random(self.seed)
        self.who = self.crew[0]
        self.cookies: dict[str, list[dict[str, str]]] = {}
        self.shown = {each.id: [] for each in self.crew}

    @property
    def phone(self) -> Phone:
        return self.kept.phone

    def live(self) -> None:
        """The whole day, then a good network, and everything is held against the office's rows."""
        self.sign_in()
        self.phone.ready()
        self.save()
        steps: dict[Callable[[], None], int] = {
            self.save: 6, self.fault: 5, self.reload: 2, self.save_and_kill: 1, self.kill: 1, self.sign_out: 1,
            self.sign_in: 2, self.change_person: 1, self.deploy: 1,
        }  # fmt: skip
        for step in self.dice.choices(list(steps), weights=list(steps.values()), k=STEPS):
            self.log.append(step.__name__)
            step()
            self.check()
        self.go_home()

    def save(self) -> None:
        words = self.words()
        if not self._typed(words):
            return
        try:
            self.phone.page.get_by_role("button", name="Save", exact=True).click(timeout=5_000)
        except Error:
            self.log.append("  form gone")
            return
        expect(self.phone.page.get_by_text(SAVED).first).to_be_visible()
        self.shown[self.who.id].append(words)

    def save_and_kill(self) -> None:
        """Between the tap and whatever it came to; only what stands after the next start was said to be here."""
        words = self.words()
        if not self._typed(words):
            return
        with suppress(Error):
            self.phone.page.get_by_role("button", name="Save", exact=True).click(no_wait_after=True)
            self.phone.page.wait_for_timeout(self.dice.choice([0, 5, 20, 60]))
        self.kill()
        if words in self._on_phone(self.who):
            self.shown[self.who.id].append(words)

    def words(self) -> str:
        self.count += 1
        return f"Seed {self.seed}, note {self.count}"

    def _typed(self, words: str) -> bool:
        """A form is open and filled; a phone without its work yet has none."""
        self.phone.page.goto(f"{self.kept.base_url}/field/visit/{self.who.visit}/log/note")
        self._may_have_changed()
        area = self.phone.page.locator("#field-note textarea")
        if not self._ready() or self._holder() != self.who.id:
            self.log.append("  no form")
            return False
        try:
            area.fill(words, timeout=5_000)
        except Error:  # the page has just learnt that somebody else holds the phone
            self.log.append("  form gone")
            return False
        return True

    def _ready(self) -> bool:
        place = self.phone.page.locator("#screen")
        expect(place.get_by_role("heading").first).to_be_visible(timeout=20_000)
        return self.phone.page.locator("#field-note textarea").count() == 1

    def _holder(self) -> str:
        """Who the page believes to be holding the phone: what is saved is saved under this name."""
        found = self.phone.page.evaluate("JSON.parse(localStorage.getItem('field.who') || 'null')?.id || ''")
        return str(found)

    def _may_have_changed(self) -> None:
        holder = self._holder()
        self.who = next((each for each in self.crew if each.id == holder), self.who)

    def fault(self) -> None:
        """The network from now on; half of the time a good one."""
        mode = self.dice.choice(FAULTS) if self.dice.random() < 0.7 else "pass"
        self.proxy.only = self.dice.choice(["/field/api/", "/field/api/entries", "/field/"])
        self.proxy.mode = mode
        self.log.append(f"  {mode} {self.proxy.only}")

    def reload(self) -> None:
        self.phone.page.goto(f"{self.kept.base_url}/field/")

    def kill(self) -> None:
        self.kept.kill()
        self.kept.again()
        self.phone.page.goto(f"{self.kept.base_url}/field/")

    def sign_out(self) -> None:
        """As by the office, or by time: the cookie is worth nothing any more."""
        self.phone.context.clear_cookies()

    def sign_in(self) -> None:
        self._sign_in_as(self.who)

    def change_person(self) -> None:
        """The other one signs in on this phone; without network the page cannot learn of it yet."""
        self._sign_in_as(self.crew[1] if self.who is self.crew[0] else self.crew[0])
        self.phone.page.goto(f"{self.kept.base_url}/field/")

    def _sign_in_as(self, who: Crew) -> None:
        if who.id not in self.cookies:
            jar = self.office.browser(who.email, PASSWORD).cookies
            url = self.kept.base_url
            self.cookies[who.id] = [{"name": each.name, "value": each.value or "", "url": url} for each in jar]
        self.phone.context.clear_cookies()
        self.phone.context.add_cookies(self.cookies[who.id])  # type: ignore[arg-type]  # plain dicts are enough

    def deploy(self) -> None:
        self.proxy.build = f"{self.dice.getrandbits(48):012x}"
        self.phone.page.goto(f"{self.kept.base_url}/field/")
        update = self.phone.page.get_by_role("button", name="Update")
        with suppress(Error, AssertionError):  # it is offered where the network lets it through
            expect(update).to_be_visible(timeout=700)
            update.click()
            expect(self.phone.page.locator(f"meta[content='{self.proxy.build}']")).to_have_count(1)

    def _on_phone(self, who: Crew) -> list[str]:
        return [entry["wire"]["text"]["note"] for entry in self.phone.stored() if entry["author"] == who.id]

    def check(self) -> None:
        """What the phone calls received is at the office, now."""
        here = {entry["id"] for entry in self.phone.stored() if entry["state"] in {"received", "held"}}
        there = {str(row[0]) for each in self.crew for row in entries_of(self.office, each)}
        assert {each.replace("-", "") for each in here} <= there, "shown as received and not there"

    def go_home(self) -> None:
        """Network up, each of the two signs in once more."""
        self.proxy.mode, self.proxy.only = "pass", "/field/api/"
        for each in self.crew:
            self._sign_in_as(each)
            self.phone.page.goto(f"{self.kept.base_url}/field/phone")
            expect(self.phone.page.get_by_text("Signed in until")).to_be_visible(timeout=30_000)
            self.phone.bar("All received|Nothing waits", within=60_000)
        self.check()
