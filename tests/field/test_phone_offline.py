"""The phone with no office at all: it opens, keeps, survives being killed, and sends once."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect, sync_playwright

from tests.field.fault_proxy import FaultProxy
from tests.field.office import Crew, Phone, entries_of, phone_in, seed
from tests.field.profile import kill_browser, launched
from tests.running.server import Server

pytestmark = pytest.mark.browser


@pytest.fixture
def profile(tmp_path: Path) -> Path:
    return tmp_path / "profile"


def test_entries_made_with_the_office_off_survive_reload_and_kill_and_arrive_once(
    served: Server, chromium_path: str, profile: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
    crew = seed(served)[0]
    with sync_playwright() as playwright:
        phone = Phone(launched(playwright, chromium_path, profile), served.base_url, crew)
        phone.sign_in(served)
        phone.ready()
        served.stop()

        phone.page.reload()
        expect(phone.page.get_by_role("heading", name="Your visits")).to_be_visible()
        phone.log_papers("B1")
        phone.log_papers("B2")
        phone.bar("2 on this phone – no signal, will send by itself while this app is open")
        phone.page.reload()
        expect(phone.page.get_by_text("On this phone").first).to_be_visible()
        kill_browser(profile)

    with sync_playwright() as playwright:
        phone = Phone(launched(playwright, chromium_path, profile), served.base_url, crew)
        phone.page.goto(f"{served.base_url}/field/")  # cold start, office still off
        phone.bar("2 on this phone")
        assert [entry["wire"]["subject"] for entry in phone.stored()] == ["B1", "B2"]
        served.start()
        phone.sign_in(served)  # the kill has cost the cookie, not the entries
        phone.page.reload()
        phone.bar("All received", within=40_000)
        assert phone.problems == []
        phone.context.close()

    assert [(row[1], row[2], row[4]) for row in entries_of(served, crew)] == [
        ("driller_papers", "B1", 1),
        ("driller_papers", "B2", 2),
    ]


@pytest.fixture
def offline(phone: Phone, proxy: FaultProxy) -> Iterator[Phone]:
    proxy.only, proxy.mode = "/", "refuse"
    yield phone
    proxy.mode = "pass"


def test_any_address_below_opens_with_the_office_off(offline: Phone) -> None:
    for path in ("", "phone", "no/such/page", f"visit/{offline.crew.visit}"):
        offline.page.goto(f"{offline.base_url}/field/{path}")
        expect(offline.page.get_by_role("heading").first).to_be_visible()


def test_a_release_past_a_closed_hold_point_is_kept_and_the_hold_point_stays_closed(offline: Phone) -> None:
    offline.open()
    offline.page.get_by_role("button", name="Release for backfill S1, to do").click()
    expect(offline.page.get_by_role("dialog").locator("p").first).to_have_text("Do not cover S1.")
    expect(offline.page.get_by_role("dialog")).to_contain_text("S1 is not inside a passed pressure test.")
    offline.page.get_by_role("button", name="Log it, it will be held").click()
    offline.number("watch_pressure", "2.0")
    offline.yes("positions_taken")
    offline.page.locator("#field-photo").get_by_role("button", name="Not known").click()
    offline.page.get_by_role("button", name="Was not seen").click()
    offline.page.get_by_role("button", name="Save", exact=True).click()
    offline.page.get_by_role("button", name="Yes, with my name").click()

    expect(offline.page.get_by_text("On this phone. Takes no effect: hold point H6 is not released")).to_be_visible()
    step = offline.page.locator(".step").filter(has_text="Release for backfill")
    expect(step).to_contain_text("Hold point H6")
    expect(step.get_by_role("button", name="Release for backfill S1, to do")).to_be_visible()
    assert [entry["kind"] for entry in offline.stored()] == ["backfill_release"]


def test_a_joint_is_warned_of_before_its_form_opens_while_the_papers_of_a_hole_are_refused(offline: Phone) -> None:
    offline.open("log/driller_papers/B1")
    expect(offline.page.get_by_role("heading", name="Driller's papers")).to_be_visible()
    for button in offline.page.get_by_role("button", name="Yes", exact=True).all():
        button.click()
    offline.page.locator("#field-accepted").get_by_role("button", name="No", exact=True).click()
    offline.save()

    offline.open()
    offline.page.get_by_role("button", name="Joints S1, to do").click()
    dialog = offline.page.get_by_role("dialog")
    expect(dialog.locator("p").first).to_have_text("Do not join L1.")
    expect(dialog).to_contain_text("The driller's papers of B1 are not accepted.")
    dialog.get_by_role("button", name="Back to the steps").click()
    offline.page.get_by_role("button", name="Joints S2, to do").click()
    expect(offline.page.get_by_role("heading", level=1, name="Joint")).to_be_visible()


def test_an_override_needs_ten_characters_and_opens_only_its_own_section(offline: Phone) -> None:
    offline.open("log/override/H6:S1")
    offline.page.locator("#field-reason textarea").fill("too short")
    offline.page.get_by_role("button", name="Save", exact=True).click()
    expect(offline.page.get_by_role("alert").first).to_contain_text("write at least 10 characters")
    offline.page.locator("#field-reason textarea").fill("Trench wall is coming in")
    offline.page.get_by_role("button", name="Save", exact=True).click()
    offline.page.get_by_role("button", name="Yes, with my name").click()
    expect(offline.page.get_by_text("Saved on this phone").first).to_be_visible()

    step = offline.page.locator(".step").filter(has_text="Release for backfill")
    expect(step).not_to_contain_text("S1 is not inside")
    expect(step).to_contain_text("S2 is not inside")


def test_what_is_half_typed_comes_back_at_the_same_place(offline: Phone) -> None:
    offline.open("log/trench_section/S2")
    offline.number("depth", "950")
    offline.yes("excavation_inspected")
    expect(offline.page.get_by_text("Not finished. Kept on this phone")).to_be_visible()

    offline.page.reload()

    expect(offline.page.get_by_role("button", name="Depth: 950 mm")).to_be_visible()
    assert offline.page.locator("#field-excavation_inspected [aria-pressed=true]").inner_text() == "Yes"
    assert [draft["subject"] for draft in offline.drafts()] == ["S2"]


def test_looking_at_a_form_leaves_nothing_behind(offline: Phone) -> None:
    offline.open("log/trench_section/S1")
    offline.page.get_by_role("button", name="Back").click()

    expect(offline.page.get_by_role("heading", name="Trench, pipe and test")).to_be_visible()
    assert offline.drafts() == []


IMPOSSIBLE = "Yes, that is what it says"


@pytest.mark.parametrize(
    ("typed", "asked", "yes", "main"),
    [
        ("95", "very low", IMPOSSIBLE, "Change it"),
        ("2500", "very high", "Yes, 2500 mm", "Yes, 2500 mm"),
        ("99999999999999", "very high", IMPOSSIBLE, "Change it"),
    ],
)
def test_an_unusual_number_is_asked_about_and_kept(typed: str, asked: str, yes: str, main: str, offline: Phone) -> None:
    offline.open("log/trench_section/S1")
    offline.page.locator("#field-depth .reading").click()
    offline.page.locator(".pad__line").fill(typed)
    offline.page.get_by_role("button", name="Keep", exact=True).click()

    expect(offline.page.get_by_text(f"{typed} mm is {asked}. Is that right?")).to_be_visible()
    expect(offline.page.locator(".over .keys .key--main")).to_have_text(main)
    offline.page.get_by_role("button", name="Change it").click()
    expect(offline.page.locator(".pad__line")).to_have_value(typed)
    assert offline.page.locator(".pad__line").evaluate("line => line.scrollWidth - line.clientWidth") <= 0
    offline.page.get_by_role("button", name="Keep", exact=True).click()
    offline.page.get_by_role("button", name=yes).click()
    expect(offline.page.get_by_role("button", name=f"Depth: {typed} mm")).to_be_visible()


def test_no_number_is_ever_filled_in_beforehand(offline: Phone) -> None:
    offline.open("log/trench_section/S1")
    offline.page.locator("#field-depth .reading").click()

    expect(offline.page.locator(".pad__line")).to_have_value("")


def test_taking_back_is_a_second_entry(offline: Phone) -> None:
    offline.log_papers("B3")
    offline.page.get_by_role("button", name="Take back").click()
    offline.page.get_by_role("button", name="Take it back").click()
    offline.bar("2 on this phone")

    first, second = offline.stored()
    assert (second["wire"]["supersedes"], second["wire"]["reason"]) == (first["id"], "withdrawn")


def test_a_pressure_test_of_an_hour_asleep_shows_the_true_time(phone: Phone, proxy: FaultProxy) -> None:
    phone.page.clock.install()
    phone.page.goto(f"{phone.base_url}/field/visit/{phone.crew.visit}/log/pressure_test")
    phone.page.get_by_role("button", name="All of them").click()
    for name in ("Short tightness check", "Free in the trench"):
        phone.page.get_by_role("button", name=name).click()
    for field, text in (
        ("test_pressure", "6.0"),
        ("height", "1,5"),
        ("lowest_rating", "10"),
        ("pipe_temperature", "9.5"),
    ):
        phone.number(field, text)
    phone.yes("vented", "shut_off", "safe")
    phone.page.get_by_role("button", name="Save", exact=True).click()
    expect(phone.page.get_by_role("heading", name="Pressure test")).to_be_visible()
    expect(phone.page.locator(".clock__time")).to_have_text(re.compile(r"^0:\d\d$"))

    phone.page.clock.fast_forward("01:00:00")

    expect(phone.page.locator(".clock__time")).to_have_text(re.compile(r"^1:00:\d\d$"))


QUOTA = 3_000_000


def test_a_full_phone_loses_the_photo_and_keeps_the_reading(
    chromium: Browser, office: Server, proxy: FaultProxy, crew: Crew, tmp_path: Path
) -> None:
    """Fault cases 37 to 39: the store is filled to the brim, the reserve gives way for the reading."""
    phone = phone_in(chromium, office, proxy.address, crew)
    session, origin = phone.context.new_cdp_session(phone.page), f"{proxy.address}/"
    session.send("Storage.overrideQuotaForOrigin", {"origin": origin, "quotaSize": QUOTA})
    phone.ready()
    assert session.send("Storage.getUsageAndQuota", {"origin": origin})["overrideActive"]
    proxy.mode = "refuse"
    phone.open()
    phone.page.evaluate(FILL)
    picture = tmp_path / "noise.jpg"
    picture.write_bytes(_noise())

    phone.open("log/photo")
    phone.page.get_by_role("button", name="Joint with its number").click()
    phone.page.locator("input[type=file]").first.set_input_files(str(picture))
    expect(phone.page.get_by_text("This photo is not saved: phone full. The reading is saved.")).to_be_visible(
        timeout=15_000
    )

    phone.log_papers("B4")
    assert [entry["kind"] for entry in phone.stored()] == ["driller_papers"]
    phone.page.reload()
    phone.bar("1 on this phone")


def _noise() -> bytes:
    import io  # noqa: PLC0415 - for this one picture

    from PIL import Image  # noqa: PLC0415

    out = io.BytesIO()
    Image.effect_noise((2400, 1800), 120).convert("RGB").save(out, "JPEG", quality=95)
    return out.getvalue()


# Fills the phone's own store until nothing goes in any more, in smaller and smaller pieces.
FILL = """
async () => {
  const { firm } = JSON.parse(localStorage.getItem("field.who"));
  const db = await new Promise((done) => { const r = indexedDB.open(`field-${firm}`); r.onsuccess = () => done(r.result); });
  const put = (size, key) => new Promise((done) => {
    const tx = db.transaction("photo_bytes", "readwrite", { durability: "strict" });
    tx.objectStore("photo_bytes").put(crypto.getRandomValues(new Uint8Array(Math.min(size, 65536))).buffer, ["filler", key]);
    tx.oncomplete = () => done(true);
    tx.onabort = () => done(false);
  });
  let key = 0;
  for (const size of [65536, 8192, 1024]) for (let misses = 0; misses < 3 && key < 400; key += 1) if (!(await put(size, key))) misses += 1;
  db.close();
}
"""


def test_an_emptied_store_is_noticed_and_told(phone: Phone, proxy: FaultProxy, office: Server) -> None:
    proxy.mode = "refuse"
    phone.log_note("Will be lost")
    phone.page.goto("about:blank")
    session = phone.context.new_cdp_session(phone.page)
    session.send("Storage.clearDataForOrigin", {"origin": phone.base_url, "storageTypes": "indexeddb"})

    phone.page.goto(f"{phone.base_url}/field/")

    expect(phone.page.get_by_role("alert")).to_contain_text("This phone's browser deleted 1 reading")
    proxy.mode = "pass"
    phone.page.get_by_role("button", name="Get the newest work").click()
    expect(phone.page.get_by_text("Ready for no signal").first).to_be_visible()
    deadline = time.monotonic() + 10
    while not (found := office.rows("SELECT detail FROM firms_auditevent WHERE verb = 'phone_lost_entries'")):
        assert time.monotonic() < deadline
        time.sleep(0.2)
    assert '"lost": 1' in found[0][0]


def test_a_photo_goes_in_pieces_and_goes_on_after_a_cut(
    phone: Phone, proxy: FaultProxy, office: Server, tmp_path: Path
) -> None:
    picture = tmp_path / "noise.jpg"
    picture.write_bytes(_noise())
    proxy.mode = "refuse"
    phone.open("log/photo")
    phone.page.get_by_role("button", name="Joint with its number").click()
    phone.page.locator("input[type=file]").first.set_input_files(str(picture))
    expect(phone.page.get_by_text("One photo, on this phone")).to_be_visible(timeout=15_000)
    phone.save()
    phone.bar("2 on this phone")

    proxy.mode = "pass"
    phone.page.reload()

    phone.bar("All received", within=40_000)
    received = office.rows("SELECT size FROM files_storedfile WHERE purpose = 'photo'")
    assert len(received) >= 1
    pieces = [path for method, path in proxy.log if method == "PATCH"]
    assert len(pieces) >= 2


def test_a_new_version_waits_for_the_tap(phone: Phone, proxy: FaultProxy) -> None:
    before = phone.page.evaluate("document.querySelector('meta[name=groundloop-shell]').content")
    proxy.build = "0123456789ab"

    phone.page.reload()
    expect(phone.page.get_by_text("A new version is ready.")).to_be_visible(timeout=15_000)
    assert phone.page.evaluate("document.querySelector('meta[name=groundloop-shell]').content") == before
    phone.page.get_by_role("button", name="Update").click()

    expect(phone.page.locator("meta[name=groundloop-shell][content='0123456789ab']")).to_have_count(1)


def test_an_insecure_address_says_in_red_that_nothing_is_kept(chromium: Browser, office: Server, crew: Crew) -> None:
    """Chromium takes this name for another machine's, so that the page is no secure one."""
    page = chromium.new_page()
    page.route(
        "http://office.lan/**",
        lambda route: route.fulfill(
            response=page.request.get(office.base_url + route.request.url.removeprefix("http://office.lan"))
        ),
    )

    page.goto("http://office.lan/field/")

    expect(page.get_by_role("alert")).to_contain_text("Readings cannot be kept here")
    expect(page.get_by_role("alert")).to_contain_text("This address is not secure")
    page.unroute_all(behavior="ignoreErrors")
    page.close()
