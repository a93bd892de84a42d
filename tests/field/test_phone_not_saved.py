"""What could not be saved is told as what it is: a full phone, or a store that is lost."""

from __future__ import annotations

import pytest
from playwright.sync_api import Locator, expect

from tests.field.fault_proxy import FaultProxy
from tests.field.office import Phone
from tests.field.test_phone_aids import start_test

pytestmark = [pytest.mark.browser, pytest.mark.long]
# The store fails as this browser's does: with an error of this name.
FAIL = """
(name) => {
  window.failing = true;
  const usual = IDBDatabase.prototype.transaction;
  IDBDatabase.prototype.transaction = function (names, mode, ...more) {
    if (window.failing && mode === "readwrite" && names.includes("drafts")) throw new DOMException("refused", name);
    return usual.call(this, names, mode, ...more);
  };
}
"""
WORDS = [
    ("QuotaExceededError", "This phone is full. Free some space, then save again."),
    ("DataError", "Then reload this page and save again."),
]


def dialog(phone: Phone) -> Locator:
    return phone.page.get_by_role("dialog")


@pytest.mark.parametrize(("name", "words"), WORDS)
def test_a_reading_of_a_running_test(name: str, words: str, phone: Phone, proxy: FaultProxy) -> None:
    proxy.only, proxy.mode = "/", "refuse"
    start_test(phone)
    phone.page.evaluate(FAIL, name)
    phone.page.get_by_role("button", name="Log a reading").click()
    phone.page.locator(".pad__line").fill("6")
    dialog(phone).get_by_role("button", name="Save", exact=True).click()

    expect(dialog(phone)).to_contain_text(f"NOT SAVED – write it down. {words}")
    phone.page.evaluate("() => { window.failing = false; }")
    dialog(phone).get_by_role("button", name="Try again").click()
    expect(phone.page.get_by_role("listitem").filter(has_text="6 bar")).to_be_visible()
    assert [each["kind"] for each in phone.stored()][-1] == "pressure_reading"


@pytest.mark.parametrize(("name", "words"), WORDS)
def test_the_start_of_a_fill_and_an_incident(name: str, words: str, phone: Phone, proxy: FaultProxy) -> None:
    proxy.only, proxy.mode = "/", "refuse"
    phone.open("fill/L1")
    phone.page.get_by_role("button", name="Yes", exact=True).click()
    phone.page.get_by_role("button", name="Enter in L/min").click()
    phone.page.locator(".pad__line").fill("24")
    phone.page.get_by_role("button", name="Keep", exact=True).click()
    phone.page.evaluate(FAIL, name)
    phone.page.get_by_role("button", name="Start: fluid goes in now").click()
    expect(dialog(phone)).to_contain_text(f"NOT SAVED – write the time down. {words}")
    dialog(phone).get_by_role("button", name="Close").click()
    phone.page.get_by_role("button", name="Incident", exact=True).click()
    dialog(phone).get_by_role("button", name="Near-miss").click()
    expect(dialog(phone)).to_contain_text(f"NOT SAVED – write it down. {words}")

    assert phone.stored() == []
    assert phone.drafts() == []
