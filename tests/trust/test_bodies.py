"""Ids of another firm inside what is sent: in every choice of every form, and in what a phone sends."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from jobs.firms.scope import scope
from jobs.planning.models import Customer, FluidProduct, Instrument, Job, RuleSet, Site
from jobs.visits.models import Entry, Visit
from tests import build, build_entries
from tests.people import signed_in
from tests.trust.test_matrix import FOR_MEMBERS, content
from tests.trust.world import CANARY, Kwargs, World, firm_models

UUID_LIKE = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")


class Form(HTMLParser):
    """The page's own form: what a browser would send, and which fields choose among rows."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.values: dict[str, Any] = {}
        self.choosing: set[str] = set()
        self._select = self._area = ""
        self._inside = 0
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = {name: value or "" for name, value in attrs}
        name, value = found.get("name", ""), found.get("value", "")
        if tag == "form" and found.get("method", "").lower() == "post" and found.get("class", "").startswith("form"):
            self._inside += 1
        if self._inside != 1:
            return
        if tag == "select":
            self._select = name
            self.values.setdefault(name, "")
        elif tag == "textarea":
            self._area = name
        elif tag == "option":
            self._choice(self._select, value, chosen="selected" in found)
        elif tag == "input" and found.get("type") in {"checkbox", "radio"}:
            self._choice(name, value, chosen="checked" in found)
        elif tag == "input" and name:
            self.values[name] = value

    def _choice(self, name: str, value: str, *, chosen: bool) -> None:
        if UUID_LIKE.fullmatch(value):
            self.choosing.add(name)
        if chosen:
            self.values[name] = value

    def handle_data(self, data: str) -> None:
        if self._area:
            self.values[self._area] = data.strip()

    def handle_endtag(self, tag: str) -> None:
        if tag == "form" and self._inside:
            self._inside += 1
        if tag == "textarea":
            self._area = ""


def own_objects(world: World) -> dict[str, Kwargs]:
    """The outsider's own rows, by the names of the table."""
    with scope(world.team.other_firm.pk, writes=False):
        models = {"job": Job, "customer": Customer, "site": Site, "product": FluidProduct, "instrument": Instrument,
                  "rule-set": RuleSet, "visit": Visit}  # fmt: skip
        found = {name: model.objects.order_by("pk").first() for name, model in models.items()}
        job = Job.objects.get()
        below = {"loop": job.loops.first(), "borehole": job.boreholes.first(), "section": job.sections.first()}
    return {
        **{name: {"pk": row.pk} for name, row in found.items() if row},
        **{name: {"pk": job.pk, "row": row.pk} for name, row in below.items() if row},
        "member": {"pk": world.team.outsider.pk},
    }


def foreign_ids(world: World) -> list[str]:
    """One row of each table of the insiders' firm, and one of its people."""
    with scope(world.team.firm.pk, writes=False):
        found = [model.objects.order_by("pk").values_list("pk", flat=True).first() for model in firm_models()]
    return [str(pk) for pk in found if pk] + [str(world.team.crew.pk)]


def forms_of_the_outsider(world: World, client: Client) -> Iterator[tuple[str, Form]]:
    own = own_objects(world)
    for row in FOR_MEMBERS:
        if row.is_api or (row.obj and row.obj not in own):
            continue
        path = reverse(row.name, kwargs=own[row.obj] if row.obj else None)
        page = client.get(path)
        if page.status_code == 200 and not page.streaming:
            form = Form(page.content.decode())
            if form.choosing:
                yield path, form


def test_no_form_takes_a_row_of_another_firm(world: World) -> None:
    client, ids, tried = signed_in(world.team.outsider), foreign_ids(world), 0
    for path, form in forms_of_the_outsider(world, client):
        for name in form.choosing:
            for pk in ids:
                answer = client.post(path, {**form.values, name: pk})
                tried += 1
                assert answer.status_code < 500, (path, name)
                assert CANARY not in content(answer)
    assert tried > 4 * len(ids), "several forms choose among rows"
    assert world.digest() == world.before
    theirs = json.dumps(World(replace(world.team, firm=world.team.other_firm)).digest(), default=str)
    assert not [pk for pk in world.ids if pk in theirs]


@pytest.mark.parametrize("what", ["job", "visit", "author", "instrument", "supersedes", "id"])
def test_an_entry_that_names_another_firms_row_is_not_taken_for_it(world: World, what: str) -> None:
    """Kept, as everything from a phone is; the other firm is neither changed nor shown."""
    team = world.team
    with scope(team.other_firm.pk, writes=False):
        own = Job.objects.get()
    entry = build_entries.Log(own, team.outsider, device=uuid4()).add("note", text={"note": "mine"})
    theirs = {
        "job": world.objects["job"]["pk"], "visit": world.objects["visit"]["pk"], "author": team.crew.pk,
        "instrument": world.objects["instrument"]["pk"], "supersedes": world.objects["held-entry"]["pk"],
        "id": world.objects["held-entry"]["pk"],
    }  # fmt: skip
    entry[what] = str(theirs[what])
    batch = {
        "device": str(uuid4()), "device_label": "", "author": str(team.outsider.pk), "client_build": "test", "schema": 1,
        "sent_at": build.AT.isoformat(), "entries": [entry],
    }  # fmt: skip
    answer = signed_in(team.outsider).post("/field/api/entries", json.dumps(batch), content_type="application/json")
    assert answer.status_code in {200, 400, 403}
    assert CANARY not in content(answer)
    if answer.status_code == 200 and what in {"job", "author", "id"}:
        assert [result["status"] for result in answer.json()["results"]] != ["stored"]
    assert world.digest() == world.before


def test_receipts_are_not_told_for_another_firms_entries(world: World) -> None:
    with scope(world.team.firm.pk, writes=False):
        device = str(Entry.objects.get(pk=world.objects["held-entry"]["pk"]).device)
    found = [
        signed_in(who).get("/field/api/receipts", {"device": device}).json()["results"]
        for who in (world.team.crew, world.team.outsider)
    ]
    assert found[0], "its own people are told"
    assert found[1] == []
