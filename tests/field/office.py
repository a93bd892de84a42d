"""An office with jobs, and phones that belong to its crew: for browser tests."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import Any

from playwright.sync_api import Browser as Chromium
from playwright.sync_api import BrowserContext, Page, expect

from tests.running.server import Server

PASSWORD = "slate-otter-nine-lanterns"  # of every crew member here; Django is set up only in the office's own process

ARGS = [
    "--no-sandbox",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
PHONE: dict[str, Any] = {
    "viewport": {"width": 360, "height": 740},
    "has_touch": True,
    "is_mobile": True,
    "locale": "en-GB",
}
# Each of the crew has a job of their own, so that tests on one office do not see each other.
SEED = """
import json
from datetime import timedelta
from tests import build
from tests.build_entries import happy_entries, send
from tests.people import a_firm, a_user, member
from jobs.firms import clock
from jobs.firms.models import Role
from jobs.firms.scope import scope
from jobs.visits import actions as visits
from jobs.visits.models import VisitKind
now = clock.now()
firm = a_firm()
manager = member(firm, Role.MANAGER, name="Mara Fenwick")
build.instruments(firm)
product, site = build.a_product(firm), build.a_site(firm)
made = []
for number in range({crews}):
    crew = member(firm, Role.CREW, user=a_user(f"Crew {{number}}", email=f"crew{{number}}@example.test", password="{password}"))
    job = build.a_job(firm, title=f"Array {{number}}", site=site, product=product)
    if "{upto}":
        send(happy_entries(job, "{upto}", crew=crew, start=now - timedelta(days=3)), sender=crew)
    with scope(firm.pk):
        visit = visits.plan_visit(job, by=manager, at=now, crew=[crew], kind=VisitKind("{kind}"), planned_date=now.date())
    made.append({{"email": crew.user.email, "id": str(crew.pk), "visit": str(visit.pk), "job": str(job.pk)}})
print(json.dumps(made))
"""


@dataclass(frozen=True)
class Crew:
    email: str
    id: str
    visit: str
    job: str


def seed(server: Server, *, crews: int = 1, upto: str = "", kind: str = "ground") -> list[Crew]:
    told = server.python(SEED.format(crews=crews, upto=upto, kind=kind, password=PASSWORD)).strip().splitlines()[-1]
    return [Crew(**each) for each in json.loads(told)]


def entries_of(server: Server, crew: Crew) -> list[tuple[Any, ...]]:
    """(id, kind, subject, held) of what the office has of this person, past all of the service's own code."""
    return server.rows(
        "SELECT id, kind, subject, held, device_seq FROM visits_entry WHERE person_id = ? ORDER BY device_seq",
        crew.id.replace("-", ""),
    )


def texts_of(server: Server, crew: Crew) -> list[str]:
    """The words of this person's notes in the order of the phone's own numbers."""
    found = server.rows(
        "SELECT text.body FROM visits_entrytext text JOIN visits_entry entry ON entry.id = text.entry_id"
        " WHERE entry.person_id = ? AND entry.kind = 'note' ORDER BY entry.device_seq",
        crew.id.replace("-", ""),
    )
    return [json.loads(body)["note"] for (body,) in found]


class Phone:
    """One phone: its browser context, and what a person does with it."""

    def __init__(self, context: BrowserContext, base_url: str, crew: Crew) -> None:
        self.context, self.base_url, self.crew = context, base_url, crew
        self.page: Page = context.pages[0] if context.pages else context.new_page()
        self.problems: list[str] = []
        self.page.on("pageerror", lambda error: self.problems.append(str(error)))
        self.page.on("console", self._heard)

    def _heard(self, message: Any) -> None:
        """What the policy stops is a fault of ours, but for what a portal sends the browser to: that it must stop."""
        if "Content Security Policy" in message.text and "portal.invalid" not in message.text:
            self.problems.append(message.text)

    def sign_in(self, server: Server, email: str = "") -> None:
        """By the cookies of a sign-in elsewhere: the form itself is tested with accounts."""
        for cookie in server.browser(email or self.crew.email, PASSWORD).cookies:
            self.context.add_cookies([{"name": cookie.name, "value": cookie.value or "", "url": self.base_url}])

    def ready(self) -> None:
        """The first visit, until everything is stored for no signal."""
        self.page.goto(f"{self.base_url}/field/")
        expect(self.page.get_by_text("Ready for no signal").first).to_be_visible(timeout=20_000)

    def open(self, path: str = "") -> None:
        self.page.goto(f"{self.base_url}/field/visit/{self.crew.visit}{'/' if path else ''}{path}")

    def log_note(self, words: str) -> None:
        self.open("log/note")
        self.page.locator("#field-note textarea").fill(words)
        self.save()

    def log_papers(self, hole: str) -> None:
        self.open(f"log/driller_papers/{hole}")
        expect(self.page.get_by_role("heading", name="Driller's papers")).to_be_visible()
        for button in self.page.get_by_role("button", name="Yes", exact=True).all():
            button.click()
        self.save()

    def save(self) -> None:
        self.page.get_by_role("button", name="Save", exact=True).click()
        expect(self.page.get_by_text("Saved on this phone").first).to_be_visible()

    def number(self, field: str, text: str) -> None:
        self.page.locator(f"#field-{field} .reading").click()
        self.page.locator(".pad__line").fill(text)
        self.page.get_by_role("button", name="Keep", exact=True).click()

    def yes(self, *fields: str) -> None:
        for field in fields:
            self.page.locator(f"#field-{field}").get_by_role("button", name="Yes", exact=True).click()

    def bar(self, words: str, *, within: float = 20_000) -> None:
        expect(self.page.locator("#bar")).to_contain_text(re.compile(words), timeout=within)

    def stored(self) -> list[dict[str, Any]]:
        """The entries as they lie in the phone's own store."""
        found: list[dict[str, Any]] = self.page.evaluate(READ, "entries")
        return sorted(found, key=lambda entry: entry["seq"])

    def drafts(self) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = self.page.evaluate(READ, "drafts")
        return found


# The phone's own store, past all of its code.
OPEN = """
  const [name] = (await indexedDB.databases()).map((each) => each.name).filter((each) => each.startsWith("field-"));
  const db = await new Promise((done) => { const r = indexedDB.open(name); r.onsuccess = () => done(r.result); });
"""
READ = (
    f"async (store) => {{{OPEN}"
    """
  const found = await new Promise((done) => { const r = db.transaction(store).objectStore(store).getAll(); r.onsuccess = () => done(r.result); });
  db.close();
  return found;
}
"""
)


CHANGE = (
    f"async () => {{{OPEN}"
    """
  const asked = (request) => new Promise((done) => { request.onsuccess = () => done(request.result); });
  const store = () => db.transaction("pack", "readwrite").objectStore("pack");
  const [key] = await asked(store().getAllKeys());
  const row = await asked(store().get(key));
  (CHANGE)(row.pack.jobs[0], row.pack);
  await asked(store().put(row, key));
  db.close();
}
"""
)


def change_work(phone: Phone, change: str) -> None:
    """Changes the work that the phone has stored, as if the office had sent it so; `change` is a function of job and pack."""
    phone.page.evaluate(CHANGE.replace("(CHANGE)", f"({change})"))


def phone_in(chromium: Chromium, server: Server, base_url: str, crew: Crew) -> Phone:
    phone = Phone(chromium.new_context(**PHONE), base_url, crew)
    phone.sign_in(server)
    return phone
