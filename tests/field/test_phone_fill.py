"""The screen of a fill: the waste is asked for right after full colour, and nothing is lost when it is not known yet."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.field.office import Phone, change_work

pytestmark = pytest.mark.browser


def test_the_waste_is_asked_for_after_full_colour_and_may_wait(stranded: Phone) -> None:
    page = stranded.page

    def tap(name: str) -> None:
        page.get_by_role("button", name=name, exact=True).click()

    heard(stranded)
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
    assert [each["kind"] for each in stranded.stored()] == ["fill_start"]

    stranded.open("fill/L1")
    tap("Go on: waste and reading")
    page.locator(".pad__line").fill("210")
    tap("Keep")
    expect(page.get_by_role("button", name="Water sent to waste: 210 L")).to_be_visible()
    page.reload()
    expect(page.get_by_role("button", name="Water sent to waste: 210 L")).to_be_visible()
    stranded.save()
    [start, entry] = stranded.stored()
    assert start["wire"]["observed_at"] == entry["wire"]["payload"]["started"]["value"]
    assert entry["wire"]["payload"]["waste"] == {"text": "210", "value": 210, "unit": "L"}
    assert set(entry["wire"]["payload"]) >= {"started", "first_colour", "full_colour", "flow"}


def heard(phone: Phone, *entries: tuple[str, str, float]) -> None:
    """As if the office had told what Edda Pine logged: kind, loop, minutes ago."""
    at = [(datetime.now(UTC) - timedelta(minutes=ago)).isoformat() for _, _, ago in entries]
    rows: list[dict[str, Any]] = [
        {
            "id": f"00000000-0000-4000-8000-00000000000{number}", "kind": kind, "subject": loop, "observed_at": at[number],
            "payload": {}, "person_name": "Edda Pine", "device": "other", "seq": number,
        }
        for number, (kind, loop, _) in enumerate(entries)
    ]  # fmt: skip
    away = "job.entries = job.entries.filter((each) => each.person_name !== 'Edda Pine')"
    change_work(phone, f"(job) => {{ {away}; job.entries.push(...{json.dumps(rows)}); }}")


def claims(page: Page) -> list[str]:
    expect(page.get_by_role("heading", name="Steps", exact=True)).to_be_visible()
    return [words for words in page.locator(".row").all_inner_texts() if "is filling since" in words]


def test_a_fill_of_somebody_else_is_told_by_name_and_asked_about(stranded: Phone) -> None:
    page = stranded.page
    heard(stranded, ("fill_start", "L4", 10))
    stranded.open()
    assert [words[:31] for words in claims(page)] == ["L4: Edda Pine is filling since "]
    expect(page.get_by_role("button", name="L4, port 4: open, being filled")).to_be_visible()
    for loop, words in (("L2", "Two loops at once share the flow"), ("L4", "Agree by voice who goes on")):
        stranded.open(f"fill/{loop}")
        expect(page.get_by_text("L4: Edda Pine is filling since").first).to_be_visible()
        page.get_by_role("button", name="Yes", exact=True).click()
        page.get_by_role("button", name="Enter in L/min").click()
        page.locator(".pad__line").fill("24")
        page.get_by_role("button", name="Keep", exact=True).click()
        page.get_by_role("button", name="Start: fluid goes in now").click()
        expect(page.get_by_role("dialog")).to_contain_text(words)
        page.get_by_role("button", name="Back to the steps").click()
        expect(page.get_by_role("heading", name="Steps", exact=True)).to_be_visible()
    assert not [each for each in stranded.stored() if each["wire"]["subject"] in {"L2", "L4"}]


@pytest.mark.parametrize(
    ("entries", "loops"),
    [
        ([("fill_start", "L4", 20.0), ("loop_fill", "L4", 20.0)], []),
        ([("loop_fill", "L4", 30.0), ("fill_start", "L4", 20.0)], ["L4"]),
        ([("fill_start", "L3", 20.0), ("fill_start", "L4", 10.0), ("loop_fill", "L3", 20.0)], ["L4"]),
        ([("fill_start", "L4", 239.0)], ["L4"]),
        ([("fill_start", "L4", 241.0)], []),
        ([("fill_start", "L4", 30.0), ("fill_start", "L4", 10.0)], ["L4"]),
    ],
    ids=["saved", "filled again", "one of two", "still", "lapsed", "started twice"],
)
def test_it_ends_when_the_fill_is_saved_or_after_four_hours(
    entries: list[tuple[str, str, float]], loops: list[str], stranded: Phone
) -> None:
    heard(stranded, *entries)
    stranded.open()

    assert [words[:2] for words in claims(stranded.page)] == loops
