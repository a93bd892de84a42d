"""The quick-sum screens of the stranded, with the office switched off: nothing is kept, and everybody can use them."""

from __future__ import annotations

import re
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.field.office import Phone
from tests.field.sums_screen import BORE, PIPE, TIGHT, figures, near, number, pick, readings, says, show
from tests.field.test_phone_reach import too_wide, violations
from tests.vectors import calc_functions as vectors

pytestmark = [pytest.mark.browser, pytest.mark.long]
NAMES = ("refractometer", "litres", "changeover", "purge", "air", "volume", "test", "joint")


@pytest.fixture
def sums(stranded: Phone) -> Page:
    """The list of sums, freshly opened: nothing typed before is left."""
    stranded.page.goto(f"{stranded.base_url}/field/sums")
    expect(stranded.page.get_by_role("heading", level=1)).to_have_text("Quick sums")
    return stranded.page


def test_one_link_on_the_first_screen_leads_to_the_sums_and_the_way_back_is_there(stranded: Phone) -> None:
    page = stranded.page
    page.goto(f"{stranded.base_url}/field/")
    page.get_by_role("link", name="Quick sums").click()
    page.get_by_role("button", name=re.compile("^Pipe volume")).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Pipe volume")
    number(page, **PIPE)

    page.get_by_role("button", name="‹ Quick sums").click()
    page.go_back()

    expect(page.get_by_role("button", name="Pipe, wall: 3,7 mm")).to_be_visible()
    page.get_by_role("button", name="‹ Quick sums").click()
    page.get_by_role("button", name="‹ Visits").click()
    expect(page.get_by_role("heading", name="Your visits")).to_be_visible()


def test_what_is_impossible_is_not_taken_and_what_was_typed_stays(stranded: Phone) -> None:
    page = show(stranded, "purge")
    number(page, **PIPE)
    page.locator("#field-flow .reading").click()
    for typed, sentence in (
        ("many", "Enter flow in L/min, like 4.2."),
        ("0", "Enter flow between 0.5 and 2000 L/min."),
        ("1.234.5", "Enter flow in L/min, like 4.2."),
    ):
        page.locator(".pad__line").fill(typed)
        page.get_by_role("button", name="Use", exact=True).click()
        expect(page.locator(".pad__error")).to_have_text(sentence)
        expect(page.locator(".pad__line")).to_have_value(typed)
    page.keyboard.press("Escape")
    expect(says(page)).to_contain_text("Still to enter: flow.")


def test_a_wall_too_thick_for_its_pipe_is_said(stranded: Phone) -> None:
    page = show(stranded, "volume")
    number(page, od="20", wall="11", length="10")

    expect(says(page)).to_contain_text("The wall is too thick for this diameter.")


def test_nothing_is_kept_and_clearing_asks_first(stranded: Phone) -> None:
    page = show(stranded, "volume")
    number(page, **PIPE, length="200")
    expect(says(page)).to_contain_text("Not kept. To keep it, log it in a visit.")
    page.get_by_role("button", name="Clear all answers").click()
    page.get_by_role("button", name="Leave them").click()
    assert figures(page)
    page.get_by_role("button", name="Clear all answers").click()
    page.get_by_role("button", name="Clear them").click()
    expect(says(page)).to_contain_text("Still to enter")

    assert (stranded.stored(), stranded.drafts()) == ([], [])


FORGET = """
async () => {
  const { firm, id } = JSON.parse(localStorage.getItem("field.who"));
  const asked = (request) => new Promise((done) => { request.onsuccess = () => done(request.result); });
  const db = await asked(indexedDB.open(`field-${firm}`));
  const kept = await asked(db.transaction("pack").objectStore("pack").get(id));
  const put = (row) => asked(db.transaction("pack", "readwrite").objectStore("pack").put(row, id));
  window.giveBack = () => put(kept);
  await put({ ...kept, pack: { ...kept.pack, sums: undefined } });
}
"""


