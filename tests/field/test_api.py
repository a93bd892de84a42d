"""The phone's side doors: who may, what is answered, and that nothing is lost on the way in."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import InterfaceError, OperationalError
from django.test import Client
from django.urls import reverse

from jobs.firms.models import AuditEvent, Device, Role
from jobs.firms.scope import scope
from jobs.planning.models import Job
from jobs.visits import actions as visits
from jobs.visits.models import Entry, HeldItem
from tests.build_entries import happy_entries, happy_log
from tests.field.desk import NOW, batch, count, post
from tests.people import Team, member, signed_in

pytestmark = pytest.mark.django_db


GETS = ("api-session", "api-pack", "api-receipts")
POSTS = ("api-entries", "api-raw", "api-report")


@pytest.mark.parametrize("name", [*GETS, *POSTS])
def test_who_is_not_signed_in_gets_401_as_json_and_never_a_page(name: str) -> None:
    client = Client(enforce_csrf_checks=True)
    address = reverse(f"field:{name}")

    answer = client.get(address) if name in GETS else client.post(address, "{}", content_type="application/json")

    assert answer.status_code == 401
    assert answer.json()["error"]
    assert answer["X-App"] == "groundloop"
    assert answer["Cache-Control"] == "no-store"


@pytest.mark.parametrize("name", GETS[:2])
def test_every_answer_is_marked_as_ours_and_never_kept(name: str, team: Team, job: Job) -> None:
    answer = signed_in(team.crew).get(reverse(f"field:{name}"))

    assert answer.status_code == 200
    assert (answer["X-App"], answer["Cache-Control"]) == ("groundloop", "no-store")


@pytest.mark.parametrize("role", list(Role))
def test_the_session_tells_who_is_signed_in_and_until_when(role: Role, team: Team) -> None:
    who = member(team.firm, role)

    told = signed_in(who).get(reverse("field:api-session")).json()

    assert told["person"] == {"id": str(who.pk), "name": who.user.name, "roles": [role.value]}
    assert told["firm"]["name"] == team.firm.name
    assert told["csrf"]
    until = datetime.fromisoformat(told["signed_in_until"]) - datetime.fromisoformat(told["now"])
    assert timedelta(days=28) < until <= timedelta(days=30)


def test_a_forged_request_gets_json_and_a_fresh_token_mends_it(team: Team, job: Job) -> None:
    client = Client(enforce_csrf_checks=True)
    client.cookies = signed_in(team.crew).cookies
    entries = happy_entries(job, "papers", crew=team.crew)

    refused = post(client, "api-entries", batch(entries, team.crew.pk))
    token = client.get(reverse("field:api-session")).json()["csrf"]
    taken = post(client, "api-entries", batch(entries, team.crew.pk), headers={"X-CSRFToken": token})

    assert (refused.status_code, json.loads(refused.content), refused["X-App"]) == (
        403,
        {"error": "csrf"},
        "groundloop",
    )
    assert taken.status_code == 200
    assert count(team) == len(entries)


def test_each_entry_gets_its_own_receipt(team: Team, job: Job) -> None:
    entries = happy_entries(job, "papers", crew=team.crew)

    answer = json.loads(post(signed_in(team.crew), "api-entries", batch(entries, team.crew.pk)).content)

    assert [result["id"] for result in answer["results"]] == [entry["id"] for entry in entries]
    assert {result["status"] for result in answer["results"]} == {"stored"}
    assert all(result["received_at"] for result in answer["results"])
    with scope(team.firm.pk, writes=False):
        assert Device.objects.get().label == "Site phone 2"
        assert set(Entry.objects.values_list("sent_by", flat=True)) == {team.crew.pk}


def test_the_same_batch_again_changes_nothing(team: Team, job: Job) -> None:
    client, entries = signed_in(team.crew), happy_entries(job, "papers", crew=team.crew)
    first = json.loads(post(client, "api-entries", batch(entries, team.crew.pk)).content)["results"]

    again = json.loads(post(client, "api-entries", batch(entries, team.crew.pk)).content)["results"]

    assert {result["status"] for result in again} == {"duplicate"}
    assert [result["received_at"] for result in again] == [result["received_at"] for result in first]
    assert count(team) == len(entries)


def test_same_id_with_other_content_is_told_and_both_are_kept(team: Team, job: Job) -> None:
    client, entries = signed_in(team.crew), happy_entries(job, "papers", crew=team.crew)[:1]
    post(client, "api-entries", batch(entries, team.crew.pk))
    other = entries[0] | {"payload": {"accepted": {"value": False}}}

    result = json.loads(post(client, "api-entries", batch([other], team.crew.pk)).content)["results"][0]

    assert (result["id"], result["status"]) == (entries[0]["id"], "id_conflict")
    assert (count(team), count(team, HeldItem)) == (1, 1)


POISON: tuple[Any, ...] = (
    {"payload": None},
    {"job": "no such thing"},
    {"kind": "x" * 500},
    {"seq": -1},
    {"observed_at": "yesterday"},
    {"subject": "L1\x00"},
)


@pytest.mark.parametrize("poison", POISON)
def test_one_bad_entry_among_twenty_takes_none_with_it(poison: dict[str, Any], team: Team, job: Job) -> None:
    entries = happy_entries(job, "tested", crew=team.crew)[:20]
    entries[7] = entries[7] | poison

    results = json.loads(post(signed_in(team.crew), "api-entries", batch(entries, team.crew.pk)).content)["results"]

    assert [result["id"] for result in results] == [entry["id"] for entry in entries]
    statuses = [result["status"] for result in results]
    assert statuses.pop(7) == "held"
    assert set(statuses) <= {"stored", "held"}
    assert statuses.count("stored") >= 15
    assert count(team) + count(team, HeldItem) == 20


def test_what_is_no_entry_at_all_is_kept_too(team: Team, job: Job) -> None:
    entries: list[Any] = [happy_entries(job, "papers", crew=team.crew)[0], "scribble", None, [1, 2]]

    answer = post(signed_in(team.crew), "api-entries", batch(entries, team.crew.pk))

    assert answer.status_code == 200
    assert (count(team), count(team, HeldItem)) == (1, 3)


def test_an_entry_that_breaks_the_service_is_kept_and_the_others_go_in(
    team: Team, job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    entries = happy_entries(job, "papers", crew=team.crew)
    honest = visits.receive

    def breaks(raw: Any, **given: Any) -> Any:
        if raw["id"] == entries[1]["id"]:
            raise ZeroDivisionError
        return honest(raw, **given)

    monkeypatch.setattr("jobs.field.actions.visits.receive", breaks)
    results = json.loads(post(signed_in(team.crew), "api-entries", batch(entries, team.crew.pk)).content)["results"]

    assert [result["status"] for result in results] == ["stored", "held", "stored", "stored"]
    assert (count(team), count(team, HeldItem)) == (3, 1)


@pytest.mark.parametrize("trouble", [OperationalError("database is locked"), InterfaceError("connection closed")])
def test_a_database_in_trouble_gives_no_receipt_and_the_phone_tries_again(
    trouble: Exception, team: Team, job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is not committed must not be told as received: the phone would forget it."""
    client, entries = signed_in(team.crew), happy_entries(job, "papers", crew=team.crew)
    client.raise_request_exception = False
    honest = visits.receive

    def breaks(raw: Any, **given: Any) -> Any:
        if raw["id"] == entries[1]["id"]:
            raise trouble
        return honest(raw, **given)

    monkeypatch.setattr("jobs.field.actions.visits.receive", breaks)
    answer = post(client, "api-entries", batch(entries, team.crew.pk))
    assert (answer.status_code, b'"results"' in answer.content) == (500, False)
    assert (count(team), count(team, HeldItem)) == (0, 0)

    monkeypatch.undo()
    results = json.loads(post(client, "api-entries", batch(entries, team.crew.pk)).content)["results"]
    assert {result["status"] for result in results} == {"stored"}
    assert count(team) == len(entries)


