"""Fault cases 46, 47 and 58: photos that come before or after their entry, and pictures no camera should make."""

from __future__ import annotations

import io
import json
import time
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import expect

from tests.field.fault_proxy import FaultProxy
from tests.field.office import OPEN, Phone, texts_of
from tests.field.pictures import noise, plain, upright_by_its_tag
from tests.files.pictures import heic
from tests.running.server import Server

pytestmark = [pytest.mark.browser, pytest.mark.redis, pytest.mark.long]


def pick(phone: Phone, data: bytes, folder: Path, name: str = "photo.jpg") -> None:
    file = folder / name
    file.write_bytes(data)
    phone.page.locator("input[type=file]").first.set_input_files(str(file))


def open_photo(phone: Phone) -> None:
    phone.open("log/photo")
    phone.page.get_by_role("button", name="Joint with its number").click()


def photo_here(office: Server, phone: Phone) -> list[tuple[int, int]]:
    """Width and height of the photos of this person that have arrived."""
    named = office.rows(
        "SELECT payload FROM visits_entry WHERE kind = 'photo' AND person_id = ?", phone.crew.id.replace("-", "")
    )
    hashes = [sha for (payload,) in named for sha in json.loads(payload)["photo"]["value"]]
    return [
        (width, height)
        for sha in hashes
        for width, height in office.rows(
            "SELECT width, height FROM files_storedfile WHERE purpose = 'photo' AND sha256 = ?", sha
        )
    ]


@pytest.mark.parametrize("late", ["photo", "entry"])
def test_one_of_photo_and_entry_arrives_and_the_other_not(
    late: str, phone: Phone, proxy: FaultProxy, office: Server, tmp_path: Path
) -> None:
    """Case 46: each waits by itself, and the two find each other by the photo's hash."""
    proxy.mode = "refuse"
    open_photo(phone)
    pick(phone, noise(), tmp_path)
    expect(phone.page.get_by_text("One photo, on this phone")).to_be_visible(timeout=15_000)
    phone.save()
    if late == "entry":  # as after an answer that was lost for good: the phone believes the entry is in
        phone.page.evaluate(SET_STATE, "received")
    proxy.only, proxy.mode = "/field/api/uploads" if late == "photo" else "nothing", "503"
    phone.page.reload()
    phone.bar("1 on this phone" if late == "photo" else "All received|Nothing waits", within=40_000)
    assert len(photo_here(office, phone)) == 0

    proxy.mode = "pass"
    if late == "entry":
        phone.page.evaluate(SET_STATE, "waiting")
    phone.page.reload()

    phone.bar("All received", within=40_000)
    assert len(photo_here(office, phone)) == 1


SET_STATE = (
    f"async (state) => {{{OPEN}"
    """
  const tx = db.transaction("entries", "readwrite");
  const finished = new Promise((done) => { tx.oncomplete = done; });
  tx.objectStore("entries").getAll().onsuccess = (event) => {
    for (const entry of event.target.result) tx.objectStore("entries").put({ ...entry, state, received_at: new Date().toISOString() });
  };
  await finished;
  db.close();
}
"""
)


def test_a_photo_that_lies_on_its_side_arrives_upright_and_without_its_place(
    phone: Phone, office: Server, tmp_path: Path
) -> None:
    """Case 47: orientation 6 of the EXIF standard (CIPA DC-008) is a quarter turn; 800 x 500 must arrive as 500 x 800."""
    open_photo(phone)
    pick(phone, upright_by_its_tag(800, 500), tmp_path)
    expect(phone.page.get_by_text("One photo, on this phone")).to_be_visible(timeout=15_000)
    phone.save()
    phone.bar("All received", within=40_000)

    assert photo_here(office, phone) == [(500, 800)]
    files = [file.read_bytes() for file in (office.data / "media").rglob("*") if file.is_file()]
    assert files
    assert all(not dict(Image.open(io.BytesIO(file)).getexif()) for file in files if file.startswith(b"\xff\xd8"))


def test_sixty_million_pixels_are_made_small_on_the_phone(phone: Phone, office: Server, tmp_path: Path) -> None:
    """Case 47: 9000 x 6700."""
    open_photo(phone)
    pick(phone, plain(9000, 6700), tmp_path)
    expect(phone.page.get_by_text("One photo, on this phone")).to_be_visible(timeout=60_000)
    phone.save()
    phone.bar("All received", within=40_000)

    [(width, height)] = photo_here(office, phone)
    assert max(width, height) == 1600


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("empty.jpg", b"", "This photo is empty. Take it again."),
        (
            "old.tiff",
            b"II*\x00" + bytes(2000),
            "This photo is not saved: it is of a kind that cannot be opened. Set the camera to JPEG",
        ),
        ("text.jpg", b"no picture at all" * 50, "This photo is not saved: it is of a kind that cannot be opened."),
    ],
    ids=["0 bytes", "TIFF", "no picture"],
)
def test_what_cannot_be_opened_is_told_at_once_and_costs_no_answer(
    name: str, data: bytes, said: str, phone: Phone, tmp_path: Path
) -> None:
    """Case 47: told while the thing can still be photographed again; the other answers stand."""
    open_photo(phone)
    pick(phone, data, tmp_path, name)

    expect(phone.page.get_by_text(said)).to_be_visible(timeout=15_000)
    expect(phone.page.locator("[aria-pressed=true]").filter(has_text="Joint with its number")).to_be_visible()
    pick(phone, noise(), tmp_path)
    expect(phone.page.get_by_text("One photo, on this phone")).to_be_visible(timeout=15_000)


def test_a_photo_that_only_the_office_can_open_goes_as_it_is(phone: Phone, office: Server, tmp_path: Path) -> None:
    """Case 47: no browser here opens HEIC; the office makes an upright JPEG of it."""
    open_photo(phone)
    pick(phone, heic(), tmp_path, "new.heic")
    expect(phone.page.get_by_text("the office turns it into a JPEG")).to_be_visible(timeout=15_000)
    phone.save()
    phone.bar("All received", within=40_000)

    assert photo_here(office, phone) == [(64, 96)]


def test_eight_photos_on_a_slow_network_let_a_reading_go_first(
    phone: Phone, proxy: FaultProxy, office: Server, tmp_path: Path
) -> None:
    """Case 58: what is logged while photos are under way does not wait for the last of them."""
    proxy.mode = "refuse"
    open_photo(phone)
    for number in range(8):
        pick(phone, noise(500 + number, 400), tmp_path, f"photo{number}.jpg")
        words = "One photo, on this phone" if number == 0 else f"{number + 1} photos, on this phone"
        expect(phone.page.get_by_text(words)).to_be_visible(timeout=15_000)
    phone.save()
    proxy.slow_s, proxy.mode = 0.5, "slow"
    proxy.log.clear()
    phone.open("log/note")
    phone.page.locator("#field-note textarea").fill("While they go")
    until = time.monotonic() + 30
    while proxy.count("PATCH") < 3:
        assert time.monotonic() < until
        time.sleep(0.05)
    phone.save()
    until = time.monotonic() + 30
    while texts_of(office, phone.crew) != ["While they go"]:
        assert time.monotonic() < until
        time.sleep(0.05)
    in_between = proxy.count("PATCH")
    proxy.slow_s = 0

    phone.bar("All received", within=60_000)

    assert in_between < proxy.count("PATCH")
    assert len(photo_here(office, phone)) == 8
