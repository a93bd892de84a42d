"""The screen of a fill: the waste is asked for right after full colour, and nothing is lost when it is not known yet."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.field.office import Phone

pytestmark = pytest.mark.browser


def test_the_waste_is_asked_for_after_full_colour_and_may_wait(stranded: Phone) -> None:
    page = stranded.page

    def tap(name: str) -> None:
        page.get_by_role("button", name=name, exact=True).click()

    stranded.open("fill/L1")
    tap("Yes")
    page.get_by_role("button", name="Enter in L/min").click()
    page.locator(".pad__line").fill("24")
    tap("Keep")
    for name in ("Start: fluid goes in now", "First colour", "Full colour", "Go on: waste and reading"):
        tap(name)

    pad = page.get_by_role("dialog", name="Water sent to waste")
    pad.get_by_role("button", name="Close").click()
    expect(page.get_by_role("heading", level=1, name="Fill a loop")).to_be_visible()
    tap("Save")
    expect(page.get_by_role("alert").first).to_contain_text("Water sent to waste")
    assert stranded.stored() == []

    stranded.open("fill/L1")
    tap("Go on: waste and reading")
    page.locator(".pad__line").fill("210")
    tap("Keep")
    expect(page.get_by_role("button", name="Water sent to waste: 210 L")).to_be_visible()
    page.reload()
    expect(page.get_by_role("button", name="Water sent to waste: 210 L")).to_be_visible()
    stranded.save()
    [entry] = stranded.stored()
    assert entry["wire"]["payload"]["waste"] == {"text": "210", "value": 210, "unit": "L"}
    assert set(entry["wire"]["payload"]) >= {"started", "first_colour", "full_colour", "flow"}
