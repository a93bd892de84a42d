"""The main job, from order to signed sheet, through HTTP without a browser, on a simulated clock.

The service runs as a process of its own, with its own data; this side only fills forms and talks to the phone's API.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid5

from django.conf import settings

from groundloop import env
from groundloop.demo import desk, packed, people, story
from groundloop.demo.browserless import Unexpected, Visitor
from groundloop.demo.pictures import picture
from jobs.sheets import render

Say = Callable[[str], None]
START = story.START - timedelta(days=6)
PATIENCE_S = 90


class Clock:
    """The file that tells the service the time."""

    def __init__(self, file: Path) -> None:
        self.file = file
        self.at = START
        self.set(START)

    def set(self, at: datetime) -> None:
        """Forward only: nothing in a firm happens twice."""
        self.at = max(self.at, at)
        part = self.file.with_suffix(".part")
        part.write_text(self.at.isoformat(), encoding="ascii")
        part.replace(self.file)


@dataclass
class Service:
    """The one process, with a data folder of its own."""

    folder: Path
    port: int
    process: subprocess.Popen[bytes] | None = None
    clock: Clock = field(init=False)

    def __post_init__(self) -> None:
        self.clock = Clock(self.folder / "clock")

    @property
    def base(self) -> str:
        return f"http://localhost:{self.port}"

    def variables(self) -> dict[str, str]:
        return env.with_changes(
            GROUNDLOOP_DATA=str(self.folder), GROUNDLOOP_CLOCK_FILE=str(self.clock.file), GROUNDLOOP_DEMO="1",
            SITE_URL=self.base, WORK_SWEEP_SECONDS="1", DATABASE_URL="", REDIS_URL="",
        )  # fmt: skip

    def manage(self, *words: str) -> None:
        done = subprocess.run(  # noqa: S603 - our own command line
            [sys.executable, "manage.py", *words],
            cwd=settings.BASE_DIR,
            env=self.variables(),
            capture_output=True,
            check=False,
        )
        if done.returncode:
            raise Unexpected(f"manage.py {words[0]}: {done.stderr.decode()[-2000:]}")

    def start(self) -> None:
        self.manage("migrate", "--verbosity", "0")
        self.manage("demo_people")
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(  # noqa: S603 - our own command line
                [sys.executable, "manage.py", "serve", "--port", str(self.port)], cwd=settings.BASE_DIR,
                env=self.variables(), stdout=log, stderr=log,
            )  # fmt: skip
        self.until(self._answers, "the service to answer")

    def _answers(self) -> bool:
        if self.process is not None and self.process.poll() is not None:
            raise Unexpected((self.folder / "log").read_text(encoding="utf-8")[-2000:])
        try:
            return Visitor(self.base).get("/healthz").status == 200
        except OSError:
            return False

    def until(self, ready: Callable[[], Any], what: str) -> Any:
        """Polls until `ready()` is true; background work has the time of a slow machine."""
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            if found := ready():
                return found
            time.sleep(0.3)
        raise Unexpected(f"waited {PATIENCE_S} s in vain for {what}")

    def stop(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(timeout=30)
            except subprocess.TimeoutExpired:
                self.process.kill()

    def mails(self) -> list[str]:
        folder = self.folder / "mail"
        return sorted(file.read_text(encoding="utf-8") for file in folder.glob("*")) if folder.exists() else []


@contextmanager
def service() -> Iterator[Service]:
    folder = Path(tempfile.mkdtemp(prefix="groundloop-headless-"))
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    running = Service(folder, port)
    try:
        running.start()
        yield running
    finally:
        running.stop()
        shutil.rmtree(folder, ignore_errors=True)


@dataclass
class Phone:
    """The crew's phone: sends batches, each entry at its own time, and its photos in pieces."""

    visitor: Visitor
    service: Service
    sent: int = 0

    def pack(self) -> dict[str, Any]:
        found: dict[str, Any] = self.visitor.api("GET", "/field/api/pack").json()
        return found

    def send(self, entries: list[dict[str, Any]]) -> None:
        """One by one, because the clock goes on between them; each must be stored."""
        for entry in entries:
            at = datetime.fromisoformat(entry["recorded_at"]) + timedelta(seconds=10)
            self.service.clock.set(at)
            result = self._post(entry, at)
            if result["status"] not in {"stored", "duplicate"}:
                raise Unexpected(f"{entry['kind']} {entry['subject']}: {result['status']} {result.get('why')}")
            self.sent += 1

    def _post(self, entry: dict[str, Any], at: datetime) -> dict[str, Any]:
        batch = {
            "device": entry["device"], "device_label": "Crew phone", "author": entry["author"], "client_build": "headless",
            "schema": 1, "sent_at": at.isoformat(), "waiting": 0, "entries": [entry],
        }  # fmt: skip
        answer = self.visitor.api("POST", "/field/api/entries", batch).json()
        result: dict[str, Any] = answer["results"][0]
        return result

    def send_photo(self, name: str) -> None:
        data = picture(name)
        digest = hashlib.sha256(data).hexdigest()
        address = f"/field/api/uploads/{uuid5(story.DEVICE, digest)}"
        self.visitor.api("POST", address, {"size": len(data), "sha256": digest, "content_type": "image/png"})
        for offset in range(0, len(data), 65536):
            self.visitor.api(
                "PATCH", address, raw=data[offset : offset + 65536], Content_Type="application/octet-stream",
                Upload_Offset=str(offset),
            )  # fmt: skip


