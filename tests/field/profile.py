"""A phone whose browser is killed and comes back: its profile lies on the disk."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from playwright.sync_api import BrowserContext, Error, Playwright, sync_playwright

from tests.field.office import ARGS, PHONE, Crew, Phone
from tests.running.server import Server


def kill_browser(profile: Path) -> None:
    """Every process of this profile, at once and without a last word."""
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit():
            continue
        try:
            command = (entry / "cmdline").read_bytes()
        except OSError:
            continue
        if str(profile).encode() in command and b"--user-data-dir" in command:
            with suppress(ProcessLookupError):  # gone together with its parent
                os.kill(int(entry.name), signal.SIGKILL)


def launched(playwright: Playwright, chromium_path: str, profile: Path) -> BrowserContext:
    context: BrowserContext = playwright.chromium.launch_persistent_context(
        str(profile), executable_path=chromium_path, args=ARGS, **PHONE
    )
    return context


class Kept:
    """One phone over several lives of its browser."""

    def __init__(self, playwright: Playwright, chromium_path: str, profile: Path, base_url: str, crew: Crew) -> None:
        self.playwright, self.chromium_path, self.profile = playwright, chromium_path, profile
        self.base_url, self.crew = base_url, crew
        self.phone = self._launch()

    def _launch(self) -> Phone:
        return Phone(launched(self.playwright, self.chromium_path, self.profile), self.base_url, self.crew)

    def kill(self) -> None:
        kill_browser(self.profile)
        with suppress(Error):
            self.phone.context.close()

    def again(self, server: Server | None = None) -> Phone:
        """A cold start after a kill; signed in anew when an office is given, for the kill may have cost the cookie."""
        self.phone = self._launch()
        if server:
            self.phone.sign_in(server)
        self.phone.page.goto(f"{self.base_url}/field/")
        return self.phone


@contextmanager
def kept_phone(chromium_path: str, profile: Path, base_url: str, crew: Crew) -> Iterator[Kept]:
    with sync_playwright() as playwright:
        kept = Kept(playwright, chromium_path, profile, base_url, crew)
        try:
            yield kept
        finally:
            kept.kill()
