"""What the phone may cost, measured in Chromium under fixed throttling. Ends with 1 when a budget is broken.

    python -m tests.bench.phone

Budgets: the whole shell 60 kB on the wire, a first visit 3.0 s at slow 3G and a sixth of the CPU, a repeat visit 1.0 s with the
office off, a saved reading 100 ms, a photo 1 MB. The same holds for a phone on which 500 entries wait. How long those take to
go in at slow 3G is told for the record: there is no budget. Times depend on the machine; the medians of three.
"""

from __future__ import annotations

import json
import statistics
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Page, expect, sync_playwright

from tests.conftest import CHROMIUM
from tests.field.faults.notes import a_note, write_notes
from tests.field.office import ARGS, Crew, Phone, entries_of, phone_in, seed
from tests.running.server import Server, make_template

SLOW_3G = {"offline": False, "latency": 400, "downloadThroughput": 400 * 1024 / 8, "uploadThroughput": 400 * 1024 / 8}
CPU = 6
RUNS = 3
WAITING = 500


def say(line: str) -> None:
    sys.stdout.write(line + "\n")


@dataclass(frozen=True)
class Budget:
    """One line of the table."""

    what: str
    most: float
    unit: str
    measured: float

    @property
    def is_kept(self) -> bool:
        return self.measured <= self.most


def told(server: Server, name: str) -> Any:
    """A constant of the worker's script."""
    worker = urllib.request.urlopen(f"{server.base_url}/field/sw.js").read().decode()
    line = next(line for line in worker.splitlines() if line.startswith(f"const {name} = "))
    return json.loads(line.removeprefix(f"const {name} = ").removesuffix(";"))


def on_the_wire(server: Server, path: str, encoding: str = "gzip, br") -> int:
    """Bytes of the body as a phone gets it: brotli where its connection is safe, gzip else."""
    request = urllib.request.Request(server.base_url + path, headers={"Accept-Encoding": encoding})
    return len(urllib.request.urlopen(request).read())


def weights(server: Server) -> Iterator[Budget]:
    """What crosses the network on a first visit: page, styles, first scripts, icon, parcel. The worker's script is told beside it."""
    urls: list[str] = ["/field/", *told(server, "ASSETS"), told(server, "PARCEL")]
    sizes = {url: on_the_wire(server, url) for url in urls}
    shell = urllib.request.urlopen(f"{server.base_url}/field/").read()
    first = [url for url in told(server, "ASSETS") if url.encode() in shell]
    scripts = [url for url in first if url.endswith(".js")]
    plain = sum(on_the_wire(server, url, "gzip") for url in urls)
    whole, worker = sum(sizes.values()), on_the_wire(server, "/field/sw.js")
    say(f"  (whole shell: {whole / 1000:.1f} kB with brotli, {plain / 1000:.1f} kB with gzip)")
    say(f"  (with the worker's script, which is not in the budget: {(whole + worker) / 1000:.1f} kB with brotli)")
    yield Budget("whole shell on the wire", 60, "kB", whole / 1000)
    yield Budget("scripts before the first screen", 35, "kB", sum(sizes[url] for url in scripts) / 1000)
    yield Budget("styles", 10, "kB", sum(size for url, size in sizes.items() if url.endswith(".css")) / 1000)
    yield Budget("requests before the first screen", 12, "", 1 + len(first))


def throttle(page: Page, *, network: bool) -> None:
    session = page.context.new_cdp_session(page)
    session.send("Emulation.setCPUThrottlingRate", {"rate": CPU})
    if network:
        session.send("Network.enable")
        session.send("Network.emulateNetworkConditions", SLOW_3G)


USABLE = "() => document.documentElement.dataset.usable === '1'"


def until(page: Page, claim: str, within_s: float = 30, *, every_s: float = 0.01) -> float:
    """Seconds since the navigation began until the claim holds, by the page's own clock. Asking costs the page time too."""
    end = time.monotonic() + within_s
    while time.monotonic() < end:
        if page.evaluate(claim):
            found: float = page.evaluate("() => performance.now()")
            return found / 1000
        time.sleep(every_s)
    raise AssertionError(f"never: {claim}")


def first_visit(chromium: Browser, server: Server, crew: Crew) -> float:
    phone = phone_in(chromium, server, server.base_url, crew)
    throttle(phone.page, network=True)
    phone.page.goto(f"{server.base_url}/field/", wait_until="commit")
    seconds = until(phone.page, USABLE)
    phone.context.close()
    return seconds


def repeat_visit(phone: Phone) -> float:
    """Every visit drawn from the phone's own store."""
    phone.page.goto(f"{phone.base_url}/field/", wait_until="commit")
    return until(phone.page, "() => document.querySelectorAll('.visit').length > 0")


SAVE = """
() => new Promise((done) => {
  const bar = document.getElementById("bar");
  const button = [...document.querySelectorAll(".act .key")].find((each) => each.textContent === "Save");
  const began = performance.now();
  new MutationObserver((_, observer) => {
    if (!bar.textContent.includes("Saved on this phone")) return;
    observer.disconnect();
    done(performance.now() - began);
  }).observe(bar, { childList: true, subtree: true, characterData: true });
  button.click();
})
"""


