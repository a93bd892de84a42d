"""What stands on every screen: how an entry came in, and the way to tell an incident."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.field.fault_proxy import FaultProxy
from tests.field.office import Phone

pytestmark = [pytest.mark.browser, pytest.mark.long]


@pytest.fixture
def offline(phone: Phone, proxy: FaultProxy) -> Phone:
    proxy.only, proxy.mode = "/", "refuse"
    return phone


def sources(phone: Phone) -> list[tuple[str, str]]:
    return [(entry["wire"]["kind"], entry["wire"]["source"]) for entry in phone.stored()]


def test_one_entry_is_marked_as_phoned_in_and_the_next_is_typed_again(offline: Phone) -> None:
    offline.open("log/note")
    expect(offline.page.get_by_role("heading", name="Typed on the spot")).to_be_visible()
    offline.page.get_by_role("button", name="It came in otherwise").click()
    offline.page.get_by_role("button", name="Phoned in").click()
    offline.page.locator("#field-note textarea").fill("Second bin is mixed")
    offline.save()
    offline.log_note("Third bin as well")

    assert sources(offline) == [("note", "phoned_in"), ("note", "typed")]
    offline.page.get_by_role("button", name="Note").first.wait_for()
    offline.open(f"entry/{offline.stored()[0]['id']}")
    expect(offline.page.locator(".lead")).to_contain_text("Phoned in")


def test_a_sitting_from_paper_marks_all_of_it_and_asks_when_each_was_written(offline: Phone) -> None:
    offline.open()
    offline.page.get_by_text("How entries come in").click()
    offline.page.get_by_role("button", name="Copied from paper").click()
    expect(offline.page.get_by_text("Marked from now on: copied from paper")).to_be_visible()

    offline.open("log/note")
    offline.page.locator("#field-note textarea").fill("From the sheet")
    offline.page.get_by_role("button", name="Save", exact=True).click()
    expect(offline.page.get_by_role("alert").first).to_contain_text("When it was written down")
    offline.page.locator("#field-seen_at").fill("2026-03-09T07:30")
    offline.save()

    offline.open()
    offline.page.get_by_role("button", name="Stop marking").click()
    expect(offline.page.get_by_text("Marked from now on")).to_have_count(0)
    offline.log_note("Seen by myself")
    first, second = (entry["wire"] for entry in offline.stored())
    written = offline.page.evaluate("new Date('2026-03-09T07:30').toISOString()")
    assert (first["source"], first["observed_at"]) == ("transcribed", written)
    assert first["recorded_at"] > first["observed_at"]
    assert second["source"] == "typed"


def test_a_sitting_is_over_the_next_day(offline: Phone) -> None:
    offline.page.evaluate(
        "localStorage.setItem('field.sitting', JSON.stringify({ day: '2020-01-01', source: 'transcribed',"
        " person: JSON.parse(localStorage.getItem('field.who')).id }))"
    )
    offline.log_note("Today")

    assert sources(offline) == [("note", "typed")]


@pytest.mark.parametrize("path", ["", "phone", "sums", "visit/{visit}", "visit/{visit}/log/trench_section/S1"])
def test_an_incident_takes_two_taps_from_any_screen(path: str, offline: Phone) -> None:
    offline.page.goto(f"{offline.base_url}/field/{path.format(visit=offline.crew.visit)}")
    offline.page.get_by_role("button", name="Incident", exact=True).click()
    offline.page.get_by_role("button", name="Near-miss").click()

    expect(offline.page.get_by_text("It is told. On this phone.")).to_be_visible()
    (entry,) = offline.stored()
    assert (entry["wire"]["kind"], entry["wire"]["payload"]) == ("incident", {"what": {"value": "near_miss"}})
    offline.page.get_by_role("button", name="Back to the work").click()
    expect(offline.page.get_by_role("button", name="Take back")).to_be_visible()


def test_an_incident_leaves_the_half_typed_form_alone_and_takes_words_later(offline: Phone) -> None:
    offline.open("log/trench_section/S1")
    offline.number("depth", "950")
    offline.page.get_by_role("button", name="Incident", exact=True).click()
    offline.page.get_by_role("button", name="A service was struck").click()
    offline.page.get_by_role("button", name="Back to the work").click()
    expect(offline.page.get_by_role("button", name="Depth: 950 mm")).to_be_visible()

    offline.page.get_by_role("button", name="Incident", exact=True).click()
    offline.page.get_by_role("button", name="Spill").click()
    offline.page.get_by_role("button", name="Add words or a photo").click()
    offline.page.locator("#field-words textarea").fill("Two litres beside the bin")
    offline.save()

    *_, told, added = offline.stored()
    assert (added["wire"]["supersedes"], added["wire"]["reason"]) == (told["id"], "added")
    assert added["wire"]["payload"]["what"] == {"value": "spill"}
    assert added["wire"]["text"] == {"words": "Two litres beside the bin"}
    assert [draft["payload"]["depth"]["text"] for draft in offline.drafts()] == ["950"]