def test_past_a_closed_hold_point_it_is_kept_and_held(team: Team, job: Job) -> None:
    log = happy_log(job, "joined", crew=team.crew)
    release = log.add(
        "backfill_release",
        "S1",
        watch_pressure={"text": "2", "value": 2.0, "unit": "bar"},
        positions_taken=True,
        photo={"value": ["0" * 64]},
    )

    results = []
    for at in range(0, len(log.entries), 20):
        body = batch(log.entries[at : at + 20], team.crew.pk)
        results += json.loads(post(signed_in(team.crew), "api-entries", body).content)["results"]

    last = next(result for result in results if result["id"] == release["id"])
    assert (last["status"], last["why"]) == ("held", "hold_point:H6")
    with scope(team.firm.pk, writes=False):
        assert Entry.objects.get(pk=release["id"]).held == "hold_point:H6"


def test_another_firms_member_cannot_write_into_this_job(team: Team, job: Job) -> None:
    entries = happy_entries(job, "papers", crew=team.outsider)

    answer = post(signed_in(team.outsider), "api-entries", batch(entries, team.outsider.pk))

    assert {result["status"] for result in json.loads(answer.content)["results"]} == {"held"}
    assert count(team) == 0
    with scope(team.other_firm.pk, writes=False):
        assert Entry.objects.count() == 0
        assert HeldItem.objects.count() == len(entries)


