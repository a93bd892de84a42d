"""What a person does on the quick-sum screens of the phone, and what is read off them."""

from __future__ import annotations

import re
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.field.office import Phone

PIPE = {"od": "40", "wall": "3,7"}
BORE = 40 - 2 * 3.7
TIGHT = (("0", "6.0"), ("15", "5.85"), ("30", "5.75"), ("45", "5.70"), ("60", "5.65"))


def show(phone: Phone, name: str) -> Page:
    phone.page.goto(f"{phone.base_url}/field/sums/{name}")
    expect(says(phone.page)).to_be_visible()
    return phone.page


def says(page: Page) -> Locator:
    return page.locator(".says")


def use(page: Page, text: str, unit: str = "", key: str = "Use") -> None:
    """Into the open pad, in its first unit unless told; what is unusual is right."""
    chips = page.locator(".pad .chip")
    if chips.count():
        (chips.get_by_text(unit, exact=True) if unit else chips.first).click()
    page.locator(".pad__line").fill(text)
    page.get_by_role("button", name=key, exact=True).click()
    if page.locator(".over__question").count():
        page.get_by_role("button", name=re.compile("^Yes")).click()


def number(page: Page, **answers: str) -> None:
    """Each as typed, with its unit behind it when it is not the first."""
    for name, typed in answers.items():
        text, _, unit = typed.partition(" ")
        page.locator(f"#field-{name} .reading").click()
        use(page, text, unit)


def pick(page: Page, **answers: str) -> None:
    for name, label in answers.items():
        page.locator(f"#field-{name}").get_by_role("button", name=label, exact=True).click()


def readings(page: Page, rows: tuple[tuple[str, str], ...], at: int = 0) -> None:
    for minutes, bar in rows:
        page.get_by_role("button", name="Add a reading").nth(at).click()
        use(page, minutes, key="Next")
        use(page, bar)


def figures(page: Page) -> dict[str, float]:
    """Numbers by what stands beside them; minutes and seconds as seconds."""
    found = {}
    for figure in page.locator(".says .figure").all():
        text = figure.locator(".figure__value").inner_text().split()[0].replace("−", "-")
        minutes, _, seconds = text.rpartition(":")
        value = 60 * float(minutes) + float(seconds) if minutes else float(text)
        found[figure.locator(".figure__label").inner_text()] = value
    return found


def near(value: float) -> Any:
    """Three figures are shown."""
    return pytest.approx(value, rel=6e-3)


def verdict(page: Page) -> str:
    return says(page).locator(".verdict").inner_text().strip()
