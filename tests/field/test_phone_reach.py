"""Everybody can use it: no axe violation on any screen, whole at 320 px and at twice the text size, keys large enough."""

from __future__ import annotations

import re
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.field.office import Phone

pytestmark = [pytest.mark.browser, pytest.mark.long]
SCREENS = {
    "": "Your visits",
    "phone": "This phone",
    "visit/{visit}": "Trench, pipe and test",
    "visit/{visit}/log/trench_section/S1": "Trench section",
    "visit/{visit}/log/pressure_test": "Pressure test",
    "visit/{visit}/log/signature": "Signature",
    "visit/{visit}/log/mix_batch": "Mix a batch",
    "visit/{visit}/log/override/H6:S1": "Go past a hold point",
    "visit/{visit}/log/incident": "Incident or near-miss",
    "visit/{visit}/log/leaving_site": "Leaving the site",
    "visit/{visit}/fill/L1": "Fill",
}
# Opens what is folded, so that it is looked at as well.
UNFOLD = "() => document.querySelectorAll('details').forEach((each) => { each.open = true; })"


def violations(page: Page) -> list[str]:
    found: Any = Axe().run(page).response["violations"]
    return [f"{each['id']}: {each['nodes'][0]['html'][:160]}" for each in found]


def show(phone: Phone, path: str) -> None:
    phone.page.goto(f"{phone.base_url}/field/{path.format(visit=phone.crew.visit)}")
    expect(phone.page.get_by_role("heading", level=1)).to_contain_text(SCREENS[path])


def too_wide(page: Page) -> int:
    found: int = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return found


SMALL = """
() => [...document.querySelectorAll("button, a, summary, label.key, input:not([type=file]), textarea")]
  .filter((each) => each.checkVisibility() && !each.closest("p"))
  .map((each) => [each.textContent.trim().slice(0, 30), Math.round(each.getBoundingClientRect().height)])
  .filter(([, height]) => height > 0 && height < 48)
"""


def test_no_screen_has_an_axe_violation_and_none_is_too_wide(phone: Phone) -> None:
    wrong: dict[str, Any] = {}
    for path in SCREENS:
        show(phone, path)
        phone.page.evaluate(UNFOLD)
        found = [*violations(phone.page), *phone.page.evaluate(SMALL)]
        phone.page.set_viewport_size({"width": 320, "height": 640})
        if too_wide(phone.page) > 0:
            found.append(f"{too_wide(phone.page)} px too wide at 320")
        phone.page.evaluate("document.documentElement.style.fontSize = '200%'")
        if too_wide(phone.page) > 0:
            found.append(f"{too_wide(phone.page)} px too wide at 200 % text")
        phone.page.set_viewport_size({"width": 360, "height": 740})
        if found:
            wrong[path] = found

    assert wrong == {}


def test_the_pad_and_the_questions_have_no_violation(phone: Phone) -> None:
    show(phone, "visit/{visit}/log/trench_section/S1")
    phone.page.locator("#field-depth .reading").click()
    pad = violations(phone.page)
    phone.page.locator(".pad__line").fill("95")
    phone.page.keyboard.press("Enter")
    question = violations(phone.page)
    phone.page.get_by_role("button", name="Change it").click()
    phone.page.keyboard.press("Escape")
    phone.page.locator("#field-bed").get_by_role("button", name=re.compile("Not known")).click()
    reason = violations(phone.page)

    assert (pad, question, reason) == ([], [], [])


def test_the_sheets_over_the_page_have_no_violation(phone: Phone) -> None:
    show(phone, "visit/{visit}")
    phone.page.get_by_role("button", name=re.compile("^L1, port 1")).press(" ")
    port = violations(phone.page)
    expect(phone.page.get_by_role("dialog")).to_contain_text("L1 on port 1")
    phone.page.keyboard.press("Escape")
    expect(phone.page.get_by_role("dialog")).to_have_count(0)
    phone.page.get_by_role("button", name="Incident", exact=True).click()
    incident = violations(phone.page)
    phone.page.keyboard.press("Escape")

    assert (port, incident) == ([], [])
    assert phone.stored() == []


def test_a_number_can_be_entered_with_keys_alone(phone: Phone) -> None:
    show(phone, "visit/{visit}/log/trench_section/S1")
    phone.page.locator("#field-depth .reading").focus()
    phone.page.keyboard.press("Enter")
    phone.page.keyboard.type("950")
    phone.page.keyboard.press("Enter")

    expect(phone.page.get_by_role("button", name="Depth: 950 mm")).to_be_visible()
