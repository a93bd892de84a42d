"""Fault cases 22, 25, 50 and 51: who sends, and which age the phone and the office are of."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import expect

from tests.field.fault_proxy import FaultProxy
from tests.field.faults.notes import a_note, write_notes
from tests.field.office import OPEN, Crew, Phone, entries_of, texts_of
from tests.running.server import Server

pytestmark = [pytest.mark.browser, pytest.mark.redis, pytest.mark.long]

SWITCH = """
from jobs.firms.models import Member
from jobs.firms.scope import scope
member = Member.objects.get(pk="{member}")
member.is_active = {active}
member.save()
"""


def switched(office: Server, crew: Crew, *, active: bool) -> None:
    office.python(SWITCH.format(member=crew.id, active=active))


def test_somebody_who_was_switched_off_meanwhile(phone: Phone, proxy: FaultProxy, office: Server, crews: Any) -> None:
    """Case 22: he is asked to sign in, his entries stay; the next person sends them and the office has to look."""
    other = next(crews)
    proxy.mode = "refuse"
    phone.log_note("Before I left")
    switched(office, phone.crew, active=False)
    proxy.mode = "pass"
    phone.page.reload()
    phone.bar("1 on this phone – sign in")

    phone.context.clear_cookies()
    phone.sign_in(office, other.email)
    phone.page.goto(f"{phone.base_url}/field/phone")
    phone.page.get_by_role("button", name="Send for the other person").click()
    expect(phone.page.get_by_text("of another person")).to_have_count(0)

    assert [row[3] for row in entries_of(office, phone.crew) if row[1] == "note"] == ["rights"]


def test_sent_for_two_people_who_left(phone: Phone, office: Server, crews: Any) -> None:
    """Case 25: one tap sends what both have left behind, each under his own name."""
    first, second = next(crews), next(crews)
    for each in (first, second):
        write_notes(phone, [a_note(f"Of {each.email}", job=each.job, visit=each.visit)], author=each.id)
    phone.page.goto(f"{phone.base_url}/field/phone")
    expect(phone.page.get_by_text("2 readings of another person wait here.")).to_be_visible()

    phone.page.get_by_role("button", name="Send for the other person").click()

    expect(phone.page.get_by_text("of another person")).to_have_count(0, timeout=20_000)
    assert [texts_of(office, each) for each in (first, second)] == [[f"Of {first.email}"], [f"Of {second.email}"]]


def test_a_phone_that_is_older_than_the_office(phone: Phone, proxy: FaultProxy, office: Server) -> None:
    """Case 50: the office has forgotten this way of writing: what is logged goes in as it is, and the phone says so."""
    proxy.mode = "newer_schemas"
    phone.log_note("From an old app")

    phone.page.goto(f"{phone.base_url}/field/")
    expect(phone.page.get_by_text("This app is older than the office's system.")).to_be_visible(timeout=15_000)
    assert [entry["state"] for entry in phone.stored()] == ["held"]
    kept = office.rows("SELECT body FROM visits_helditem WHERE body LIKE '%From an old app%'")
    assert len(kept) == 1
    assert texts_of(office, phone.crew) == []


def test_a_phone_that_is_newer_than_the_office(phone: Phone, proxy: FaultProxy, office: Server) -> None:
    """Case 51: the office went back to an older version. Its page opens the newer store, and what was written is held."""
    phone.page.goto("about:blank")
    phone.page.goto(f"{phone.base_url}/field/manifest.webmanifest")
    phone.page.evaluate(NEWER_STORE)
    phone.page.goto(f"{phone.base_url}/field/")
    expect(phone.page.get_by_role("heading", name="Your visits")).to_be_visible()
    write_notes(phone, [a_note("In a newer way", schema=2, confidence="high")])

    phone.page.reload()
    phone.bar("All received")
    phone.log_note("In the old way")
    phone.bar("All received")

    assert [row[3] for row in entries_of(office, phone.crew) if row[1] == "note"] == ["schema", ""]
    extra = office.rows("SELECT extra FROM visits_entry WHERE held = 'schema' AND person_id = ?", _hex(phone.crew.id))
    assert extra == [('{"confidence": "high"}',)]


def _hex(pk: str) -> str:
    return pk.replace("-", "")


# As a newer version leaves it: one store more, those before as they were.
NEWER_STORE = (
    f"async () => {{{OPEN}"
    """
  const newer = db.version + 1;
  db.close();
  await new Promise((done, failed) => {
    const request = indexedDB.open(name, newer);
    request.onupgradeneeded = () => request.result.createObjectStore("sketches");
    request.onsuccess = () => done(request.result.close());
    request.onblocked = request.onerror = () => failed(new Error("blocked"));
  });
}
"""
)
