"""A clock that jumps, forward or back: seen by the phone at once or at the next contact, told on the screen and to the office."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.field.fault_proxy import FaultProxy
from tests.field.office import Phone
from tests.running.server import Server

pytestmark = pytest.mark.browser
MINUTE = 60_000
# The module with clocks that stand where the case puts them: `wall` is the phone's, `page` runs forward only, `office` is right.
RUN = """
async (steps) => {
  localStorage.clear();
  let [wall, page, office] = [1e12, 0, 1e12];
  Date.now = () => wall;
  performance.now = () => page;
  const clock = await import("/field/clock.js");
  clock.watchClock(() => null);
  const pass = (ms) => { wall += ms; page += ms; office += ms; };
  const ways = {
    pass, put: (ms) => { wall += ms; },
    sleep: (ms) => { wall += ms; office += ms; document.dispatchEvent(new Event("visibilitychange")); },
    contact: () => clock.contact(new Date(office).toISOString(), wall, wall),
    look: () => clock.movedBy(), saved: () => clock.noted(clock.movedBy()), right: () => clock.callRight(),
  };
  for (const [name, ms] of steps) ways[name](ms);
  return [clock.told().split(":")[0], clock.movedBy()];
}
"""
HOUR = 60 * MINUTE
CASES: dict[str, tuple[list[list[Any]], list[Any]]] = {
    "an hour of work": ([["contact"], ["pass", HOUR], ["look"], ["contact"]], ["", 0]),
    "forward": ([["contact"], ["put", HOUR], ["look"]], ["This phone's clock jumped forward by 60 min", 3600]),
    "back": ([["contact"], ["put", -HOUR], ["look"]], ["This phone's clock went back by 60 min", -3600]),
    "told once": ([["put", HOUR], ["saved"], ["pass", HOUR]], ["This phone's clock jumped forward by 60 min", 0]),
    "forward, at the office": ([["contact"], ["put", HOUR], ["look"], ["contact"]], ["This phone's clock is 60 min fast", 3600]),
    "asleep meanwhile": ([["contact"], ["sleep", HOUR], ["look"], ["contact"]], ["", 0]),
    "put forward asleep": (
        [["contact"], ["sleep", HOUR], ["put", 3 * HOUR], ["sleep", 0], ["contact"]],
        ["This phone's clock is 3 h fast", 10800],
    ),
    "slept in the open": ([["contact"], ["put", HOUR], ["look"], ["put", -HOUR], ["pass", HOUR], ["look"], ["contact"]], ["", 0]),
    "always five minutes fast": ([["put", 5 * MINUTE], ["contact"]], ["This phone's clock is 5 min fast", 300]),
    "called right": ([["put", 5 * MINUTE], ["contact"], ["right"], ["pass", HOUR], ["contact"]], ["", 300]),
    "two years": ([["put", -730 * 24 * HOUR], ["contact"]], ["This phone's clock is 730 days slow", -63072000]),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_what_is_seen_of_a_clock(name: str, blank: Page) -> None:
    steps, wanted = CASES[name]

    assert blank.evaluate(RUN, steps) == wanted


@pytest.mark.long
@pytest.mark.parametrize(
    ("hours", "words", "code"), [(1, "jumped forward", "put_forward"), (-1, "went back", "put_back")]
)
def test_a_clock_that_jumps_is_told_on_the_screen_and_to_the_office(
    hours: int, words: str, code: str, phone: Phone, proxy: FaultProxy, office: Server
) -> None:
    proxy.mode = "refuse"
    phone.page.clock.install()
    phone.page.reload()
    phone.log_note("Before")
    phone.open("log/note")
    expect(phone.page.locator("#field-note textarea")).to_be_visible()
    phone.page.clock.set_system_time(datetime.now(UTC) + timedelta(hours=hours))
    phone.page.clock.run_for(11_000)
    expect(phone.page.locator("#bar")).to_contain_text(f"This phone's clock {words} by 60 min: set it")
    phone.page.locator("#field-note textarea").fill("After")
    phone.save()
    phone.page.clock.set_system_time(datetime.now(UTC))
    proxy.mode = "pass"
    phone.page.reload()
    phone.bar("All received")
    expect(phone.page.locator("#bar")).not_to_contain_text("clock")

    found = office.rows(
        "SELECT found.code, found.value FROM visits_receiptfinding found JOIN visits_entry entry ON found.entry_id = entry.id"
        " WHERE found.code LIKE 'put%' AND entry.person_id = ? ORDER BY entry.device_seq",
        phone.crew.id.replace("-", ""),
    )
    assert found[0] == (code, pytest.approx(3600, abs=120))
