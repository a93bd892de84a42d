"""The pad offers the value before and steps from it; it never stands there as the value by itself."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.field.fault_proxy import FaultProxy
from tests.field.office import Phone
from tests.field.test_phone_aids import start_test

pytestmark = pytest.mark.browser
# What is typed, how far, in which step -> what stands then.
STEPS = [
    ("6.0", -1, 0.1, "5.9"),
    ("6", 1, 0.1, "6.1"),
    ("6.00", 1, 0.02, "6.02"),
    ("9,9", 1, 0.1, "10.0"),
    ("0.1", -1, 0.1, "0.0"),
    ("0.3", -3, 0.1, "0.0"),
    ("-0.5", -1, 0.5, "-1.0"),
    ("12", 1, 5, "17"),
]


def test_a_step_keeps_the_decimals_of_the_finer_of_the_two(blank: Page) -> None:
    found = blank.evaluate(
        "async (rows) => { const { stepped } = await import('/field/answers.js'); return rows.map((row) => stepped(...row.slice(0, 3))); }",
        STEPS,
    )

    assert found == [row[3] for row in STEPS]


def pad(phone: Phone) -> Locator:
    return phone.page.get_by_role("dialog", name="Pressure")


def log_reading(phone: Phone, *keys: str) -> None:
    phone.page.get_by_role("button", name="Log a reading").click()
    for key in keys:
        pad(phone).get_by_role("button", name=key, exact=True).click()
    pad(phone).get_by_role("button", name="Save", exact=True).click()
    expect(pad(phone)).to_have_count(0)


def readings(phone: Phone) -> list[str]:
    return [
        each["wire"]["payload"]["pressure"]["text"] for each in phone.stored() if each["kind"] == "pressure_reading"
    ]


@pytest.mark.long
def test_the_value_before_is_offered_in_steps_of_the_gauge_and_stands_nowhere_by_itself(
    phone: Phone, proxy: FaultProxy
) -> None:
    proxy.only, proxy.mode = "/", "refuse"
    start_test(phone)
    phone.page.get_by_role("button", name="Log a reading").click()
    expect(pad(phone)).not_to_contain_text("Last:")
    phone.page.keyboard.press("Escape")
    log_reading(phone, "6", ".", "0")
    expect(phone.page.get_by_role("listitem").filter(has_text="6.0 bar").first).to_be_visible()

    phone.page.get_by_role("button", name="Log a reading").click()
    expect(pad(phone)).to_contain_text(re.compile(r"Last: 6\.0 bar, \d\d:\d\d"))
    expect(phone.page.locator(".pad__line")).to_have_value("")
    pad(phone).get_by_role("button", name="Save", exact=True).click()  # nothing was read: nothing is kept
    expect(pad(phone).get_by_role("alert")).to_contain_text("Enter")
    step = phone.page.locator(".pad__key--step").first.inner_text().removeprefix("− ")
    pad(phone).get_by_role("button", name=f"{step} less").click()
    pad(phone).get_by_role("button", name=f"{step} less").click()
    stands = phone.page.locator(".pad__line").input_value()
    pad(phone).get_by_role("button", name="Save", exact=True).click()
    expect(pad(phone)).to_have_count(0)
    log_reading(phone, "same as last")

    assert float(stands) == pytest.approx(6 - 2 * float(step))
    assert readings(phone) == ["6.0", stands, stands]
