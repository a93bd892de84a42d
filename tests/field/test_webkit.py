"""The phone's core in a second engine: WebKitGTK, driven over WebDriver. Its store lives as long as the session."""

from __future__ import annotations

import os
import re
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.remote.webdriver import WebDriver
from selenium.webdriver.webkitgtk.options import Options
from selenium.webdriver.webkitgtk.service import Service

from tests.field.office import PASSWORD, Crew, entries_of, seed
from tests.running.server import Server

pytestmark = [pytest.mark.webkit, pytest.mark.long]
PATIENCE_S = 60


@pytest.fixture
def screen() -> Iterator[str]:
    """A display with nobody in front of it."""
    read, write = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(write), "-screen", "0", "500x900x24", "-nolisten", "tcp"], pass_fds=[write]
    )
    os.close(write)
    with os.fdopen(read) as told:
        number = told.readline().strip()
    yield f":{number}"
    server.terminate()
    server.wait(timeout=10)


@pytest.fixture
def webkit(screen: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[WebDriver]:
    monkeypatch.setenv("DISPLAY", screen)
    monkeypatch.setenv("WEBKIT_DISABLE_SANDBOX_THIS_IS_DANGEROUS", "1")  # it runs as root where CI does
    browser = next(Path("/usr/lib").glob("*/webkit2gtk-4.*/MiniBrowser"))
    options = Options()
    options.binary_location = str(browser)
    options.add_argument("--automation")
    log = tmp_path / "driver.log"
    driver = webdriver.WebKitGTK(options=options, service=Service("/usr/bin/WebKitWebDriver", log_output=str(log)))
    yield driver
    driver.quit()


class WebKitPhone:
    def __init__(self, driver: WebDriver, server: Server, crew: Crew) -> None:
        self.driver, self.server, self.crew = driver, server, crew

    def sign_in(self) -> None:
        self.open("")
        for cookie in self.server.browser(self.crew.email, PASSWORD).cookies:
            self.driver.add_cookie({"name": cookie.name, "value": cookie.value or "", "path": "/"})
        self.open("")

    def open(self, path: str) -> None:
        self.driver.get(f"{self.server.base_url}/field/{path}")

    def text(self) -> str:
        return self.driver.find_element(By.TAG_NAME, "body").text

    def see(self, words: str) -> None:
        self.until(lambda: re.search(words, self.text()), words)

    def until(self, done: Callable[[], Any], what: str) -> Any:
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            try:
                if found := done():
                    return found
            except Exception as error:  # noqa: BLE001 - the page is being drawn anew; the last word is the text below
                what = f"{what} ({type(error).__name__})"[:200]
            time.sleep(0.1)
        raise AssertionError(f"waited for {what}; the page says:\n{self.text()}")

    def press(self, words: str) -> None:
        """By script: a tap is what is tested in Chromium, the store is what is tested here."""
        self.until(lambda: self.driver.execute_script(PRESS, words), f"the key {words}")

    def log_papers(self, hole: str) -> None:
        self.open(f"visit/{self.crew.visit}/log/driller_papers/{hole}")
        self.see(rf"For\s+{hole}")  # not the list of what was logged, which names the papers too
        self.until(lambda: self.driver.execute_script(ALL_YES), "answers of yes")
        self.press("Save")
        self.see("Saved on this phone")


PRESS = """
const key = [...document.querySelectorAll("button")].find((each) => each.textContent.trim() === arguments[0]);
if (key) key.click();
return Boolean(key);
"""
ALL_YES = """
const all = () => [...document.querySelectorAll("section.field button.toggle")].filter((each) => each.textContent === "Yes" && each.getAttribute("aria-pressed") !== "true");
for (let left = all(); left.length; left = all()) left[0].click();
return document.querySelectorAll("section.field button.toggle[aria-pressed=true]").length;
"""


def test_saved_with_the_office_stopped_and_received_once(webkit: WebDriver, served: Server) -> None:
    crew = seed(served)[0]
    phone = WebKitPhone(webkit, served, crew)
    phone.sign_in()
    phone.see("Ready for no signal")
    served.stop()

    webkit.refresh()
    phone.see("Your visits")
    phone.log_papers("B1")
    phone.log_papers("B2")
    phone.see("2 on this phone")
    webkit.refresh()
    phone.see("2 on this phone")
    assert entries_of(served, crew) == []
    served.start()
    webkit.refresh()

    phone.see("All received")
    assert [(row[1], row[2], row[4]) for row in entries_of(served, crew)] == [
        ("driller_papers", "B1", 1),
        ("driller_papers", "B2", 2),
    ]