def test_a_batch_for_somebody_who_left_names_both(team: Team, job: Job) -> None:
    entries = happy_entries(job, "papers", crew=team.crew)

    post(signed_in(team.engineer), "api-entries", batch(entries, team.crew.pk))

    with scope(team.firm.pk, writes=False):
        entry = Entry.objects.all()[0]
        assert (entry.person_id, entry.sent_by_id) == (team.crew.pk, team.engineer.pk)


@pytest.mark.parametrize("body", ["", "[]", "not json", '{"entries": 5}', '{"entries": []}'])
def test_a_letter_without_an_envelope_is_answered_400_so_that_the_phone_halves_it(body: str, team: Team) -> None:
    answer = post(signed_in(team.crew), "api-entries", body)

    assert (answer.status_code, answer["X-App"]) == (400, "groundloop")


def test_more_than_twenty_at_a_time_is_too_many(team: Team, job: Job) -> None:
    entries = happy_entries(job, "joined", crew=team.crew)[:10] * 3

    assert post(signed_in(team.crew), "api-entries", batch(entries, team.crew.pk)).status_code == 400
    assert count(team) == 0


@pytest.mark.parametrize("body", [b"", b"\x00\xff\xfe scribble", b'{"half": ', "ünïcode".encode(), b"a\x00b"])
def test_the_last_resort_takes_anything(body: bytes, team: Team) -> None:
    device = uuid4()

    answer = signed_in(team.crew).post(
        f"{reverse('field:api-raw')}?device={device}", body, content_type="application/octet-stream"
    )

    assert answer.status_code == 200
    assert answer.json()["status"] == "held"
    with scope(team.firm.pk, writes=False):
        assert HeldItem.objects.get().device == device


def test_receipts_tell_what_the_office_holds_of_this_phone(team: Team, job: Job) -> None:
    client, entries = signed_in(team.crew), happy_entries(job, "papers", crew=team.crew)
    post(client, "api-entries", batch(entries, team.crew.pk))
    address = reverse("field:api-receipts")

    told = client.get(f"{address}?device={entries[0]['device']}&after_seq=2").json()["results"]
    other = client.get(f"{address}?device={uuid4()}&after_seq=0").json()["results"]

    assert [(each["id"], each["status"]) for each in told] == [(entry["id"], "stored") for entry in entries[2:]]
    assert other == []
    assert client.get(address).status_code == 400


@pytest.mark.parametrize("who", ["engineer", "manager", "outsider"])
def test_nobody_reads_another_persons_receipts(who: str, team: Team, job: Job) -> None:
    entries = happy_entries(job, "papers", crew=team.crew)
    post(signed_in(team.crew), "api-entries", batch(entries, team.crew.pk))

    told = signed_in(getattr(team, who)).get(reverse("field:api-receipts"), {"device": entries[0]["device"]}).json()

    assert told["results"] == []


