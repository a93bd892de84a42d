"""The work pack: all of one's own visits, nothing of anybody else's."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from jobs.firms.scope import scope
from jobs.planning.models import Job
from jobs.visits import actions as visits
from jobs.visits.models import Booking, Entry, Visit, VisitKind
from tests.build_entries import happy_entries
from tests.field.desk import NOW, batch, post, today
from tests.people import Team, signed_in

pytestmark = pytest.mark.django_db


def test_the_pack_has_my_visits_with_all_they_need(team: Team, job: Job) -> None:
    post(signed_in(team.crew), "api-entries", batch(happy_entries(job, "papers", crew=team.crew), team.crew.pk))

    pack = signed_in(team.crew).get(reverse("field:api-pack")).json()

    assert [visit["kind"] for visit in pack["visits"]] == ["ground", "fill"]
    inside = pack["jobs"][0]
    assert [loop["code"] for loop in inside["loops"]] == ["L1", "L2", "L3", "L4"]
    assert set(inside["calc"]["runs"]) == {"L1", "L2", "L3", "L4", "H"}
    assert inside["fluid"]["scales"]["brix"][""][0][1] == pytest.approx(0, abs=0.2)
    assert [entry["kind"] for entry in inside["entries"]] == ["driller_papers"] * 4
    assert inside["entries"][0]["person_name"] == "Cato Birch"
    assert inside["limits"]["test_pressure_bar"]["source"]
    assert inside["svg"].startswith("<svg")
    assert {"pressure_test", "override"} <= set(pack["kinds"])
    assert pack["person"]["id"] == str(team.crew.pk)


def test_the_same_pack_is_not_sent_twice(team: Team, job: Job) -> None:
    client, address = signed_in(team.crew), reverse("field:api-pack")
    name = client.get(address).json()["etag"]

    unchanged = client.get(address, {"etag": name})
    post(client, "api-entries", batch(happy_entries(job, "papers", crew=team.crew)[:1], team.crew.pk))
    changed = client.get(address, {"etag": name})

    assert (unchanged.status_code, unchanged.content, unchanged["X-App"]) == (304, b"", "groundloop")
    assert changed.status_code == 200


@pytest.mark.parametrize("who", ["manager", "scheduler", "outsider"])
def test_a_pack_holds_nothing_of_visits_one_is_not_booked_on(who: str, team: Team, job: Job) -> None:
    pack = signed_in(getattr(team, who)).get(reverse("field:api-pack")).json()

    assert (pack["visits"], pack["jobs"]) == ([], [])


def test_an_ask_travels_to_whom_it_is_for(team: Team, job: Job) -> None:
    post(signed_in(team.crew), "api-entries", batch(happy_entries(job, "papers", crew=team.crew), team.crew.pk))
    with scope(team.firm.pk):
        entry = Entry.objects.all()[0]
        visits.ask(entry, field="accepted", text="Whose number is on it?", to=team.crew, by=team.manager, at=NOW)

    mine = signed_in(team.crew).get(reverse("field:api-pack")).json()["jobs"][0]["asks"]
    others = signed_in(team.engineer).get(reverse("field:api-pack")).json()["jobs"][0]["asks"]

    assert [(ask["entry"], ask["field"], ask["by"]) for ask in mine] == [(str(entry.pk), "accepted", "Mara Fenwick")]
    assert others == []


def test_the_pack_asks_the_database_no_more_for_more_visits_of_one_job(
    team: Team, job: Job, django_assert_num_queries: Any, django_assert_max_num_queries: Any
) -> None:
    client, address = signed_in(team.crew), reverse("field:api-pack")
    client.get(address)
    with django_assert_max_num_queries(60) as counted:
        client.get(address)
    before = len(counted)
    with scope(team.firm.pk):
        for _ in range(8):
            visit = Visit.objects.create(job=job, kind=VisitKind.FILL, planned_date=today())
            Booking.objects.create(visit=visit, member=team.crew)

    with django_assert_num_queries(before):
        client.get(address)
