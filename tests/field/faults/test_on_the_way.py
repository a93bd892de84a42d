"""Fault cases 9 to 21, 57 and 60: what happens between the phone and the office, and to one bad entry among many."""

from __future__ import annotations

import time

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.field.fault_proxy import FaultProxy, fault_proxy
from tests.field.faults.notes import a_note, write_notes
from tests.field.office import Phone, entries_of, phone_in, seed, texts_of
from tests.running.server import Server

pytestmark = [pytest.mark.browser, pytest.mark.redis, pytest.mark.long]


def test_the_office_of_the_fault_cases_is_the_composed_one(office: Server) -> None:
    assert office.browser().get("/healthz").headers["Server"] == "gunicorn"
    command = office.process.command
    assert len(office.process.pids()) == 1 + int(command[command.index("--workers") + 1])


def send_now(phone: Phone) -> None:
    phone.page.goto(f"{phone.base_url}/field/phone")
    phone.page.get_by_role("button", name="Send now").click()


def letters(proxy: FaultProxy, least: int, *, within_s: float = 30) -> None:
    """Until so many letters were sent."""
    until = time.monotonic() + within_s
    while proxy.posts() < least:
        assert time.monotonic() < until, f"{proxy.posts()} letters"
        time.sleep(0.05)


def test_a_time_out_while_the_office_commits_late(phone: Phone, proxy: FaultProxy, office: Server) -> None:
    """Case 9: after 20 s the phone gives up and says so; the entry that went in all the same stays one entry."""
    phone.page.clock.install()
    phone.page.reload()
    expect(phone.page.get_by_role("heading", name="Your visits")).to_be_visible()
    proxy.log.clear()
    proxy.mode = "late"
    phone.log_note("Took long")
    letters(proxy, 1)
    proxy.mode = "refuse"  # for what it tries next; the first letter is still under way
    phone.page.clock.fast_forward(21_000)
    phone.bar("1 on this phone – no signal")
    proxy.mode = "pass"
    proxy.late.set()

    phone.page.reload()

    phone.bar("All received")
    assert texts_of(office, phone.crew) == ["Took long"]


@pytest.mark.parametrize("fault", ["404", "500", "throws", "portal", "redirect"])
def test_a_broken_worker_script_replaces_nothing(fault: str, phone: Phone, proxy: FaultProxy) -> None:
    """Cases 12 and 13: the old worker stays, and the page opens with the network gone altogether."""
    proxy.only, proxy.mode = "/field/sw.js", fault
    phone.page.reload()
    expect(phone.page.get_by_role("heading", name="Your visits")).to_be_visible()
    phone.page.evaluate("async () => (await navigator.serviceWorker.getRegistration()).update().catch(() => null)")

    proxy.only, proxy.mode = "/", "refuse"
    phone.page.reload()

    expect(phone.page.get_by_text("Ready for no signal").first).to_be_visible()


def test_a_rest_that_the_office_asks_for_is_kept_until_somebody_taps(
    phone: Phone, proxy: FaultProxy, office: Server
) -> None:
    """Case 15: 429 with Retry-After; neither a new entry nor the network's coming back breaks it, a tap does."""
    proxy.rest, proxy.mode = "600", "429"
    phone.log_note("First")
    phone.bar("busy")
    asked = len(proxy.log)

    phone.log_note("Second")
    phone.page.evaluate("() => window.dispatchEvent(new Event('online'))")
    phone.bar("2 on this phone")
    # `open` loads the page anew, which may ask once; within the life of one page nothing is asked.
    before = len(proxy.log)
    phone.page.evaluate("() => window.dispatchEvent(new Event('online'))")
    phone.page.evaluate("() => navigator.locks.request('field-sync', () => null)")  # every turn before this one is over
    assert len(proxy.log) == before >= asked

    proxy.mode = "pass"
    phone.page.locator("#bar a").click()
    phone.page.get_by_role("button", name="Send now").click()
    phone.bar("All received")
    assert texts_of(office, phone.crew) == ["First", "Second"]


RESTS = [
    ("120", 120),
    ("Fri, 31 Dec 1999 23:59:59 GMT", 59),
    ("Fri, 31 Dec 1999 23:00:00 GMT", 0),
    ("86400", 3600),
    ("soon", 0),
    (None, 0),
]


@pytest.mark.parametrize(("header", "seconds"), RESTS)
def test_a_rest_is_read_in_both_forms_and_never_longer_than_an_hour(
    header: str | None, seconds: int, blank: Page
) -> None:
    """Case 15: RFC 9110, section 10.2.3 (with its own example of a date). An hour: common sense, no source."""
    now = "Date.parse('1999-12-31T23:59:00Z')"
    told = blank.evaluate(f"async (header) => (await import('/field/outbox.js')).restAsked(header, {now})", header)

    assert told == seconds


def test_a_body_over_djangos_own_limit_goes_the_last_way(phone: Phone, proxy: FaultProxy, office: Server) -> None:
    """Case 16: one entry of 1.6 MB is over the limit by itself; the others go in, it stays and is told."""
    write_notes(phone, [a_note("Before"), a_note("x" * 1_600_000), a_note("After")])

    phone.page.reload()
    phone.bar("1 on this phone", within=40_000)

    assert texts_of(office, phone.crew) == ["Before", "After"]
    assert [entry["state"] for entry in phone.stored()] == ["received", "problem", "received"]
    phone.page.goto(f"{phone.base_url}/field/phone")
    expect(phone.page.get_by_role("button", name="Send the stuck ones again")).to_be_visible()


