"""Fault cases 27, 36, 39, 41, 55 and 62: two windows, clocks, and what a browser does to its store."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.field.fault_proxy import FaultProxy
from tests.field.office import OPEN, Phone, entries_of, texts_of
from tests.running.server import Server

pytestmark = [pytest.mark.browser, pytest.mark.redis, pytest.mark.long]

UPGRADE = (
    f"async () => {{{OPEN}"
    """
  const newer = db.version + 1;
  db.close();
  return new Promise((told) => {
    const request = indexedDB.open(name, newer);
    request.onupgradeneeded = () => request.result.createObjectStore("sketches");
    request.onblocked = () => told("blocked");
    request.onerror = () => told("refused");
    request.onsuccess = () => { request.result.close(); told("upgraded"); };
  });
}
"""
)


def test_two_windows_and_a_newer_store(phone: Phone, proxy: FaultProxy, office: Server) -> None:
    """Case 27: the old window lets the newer version in at once, and goes on saving with a form half typed."""
    proxy.mode = "refuse"
    phone.open("log/note")
    phone.page.locator("#field-note textarea").fill("Half typed while the other window upgraded")
    expect(phone.page.get_by_text("Not finished. Kept on this phone")).to_be_visible()
    second = phone.context.new_page()
    second.goto(f"{phone.base_url}/field/manifest.webmanifest")

    assert second.evaluate(UPGRADE) == "upgraded"
    phone.save()

    proxy.mode = "pass"
    phone.page.reload()
    phone.bar("All received")
    assert texts_of(office, phone.crew) == ["Half typed while the other window upgraded"]


def test_a_clock_two_years_off(phone: Phone, office: Server) -> None:
    """Case 36: both times are kept, the order of the work goes by the corrected one, and the sheet's checks ask."""
    years_back = datetime.now(UTC) - timedelta(days=730)
    phone.page.clock.install(time=years_back)
    phone.log_note("From the past")
    phone.bar("All received")

    said = office.rows(
        "SELECT entry.recorded_at, entry.received_at, found.code, found.value FROM visits_entry entry"
        " JOIN visits_receiptfinding found ON found.entry_id = entry.id"
        " WHERE entry.kind = 'note' AND entry.person_id = ? AND found.code = 'clock'",
        phone.crew.id.replace("-", ""),
    )
    [(recorded, received, _, off)] = said
    assert recorded[:4] == f"{years_back:%Y}"
    assert received[:4] == f"{datetime.now(UTC):%Y}"
    assert off == pytest.approx(730 * 86400, abs=600)


def test_a_clock_that_is_put_back_in_the_middle(phone: Phone, proxy: FaultProxy, office: Server) -> None:
    """Case 36: order is the phone's own count, and the office is told that the clock went back."""
    proxy.mode = "refuse"
    phone.page.clock.install()
    phone.log_note("Before")
    phone.page.clock.set_system_time(datetime.now(UTC) - timedelta(hours=1))
    phone.log_note("After")
    phone.page.clock.set_system_time(datetime.now(UTC))
    proxy.mode = "pass"
    phone.page.reload()
    phone.bar("All received")

    assert texts_of(office, phone.crew) == ["Before", "After"]
    [(back,)] = office.rows(
        "SELECT found.value FROM visits_receiptfinding found JOIN visits_entry entry ON found.entry_id = entry.id"
        " WHERE found.code = 'put_back' AND entry.person_id = ?",
        phone.crew.id.replace("-", ""),
    )
    assert back == pytest.approx(3600, abs=300)


def test_summer_time_ends_between_two_entries(phone: Phone, proxy: FaultProxy, office: Server) -> None:
    """Case 36: 25 October 2026, 01:59 BST and a minute later 01:00 GMT. Times travel as instants; order and span hold."""
    proxy.mode = "refuse"
    phone.page.clock.install(time=datetime(2026, 10, 25, 0, 58, tzinfo=UTC))
    phone.log_note("Summer")
    phone.page.clock.fast_forward("05:00")
    phone.log_note("Winter")

    first, second = (datetime.fromisoformat(entry["wire"]["recorded_at"]) for entry in phone.stored())
    assert timedelta(minutes=5) <= second - first < timedelta(minutes=8)
    proxy.mode = "pass"
    phone.page.reload()
    phone.bar("All received")
    assert texts_of(office, phone.crew) == ["Summer", "Winter"]


def test_over_quota_after_the_request_has_succeeded(blank: Page) -> None:
    """Case 39: saved is said on the transaction's end; a store that trusted the request would say it here."""
    session = blank.context.new_cdp_session(blank)
    origin = blank.url
    session.send("Storage.overrideQuotaForOrigin", {"origin": origin, "quotaSize": 1_500_000})
    assert session.send("Storage.getUsageAndQuota", {"origin": origin})["overrideActive"]

    told = blank.evaluate(OVER)

    assert told["events"][:2] == ["request success", "abort QuotaExceededError"], "this browser does it the other way"
    assert told["said"] == "not saved: full"


