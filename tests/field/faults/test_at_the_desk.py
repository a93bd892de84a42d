"""Fault cases 31 to 35 and 53, on the office's side: order, copies and gaps of phones, jobs that changed meanwhile."""

from __future__ import annotations

import json
import re
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.urls import reverse

from jobs.firms.models import Member
from jobs.firms.scope import scope
from jobs.planning.models import Job, JobState
from jobs.sheets.findings.arrival import in_conflict
from jobs.sheets.gather import evidence
from jobs.visits import actions as visits
from jobs.visits import queries
from jobs.visits.gaps import gaps
from jobs.visits.models import Entry, Visit
from tests.build_entries import Log
from tests.field.desk import NOW, batch, post
from tests.people import Team, signed_in


def send(sender: Member, *entries: dict[str, Any]) -> list[dict[str, Any]]:
    answer = post(signed_in(sender), "api-entries", batch(list(entries), sender.pk))
    results: list[dict[str, Any]] = json.loads(answer.content)["results"]
    return results


def notes(log: Log, count: int) -> list[dict[str, Any]]:
    return [log.add("note", "", text={"note": f"Note {number}"}) for number in range(count)]


@pytest.mark.django_db
def test_two_phones_correct_the_same_entry(team: Team, job: Job) -> None:
    """Case 31: both corrections are kept, and the sheet's checks ask which one holds."""
    log, other = Log(job, team.crew), Log(job, team.engineer)
    [first] = notes(log, 1)
    fixes = [
        each.add("note", "", text={"note": words}, supersedes=first["id"], reason="typo")
        for each, words in ((log, "14 drums"), (other, "4 drums"))
    ]
    fixes[1] |= {"id": str(uuid4()), "device": str(uuid4())}
    send(team.crew, first, fixes[0])

    results = send(team.engineer, fixes[1])

    assert results[0]["status"] == "stored"
    with scope(team.firm.pk, writes=False):
        told = list(in_conflict(evidence(job)))
    assert [set(found.entries) for found in told] == [{fix["id"] for fix in fixes}]


@pytest.mark.django_db
def test_a_correction_arrives_before_what_it_corrects(team: Team, job: Job) -> None:
    """Case 32: it is stored and waits for its target; the order of arrival changes nothing."""
    log = Log(job, team.crew)
    [first] = notes(log, 1)
    fix = log.add("note", "", text={"note": "Put right"}, supersedes=first["id"], reason="typo")

    early = send(team.crew, fix)
    late = send(team.crew, first)

    assert [each["status"] for each in (*early, *late)] == ["stored", "stored"]
    with scope(team.firm.pk, writes=False):
        lines = queries.ledger(job).by_id
    assert lines[first["id"]].superseded_by == (fix["id"],)


@pytest.mark.django_db
def test_a_copy_of_a_phone_repeats_its_numbers(team: Team, job: Job) -> None:
    """Case 33: two phones with one id and one count, as after a restored backup. Both entries are kept, the repeat is noted."""
    log, copy = Log(job, team.crew), Log(job, team.crew)
    [one], [other] = notes(log, 1), notes(copy, 1)
    assert (one["device"], one["seq"]) == (other["device"], other["seq"])
    other["id"] = str(uuid4())

    results = send(team.crew, one) + send(team.crew, other)

    assert [each["status"] for each in results] == ["stored", "stored"]
    with scope(team.firm.pk, writes=False):
        found = [(str(row.entry_id), row.code) for row in queries.receipt_findings(job)]
    assert found == [(other["id"], "seq_repeat")]


@pytest.mark.django_db
def test_a_clock_that_was_put_back_between_two_entries_is_noted(team: Team, job: Job) -> None:
    """Case 36: a minute is how late a phone may save; an hour is a clock that somebody set."""
    sent = notes(Log(job, team.crew), 3)
    typed = datetime.fromisoformat(sent[0]["recorded_at"])
    for entry, back in zip(sent, (0, 30, 3630), strict=True):
        entry["recorded_at"] = entry["observed_at"] = (typed - timedelta(seconds=back)).isoformat()

    send(team.crew, *sent)

    with scope(team.firm.pk, writes=False):
        told = [(str(row.entry_id), row.value) for row in queries.receipt_findings(job) if row.code == "put_back"]
    assert told == [(sent[2]["id"], 3600.0)]


