"""The screens of a visit: the picture of the manifold, and what stands beside each step."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import expect

from tests.field.fault_proxy import FaultProxy
from tests.field.office import Crew, Phone, change_work, seed
from tests.running.server import Server

pytestmark = [pytest.mark.browser, pytest.mark.long]


@pytest.fixture(scope="module")
def crews(office: Server) -> Iterator[Crew]:
    """Everybody's pipe is laid, tested and flushed; today is the day of the fill."""
    return iter(seed(office, crews=14, upto="flushed", kind="fill"))


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
    filler.page.get_by_role("timer").wait_for()
    filler.open()
    filler.page.get_by_role("button", name=re.compile("^L1, port 1: open, being filled")).wait_for()
    filler.page.get_by_role("button", name=re.compile("^L2, port 2")).click()
    expect(filler.page.get_by_role("dialog")).to_contain_text("L1 is open: shut it before you open L2.")
    start_fill(filler, "L2")
    filler.page.get_by_role("button", name="Back to L1").click()

    expect(filler.page.get_by_role("heading", level=1, name="Fill L1")).to_be_visible()
    assert [draft["subject"] for draft in filler.drafts() if "started" in draft["payload"]] == ["L1"]


def test_leaving_with_water_above_the_frost_is_asked_about_once_and_answered(filler: Phone) -> None:
    change_work(filler, "(job) => { job.given.shallow = true; }")
    filler.open()
    expect(filler.page.get_by_text("Water, not mix, stands in pipe above the frost depth.")).to_be_visible()
    filler.page.get_by_role("button", name="Visits").click()
    dialog = filler.page.get_by_role("dialog", name="Are you leaving the site?")
    dialog.get_by_role("button", name="Leaving: say how").click()
    filler.page.get_by_role("button", name="Drained", exact=True).click()
    filler.yes("safe")
    filler.save()

    expect(filler.page.get_by_text(re.compile(r"Site left \d\d:\d\d: Drained"))).to_be_visible()
    filler.page.get_by_role("button", name="Visits").click()
    expect(filler.page.get_by_role("heading", name="Your visits")).to_be_visible()


def test_no_frost_depth_no_question(filler: Phone) -> None:
    filler.open()
    expect(filler.page.get_by_role("button", name="Leaving the site").first).to_be_visible()
    filler.page.get_by_role("button", name="Visits").click()
    expect(filler.page.get_by_role("heading", name="Your visits")).to_be_visible()


def test_a_step_that_was_left_tells_what_holds_after_the_break(filler: Phone) -> None:
    """Job sheet of the trade, resume rules: a flush that stood for longer than the office's limit starts anew."""
    undone = "job.entries = job.entries.filter((entry) => entry.kind !== 'flush' || entry.subject !== 'L4');"
    change_work(filler, f"(job) => {{ {undone} }}")
    filler.open()
    step = filler.page.locator(".step").filter(has=filler.page.get_by_text("Flush", exact=True))
    expect(step).to_contain_text(re.compile(r"After the break: start again\. After a stop of more than \d+ min"))

    now = "new Date().toISOString()"
    change_work(filler, f"(job) => {{ for (const e of job.entries) if (e.kind === 'flush') e.observed_at = {now}; }}")
    filler.page.reload()
    expect(step).to_contain_text("Under way")
    expect(step).not_to_contain_text("After the break")


def test_a_phase_of_others_is_told_and_not_offered(filler: Phone) -> None:
    change_work(filler, "(job) => { job.given.scope = { purge: 'by others: the heat pump firm' }; }")
    filler.open()
    step = filler.page.locator(".step").filter(has=filler.page.get_by_text("Purge", exact=True))
    expect(step).to_contain_text("by others: the heat pump firm")
    expect(step.get_by_role("button")).to_have_count(0)
    expect(filler.page.get_by_role("button", name=re.compile("^L1, port 1"))).not_to_contain_text("purged")
    port = filler.page.get_by_role("button", name=re.compile("^L1, port 1"))
    expect(port.locator(".leg__pip")).to_have_count(5)


def test_limits_fluid_and_cautions_stand_on_the_visit_each_with_its_source(filler: Phone) -> None:
    filler.open()
    for summary in ("Limits and their sources", "The fluid", "Cautions of this visit"):
        filler.page.get_by_text(summary, exact=True).click()
    rows = filler.page.locator("details").filter(has=filler.page.get_by_text("Limits and their sources")).locator("dd")
    assert rows.count() > 20
    assert all(text.strip() for text in rows.locator("small").all_inner_texts())
    assert rows.locator("small").count() == rows.count()
    expect(filler.page.get_by_text("Freezes at")).to_be_visible()
    expect(filler.page.get_by_role("list", name="Caution")).to_contain_text("Local codes")


def test_who_else_is_at_a_loop_is_told_by_name(filler: Phone) -> None:
    theirs = (
        "const e = job.entries.find((e) => e.kind === 'flush' && e.subject === 'L4'); e.person_name = 'Cato Birch';"
    )
    change_work(filler, f"(job) => {{ {theirs} e.observed_at = new Date().toISOString(); }}")
    filler.open()
    others = filler.page.locator("section").filter(has=filler.page.get_by_role("heading", name="Others on this job"))
    expect(others).to_contain_text(re.compile(r"L4: Cato Birch, Flush \d\d:\d\d"))
    filler.page.get_by_role("button", name=re.compile("^L4, port 4")).click()
    expect(filler.page.get_by_role("dialog")).to_contain_text("L4: Cato Birch, Flush")


def test_two_corrections_of_one_entry_stand_as_two_rows(filler: Phone) -> None:
    add = """(job) => {
      const entry = job.entries.find((e) => e.kind === 'flush' && e.subject === 'L4');
      for (const [id, name] of [['a', 'Cato Birch'], ['b', 'Edda Rowan']])
        job.entries.push({ ...entry, id, supersedes: entry.id, reason: 'typo', person_name: name });
    }"""
    change_work(filler, add)
    filler.open()
    rows = filler.page.locator("section").filter(
        has=filler.page.get_by_role("heading", name="Flush was corrected twice")
    )
    expect(rows.locator(".row b")).to_have_text(["Cato Birch", "Edda Rowan"], use_inner_text=True)


def test_work_stored_by_an_older_app_says_what_to_do(filler: Phone) -> None:
    change_work(filler, "(job, pack) => { delete pack.words.said; }")
    filler.open()
    expect(filler.page.get_by_role("heading", name="This work is older than the app")).to_be_visible()