def save(phone: Phone) -> float:
    """Milliseconds from the tap to the words."""
    phone.open("log/note")
    phone.page.locator("#field-note textarea").fill("Budget")
    phone.page.wait_for_timeout(11_000 if phone.page.get_by_text("Saved on this phone").count() else 500)
    found: float = phone.page.evaluate(SAVE)
    return found


PHOTO = """
async (module) => {
  const { shrunk } = await import(module);
  const canvas = new OffscreenCanvas(4000, 3000);
  const pen = canvas.getContext("2d");
  const noise = pen.createImageData(4000, 3000);
  for (let at = 0; at < noise.data.length; at += 65536) crypto.getRandomValues(noise.data.subarray(at, at + 65536));
  for (let at = 3; at < noise.data.length; at += 4) noise.data[at] = 255;
  pen.putImageData(noise, 0, 0);
  const blob = await canvas.convertToBlob({ type: "image/jpeg", quality: 0.95 });
  return (await shrunk(new File([blob], "a.jpg", { type: "image/jpeg" }))).bytes.byteLength;
}
"""


def waiting_list(phone: Phone) -> float:
    """The list of what is not received yet, drawn from the phone's own store."""
    phone.page.goto(f"{phone.base_url}/field/phone", wait_until="commit")
    return until(phone.page, "() => document.querySelectorAll('#screen li.row').length > 0")


def flush(server: Server, phone: Phone) -> float:
    """Seconds until the office has every entry once and the phone says so."""
    open_here = [each for each in phone.stored() if each["state"] == "waiting"]
    expected = len(entries_of(server, phone.crew)) + len(open_here)
    throttle(phone.page, network=True)
    phone.page.goto(f"{phone.base_url}/field/phone", wait_until="commit")
    received = "() => document.getElementById('bar')?.textContent.includes('All received')"
    seconds = until(phone.page, received, 300, every_s=0.5)
    arrived = len(entries_of(server, phone.crew))
    if arrived != expected:
        raise AssertionError(f"{arrived} entries at the office, {expected} expected")
    return seconds


def many_waiting(phone: Phone) -> Iterator[Budget]:
    """With the office off: what a phone feels like that had no signal for weeks."""
    write_notes(phone, [a_note(f"Waiting note {number}") for number in range(WAITING)])
    expect_waiting(phone)
    yield Budget(f"repeat visit, {WAITING} waiting", 1.0, "s", median(lambda: repeat_visit(phone)))
    yield Budget(f"list of {WAITING} waiting drawn", 1.0, "s", median(lambda: waiting_list(phone)))
    yield Budget(f"save a reading, {WAITING} waiting", 100, "ms", median(lambda: save(phone)))


def expect_waiting(phone: Phone) -> None:
    phone.page.goto(f"{phone.base_url}/field/phone")
    expect(phone.page.get_by_role("main")).to_contain_text(f"and {WAITING - 60}", timeout=20_000)


def median(measure: Callable[[], float]) -> float:
    return statistics.median(measure() for _ in range(RUNS))


def budgets(chromium: Browser, server: Server, crew: Crew) -> Iterator[Budget]:
    yield from weights(server)
    yield Budget("first visit, slow 3G, CPU/6", 3.0, "s", median(lambda: first_visit(chromium, server, crew)))
    phone = phone_in(chromium, server, server.base_url, crew)
    phone.ready()
    module = next(url for url in told(server, "LATER") if "/picture." in url)
    yield Budget("photo of 12 megapixels of noise", 1000, "kB", phone.page.evaluate(PHOTO, module) / 1000)
    throttle(phone.page, network=False)
    yield Budget("save a reading, CPU/6", 100, "ms", median(lambda: save(phone)))
    phone.bar("All received")
    server.stop()
    yield Budget("repeat visit, office off, CPU/6", 1.0, "s", median(lambda: repeat_visit(phone)))
    expect(phone.page.get_by_role("heading", name="Your visits")).to_be_visible()
    yield from many_waiting(phone)
    server.start()
    say(f"  ({WAITING} waiting received at slow 3G, CPU/6, once each: {flush(server, phone):.0f} s)")
    phone.context.close()


@contextmanager
def running() -> Iterator[tuple[Server, Crew]]:
    with tempfile.TemporaryDirectory(prefix="phone-budget-") as folder:
        data = Path(folder) / "data"
        data.mkdir()
        make_template(data)
        server = Server(data).start()
        try:
            yield server, seed(server, upto="tested")[0]
        finally:
            if server.process.running:
                server.kill9()


def main() -> int:
    if not CHROMIUM:
        say("No Chromium found: apt-get install chromium")
        return 2
    with running() as (server, crew), sync_playwright() as playwright:
        chromium: Any = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        found = list(budgets(chromium, server, crew))
        chromium.close()
    for budget in found:
        mark = "kept  " if budget.is_kept else "BROKEN"
        say(f"{mark} {budget.what}: {budget.measured:.2f} of {budget.most:g} {budget.unit}")
    return 0 if all(budget.is_kept for budget in found) else 1


if __name__ == "__main__":
    sys.exit(main())
