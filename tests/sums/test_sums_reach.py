"""Everybody can use the sums: on a small phone, with keys alone, with a screen reader, on paper."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect, sync_playwright

from groundloop.demo.people import PEOPLE
from jobs.firms.models import Role
from jobs.sums.questions import QUESTIONS
from tests.running.server import Server, copy_of

pytestmark = [pytest.mark.browser, pytest.mark.long]
CREW = next(person for person in PEOPLE if Role.CREW in person.roles)
ADDRESSES = {
    "the list": "/sums/",
    **{question.slug: f"/sums/{question.slug}/" for question in QUESTIONS},
    **{
        f"{question.slug}, answered {number}": f"/sums/{question.slug}/?{urlencode(example.given)}"
        for question in QUESTIONS
        for number, example in enumerate(question.examples)
        if number in {0, 1, 5}  # a pass, one with two series, one that cannot tell
    },
    "with mistakes": "/sums/mix/?volume=abc&strength=30&drum_density=5",
}
# What a thumb must hit; a link inside a sentence may be as high as its line.
SMALL = """
() => [...document.querySelectorAll("main button, main select, main summary, main textarea, main input:not([type=hidden]), main a.btn")]
  .filter((each) => each.checkVisibility() && !each.classList.contains("visually-hidden"))
  .map((each) => [each.textContent.trim().slice(0, 30), Math.round(each.getBoundingClientRect().height)])
  .filter(([, height]) => height < 44)
"""


@pytest.fixture(scope="module")
def office(template_data: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    server = Server(copy_of(template_data, tmp_path_factory.mktemp("office") / "data")).start()
    yield server
    if server.process.running:
        server.kill9()


@pytest.fixture
def browser(chromium_path: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[Browser]:
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=chromium_path, args=["--no-sandbox"])
        yield found
        found.close()


@pytest.fixture
def phone(browser: Browser, office: Server) -> Iterator[Page]:
    """A crew member's phone, 360 px wide, signed in."""
    context = browser.new_context(viewport={"width": 360, "height": 740}, locale="en-GB", base_url=office.base_url)
    for cookie in office.browser(CREW.email, CREW.password).cookies:
        context.add_cookies([{"name": cookie.name, "value": cookie.value or "", "url": office.base_url}])
    page, heard = context.new_page(), list[str]()
    page.on("console", lambda message: heard.append(message.text))
    yield page
    assert heard == [], "such as what the page's policy refused"
    context.close()


def too_wide(page: Page) -> int:
    found: int = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return found


def test_no_page_has_a_violation_and_none_is_too_wide(phone: Page) -> None:
    wrong: dict[str, Any] = {}
    for name, address in ADDRESSES.items():
        phone.goto(address)
        expect(phone.get_by_role("heading", level=1)).to_be_visible()
        violations = Axe().run(phone).response["violations"]
        found = [f"{each['id']}: {each['nodes'][0]['html'][:160]}" for each in violations]
        found += [str(each) for each in phone.evaluate(SMALL)]
        phone.set_viewport_size({"width": 320, "height": 640})
        found += [f"{too_wide(phone)} px too wide at 320"] if too_wide(phone) > 0 else []
        phone.evaluate("document.documentElement.style.fontSize = '200%'")
        found += [f"{too_wide(phone)} px too wide at 200 % text"] if too_wide(phone) > 0 else []
        phone.set_viewport_size({"width": 360, "height": 740})
        if found:
            wrong[name] = found
    assert wrong == {}


def test_a_sum_is_done_with_keys_alone_and_the_answer_comes_into_view(phone: Page) -> None:
    phone.goto("/sums/pipe-volume/")
    phone.get_by_label("Length of one").first.focus()
    phone.keyboard.type("200")
    phone.keyboard.press("Enter")
    answer = phone.locator("#answer")
    expect(answer).to_be_in_viewport()
    expect(answer).to_contain_text("106.2")
    assert "length=200" in phone.url
    phone.go_back()
    expect(phone.get_by_text("The answer comes here")).to_be_visible()


def test_enter_in_the_pressure_test_judges_and_another_method_keeps_the_readings(phone: Page) -> None:
    phone.goto("/sums/pressure-test/")
    phone.get_by_label("Readings", exact=True).fill("0 6\n15 5,85\n30 5,75\n45 5,70\n60 5,65")
    phone.get_by_label("Smallest step of the gauge").first.press("Enter")
    expect(phone.locator(".verdict")).to_contain_text("Pass")
    phone.get_by_role("button", name="Type II decay test").click()
    expect(phone.get_by_label("Readings", exact=True)).to_have_value(re.compile("15 5,85"))
    expect(phone.get_by_role("button", name="Type II decay test")).to_have_attribute("aria-pressed", "true")
    expect(phone.locator(".verdict")).to_have_count(0)


def test_a_mistake_comes_into_view_and_leads_to_its_field(phone: Page) -> None:
    phone.goto("/sums/mix/")
    phone.get_by_label("Volume of the whole system").first.fill("much")
    phone.get_by_role("button", name="Work it out").last.click()
    expect(phone.locator(".error-summary")).to_be_in_viewport()
    phone.locator(".error-summary a").first.click()
    expect(phone.get_by_label("Volume of the whole system").first).to_be_in_viewport()
    expect(phone.get_by_label("Volume of the whole system").first).to_have_value("much")


def test_paper_has_the_answer_what_was_given_and_the_sources_but_no_form(phone: Page) -> None:
    phone.goto(ADDRESSES["mix, answered 0"])
    phone.emulate_media(media="print")
    expect(phone.locator(".sum__form")).to_be_hidden()
    expect(phone.locator(".on-paper")).to_be_visible()
    expect(phone.locator(".on-paper")).to_contain_text("Volume of the whole system")
    expect(phone.locator(".sources")).to_be_visible()
    expect(phone.get_by_text("Before the work")).to_be_visible()