@pytest.mark.django_db
def test_a_clock_that_the_phone_saw_move_is_noted(team: Team, job: Job) -> None:
    """Case 36: two times alone do not tell a clock that was put forward from an hour of work."""
    sent = notes(Log(job, team.crew), 5)
    for entry, moved in zip(sent, (3600, -3600, 30, "soon", None), strict=True):
        entry["clock_moved_s"] = moved

    send(team.crew, *sent)

    with scope(team.firm.pk, writes=False):
        told = {(str(row.entry_id), row.code, row.value) for row in queries.receipt_findings(job)}
    assert told == {(sent[0]["id"], "put_forward", 3600.0), (sent[1]["id"], "put_back", 3600.0)}


def held_page(team: Team) -> str:
    return signed_in(team.scheduler).get(reverse("visits:held")).content.decode()


@pytest.mark.django_db
def test_numbers_that_never_came_are_told_to_the_office(team: Team, job: Job) -> None:
    """Case 34: 2, 4 and 5 are missing; each is told until it comes, as an entry or as something nobody can read."""
    log = Log(job, team.crew)
    sent = notes(log, 6)
    send(team.crew, sent[0], sent[2], sent[5])
    page = held_page(team)
    assert "Site phone 2" in page
    assert re.findall(r"([\d to]+) not received", page) == ["2", "4 to 5"]

    send(team.crew, sent[1], sent[4], sent[3] | {"payload": "scribble"})

    page = held_page(team)
    assert "not received" not in page
    assert "No phone has left out a number." in page


@pytest.mark.django_db
def test_the_first_numbers_of_a_phone_may_be_missing_too(team: Team, job: Job) -> None:
    """Case 34: what is missing before anything came has no time before it."""
    send(team.crew, notes(Log(job, team.crew), 3)[2])

    assert re.findall(r"([\d to]+) not received", held_page(team)) == ["1 to 2"]
    assert "the first of this phone" in held_page(team)


@pytest.mark.django_db
def test_gaps_cost_the_same_for_one_phone_and_for_many(team: Team, job: Job, django_assert_num_queries: Any) -> None:
    def numbered(phones: int) -> None:
        for _ in range(phones):
            first, last = (each | {"device": device} for device in [str(uuid4())] for each in notes(log, 3)[::2])
            send(team.crew, first | {"seq": 1}, last | {"seq": 9})

    log = Log(job, team.crew)
    for phones in (1, 5):
        numbered(phones)
        with scope(team.firm.pk, writes=False), django_assert_num_queries(4):
            assert len(gaps()) >= phones


@pytest.mark.django_db
@pytest.mark.parametrize("change", ["closed", "another crew"])
def test_the_job_changed_while_the_phone_was_away(change: str, team: Team, job: Job) -> None:
    """Case 35: a closed job holds the entry; a visit that was given to somebody else takes it as it is."""
    with scope(team.firm.pk):
        visit = Visit.objects.filter(job=job).first()
        assert visit
        if change == "closed":
            Job.objects.filter(pk=job.pk).update(state=JobState.CANCELLED)
        else:
            visits.book(visit, [team.engineer], by=team.manager, at=NOW)
    [entry] = notes(Log(job, team.crew), 1)

    [result] = send(team.crew, entry | {"visit": str(visit.pk)})

    assert (result["status"], result["why"]) == (("held", "closed") if change == "closed" else ("stored", ""))
    with scope(team.firm.pk, writes=False):
        assert Entry.objects.filter(pk=entry["id"], visit=visit).exists()


def test_no_import_is_left_without_its_hash(template_data: Path) -> None:
    """Case 53: an unhashed import loads with signal and is missing without."""
    modules = [*(template_data / "static/field").glob("*.js"), *(template_data / "static/sums").rglob("*.js")]
    assert len(modules) >= 12
    imports = [
        (file.name, found)
        for file in modules
        for found in re.findall(r"(?:from\s*|import\s*\(?\s*)[\"'](\.{1,2}/[^\"']+)[\"']", file.read_text())
    ]
    assert len(imports) >= 20
    assert [each for each in imports if not re.search(r"\.[0-9a-f]{8}\.js$", each[1])] == []
