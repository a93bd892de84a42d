"""What the phone lends: a screen that stays on, alarms for the readings due, a file of what waits."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.field.fault_proxy import FaultProxy
from tests.field.office import Phone

pytestmark = [pytest.mark.browser, pytest.mark.long]

# 2026-03-09 12:00:00 and 12:10:00 UTC; a comma, a semicolon and letters of two octets must come through.
EVENTS = [
    {"at": 1773057600000, "id": "a", "words": "Test T1, job 7: log a reading; " + "é" * 60},
    {"at": 1773058200000, "id": "a", "words": "Next"},
]


@pytest.fixture
def offline(phone: Phone, proxy: FaultProxy) -> Phone:
    proxy.only, proxy.mode = "/", "refuse"
    return phone


def start_test(phone: Phone) -> None:
    phone.open("log/pressure_test")
    phone.page.get_by_role("button", name="All of them").click()
    for name in ("Short tightness check", "Free in the trench"):
        phone.page.get_by_role("button", name=name).click()
    for field, text in {"test_pressure": "6", "height": "1", "lowest_rating": "10", "pipe_temperature": "9"}.items():
        phone.number(field, text)
    phone.yes("vented", "shut_off", "safe")
    phone.page.get_by_role("button", name="Save", exact=True).click()
    expect(phone.page.get_by_role("heading", name="Pressure test")).to_be_visible()


def unfolded(text: str) -> list[str]:
    """Content lines as RFC 5545, section 3.1, puts them together again."""
    assert text.endswith("\r\n")
    return text.replace("\r\n ", "").split("\r\n")[:-1]


def made(phone: Phone, events: list[dict[str, Any]]) -> str:
    address = phone.page.evaluate(
        "performance.getEntriesByType('resource').map((each) => each.name).find((name) => name.includes('/aids.'))"
    )
    found: str = phone.page.evaluate(
        "async ([address, events]) => (await import(address)).calendar(events, 1773054000000)", [address, events]
    )
    return found


def test_the_calendar_is_as_rfc_5545_asks(offline: Phone) -> None:
    """RFC 5545: 3.1 lines of 75 octets, 3.3.11 escaped text, 3.6.1 and 3.6.6 what an event and an alarm must have."""
    offline.open()
    expect(offline.page.get_by_role("heading", name="Steps")).to_be_visible()
    text = made(offline, EVENTS)
    lines = unfolded(text)

    assert all(len(line.encode()) <= 75 for line in text.split("\r\n"))
    assert lines[:2] == ["BEGIN:VCALENDAR", "VERSION:2.0"]
    assert [line for line in lines if line.startswith("DTSTART")] == [
        "DTSTART:20260309T120000Z",
        "DTSTART:20260309T121000Z",
    ]
    assert f"SUMMARY:Test T1\\, job 7: log a reading\\; {'é' * 60}" in lines
    assert len({line for line in lines if line.startswith("UID:")}) == 2
    for needed in ("DTSTAMP:20260309T110000Z", "ACTION:DISPLAY", "TRIGGER:PT0S", "END:VALARM", "END:VEVENT"):
        assert lines.count(needed) == 2, needed


def test_alarms_of_a_running_test_are_handed_over_as_a_file(offline: Phone, tmp_path: Path) -> None:
    start_test(offline)
    with offline.page.expect_download() as download:
        offline.page.get_by_role("button", name="Alarms for the next readings").click()
    path = tmp_path / "a.ics"
    download.value.save_as(path)

    text = path.read_bytes().decode()
    assert download.value.suggested_filename == "readings-T1.ics"
    assert re.search(r"SUMMARY:Pressure test T1\\, job \d+: log a reading", text)
    assert text.count("BEGIN:VALARM") >= 1


WAKE = """
window.asked = [];
const lock = () => ({ release: async () => window.asked.push("released") });
const wakeLock = { request: async (what) => { window.asked.push(what); return lock(); } };
Object.defineProperty(navigator, "wakeLock", { value: wakeLock, configurable: true });
"""


def asked(page: Page) -> list[str]:
    found: list[str] = page.evaluate("window.asked")
    return found


def test_the_screen_is_kept_on_by_a_switch_and_let_go_with_the_page(offline: Phone) -> None:
    offline.context.add_init_script(WAKE)
    start_test(offline)
    switch = offline.page.get_by_role("button", name="Keep the screen on during this test")
    assert asked(offline.page) == []
    switch.click()
    expect(switch).to_have_attribute("aria-pressed", "true")
    assert asked(offline.page) == ["screen"]
    offline.page.get_by_role("button", name="Log a reading").click()
    offline.page.locator(".pad__line").fill("6")
    offline.page.locator(".over").get_by_role("button", name="Save", exact=True).click()
    expect(offline.page.get_by_role("heading", name="Readings")).to_be_visible()
    expect(switch).to_have_attribute("aria-pressed", "true")
    offline.page.get_by_role("button", name="‹ Back").click()
    expect(offline.page.get_by_role("heading", name="Steps")).to_be_visible()

    assert asked(offline.page) == ["screen", "released"]


def test_what_waits_can_be_handed_on_as_a_file(offline: Phone, tmp_path: Path) -> None:
    offline.log_note("Stuck here")
    offline.page.goto(f"{offline.base_url}/field/phone")
    with offline.page.expect_download() as download:
        offline.page.get_by_role("button", name="Share as a file").click()
    path = tmp_path / "waiting.json"
    download.value.save_as(path)

    found = json.loads(path.read_text(encoding="utf-8"))
    assert [entry["text"] for entry in found["entries"]] == [{"note": "Stuck here"}]
    assert found["entries"][0] == offline.stored()[0]["wire"]
    assert (found["author"], found["waiting"]) == (offline.crew.id, 1)
