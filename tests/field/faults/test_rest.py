"""Fault cases 49, 56, 59, 61 and 64: a new version over a draft, midnight, a long queue, a full disk, odd numbers."""

from __future__ import annotations

import re
import resource
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta

import pytest
from playwright.sync_api import Browser, expect

from tests.field.fault_proxy import FaultProxy, fault_proxy
from tests.field.faults.notes import a_note, write_notes
from tests.field.office import OPEN, Phone, entries_of, phone_in, seed, texts_of
from tests.running.server import Server

pytestmark = [pytest.mark.browser, pytest.mark.redis, pytest.mark.long]
NEWER = "0123456789ab"


def test_a_new_version_does_not_disturb_a_draft(phone: Phone, proxy: FaultProxy) -> None:
    """Case 49: nothing is offered while something is half typed; the old page is whole; after saving it is one tap."""
    phone.open("log/trench_section/S1")
    phone.number("depth", "950")
    expect(phone.page.get_by_text("Not finished. Kept on this phone")).to_be_visible()
    proxy.build = NEWER
    phone.page.evaluate("async () => { await (await navigator.serviceWorker.getRegistration()).update(); }")

    phone.page.goto(f"{phone.base_url}/field/")
    expect(phone.page.get_by_role("button", name="Trench section S1")).to_be_visible()
    waiting = "async () => Boolean((await navigator.serviceWorker.getRegistration()).waiting)"
    expect(phone.page.get_by_text("Ready for no signal").first).to_be_visible()
    assert phone.page.evaluate(waiting)
    expect(phone.page.get_by_text("A new version is ready.")).to_have_count(0)

    phone.page.get_by_role("button", name="Trench section S1").click()
    expect(phone.page.get_by_role("button", name="Depth: 950 mm")).to_be_visible()
    phone.page.evaluate(DROP_DRAFTS)
    phone.page.goto(f"{phone.base_url}/field/")
    phone.page.get_by_role("button", name="Update").click()
    expect(phone.page.locator(f"meta[name=groundloop-shell][content='{NEWER}']")).to_have_count(1)


# As if it had been saved.
DROP_DRAFTS = (
    f"async () => {{{OPEN}"
    """
  const tx = db.transaction("drafts", "readwrite");
  const finished = new Promise((done) => { tx.oncomplete = done; });
  tx.objectStore("drafts").clear();
  await finished;
  db.close();
}
"""
)


def test_a_pressure_test_over_midnight(phone: Phone, proxy: FaultProxy) -> None:
    """Case 56: started at 23:50, looked at again at 00:20: 30 minutes, by the difference of two instants."""
    tonight = datetime.now().replace(hour=23, minute=50, second=0, microsecond=0)
    phone.page.clock.install(time=tonight)
    phone.open("log/pressure_test")
    phone.page.get_by_role("button", name="All of them").click()
    for name in ("Short tightness check", "Free in the trench"):
        phone.page.get_by_role("button", name=name).click()
    numbers = {"test_pressure": "6.0", "height": "1.5", "lowest_rating": "10", "pipe_temperature": "9.5"}
    for field, text in numbers.items():
        phone.number(field, text)
    phone.yes("vented", "shut_off", "safe")
    phone.page.get_by_role("button", name="Save", exact=True).click()
    expect(phone.page.locator(".clock__time")).to_have_text(re.compile(r"^0:\d\d$"))

    phone.page.clock.fast_forward("30:00")

    expect(phone.page.locator(".clock__time")).to_have_text(re.compile(r"^3[0-2]:\d\d$"))
    assert phone.page.evaluate("new Date().getDate()") == (tonight + timedelta(days=1)).day


def test_five_hundred_waiting_entries(phone: Phone, proxy: FaultProxy, office: Server) -> None:
    """Case 59: the list stays a list, and they go in 25 letters. What it may cost stands in tests/bench."""
    proxy.mode = "refuse"
    write_notes(phone, [a_note(f"Note {number}") for number in range(500)])
    phone.page.goto(f"{phone.base_url}/field/phone")
    phone.bar("500 on this phone")
    expect(phone.page.get_by_text("and 440 more")).to_be_visible()
    proxy.mode = "pass"
    proxy.log.clear()

    phone.page.get_by_role("button", name="Send now").click()

    phone.bar("All received", within=180_000)
    assert proxy.posts() == 25
    assert texts_of(office, phone.crew) == [f"Note {number}" for number in range(500)]


@contextmanager
def full_disk(server: Server) -> Iterator[None]:
    """No file of the office may grow any more, as on a full disk; the limit is the system's own, set from outside."""
    limits = {pid: resource.prlimit(pid, resource.RLIMIT_FSIZE) for pid in server.process.pids()}
    assert len(limits) > 1, "the web processes have not started yet"
    for pid, (_, most) in limits.items():
        resource.prlimit(pid, resource.RLIMIT_FSIZE, (0, most))
    try:
        yield
    finally:
        for pid, was in limits.items():
            resource.prlimit(pid, resource.RLIMIT_FSIZE, was)


def test_the_offices_disk_is_full(chromium: Browser, served: Server) -> None:
    """Case 61: 5xx and no receipt; the phone keeps it and sends again when there is room."""
    crew = seed(served)[0]
    with fault_proxy(served.port) as proxy:
        phone = phone_in(chromium, served, proxy.address, crew)
        phone.ready()
        before = len(entries_of(served, crew))
        proxy.log.clear()
        with full_disk(served):
            phone.log_note("While the disk was full")
            phone.bar("1 on this phone – office system busy")
            assert phone.stored()[0]["state"] == "waiting"
            assert len(entries_of(served, crew)) == before

        phone.page.goto(f"{phone.base_url}/field/phone")
        phone.page.get_by_role("button", name="Send now").click()
        phone.bar("All received", within=40_000)
        phone.context.close()

    assert texts_of(served, crew) == ["While the disk was full"]


TYPED = [
    ("1,5", 1.5, "1,5"),
    ("-2", -2, "-2"),
    ("1e3", None, ""),
    ("", None, ""),
    ("4.2 bar", None, ""),
    ("12", 12, "12"),
]


@pytest.mark.parametrize(("typed", "value", "text"), TYPED, ids=[row[0] or "empty" for row in TYPED])
def test_odd_numbers(typed: str, value: float | None, text: str, phone: Phone) -> None:
    """Case 64: a comma and a minus are read; what is no number gets one sentence and stays to be put right."""
    phone.open("log/trench_section/S1")
    phone.page.locator("#field-depth .reading").click()
    phone.page.locator(".pad__line").fill(typed)
    phone.page.get_by_role("button", name="Keep", exact=True).click()

    if value is None:
        expect(phone.page.get_by_role("alert").filter(has_text="Enter depth in mm, like 4.2.")).to_be_visible()
        expect(phone.page.locator(".pad__line")).to_have_value(typed)
        return
    phone.page.get_by_role("button", name="Yes, that is what it says").click()
    expect(phone.page.get_by_role("button", name=f"Depth: {text} mm")).to_be_visible()
    expect(phone.page.get_by_text("Not finished. Kept on this phone")).to_be_visible()
    assert phone.drafts()[0]["payload"]["depth"] == {"text": text, "value": value, "unit": "mm"}
