"""Takes the pictures of docs/phone.md again, from a running office and a phone. Look at them before you keep them.

    python -m tests.journeys.phone_pictures

Each is 360 × 740 points, half as many pixels again, in 64 colours: small enough to lie in the repository.
"""

from __future__ import annotations

import io
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import django
from PIL import Image
from playwright.sync_api import Browser, Page, expect, sync_playwright

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "groundloop.settings")
django.setup()

from groundloop.demo import packed  # noqa: E402
from groundloop.demo.browserless import Visitor  # noqa: E402
from groundloop.demo.pictures import picture  # noqa: E402
from tests.conftest import CHROMIUM  # noqa: E402
from tests.field.office import ARGS, PASSWORD, seed  # noqa: E402
from tests.journeys.tapped_phone import TappedPhone  # noqa: E402
from tests.running.server import Server, copy_of, make_template  # noqa: E402

FOLDER = Path(__file__).resolve().parents[2] / "docs" / "pictures"
COLOURS, MOST_BYTES = 64, 60_000


def keep(page: Page, name: str) -> None:
    page.wait_for_timeout(400)  # the form's own "kept" line, and the bar
    image = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    out = FOLDER / f"phone-{name}.png"
    image.quantize(COLOURS, dither=Image.Dither.NONE).save(out, optimize=True)
    size = out.stat().st_size
    sys.stdout.write(f"{out.name}: {size / 1000:.0f} kB\n")
    assert size <= MOST_BYTES, f"{out.name} is too large"


@contextmanager
def standing(chromium: Browser, template: Path, upto: str, kind: str) -> Iterator[tuple[Server, TappedPhone]]:
    """An office of its own, its job as far as `upto`, and a phone that is ready for no signal."""
    with tempfile.TemporaryDirectory(prefix="phone-pictures-") as folder:
        server = Server(copy_of(template, Path(folder) / "data")).start()
        try:
            [crew] = seed(server, upto=upto, kind=kind)
            phone = TappedPhone(chromium, server, crew, device_scale_factor=1.5)
            phone.sign_in(server)
            phone.ready()
            yield server, phone
            phone.context.close()
        finally:
            server.kill9()


def at_the_trench(server: Server, phone: TappedPhone) -> None:
    """The visits, the steps, a figure on the pad; then no signal, a closed hold point, and two entries that wait."""
    page = phone.page
    keep(page, "visits")
    phone.open()
    expect(page.get_by_role("heading", name="Steps", exact=True)).to_be_visible()
    keep(page, "steps")
    server.stop()
    page.get_by_role("button", name="Release for backfill S1, to do").click()
    expect(page.get_by_role("dialog")).to_be_visible()
    keep(page, "hold-point")
    phone.open("log/trench_section/S1")
    page.locator("#field-depth .reading").click()
    for mark in "940":
        page.get_by_role("dialog").get_by_role("button", name=mark, exact=True).click()
    keep(page, "pad")
    phone.log_papers("B1")
    phone.open("log/note")
    page.locator("#field-note textarea").fill("Gate code has changed: ask at the farm.")
    phone.save()
    page.goto(f"{phone.base_url}/field/phone")
    phone.bar("no signal")
    expect(page.get_by_role("heading", name="Not received yet")).to_be_visible()
    keep(page, "waiting")


def under_pressure(server: Server, phone: TappedPhone, photo: Path) -> None:
    """A test that is still running."""
    visitor = Visitor(server.base_url)
    visitor.sign_in(phone.crew.email, PASSWORD)
    work = packed.work_of(visitor.api("GET", "/field/api/pack").json(), phone.crew.job)
    work.log.at = datetime.now(UTC)
    work.tested()
    for entry in work.log.entries[:8]:
        phone.log(entry, photo=photo)
    phone.clock(datetime.fromisoformat(entry["observed_at"]) + timedelta(minutes=6))
    phone.page.wait_for_timeout(1500)  # its clock goes on once a second
    phone.page.evaluate("scrollTo(0, 0)")
    keep(phone.page, "test")


def filling(phone: TappedPhone) -> None:
    """A fill under way, past first colour."""
    start = datetime.now(UTC)
    phone.clock(start)
    phone.open("fill/L1")
    phone.page.get_by_role("button", name="Yes", exact=True).click()
    phone.page.locator(".reading").first.click()
    phone.keyed("24")
    phone.page.get_by_role("button", name="Start: fluid goes in now").click()
    phone.clock(start + timedelta(seconds=425))
    phone.page.get_by_role("button", name="First colour", exact=True).click()
    phone.clock(start + timedelta(seconds=447))
    phone.page.wait_for_timeout(1500)  # its clock goes on once a second
    phone.page.evaluate("scrollTo(0, 0)")
    keep(phone.page, "fill")


def main() -> int:
    with tempfile.TemporaryDirectory(prefix="phone-pictures-") as folder, sync_playwright() as playwright:
        template, photo = Path(folder) / "template", Path(folder) / "photo.png"
        template.mkdir()
        make_template(template)
        photo.write_bytes(picture("trench of the guide"))
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        with standing(chromium, template, "papers", "ground") as (server, phone):
            at_the_trench(server, phone)
        with standing(chromium, template, "joined", "ground") as (server, phone):
            under_pressure(server, phone, photo)
        with standing(chromium, template, "mixed", "fill") as (_, phone):
            filling(phone)
        chromium.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
