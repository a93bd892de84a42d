"""A phone that is worked by taps alone: figures on its own pad, loops and readings from its own keys, every tap counted."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, expect

from tests.field.office import PHONE, Crew
from tests.journeys.people_at_work import PATIENCE_MS, CrewPhone
from tests.running.server import Server

# Every click a person made, but for figures: those are as many as the number has. A label's click reaches its input as a second one.
COUNT = """
addEventListener("click", (event) => {
  if (!event.isTrusted || event.target.closest(".pad__keys, input[type=file]")) return;
  sessionStorage.setItem("taps", Number(sessionStorage.getItem("taps")) + 1);
}, true);
"""
PHASES = {"hold": "Held by pumping", "isolated": "Shut off, main reading"}


class TappedPhone(CrewPhone):
    """`spent`: for each entry what was tapped, by kind."""

    def __init__(self, chromium: Browser, server: Server, crew: Crew, **changes: Any) -> None:
        context = chromium.new_context(**{**PHONE, **changes})
        context.add_init_script(COUNT)
        super().__init__(context, server.base_url, crew)
        self.spent: dict[str, list[int]] = {}

    def taps(self) -> int:
        return int(self.page.evaluate("Number(sessionStorage.getItem('taps'))"))

    def log(self, entry: dict[str, Any], *, photo: Path) -> None:
        kind = entry["kind"]
        if kind == "loop_fill":
            self._at_the_steps()
        elif kind == "pressure_reading":
            self._at_the_test(entry)
        before = self.taps()
        if kind == "pressure_reading":
            self._read_pressure(entry)
        else:
            super().log(entry, photo=photo)
        self.spent.setdefault(kind, []).append(self.taps() - before)

    def _at_the_steps(self) -> None:
        if not self.page.url.endswith(self.crew.visit):
            self.open()
        expect(self.page.get_by_role("heading", name="Steps", exact=True)).to_be_visible(timeout=PATIENCE_MS)

    def begin_fill(self, loop: str) -> None:
        self.page.get_by_role("button", name=f"Fill loop by loop {loop}, to do").click()

    def _at_the_test(self, entry: dict[str, Any]) -> None:
        """The running test is open, and says what kind of reading comes next: one tap when that changes."""
        self.clock(datetime.fromisoformat(entry["observed_at"]))
        address = f"test/{entry['subject']}"
        if not self.page.url.endswith(address):
            self.open(address)
        words = PHASES[entry["payload"]["phase"]["value"]]
        phase = self.page.get_by_role("group", name="Phase").get_by_role("button", name=words)
        if phase.get_attribute("aria-pressed") != "true":
            phase.click()

    def _read_pressure(self, entry: dict[str, Any]) -> None:
        text = entry["payload"]["pressure"]["text"]
        self.page.get_by_role("button", name="Log a reading").click()
        self.keyed(text, key="Save")
        newest = self.page.locator("section", has=self.page.get_by_role("heading", name="Readings")).get_by_role(
            "listitem"
        )
        expect(newest.first).to_contain_text(f"{text} bar", timeout=PATIENCE_MS)

    def number(self, field: str, text: str) -> None:
        self.page.locator(f"#field-{field} .reading").click()
        self.keyed(text)

    def keyed(self, text: str, *, key: str = "Keep") -> None:
        pad = self.page.get_by_role("dialog")
        for mark in text.removeprefix("-"):
            pad.get_by_role("button", name=mark, exact=True).click()
        if text.startswith("-"):
            pad.get_by_role("button", name="plus or minus").click()
        expect(self.page.locator(".pad__line")).to_have_value(text)
        pad.get_by_role("button", name=key, exact=True).click()
