"""The screens of a visit: the picture of the manifold, and what stands beside each step."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import expect

from tests.field.fault_proxy import FaultProxy
from tests.field.office import Crew, Phone, seed
from tests.running.server import Server

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def crews(office: Server) -> Iterator[Crew]:
    """Everybody's pipe is laid, tested and flushed; today is the day of the fill."""
    return iter(seed(office, crews=8, upto="flushed", kind="fill"))


@pytest.fixture
def filler(phone: Phone, proxy: FaultProxy) -> Phone:
    """That phone with no signal."""
    proxy.only, proxy.mode = "/", "refuse"
    return phone


def start_fill(phone: Phone, loop: str) -> None:
    phone.open(f"fill/{loop}")
    phone.page.get_by_role("button", name="Yes", exact=True).click()
    phone.page.locator(".reading").click()
    phone.page.locator(".pad__line").fill("12")
    phone.page.get_by_role("button", name="Keep", exact=True).click()
    phone.page.get_by_role("button", name="Start: fluid goes in now").click()


def test_every_port_tells_how_far_its_loop_is_and_leads_to_its_next_step(filler: Phone) -> None:
    filler.open()
    port = filler.page.get_by_role("button", name=re.compile(r"^L2, port 2: laid, tested, flushed; not yet filled"))
    expect(port).to_contain_text("flushed")
    port.press("Enter")

    dialog = filler.page.get_by_role("dialog")
    expect(dialog).to_contain_text("L2 on port 2")
    expect(dialog.locator(".key--main")).to_have_text("Fill loop by loop")
    dialog.locator(".key--main").click()
    dialog.get_by_role("button", name="Back to the steps").click()

    expect(dialog).to_have_count(0)
    filler.open()
    port.click()
    dialog.get_by_role("button", name="Flush – done, log it again").click()
    expect(filler.page.get_by_role("heading", level=1, name="Flush L2")).to_be_visible()


def test_a_second_open_loop_is_asked_about(filler: Phone) -> None:
    start_fill(filler, "L1")
    filler.open()
    filler.page.get_by_role("button", name=re.compile("^L1, port 1: open, being filled")).wait_for()
    filler.page.get_by_role("button", name=re.compile("^L2, port 2")).click()
    expect(filler.page.get_by_role("dialog")).to_contain_text("L1 is open: shut it before you open L2.")
    start_fill(filler, "L2")
    filler.page.get_by_role("button", name="Back to L1").click()

    expect(filler.page.get_by_role("heading", level=1, name="Fill L1")).to_be_visible()
    assert [draft["subject"] for draft in filler.drafts() if "started" in draft["payload"]] == ["L1"]