OVER = """
async () => {
  const noise = () => { const b = new Uint8Array(5000000); for (let at = 0; at < b.length; at += 65536) crypto.getRandomValues(b.subarray(at, at + 65536)); return b.buffer; };
  const store = await import("/field/store.js");
  await store.open("quota");
  const db = await new Promise((done) => { const r = indexedDB.open("field-quota"); r.onsuccess = () => done(r.result); });
  const events = [];
  await new Promise((done) => {
    const tx = db.transaction("photo_bytes", "readwrite", { durability: "strict" });
    tx.objectStore("photo_bytes").put(noise(), ["x", 0]).onsuccess = () => events.push("request success");
    tx.oncomplete = () => done(events.push("complete"));
    tx.onabort = () => done(events.push(`abort ${tx.error && tx.error.name}`));
  });
  db.close();
  const said = await store.write(["photo_bytes"], (stores) => stores.photo_bytes.put(noise(), ["y", 0])).then(() => "saved", (error) => `not saved: ${error.full ? "full" : error.message}`);
  return { events, said };
}
"""

# Keeps every handle that the page opens, so that a test can close them as a phone's system does behind its back.
KEEP_HANDLES = """
window.handles = [];
const open = IDBFactory.prototype.open;
IDBFactory.prototype.open = function (...given) {
  if (window.dead) throw new DOMException("Connection to Indexed Database server lost. Refresh the page to try again", "UnknownError");
  const request = open.apply(this, given);
  request.addEventListener("success", () => window.handles.push(request.result));
  return request;
};
"""


def test_a_lost_connection_is_opened_once_more_in_silence(phone: Phone, office: Server) -> None:
    """Case 41: the handle is dead after a sleep; the entry is saved by the first tap."""
    phone.page.add_init_script(KEEP_HANDLES)
    phone.open("log/note")
    phone.page.locator("#field-note textarea").fill("After a long sleep")
    expect(phone.page.get_by_text("Not finished. Kept on this phone")).to_be_visible()
    phone.page.evaluate("() => window.handles.forEach((db) => db.close())")

    phone.save()
    phone.bar("All received")

    assert texts_of(office, phone.crew) == ["After a long sleep"]


def test_a_connection_that_stays_lost_says_so_and_keeps_the_form(phone: Phone) -> None:
    """Case 41: nothing is said to be saved, what was typed stands, and after a reload it goes."""
    phone.page.add_init_script(KEEP_HANDLES)
    phone.open("log/note")
    phone.page.locator("#field-note textarea").fill("Typed before it died")
    expect(phone.page.get_by_text("Not finished. Kept on this phone")).to_be_visible()
    phone.page.evaluate("() => { window.dead = true; window.handles.forEach((db) => db.close()); }")

    phone.page.get_by_role("button", name="Save", exact=True).click()

    expect(phone.page.get_by_role("alert").first).to_contain_text("NOT SAVED – write it down. Then reload this page")
    expect(phone.page.locator("#field-note textarea")).to_have_value("Typed before it died")
    phone.page.evaluate("() => { window.dead = false; }")
    phone.page.reload()
    expect(phone.page.locator("#field-note textarea")).to_have_value("Typed before it died")
    phone.save()


def test_the_browsers_own_offline_switch(phone: Phone, office: Server) -> None:
    """Case 55: page, worker and `onLine` go together; back online it sends by itself."""
    phone.context.set_offline(True)
    phone.log_note("In flight mode")
    phone.bar("1 on this phone – no signal")
    phone.page.reload()
    phone.bar("1 on this phone")

    phone.context.set_offline(False)

    phone.bar("All received")
    assert len(entries_of(office, phone.crew)) >= 1
    assert texts_of(office, phone.crew) == ["In flight mode"]


PRIVATE = {
    "no worker": "delete Navigator.prototype.serviceWorker;",
    "no store": "Object.defineProperty(window, 'indexedDB', { value: undefined });",
    "a store that refuses": (
        "IDBFactory.prototype.open = function () { throw new DOMException('not allowed here', 'InvalidStateError'); };"
    ),
}


@pytest.mark.parametrize("lacks", PRIVATE)
@pytest.mark.parametrize("known", [True, False], ids=["used before", "first visit"])
def test_a_browser_that_keeps_nothing_says_so_in_red(lacks: str, known: bool, chromium: Browser, phone: Phone) -> None:
    """Case 62: a private window as browsers make them: without worker, without store, or with one that refuses."""
    page = phone.context.new_page()
    if not known:
        page.goto(f"{phone.base_url}/field/manifest.webmanifest")
        page.evaluate("() => { localStorage.clear(); indexedDB.deleteDatabase('who'); }")
    page.add_init_script(PRIVATE[lacks])

    page.goto(f"{phone.base_url}/field/")

    expect(page.get_by_role("alert")).to_contain_text("Readings cannot be kept here")
    expect(page.get_by_role("alert")).to_contain_text(re.compile("private window|normal window", re.IGNORECASE))
    page.close()
