"""Gloves and sun: keys as large, and words as dark, as the project asks, on every form of every step and what opens over it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from jobs.visits.kinds import KINDS
from tests.field.office import Phone

ROOT = Path(__file__).parents[2]
# WCAG 2.2: 1.4.6 for text, 1.4.11 for the edges of controls. Keys in CSS pixels: the project's own floor.
TEXT, EDGE, MAIN, LEAST = 7.0, 3.0, 64, 48
GROUNDS = ("paper", "sheet", "accent-soft", "warn-soft", "fail-soft")
INKS = ("ink", "ink-2", "accent", "pass", "warn", "fail", "unknown")
# Controls that are known by their edge alone.
CONTROLS = ("key", "toggle", "chip", "reading", "pad__key", "line", "visit", "sign")
TOKENS = dict(
    re.findall(r"--([\w-]+): (#[0-9a-f]{6});", (ROOT / "groundloop/static/groundloop/tokens.css").read_text())
)
STYLE = (ROOT / "jobs/field/static/field/field.css").read_text()


def luminance(colour: str) -> float:
    """WCAG 2.2, relative luminance."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    dark, light = sorted((luminance(TOKENS[one]), luminance(TOKENS[other])))
    return (light + 0.05) / (dark + 0.05)


def test_every_ink_is_dark_enough_on_every_ground() -> None:
    assert contrast("ink", "ink") == 1
    pale = [(ink, ground) for ink in INKS for ground in GROUNDS if contrast(ink, ground) < TEXT]
    assert pale == []
    assert [ink for ink in ("ink", "accent") if contrast("paper", ink) < TEXT] == []
    assert contrast("focus", "paper") >= EDGE


def test_the_page_has_no_ink_but_those() -> None:
    used = set(re.findall(r"(?:^|[;{ ])(?:color|fill): var\(--([\w-]+)\)", STYLE))
    assert used <= {*INKS, *GROUNDS}
    assert used >= set(INKS)


def test_the_edges_of_controls_can_be_seen() -> None:
    pale = []
    for selectors, rule in re.findall(r"^([^@{}\n]+) \{([^}]*)\}", STYLE, re.MULTILINE):
        own = {
            re.split(r"[^\w-]", part.strip().rpartition(".")[2])[0].partition("--")[0] for part in selectors.split(",")
        }
        inks = re.findall(r"border(?!-radius)(?:-[a-z]+)*: [^;]*var\(--([\w-]+)\)", rule)
        pale += [(selectors, ink) for ink in inks if own & set(CONTROLS) and contrast(ink, "paper") < EDGE]
    assert pale == []


MEASURE = """
([main, least]) => [...document.querySelectorAll("button, a, summary, label.key, input:not([type=file]), textarea")]
  .filter((each) => each.checkVisibility() && !each.closest("p") && !each.matches(".pad__line"))
  .map((each) => [each.className, each.textContent.trim().slice(0, 30), Math.round(each.getBoundingClientRect().height)])
  .filter(([name, , height]) => height < (/(^| )key( |$)/.test(name) ? main : least))
"""


def wrong(page: Page) -> list[Any]:
    page.evaluate("() => document.querySelectorAll('details').forEach((each) => { each.open = true; })")
    only = {"runOnly": {"type": "rule", "values": ["color-contrast-enhanced"]}}
    pale: Any = Axe().run(page, options=only).response["violations"]
    return [*page.evaluate(MEASURE, [MAIN, LEAST]), *(node["html"][:160] for each in pale for node in each["nodes"])]


@pytest.mark.browser
@pytest.mark.long
def test_the_form_of_every_kind(stranded: Phone) -> None:
    found = {}
    for code in KINDS:
        stranded.open(f"log/{code}")
        expect(stranded.page.get_by_role("button", name="Save", exact=True)).to_be_visible()
        found[code] = wrong(stranded.page)

    assert {code: each for code, each in found.items() if each} == {}


@pytest.mark.browser
@pytest.mark.long
def test_the_pages_and_what_opens_over_them(stranded: Phone) -> None:
    page, found = stranded.page, {}

    def look(name: str) -> None:
        found[name] = wrong(page)
        page.keyboard.press("Escape")

    for path in ("", "phone", "sums"):
        page.goto(f"{stranded.base_url}/field/{path}")
        expect(page.get_by_role("heading", level=1)).to_be_visible()
        look(path)
    stranded.open("fill/L1")
    page.get_by_role("button", name="Enter in L/min").click()
    look("pad")
    stranded.open()
    page.get_by_role("button", name="Incident", exact=True).click()
    look("incident")
    look("visit")
    page.get_by_role("button", name=re.compile("^L1, port 1")).press(" ")
    look("port")
    stranded.open("log/trench_section/S1")
    page.locator("#field-bed").get_by_role("button", name=re.compile("Not known")).click()
    look("why")
    stranded.log_note("Seen")
    expect(page.get_by_role("button", name="Take back")).to_be_visible()
    look("undo")

    assert {name: each for name, each in found.items() if each} == {}


@pytest.mark.browser
@pytest.mark.long
@pytest.mark.parametrize("code", ["pressure_test", "residual_air"])
def test_before_pressure_goes_on_the_dangers_stand_there_and_one_tap_is_asked(code: str, stranded: Phone) -> None:
    page, kind = stranded.page, KINDS[code]
    stranded.open(f"log/{code}")
    said = page.get_by_role("list", name="Caution").get_by_role("listitem")
    expect(page.get_by_role("button", name="Save", exact=True)).to_be_visible()
    assert said.all_inner_texts() == list(kind.cautions)
    safe = page.locator("#field-safe")
    expect(safe).to_contain_text("Area clear")
    expect(safe).to_contain_text("restrained, weakest part rated for it")
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.get_by_role("alert").first).to_contain_text("Area clear")
    safe.get_by_role("button", name="No", exact=True).click()
    expect(safe).to_contain_text("Put this right before you go on.")
    safe.get_by_role("button", name="Yes", exact=True).click()
    expect(safe).not_to_contain_text("Put this right")
    assert code not in {each["kind"] for each in stranded.stored()}
