"""As soon as an instrument is picked the phone says whether it can decide the step, and the way out."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from playwright.sync_api import Locator, expect

from jobs.field.pack_suits import suits_json
from jobs.visits.kinds import Instrument
from tests.field.fault_proxy import FaultProxy
from tests.field.office import Phone, change_work
from tests.visits.facts import FACTS

pytestmark = pytest.mark.browser


def tools(phone: Phone) -> Locator:
    return phone.page.locator("section.field").filter(has=phone.page.get_by_role("heading", name="Read with"))


def test_the_work_that_comes_from_the_office_says_that_an_ordinary_gauge_suits(phone: Phone, proxy: FaultProxy) -> None:
    proxy.only, proxy.mode = "/", "refuse"
    phone.open("log/pressure_test")
    tools(phone).get_by_role("button", name="Dial gauge").click()
    expect(tools(phone).locator(".state--pass")).to_have_text("It suits")
    expect(tools(phone)).to_contain_text("4 h shut")

    phone.page.get_by_role("button", name="EN 805:2000 clause A.27").click()
    expect(tools(phone)).to_contain_text("let down by 2 bar or more")
    phone.number("test_pressure", "13")
    expect(tools(phone).locator(".state--warn")).to_have_text("It may not do")
    expect(tools(phone)).to_contain_text("longer scale")


def test_a_coarse_gauge_is_told_with_the_way_out_and_a_fine_one_suits(phone: Phone) -> None:
    coarse = Instrument("coarse", "gauge", "Old dial", "bar", 2.0, None, 16.0)
    fine = replace(coarse, id="fine", name="New dial", resolution=0.05, range_high=10.0)
    made = suits_json(replace(FACTS, instruments={"coarse": coarse, "fine": fine}), "short_tightness")
    rows = [
        {"id": tool.id, "kind": "gauge", "name": tool.name, "serial": "", "calibration_due_date": due}
        for tool, due in ((coarse, "2020-01-31"), (fine, None))
    ]
    change_work(phone, f"(job) => {{ job.suits = {json.dumps(made)}; job.instruments = {json.dumps(rows)}; }}")
    phone.open("log/pressure_test")
    phone.page.reload()

    tools(phone).get_by_role("button", name="Old dial").click()
    expect(tools(phone).locator(".state--fail")).to_have_text("It does not suit")
    expect(tools(phone)).to_contain_text("Use a gauge with steps of 0.1 bar or finer.")
    expect(tools(phone)).to_contain_text("Its calibration ran out on 2020-01-31.")
    expect(phone.page.get_by_role("button", name="Save", exact=True)).to_be_enabled()

    tools(phone).get_by_role("button", name="New dial").click()
    expect(tools(phone).locator(".state--pass")).to_have_text("It suits")
    expect(tools(phone).locator(".state")).to_have_count(1)
    phone.page.get_by_role("button", name="Partly each, or not known").click()
    expect(tools(phone)).to_contain_text("Say how the pipe under test is held.")