def test_work_that_was_stored_before_there_were_sums_says_what_to_do(stranded: Phone) -> None:
    page = stranded.page
    page.goto(f"{stranded.base_url}/field/")
    expect(page.get_by_role("heading", name="Your visits")).to_be_visible()
    page.evaluate(FORGET)
    page.get_by_role("button", name="Get the newest work").click()  # no answer; what is stored is read again
    expect(page.locator("#say")).to_have_text("No answer from the office.")
    page.get_by_role("link", name="Quick sums").click()

    expect(page.locator("main")).to_contain_text("Go where there is signal and get the newest work.")
    page.evaluate("giveBack()")


LOW = """
() => [...document.querySelectorAll("main button, main a, main summary")]
  .filter((each) => each.checkVisibility())
  .map((each) => [each.textContent.trim().slice(0, 30), Math.round(each.getBoundingClientRect().height)])
  .filter(([, height]) => height < 48)
"""


def amiss(page: Page) -> list[Any]:
    """Of the screen as it stands, at 360 px, at 320 px and with letters twice as large."""
    found: list[Any] = [*violations(page), *page.evaluate(LOW)]
    page.set_viewport_size({"width": 320, "height": 640})
    found += violations(page)
    for size in ("", "200%"):
        page.evaluate("(size) => { document.documentElement.style.fontSize = size; }", size)
        if too_wide(page) > 0:
            found.append(f"{too_wide(page)} px too wide at 320 px {size}")
    page.evaluate("document.documentElement.style.fontSize = ''")
    page.set_viewport_size({"width": 360, "height": 740})
    return found


def test_the_list_can_be_read_and_reached_by_everybody(sums: Page) -> None:
    assert sums.locator(".row--sum").count() == len(NAMES)
    assert amiss(sums) == []


ANSWERS: dict[str, tuple[dict[str, str], dict[str, str]]] = {
    "refractometer": ({"fluid": "Propylene glycol", "scale": "Brix"}, {"brix": "25", "sample_temperature": "20"}),
    "litres": (
        {"where": "A filled system", "fluid": "Ethanol"},
        {"volume": "600", "measured": "-10", "target": "-15"},
    ),
    "changeover": (
        {"fluid": "Propylene glycol"},
        {**PIPE, "flow": "20", "length": "216", "strength": "-15", "first_colour": "9"},
    ),
    "purge": ({}, {**PIPE, "flow": "35"}),
    "air": (
        {},
        {"volume": "334", **PIPE, "bin_diameter": "600", "level_before": "500", "level_after": "489"}
        | {"dead_head_pressure": "3.45"},
    ),
    "volume": ({}, {**PIPE, "length": "200"}),
    "test": (
        {"method": "Short tightness check", "restraint": "Grouted"},
        {"resolution": "0.05", "loading": "10", "hold": "60"},
    ),
    "joint": ({"method": "Socket fusion"}, {"od": "40"}),
}


@pytest.mark.parametrize("name", NAMES)
def test_each_sum_can_be_read_and_reached_by_everybody(name: str, stranded: Phone) -> None:
    page = show(stranded, name)
    empty = amiss(page)
    chosen, typed = ANSWERS[name]
    pick(page, **chosen)
    number(page, **typed)
    if name == "test":
        readings(page, TIGHT)
    if name == "joint":
        page.locator("#field-ended").get_by_role("button", name="Now").click()
    if page.locator("summary").count():
        page.locator("summary").click()

    expect(says(page).locator(".figure, .verdict").first).to_be_visible()
    assert (empty, amiss(page)) == ([], [])


def test_a_sum_can_be_done_with_keys_alone(stranded: Phone) -> None:
    page = show(stranded, "volume")
    for name, typed in (("od", "40"), ("wall", "3.7"), ("length", "200")):
        page.locator(f"#field-{name} .reading").focus()
        page.keyboard.press("Enter")
        page.keyboard.type(typed)
        page.keyboard.press("Enter")

    assert figures(page)["in the pipe"] == near(vectors.litres_of(200.0, BORE))
