"""Fault cases 1 to 5 and 48: killed, left, come back to."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.field.fault_proxy import FaultProxy
from tests.field.office import OPEN, Crew, Phone, texts_of
from tests.field.pictures import noise
from tests.field.profile import Kept, kept_phone
from tests.running.server import Server

pytestmark = [pytest.mark.browser, pytest.mark.redis, pytest.mark.long]


def offline(kept: Kept, office: Server, proxy: FaultProxy) -> Phone:
    """Signed in, everything stored, and then no network."""
    kept.phone.sign_in(office)
    kept.phone.ready()
    proxy.only, proxy.mode = "/", "refuse"
    return kept.phone


def test_killed_right_after_save(
    office: Server, proxy: FaultProxy, crew: Crew, chromium_path: str, tmp_path: Path
) -> None:
    """Case 3: *Saved on this phone* has been read; what follows is SIGKILL."""
    with kept_phone(chromium_path, tmp_path / "profile", proxy.address, crew) as kept:
        offline(kept, office, proxy).log_note("The last thing before the battery went")
        kept.kill()

        phone = kept.again()
        phone.bar("1 on this phone")
        proxy.mode = "pass"
        phone = again_signed_in(kept, office)
        phone.bar("All received", within=40_000)

    assert texts_of(office, crew) == ["The last thing before the battery went"]


def again_signed_in(kept: Kept, office: Server) -> Phone:
    kept.phone.sign_in(office)
    kept.phone.page.reload()
    return kept.phone


def test_killed_while_typing(office: Server, proxy: FaultProxy, crew: Crew, chromium_path: str, tmp_path: Path) -> None:
    """Case 4: the draft stands again where it was, down to the last 300 ms."""
    with kept_phone(chromium_path, tmp_path / "profile", proxy.address, crew) as kept:
        phone = offline(kept, office, proxy)
        phone.open("log/trench_section/S1")
        phone.number("depth", "950")
        expect(phone.page.get_by_text("Not finished. Kept on this phone")).to_be_visible()
        kept.kill()

        phone = kept.again()
        phone.page.get_by_role("button", name="Trench section S1").click()

        expect(phone.page.get_by_role("button", name="Depth: 950 mm")).to_be_visible()
        assert phone.stored() == []


def test_killed_between_the_entry_and_its_photo(
    office: Server, proxy: FaultProxy, crew: Crew, chromium_path: str, tmp_path: Path
) -> None:
    """Case 5: the photo is kept when it is picked and let go with its entry; a kill in between is made good at the start."""
    picture = tmp_path / "photo.jpg"
    picture.write_bytes(noise())
    with kept_phone(chromium_path, tmp_path / "profile", proxy.address, crew) as kept:
        phone = offline(kept, office, proxy)
        pick(phone, picture)
        phone.save()
        # As the store lies when the kill falls after the entry's transaction and before the photo's.
        phone.page.evaluate(BACK_TO_DRAFT)
        kept.kill()

        phone = kept.again()
        phone.bar("2 on this phone")
        proxy.mode = "pass"
        again_signed_in(kept, office).bar("All received", within=40_000)

    [(payload,)] = office.rows(
        "SELECT payload FROM visits_entry WHERE kind = 'photo' AND person_id = ?", crew.id.replace("-", "")
    )
    here = [name for (name,) in office.rows("SELECT sha256 FROM files_storedfile WHERE purpose = 'photo'")]
    assert any(name in payload for name in here)


def pick(phone: Phone, picture: Path) -> None:
    phone.open("log/photo")
    phone.page.get_by_role("button", name="Joint with its number").click()
    phone.page.locator("input[type=file]").first.set_input_files(str(picture))
    expect(phone.page.get_by_text("One photo, on this phone")).to_be_visible(timeout=15_000)


BACK_TO_DRAFT = (
    f"async () => {{{OPEN}"
    """
  const tx = db.transaction("photos", "readwrite");
  const finished = new Promise((done) => { tx.oncomplete = done; });
  tx.objectStore("photos").getAll().onsuccess = (event) => {
    for (const photo of event.target.result) tx.objectStore("photos").put({ ...photo, state: "draft" });
  };
  await finished;
  db.close();
}
"""
)


def test_reloaded_while_the_camera_is_open(phone: Phone, proxy: FaultProxy, tmp_path: Path) -> None:
    """Case 48: the phone drops the page behind its camera; what was answered before stands at the same place."""
    picture = tmp_path / "photo.jpg"
    picture.write_bytes(noise())
    proxy.mode = "refuse"
    phone.open("log/photo")
    phone.page.get_by_role("button", name="Joint with its number").click()
    with phone.page.expect_file_chooser():
        phone.page.get_by_text("Take photo").click()
    expect(phone.page.get_by_text("Not finished. Kept on this phone")).to_be_visible()

    phone.page.reload()

    chosen = phone.page.locator("[aria-pressed=true]").filter(has_text="Joint with its number")
    expect(chosen).to_be_visible()
    phone.page.locator("input[type=file]").first.set_input_files(str(picture))
    expect(phone.page.get_by_text("One photo, on this phone")).to_be_visible(timeout=15_000)
    phone.save()
    phone.bar("2 on this phone")
