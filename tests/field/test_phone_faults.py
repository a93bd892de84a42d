"""The phone on a bad network: whatever happens to a request, every entry is on the office's side once, or still here."""

from __future__ import annotations

import json
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from tests.field.fault_proxy import FaultProxy
from tests.field.faults.notes import a_note, write_notes
from tests.field.office import PASSWORD, Crew, Phone, entries_of, phone_in
from tests.running.server import Server

pytestmark = [pytest.mark.browser, pytest.mark.long]


def notes(office: Server, crew: Crew) -> int:
    return sum(row[1] == "note" for row in entries_of(office, crew))


FAULTS = {
    "refuse": "no signal",
    "portal": "not to our server",
    "redirect": "not to our server",
    "forbidden": "not to our server",
    "half": "not to our server",
    "503": "busy",
    "502": "busy",
    "500": "busy",
    "429": "busy",
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_keeps_the_entry_and_says_why(fault: str, phone: Phone, proxy: FaultProxy, office: Server) -> None:
    proxy.mode = fault
    phone.log_note("Rain since nine")
    phone.bar(f"1 on this phone – .*{FAULTS[fault]}")
    assert [entry["state"] for entry in phone.stored()] == ["waiting"]
    assert notes(office, phone.crew) == 0

    proxy.mode = "pass"
    phone.page.locator("#bar a").click()
    phone.page.get_by_role("button", name="Send now").click()

    phone.bar("All received")
    assert notes(office, phone.crew) == 1


def test_the_phone_reports_which_numbers_wait_whoever_wrote_them(phone: Phone, proxy: FaultProxy) -> None:
    proxy.only, proxy.mode = "/field/api/entries", "503"
    phone.log_note("Mine")
    last = phone.stored()[-1]["seq"]
    write_notes(phone, [a_note("Of somebody else")], author=phone.crew.visit)

    with phone.page.expect_request("**/field/api/report") as told:
        phone.page.reload()

    report = told.value.post_data_json
    assert report
    assert (sorted(report["open"]), report["seq"], report["waiting"]) == ([last, last + 1], last + 1, 2)


def test_a_lost_answer_makes_no_second_entry(phone: Phone, proxy: FaultProxy, office: Server) -> None:
    proxy.mode = "lose_posts"
    phone.log_note("Sent, committed, never answered")
    phone.bar("1 on this phone – no signal")
    assert notes(office, phone.crew) == 1
    assert phone.stored()[0]["state"] == "waiting"

    proxy.mode = "pass"
    phone.page.reload()

    phone.bar("All received")
    assert notes(office, phone.crew) == 1
    assert phone.stored()[0]["state"] == "received"


def test_a_proxy_that_takes_small_bodies_only_gets_smaller_ones(
    phone: Phone, proxy: FaultProxy, office: Server
) -> None:
    proxy.mode = "refuse"
    for number in range(6):
        phone.log_note(f"Note {number} " + "with some length to it " * 12)
    proxy.mode = "too_large"

    phone.page.reload()

    phone.bar("All received", within=40_000)
    assert notes(office, phone.crew) == 6
    assert proxy.posts() > 2


def test_the_worker_is_not_replaced_by_a_portals_page(phone: Phone, proxy: FaultProxy) -> None:
    proxy.only, proxy.mode = "/", "portal"

    phone.page.reload()

    expect(phone.page.get_by_role("heading", name="Your visits")).to_be_visible()
    phone.bar("Nothing waits")


def test_signed_out_work_goes_on_and_is_sent_after_the_next_sign_in(
    phone: Phone, proxy: FaultProxy, office: Server
) -> None:
    phone.context.clear_cookies()
    phone.log_note("Written while signed out")
    phone.bar("sign in to send")
    assert notes(office, phone.crew) == 0

    phone.sign_in(office)  # a new sign-in has turned every older token
    phone.page.reload()

    phone.bar("All received")
    assert notes(office, phone.crew) == 1


def test_a_sign_in_through_the_page_comes_back_to_the_phone(chromium: Browser, office: Server, crew: Crew) -> None:
    phone = Phone(chromium.new_context(), office.base_url, crew)
    phone.page.goto(f"{office.base_url}/field/")
    phone.page.get_by_role("link", name="Sign in").click()
    phone.page.locator("input[name=login]").fill(crew.email)
    phone.page.locator("input[name=password]").fill(PASSWORD)

    phone.page.locator("form").filter(has=phone.page.locator("input[name=password]")).locator("[type=submit]").click()

    expect(phone.page.get_by_role("heading", name="Your visits")).to_be_visible()
    phone.context.close()


def test_another_persons_entries_are_counted_and_neither_shown_nor_sent(
    phone: Phone, proxy: FaultProxy, office: Server, crews: Any
) -> None:
    other = next(crews)
    proxy.mode = "refuse"
    phone.log_note("Of the first person")
    phone.context.clear_cookies()
    phone.sign_in(office, other.email)
    proxy.mode = "pass"
    proxy.log.clear()

    phone.page.goto(f"{phone.base_url}/field/phone")
    expect(phone.page.get_by_text("One reading of another person waits here.")).to_be_visible()
    phone.bar("Nothing waits|All received")
    assert phone.page.get_by_text("Of the first person").count() == 0
    assert proxy.posts() == 0

    phone.page.get_by_role("button", name="Send for the other person").click()
    expect(phone.page.get_by_text("of another person")).to_have_count(0)
    assert notes(office, phone.crew) == 1
    sender = office.rows(
        "SELECT sent_by_id FROM visits_entry WHERE kind = 'note' AND person_id = ?", phone.crew.id.replace("-", "")
    )
    assert sender == [(other.id.replace("-", ""),)]


def test_signing_out_with_unsent_entries_is_refused_and_deletes_nothing(phone: Phone, proxy: FaultProxy) -> None:
    proxy.mode = "refuse"
    phone.log_note("Not sent yet")

    phone.page.goto(f"{phone.base_url}/field/phone")
    phone.page.get_by_role("button", name="Sign out").click()

    expect(phone.page.locator("#refused")).to_contain_text("One reading is still on this phone. Send them first")
    assert len(phone.stored()) == 1


def test_signing_out_with_nothing_waiting_asks_for_the_next_sign_in(phone: Phone) -> None:
    phone.page.goto(f"{phone.base_url}/field/phone")
    expect(phone.page.get_by_text("Signed in until")).to_be_visible()

    phone.page.get_by_role("button", name="Sign out").click()

    expect(phone.page.get_by_role("link", name="Sign in")).to_be_visible()


def test_two_windows_send_once(phone: Phone, proxy: FaultProxy, office: Server) -> None:
    proxy.mode = "refuse"
    phone.log_note("From one of two windows")
    second = phone.context.new_page()
    second.goto(f"{phone.base_url}/field/phone")
    proxy.mode = "pass"
    proxy.log.clear()

    for page in (phone.page, second):
        page.evaluate("() => window.dispatchEvent(new Event('online'))")
    phone.bar("All received")

    assert proxy.posts() == 1
    assert notes(office, phone.crew) == 1


def test_a_double_tap_on_save_is_one_entry(phone: Phone, office: Server) -> None:
    phone.open("log/note")
    phone.page.locator("#field-note textarea").fill("Tapped twice")

    phone.page.get_by_role("button", name="Save", exact=True).dblclick()
    phone.bar("All received")

    assert notes(office, phone.crew) == 1


def test_one_bad_entry_among_twenty_lets_the_others_in(phone: Phone, proxy: FaultProxy, office: Server) -> None:
    phone.page.evaluate(POISONED, {"job": phone.crew.job, "visit": phone.crew.visit})
    proxy.log.clear()

    phone.page.reload()
    phone.bar("All received", within=40_000)

    states = [entry["state"] for entry in phone.stored()]
    assert (states.count("received"), states.count("held")) == (19, 1)
    assert notes(office, phone.crew) == 19
    assert proxy.posts() == 1
    phone.page.goto(f"{phone.base_url}/field/phone")
    expect(phone.page.get_by_text("Office will check")).to_be_visible()


# Twenty notes written straight into the phone's store, one of them with a payload that is none.
POISONED = """
async ({ job, visit }) => {
  const who = JSON.parse(localStorage.getItem("field.who"));
  const db = await new Promise((done) => { const r = indexedDB.open(`field-${who.firm}`); r.onsuccess = () => done(r.result); });
  const tx = db.transaction("entries", "readwrite");
  for (let seq = 1; seq <= 20; seq += 1) {
    const id = crypto.randomUUID();
    const at = new Date().toISOString();
    const wire = { id, job, visit, kind: "note", subject: "", payload: seq === 8 ? "scribble" : {}, text: { note: `Note ${seq}` },
      observed_at: at, recorded_at: at, tz: "Europe/London", seq, supersedes: null, reason: "", instrument: null, source: "typed", schema: 1 };
    tx.objectStore("entries").add({ id, author: who.id, job, kind: "note", state: "waiting", why: "", received_at: "", seq, wire });
  }
  await new Promise((done) => { tx.oncomplete = done; });
  db.close();
}
"""


def test_a_held_receipt_is_told_in_words(phone: Phone, office: Server) -> None:
    phone.open("log/backfill_release/S1")
    phone.number("watch_pressure", "2,0")
    phone.yes("positions_taken")
    phone.page.locator("#field-photo").get_by_role("button", name="Not known").click()
    phone.page.get_by_role("button", name="Was not seen").click()
    phone.page.get_by_role("button", name="Save", exact=True).click()
    phone.page.get_by_role("button", name="Yes, with my name").click()

    expect(
        phone.page.get_by_text("Received by office. Office will check: hold point H6 is not released")
    ).to_be_visible()
    assert [row[3] for row in entries_of(office, phone.crew) if row[1] == "backfill_release"] == ["hold_point:H6"]
    typed = office.rows(
        "SELECT payload FROM visits_entry WHERE kind = 'backfill_release' AND person_id = ?",
        phone.crew.id.replace("-", ""),
    )
    assert json.loads(typed[0][0])["watch_pressure"] == {"text": "2,0", "value": 2, "unit": "bar"}


def test_two_phones_of_one_person_each_keep_their_own_number(
    phone: Phone, chromium: Browser, office: Server, proxy: FaultProxy
) -> None:
    second = phone_in(chromium, office, proxy.address, phone.crew)
    second.ready()
    phone.log_note("From the first phone")
    second.log_note("From the second phone")
    for each in (phone, second):
        each.bar("All received")

    devices = office.rows(
        "SELECT DISTINCT device FROM visits_entry WHERE kind = 'note' AND person_id = ?", phone.crew.id.replace("-", "")
    )
    assert len(devices) == 2
    second.context.close()