def test_all_twenty_bad(phone: Phone, office: Server) -> None:
    """Case 18: each is kept for a person to look at, and the next good one goes in."""
    write_notes(phone, [a_note("Bad", payload="scribble") for _ in range(20)])

    phone.page.reload()
    phone.bar("All received", within=40_000)
    phone.log_note("Good")
    phone.bar("All received")

    assert [entry["state"] for entry in phone.stored()] == ["held"] * 20 + ["received"]
    assert texts_of(office, phone.crew) == ["Good"]


def strike(phone: Phone, proxy: FaultProxy, times: int) -> None:
    """Sends in one life of the page until so many letters have failed."""
    proxy.log.clear()
    phone.page.goto(f"{phone.base_url}/field/phone")
    for number in range(1, times + 1):
        phone.page.get_by_role("button", name="Send now").click()
        letters(proxy, number)
        phone.page.evaluate("() => navigator.locks.request('field-sync', () => null)")


@pytest.mark.parametrize("raw_too", [False, True])
def test_an_entry_at_which_the_office_stumbles_lets_the_others_pass(
    raw_too: bool, phone: Phone, proxy: FaultProxy, office: Server
) -> None:
    """Case 19: 500 for it alone. After the third time the batch is halved down to it; it goes in as it is, or waits alone."""
    proxy.mode, proxy.raw_too = "poison", raw_too
    write_notes(phone, [a_note(f"Note {number}" + " poison" * (number == 5)) for number in range(12)])

    strike(phone, proxy, 4)

    states = [entry["state"] for entry in phone.stored()]
    assert states.count("received") == 11
    assert states[5] == ("waiting" if raw_too else "held")
    assert texts_of(office, phone.crew) == [f"Note {number}" for number in range(12) if number != 5]
    held = office.rows("SELECT body FROM visits_helditem WHERE body LIKE '%Note 5 poison%' AND body LIKE ?", _of(phone))
    assert len(held) == (0 if raw_too else 1)

    proxy.mode = "pass"  # the office's fault is mended
    send_now(phone)
    phone.bar("All received")
    assert len(texts_of(office, phone.crew)) == (12 if raw_too else 11)


def _of(phone: Phone) -> str:
    return f"%{phone.crew.id}%"


def test_an_entry_that_takes_the_offices_process_with_it_lets_the_others_pass(
    phone: Phone, proxy: FaultProxy, office: Server
) -> None:
    """Case 19: no answer at all for it alone. It stays on the phone: no signal is no reason to call it unreadable."""
    proxy.mode = "crash"
    write_notes(phone, [a_note(f"Note {number}" + " poison" * (number == 5)) for number in range(12)])

    strike(phone, proxy, 4)

    states = [entry["state"] for entry in phone.stored()]
    assert (states.count("received"), states[5]) == (11, "waiting")
    phone.bar("1 on this phone")


def test_an_office_that_fails_at_everything_makes_no_entry_a_problem(
    phone: Phone, proxy: FaultProxy, office: Server
) -> None:
    """Cases 14 and 19: however often it answers 500, nothing is given up and nothing is sent as unreadable."""
    proxy.only, proxy.mode = "/field/api/entries", "500"
    write_notes(phone, [a_note(f"Note {number}") for number in range(5)])
    strike(phone, proxy, 6)
    assert {entry["state"] for entry in phone.stored()} == {"waiting"}

    proxy.mode = "pass"
    send_now(phone)
    phone.bar("All received")
    assert texts_of(office, phone.crew) == [f"Note {number}" for number in range(5)]


def test_a_token_that_died_between_asking_and_sending_is_asked_for_once_more(
    phone: Phone, proxy: FaultProxy, office: Server
) -> None:
    """Case 21: the user sees nothing of it."""
    proxy.mode = "refuse"
    phone.log_note("With a dead token first")
    proxy.only, proxy.mode = "/field/api/entries", "stale"
    proxy.log.clear()

    send_now(phone)

    phone.bar("All received")
    assert proxy.posts() == 2
    assert texts_of(office, phone.crew) == ["With a dead token first"]


def test_a_browser_that_believes_it_is_online_is_not_believed(phone: Phone, proxy: FaultProxy) -> None:
    """Case 57."""
    proxy.only, proxy.mode = "/", "refuse"
    phone.log_note("In the cellar")

    phone.bar("1 on this phone – no signal")
    assert phone.page.evaluate("navigator.onLine") is True


def test_the_office_is_killed_between_two_batches(chromium: Browser, served: Server) -> None:
    """Case 60: 45 entries are three letters; after the first the office's process is killed and started again."""
    crew = seed(served)[0]
    with fault_proxy(served.port) as proxy:
        phone = phone_in(chromium, served, proxy.address, crew)
        phone.ready()
        write_notes(phone, [a_note(f"Note {number}") for number in range(45)])
        proxy.log.clear()
        phone.page.reload()
        letters(proxy, 1)
        served.kill9()
        phone.bar("on this phone – .*(no signal|busy)")
        served.start()

        send_now(phone)
        phone.bar("All received", within=60_000)
        phone.context.close()

    assert texts_of(served, crew) == [f"Note {number}" for number in range(45)]
    assert [row[4] for row in entries_of(served, crew)] == list(range(1, 46))