def test_a_report_is_heard_and_lost_readings_reach_the_audit_log(team: Team) -> None:
    device = uuid4()
    told = {"device": str(device), "waiting": 3, "lost": 2, "lost_after": "2026-03-09T10:20:00Z", "persisted": False}

    answer = post(signed_in(team.crew), "api-report", told)

    assert answer.status_code == 200
    with scope(team.firm.pk, writes=False):
        assert Device.objects.get(pk=device).waiting == 3
        event = AuditEvent.objects.get(verb="phone_lost_entries")
        assert (event.actor, event.subject_id, event.detail["lost"]) == (team.crew, device, 2)


def waiting_on(device: str, team: Team) -> int:
    with scope(team.firm.pk, writes=False):
        return Device.objects.get(pk=device).waiting


def test_a_report_that_its_letter_has_overtaken_takes_nothing_back(team: Team, job: Job) -> None:
    """Written while all of it still waited, read when all of it was in: the review must not ask for entries that are here."""
    entries, client = happy_entries(job, "papers", crew=team.crew), signed_in(team.crew)
    device, seqs = entries[0]["device"], [entry["seq"] for entry in entries]
    report = {"device": device, "waiting": len(seqs), "open": seqs, "seq": seqs[-1]}
    post(client, "api-report", report)
    assert waiting_on(device, team) == len(seqs)

    post(client, "api-entries", batch(entries, team.crew.pk))
    post(client, "api-report", report)

    assert waiting_on(device, team) == 0


def test_a_report_from_before_the_newest_entry_says_nothing_of_what_still_waits(team: Team, job: Job) -> None:
    """Nothing waited then; since, the phone has logged more and sent the first part of it."""
    entries, client = happy_entries(job, "papers", crew=team.crew), signed_in(team.crew)
    device, first = entries[0]["device"], entries[0]["seq"]
    post(client, "api-entries", batch(entries[:2], team.crew.pk, waiting=len(entries) - 2))

    post(client, "api-report", {"device": device, "waiting": 0, "open": [], "seq": first})

    assert waiting_on(device, team) == len(entries) - 2


def test_a_report_counts_what_its_letter_left_behind(team: Team, job: Job) -> None:
    entries, client = happy_entries(job, "papers", crew=team.crew), signed_in(team.crew)
    device, seqs = entries[0]["device"], [entry["seq"] for entry in entries]
    post(client, "api-entries", batch(entries[:-1], team.crew.pk, waiting=1))

    for waiting, still in ((seqs, 1), (seqs[:1], 0)):
        post(client, "api-report", {"device": device, "waiting": 9, "open": waiting, "seq": seqs[-1]})
        assert waiting_on(device, team) == still


def test_a_phone_known_to_another_firm_is_taken_all_the_same(team: Team, job: Job) -> None:
    entries = happy_entries(job, "papers", crew=team.crew)
    with scope(team.other_firm.pk):
        Device.objects.create(pk=entries[0]["device"], first_seen_at=NOW, last_seen_at=NOW)

    answer = post(signed_in(team.crew), "api-entries", batch(entries, team.crew.pk))

    assert {result["status"] for result in json.loads(answer.content)["results"]} == {"stored"}


@pytest.mark.parametrize("method", ["put", "delete", "patch"])
def test_other_methods_are_refused(method: str, team: Team) -> None:
    answer = getattr(signed_in(team.crew), method)(reverse("field:api-entries"))

    assert (answer.status_code, answer["X-App"]) == (405, "groundloop")


def test_who_was_switched_off_is_asked_to_sign_in(team: Team, job: Job) -> None:
    client = signed_in(team.crew)
    team.crew.is_active = False
    team.crew.save()

    assert client.get(reverse("field:api-session")).status_code == 401


def test_a_phone_that_sent_everything_has_nothing_waiting(team: Team, job: Job) -> None:
    """`waiting` is what stays on the phone once the batch is in; the review asks about it."""
    client, device = signed_in(team.crew), uuid4()
    for waiting in (2, 0):
        told = batch([], team.crew.pk, device=str(device), waiting=waiting)
        assert post(client, "api-entries", told).status_code == 200
        with scope(team.firm.pk, writes=False):
            assert Device.objects.get(pk=device).waiting == waiting