def run(*, out: Path, say: Say) -> None:
    """Runs the job and writes `sheet.pdf` and `facts.json` into `out`."""
    out.mkdir(parents=True, exist_ok=True)
    say("Starting the service on a simulated clock ...")
    with service() as running:
        job = desk.order(_person(running, "office"), _person(running, "manager"), running.clock.at, say)
        log = _field_work(running, job, say)
        _overdue(running, job, log, say)
        sheet = _review(running, job, log, say)
        _write(running, sheet, out, say)


def _person(running: Service, name: str) -> Visitor:
    person = next(each for each in people.PEOPLE if each.email.startswith(name))
    visitor = Visitor(running.base)
    visitor.sign_in(person.email, person.password)
    return visitor


def _field_work(running: Service, job: desk.Ordered, say: Say) -> story.Log:
    say("The crew stores the work pack and works ...")
    running.clock.set(story.START)
    phone = Phone(_person(running, "crew"), running)
    pack = phone.pack()
    work = packed.work_of(pack, job.id)
    for stage in story.STAGES[: story.STAGES.index("running") + 1]:
        before = len(work.log.entries)
        getattr(work, stage)()
        phone.send(work.log.entries[before:])
        say(f"  {stage}: {len(work.log.entries) - before} entries received")
    for name in packed.photos_named(work.log):
        phone.send_photo(name)
    return work.log


def _overdue(running: Service, job: desk.Ordered, log: story.Log, say: Say) -> None:
    say("Nobody comes back for the de-aeration run ...")
    due = log.at + timedelta(days=10)
    running.clock.set((due + timedelta(days=2)).replace(hour=9, minute=0))
    office = _person(running, "office")
    mails = running.until(lambda: [mail for mail in running.mails() if "de-aeration" in mail.lower()], "a reminder")
    if "overdue" not in office.get(f"/jobs/{job.id}/").text:
        raise Unexpected("the job page does not say that the run is overdue")
    say(f"  {len(mails)} reminders went out by mail, and the job page says so")
    desk.plan(office, job, (("follow_up", 0), ("final", 1)), running.clock.at)
    log.at = running.clock.at
    phone = Phone(_person(running, "crew"), running)
    work = packed.work_of(phone.pack(), job.id, log)
    for stage in ("checked", "final", "submitted"):
        before = len(log.entries)
        getattr(work, stage)()
        phone.send(log.entries[before:])
        say(f"  {stage}: {len(log.entries) - before} entries received")
    for name in packed.photos_named(log):
        phone.send_photo(name)


def _review(running: Service, job: desk.Ordered, log: story.Log, say: Say) -> str:
    say("The manager reviews ...")
    manager = _person(running, "manager")
    desk.sheet_of(manager, job)  # before the clock goes on: else the sweep decides at what time the sheet came in
    running.clock.set(log.at + timedelta(hours=3))
    sheet = desk.sheet_of(manager, job)
    running.clock.set(log.at + timedelta(hours=4))
    wrong = next(entry for entry in log.entries if entry["kind"] == "static_pressure")
    desk.send_back(
        manager, sheet, entry=wrong["id"], field="precharge", text="0.5 bar: was the vessel empty when you read it?"
    )
    say("  one field is sent back to the crew")
    running.clock.set(log.at + timedelta(hours=6))
    log.at = running.clock.at
    crew = Phone(_person(running, "crew"), running)
    asks = [ask for each in crew.pack()["jobs"] for ask in each["asks"]]
    if [ask["entry"] for ask in asks] != [wrong["id"]]:
        raise Unexpected(f"the phone shows {asks}")
    crew.send([packed.corrected(log, wrong, precharge=story.n("0.7", "bar"))])
    desk.sheet_of(manager, job)  # as above
    crew.send([log.add("sheet_submit", "", after=3, complete=True)])
    say("  the crew corrects it on the phone and hands the sheet in again")
    running.clock.set(log.at + timedelta(hours=2))
    sheet = desk.sheet_of(manager, job)
    answered = desk.answer_all(manager, sheet)
    desk.approve(manager, sheet)
    say(f"  {answered} findings answered, revision approved")
    return sheet


def _write(running: Service, sheet: str, out: Path, say: Say) -> None:
    say("The PDF is made in the background ...")
    manager = _person(running, "manager")
    facts = manager.get(f"{sheet}facts")
    (out / "facts.json").write_bytes(facts.body)
    digest = hashlib.sha256(facts.body).hexdigest()
    say(f"  facts.json {len(facts.body)} bytes, SHA-256 {digest}")

    if sentence := render.missing():
        (out / "sheet.html").write_bytes(manager.get(f"{sheet}print").body)
        say(f"  {sentence}")
        say(f"Done without a PDF: {out / 'sheet.html'} is the sheet as a page to print")
        return
    running.until(lambda: json.loads(manager.get(f"{sheet}progress").body)["ready"], "the PDF")
    pdf = manager.get(f"{sheet}pdf").body
    (out / "sheet.pdf").write_bytes(pdf)
    say(f"  sheet.pdf {len(pdf)} bytes")
    say(f"Done: {out}")
