"""The main job in the database, with its photos, and short ways to take it through the review."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from PIL import Image

from jobs.files import actions as files
from jobs.firms.scope import scope
from jobs.planning import queries as planning
from jobs.planning.models import Job
from jobs.sheets import actions, queries
from jobs.sheets.models import Finding, Severity, Sheet
from jobs.visits.models import Entry
from tests.build import a_job, instruments
from tests.build_entries import Log, happy_log, n, send
from tests.people import Team


def picture(name: str) -> bytes:
    """A small photo, another for every name."""
    shade = hashlib.sha256(name.encode()).digest()
    out = io.BytesIO()
    Image.new("RGB", (640, 480), (shade[0], shade[1], shade[2])).save(out, "JPEG")
    return out.getvalue()


def with_photos(entries: list[dict[str, Any]], team: Team, at: datetime) -> None:
    """Puts real pictures behind the photos that the entries name."""
    with scope(team.firm.pk):
        for entry in entries:
            for name in ("photo", "gauge"):
                if isinstance(entry["payload"].get(name), dict):
                    file = files.put_photo(picture(f"{entry['id']} {name}"), at=at)
                    entry["payload"][name] = {"value": [file.sha256]}


@dataclass
class World:
    team: Team
    job: Job
    log: Log
    at: datetime
    sent: list[dict[str, Any]] = field(default_factory=list)

    def scope(self) -> Any:
        return scope(self.team.firm.pk)

    def sheet(self) -> Sheet:
        """The newest revision, brought up to date."""
        with self.scope():
            found = actions.catch_up(self.job)
            assert found
            return queries.sheets().get(pk=found.pk)

    def later(self, hours: float = 1) -> datetime:
        self.at += timedelta(hours=hours)
        return self.at

    def findings(self, sheet: Sheet) -> list[Finding]:
        with self.scope():
            return queries.findings_of(sheet)

    def settle(self, sheet: Sheet) -> None:
        """The manager answers what asks and waives what blocks."""
        with self.scope():
            for row in queries.open_findings(sheet):
                actions.answer_finding(
                    row, text="Talked it over with the crew.", waive=row.severity == Severity.BLOCK,
                    by=self.team.manager, at=self.later(),
                )  # fmt: skip

    def approve(self) -> Sheet:
        sheet = self.sheet()
        self.settle(sheet)
        with self.scope():
            return actions.approve(sheet, seen_version=sheet.seen_version, by=self.team.manager, at=self.later())

    def entry(self, kind: str, subject: str = "") -> Entry:
        """The last one of this kind."""
        with self.scope():
            found: Entry = Entry.objects.filter(job=self.job, kind=kind, subject=subject).order_by("-device_seq")[0]
            return found

    def correct(self, entry: Entry, **answers: Mapping[str, Any]) -> dict[str, Any]:
        """The crew corrects an entry on the phone."""
        self.log.at = self.later()
        made = self.log.add(
            entry.kind, entry.subject, supersedes=str(entry.pk), reason="asked", by=entry.person,
            **{**entry.payload, **answers},
        )  # fmt: skip
        made["instrument"] = str(entry.instrument) if entry.instrument else None
        send([made], sender=self.team.crew)
        return made

    def logs(self, kind: str, subject: str = "", **answers: Any) -> dict[str, Any]:
        self.log.at = self.later()
        made = self.log.add(kind, subject, **answers)
        send([made], sender=self.team.crew)
        return made


def handed_in(team: Team, upto: str = "submitted", *, photos: bool = True) -> World:
    instruments(team.firm)
    job = a_job(team.firm)
    log = happy_log(job, upto, crew=team.crew, engineer=team.engineer)
    if photos:
        with_photos(log.entries, team, log.at)
    send(log.entries, sender=team.crew)
    with scope(team.firm.pk, writes=False):
        found = planning.job_by_number(job.number)
    assert found
    return World(team, found, log, log.at + timedelta(hours=2), log.entries)


__all__ = ["World", "handed_in", "n", "picture"]
