"""A firm with the main job, and letters to the phone's side doors."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID, uuid4

from django.test import Client
from django.urls import reverse

from jobs.firms import clock
from jobs.firms.scope import scope
from jobs.planning.models import Job
from jobs.visits import actions as visits
from jobs.visits.models import Entry, VisitKind
from tests import build
from tests.people import Team

NOW = datetime(2026, 3, 9, 12, 0, tzinfo=UTC)


def a_booked_job(team: Team) -> Job:
    """The main job, with a visit to dig and one to fill today."""
    build.instruments(team.firm)
    made = build.a_job(team.firm)
    with scope(team.firm.pk):
        crew = [team.crew, team.engineer]
        for kind in (VisitKind.GROUND, VisitKind.FILL):
            visits.plan_visit(made, by=team.manager, at=NOW, crew=crew, kind=kind, planned_date=today())
    return made


def today() -> date:
    """The day on which the test runs."""
    return clock.now().date()


def batch(entries: list[dict[str, Any]], author: UUID, **changes: Any) -> dict[str, Any]:
    device = entries[0]["device"] if entries and isinstance(entries[0], dict) else str(uuid4())
    return {
        "device": device,
        "device_label": "Site phone 2",
        "author": str(author),
        "client_build": "test",
        "schema": 1,
        "sent_at": datetime.now(UTC).isoformat(),
        "waiting": 0,
        "entries": entries,
    } | changes


def post(client: Client, name: str, body: Any, **kwargs: Any) -> Any:
    data = body if isinstance(body, bytes | str) else json.dumps(body)
    return client.post(reverse(f"field:{name}"), data, content_type="application/json", **kwargs)


def count(team: Team, model: Any = Entry) -> int:
    with scope(team.firm.pk, writes=False):
        return int(model.objects.count())
