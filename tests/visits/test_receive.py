"""Entries come in: stored once, never refused, never changed."""

from __future__ import annotations

import copy
import json
import math
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import DatabaseError, transaction

from jobs.firms.models import Member, Role
from jobs.firms.scope import scope
from jobs.planning.models import Job, JobState
from jobs.visits import actions, queries
from jobs.visits.envelope import text_hash
from jobs.visits.models import (
    Entry,
    EntryText,
    HeldItem,
    Progress,
    ReceiptFinding,
    Unread,
    Visit,
    VisitKind,
    VisitState,
)
from jobs.visits.receiving import Receipt
from tests import build
from tests.build_entries import Log, happy_log, n, photo, send
from tests.people import Team, member

NOW = datetime(2026, 3, 9, 18, 0, tzinfo=UTC)


@contextmanager
def inside(team: Team) -> Iterator[None]:
    with scope(team.firm.pk):
        yield


def one(
    team: Team, entry: Any, *, sender: Member | None = None, sent_at: datetime = NOW, at: datetime = NOW
) -> Receipt:
    with inside(team):
        return actions.receive(entry, sender=sender or team.crew, sent_at=sent_at, received_at=at)


def papers(job: Job, team: Team, **more: Any) -> dict[str, Any]:
    seen = ("log_seen", "grout_sheet_seen", "test_before_seen", "test_after_seen", "utube_certificate_seen", "accepted")
    return Log(job, team.crew).add("driller_papers", "B1", **dict.fromkeys(seen, True)) | more  # type: ignore[arg-type]


def note(job: Job, team: Team, text: str = "Gate code is on the board", **more: Any) -> dict[str, Any]:
    return Log(job, team.crew, seq=40).add("note", "", text={"note": text}) | more


def trench(job: Job, team: Team, **answers: Any) -> dict[str, Any]:
    whole: dict[str, Any] = {
        "excavation_inspected": True, "depth": n("900", "mm"), "bed_material": "sand", "bed": n("100", "mm"),
        "stones": False, "water": False, "photo": photo("t"),
    } | answers  # fmt: skip
    return Log(job, team.crew).add("trench_section", "S1", **whole)


def test_an_entry_is_stored_as_it_came(team: Team, job: Job) -> None:
    raw = papers(job, team)
    receipt = one(team, raw)
    assert (receipt.status, receipt.id, receipt.why) == ("stored", raw["id"], "")
    with inside(team):
        row = Entry.objects.get(pk=raw["id"])
    assert row.payload == raw["payload"]
    assert (row.person_id, row.sent_by_id, row.received_at) == (team.crew.pk, team.crew.pk, NOW)
    assert row.observed_at == datetime.fromisoformat(raw["observed_at"])


def test_the_same_entry_again_is_a_duplicate(team: Team, job: Job) -> None:
    raw = note(job, team)
    one(team, raw)
    again = one(team, {**raw, "client_build": "next version"}, sender=team.engineer, at=NOW + timedelta(hours=2))
    assert (again.status, again.received_at) == ("duplicate", NOW)
    with inside(team):
        assert Entry.objects.count() == 1
        assert EntryText.objects.count() == 1


@pytest.mark.parametrize(
    "change",
    [{"subject": "B2"}, {"observed_at": "2026-03-09T07:00:00+00:00"}, {"seq": 99}, {"payload": {}}, {"reason": "typo"}],
    ids=lambda change: next(iter(change)),
)
def test_the_same_id_with_other_content_keeps_both(team: Team, job: Job, change: dict[str, Any]) -> None:
    raw = papers(job, team)
    one(team, raw)
    assert one(team, raw | change).status == "id_conflict"
    assert one(team, raw | change).status == "id_conflict"
    assert one(team, raw).status == "duplicate"
    with inside(team):
        assert Entry.objects.get().payload == raw["payload"]
        item = HeldItem.objects.get()
    assert item.why == Unread.CONFLICT
    assert json.loads(item.body) == raw | change


def test_other_words_under_the_same_id_are_a_conflict(team: Team, job: Job) -> None:
    one(team, note(job, team))
    assert one(team, note(job, team, "Gate code is under the stone")).status == "id_conflict"


def test_an_id_that_another_firm_has_is_held_and_never_a_receipt(team: Team, job: Job) -> None:
    raw = papers(job, team)
    theirs = build.a_job(team.other_firm, state=JobState.SCHEDULED)
    with scope(team.other_firm.pk):
        actions.receive(
            papers(theirs, team) | {"id": raw["id"], "author": str(team.outsider.pk)},
            sender=team.outsider, sent_at=NOW, received_at=NOW,
        )  # fmt: skip
    receipt = one(team, raw)
    assert (receipt.status, receipt.why) == ("held", "id_taken")
    with inside(team):
        assert Entry.objects.count() == 0
        assert HeldItem.objects.get().why == Unread.CONFLICT


def test_an_entry_for_another_firms_job_is_kept_and_changes_nothing(team: Team) -> None:
    theirs = build.a_job(team.other_firm, state=JobState.SCHEDULED)
    receipt = one(team, papers(theirs, team))
    assert (receipt.status, receipt.why) == ("held", "no_job")
    with scope(team.other_firm.pk):
        assert Entry.objects.count() == 0


def test_an_author_of_another_firm_is_kept(team: Team, job: Job) -> None:
    receipt = one(team, papers(job, team, author=str(team.outsider.pk)))
    assert (receipt.status, receipt.why) == ("held", "no_person")


BAD: dict[str, Any] = {
    "no object": "hello",
    "a list": [1, 2],
    "nothing": None,
    "no id": {"id": None},
    "bad id": {"id": "41"},
    "no payload": {"payload": None},
    "payload a list": {"payload": []},
    "no time": {"observed_at": None},
    "a time without zone": {"observed_at": "2026-03-09T08:00:00"},
    "impossible time": {"observed_at": "2026-02-31T08:00:00+00:00"},
    "year one": {"observed_at": "0001-01-01T00:00:00+14:00"},
    "seq a word": {"seq": "four"},
    "seq below nothing": {"seq": -1},
    "seq true": {"seq": True},
    "kind too long": {"kind": "x" * 41},
    "kind a number": {"kind": 7},
    "not a number": {"payload": {"depth": {"value": math.nan, "unit": "mm"}}},
    "infinite": {"payload": {"depth": {"value": math.inf, "unit": "mm"}}},
    "too large to be exact": {"payload": {"depth": {"value": 2**60, "unit": "mm"}}},
    "half a character": {"text": {"note": "\ud800"}},
    "a null character": {"text": {"note": "a\x00b"}},
}


@pytest.mark.parametrize("name", BAD)
def test_what_cannot_be_read_is_kept(team: Team, job: Job, name: str) -> None:
    bad = BAD[name]
    raw = papers(job, team) | bad if isinstance(bad, dict) else bad
    receipt = one(team, copy.deepcopy(raw))
    again = one(team, copy.deepcopy(raw))
    assert (receipt.status, receipt.why, again.status) == ("held", "unreadable", "held")
    with inside(team):
        assert Entry.objects.count() == 0
        assert HeldItem.objects.get().why == Unread.UNREADABLE


HELD: list[tuple[str, dict[str, Any], str]] = [
    ("deeper than any trench", {"depth": n("9000", "mm")}, "hard_range:depth"),
    ("deeper, in centimetres", {"depth": n("900", "cm")}, "hard_range:depth"),
    ("bar for a depth", {"depth": n("900", "bar")}, "unit:depth"),
    ("no unit", {"depth": {"text": "900", "value": 900}}, "unit:depth"),
    ("no number", {"depth": {"text": "deep", "value": "deep", "unit": "mm"}}, "answer:depth"),
    ("true for a number", {"depth": {"value": True, "unit": "mm"}}, "answer:depth"),
    ("no such bed", {"bed_material": "feathers"}, "answer:bed_material"),
    ("a word for yes", {"stones": "no"}, "answer:stones"),
    ("no photo", {"photo": {"value": []}}, "missing:photo"),
    ("no hash", {"photo": {"value": ["holiday.jpg"]}}, "answer:photo"),
    ("bare answer", {"photo": []}, "missing:photo"),
]


@pytest.mark.parametrize(("name", "answers", "code"), HELD, ids=[name for name, _, _ in HELD])
def test_what_is_impossible_is_held_and_has_no_effect(
    team: Team, job: Job, name: str, answers: dict[str, Any], code: str
) -> None:
    receipt = one(team, trench(job, team, **answers))
    assert (receipt.status, receipt.why) == ("held", code)
    with inside(team):
        seen = queries.ledger(job)
        assert not seen.has("trenched", "S1")
        assert [line.held for line in seen.held] == [code]
        assert Progress.objects.get(job=job).held == 1


def test_an_answer_that_is_not_known_is_an_answer(team: Team, job: Job) -> None:
    covered = Log(job, team.crew).add("covered", "S1", cover={"unknown": "not_known"}, text={"cover": "It was dark"})
    assert one(team, covered).status == "stored"


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"kind": "moon_phase"}, "kind"),
        ({"schema": 2}, "schema"),
        ({"subject": "B9"}, "subject"),
        ({"subject": "L1"}, "subject"),
        ({"subject": ""}, "subject"),
        ({"visit": str(uuid4())}, "visit"),
    ],
)
def test_what_does_not_fit_is_held(team: Team, job: Job, change: dict[str, Any], why: str) -> None:
    receipt = one(team, papers(job, team, **change))
    assert (receipt.status, receipt.why) == ("held", why)
    with inside(team):
        assert Entry.objects.get().held == why


def test_what_a_newer_phone_sends_is_kept_aside(team: Team, job: Job) -> None:
    raw = papers(job, team, weather="sleet")
    raw["payload"] |= {"core_box": {"value": "B1-7"}}
    assert one(team, raw).status == "stored"
    with inside(team):
        row = Entry.objects.get()
    assert row.extra == {"weather": "sleet", "payload": {"core_box": {"value": "B1-7"}}}
    assert "core_box" not in row.payload
    assert one(team, raw).status == "duplicate"


def test_a_closed_job_holds(team: Team) -> None:
    closed = build.a_job(team.firm, state=JobState.HANDED_OVER)
    assert one(team, papers(closed, team)).why == "closed"


def test_whoever_lost_the_right_is_held(team: Team, job: Job) -> None:
    team.crew.is_active = False
    team.crew.save()
    assert one(team, papers(job, team), sender=team.engineer).why == "rights"


def test_an_office_role_logs_nothing_but_the_manager_may(team: Team, job: Job) -> None:
    assert one(team, papers(job, team, author=str(team.scheduler.pk))).why == "rights"
    mine = papers(job, team, id=str(uuid4()), author=str(team.manager.pk))
    assert one(team, mine, sender=team.manager).status == "stored"


def test_settings_are_the_engineers(team: Team, job: Job) -> None:
    raw = Log(job, team.crew).add(
        "source_settings", serial="X1", frost_alarm=n("-9", "°C"), fluid_set="propylene_glycol", flow=n("45", "L/min"),
        pump_mode="fixed", strainer_clean=True,
    )  # fmt: skip
    assert one(team, raw).why == "rights"


@pytest.mark.parametrize("verb", ["update", "delete"])
@pytest.mark.parametrize("model", [Entry, EntryText, ReceiptFinding])
def test_the_database_refuses_to_change_the_ledger(team: Team, job: Job, model: Any, verb: str) -> None:
    one(team, note(job, team), sent_at=NOW - timedelta(minutes=10))
    with inside(team):
        rows = model.objects.all()
        assert rows.count() == 1
        changes: dict[Any, dict[str, Any]] = {
            Entry: {"held": "x"},
            EntryText: {"body": {}},
            ReceiptFinding: {"code": "x"},
        }
        change = changes[model]
        with pytest.raises(DatabaseError), transaction.atomic():
            rows.update(**change) if verb == "update" else rows._raw_delete(rows.db)
        assert rows.count() == 1


def test_text_goes_with_its_person_and_the_entry_still_verifies(team: Team, job: Job) -> None:
    raw = note(job, team)
    one(team, raw)
    with inside(team):
        side = EntryText.objects.get()
        row = Entry.objects.get()
        assert row.text_hash == text_hash(side.salt, {"note": "Gate code is on the board"})
        assert "Gate" not in json.dumps([row.payload, row.extra])
        assert actions.erase_person(team.engineer, by=team.manager, at=NOW) == 0
        assert actions.erase_person(team.crew, by=team.manager, at=NOW) == 1
        assert EntryText.objects.count() == 0
        assert Entry.objects.get().content_hash == row.content_hash
        assert queries.ledger(job).lines[0].texts == {}
    assert one(team, raw).status == "duplicate"


def test_two_signatures_have_different_hashes(team: Team, job: Job) -> None:
    first, second = note(job, team), note(job, team, id=str(uuid4()))
    one(team, first)
    one(team, second)
    with inside(team):
        hashes = set(Entry.objects.values_list("text_hash", flat=True))
    assert len(hashes) == 2


FOUND: list[tuple[str, dict[str, Any], timedelta, list[tuple[str, float]]]] = [
    ("nothing", {}, timedelta(), []),
    ("clock two minutes off", {}, timedelta(minutes=-2), []),
    ("clock behind", {}, timedelta(minutes=-3), [("clock", 180.0)]),
    ("clock ahead", {}, timedelta(minutes=3), [("clock", -180.0)]),
    ("typed a day later", {"recorded_at": "2026-03-10T08:00:00+00:00", "observed_at": "2026-03-09T07:59:59+00:00"}, timedelta(), [("late", 86401.0)]),
    ("observed after it was typed", {"recorded_at": "2026-03-09T08:00:00+00:00", "observed_at": "2026-03-09T08:06:00+00:00"}, timedelta(), [("future", 360.0)]),
]  # fmt: skip


@pytest.mark.parametrize(("name", "change", "off", "found"), FOUND, ids=[row[0] for row in FOUND])
def test_what_only_receipt_can_tell(
    team: Team, job: Job, name: str, change: dict[str, Any], off: timedelta, found: list[tuple[str, float]]
) -> None:
    one(team, papers(job, team, **change), sent_at=NOW + off)
    with inside(team):
        assert [(row.code, row.value) for row in queries.receipt_findings(job)] == found


def test_gaps_and_repeats_in_a_phones_numbers(team: Team, job: Job) -> None:
    log = Log(job, team.crew)
    entries = [log.add("note", "", text={"note": f"note {number}"}) for number in range(3)]
    one(team, entries[0])
    one(team, entries[2])
    one(team, entries[1])
    one(team, entries[1] | {"id": str(uuid4())})
    with inside(team):
        found = [(row.code, row.value) for row in queries.receipt_findings(job)]
    assert sorted(found) == [("seq_gap", 1.0), ("seq_repeat", 2.0)]


def test_the_time_of_a_wrong_clock_is_put_right_for_the_order(team: Team, job: Job) -> None:
    """The phone is an hour behind; what it says itself stays in the row."""
    raw = papers(job, team)
    one(team, raw, sent_at=NOW - timedelta(hours=1))
    with inside(team):
        line = queries.ledger(job).lines[0]
        row = Entry.objects.get()
    assert line.logged.observed_at - row.observed_at == timedelta(hours=1)


def test_raw_bytes_are_kept_once(team: Team) -> None:
    with inside(team):
        first = actions.receive_raw("half a messa", sender=team.crew, device=None, received_at=NOW)
        second = actions.receive_raw("half a messa", sender=team.crew, device=None, received_at=NOW)
        assert first.pk == second.pk
        assert queries.held_items().get().body == "half a messa"


def test_an_entry_starts_its_visit_and_raises_the_job(team: Team, job: Job) -> None:
    with inside(team):
        visit = actions.plan_visit(
            job, kind=VisitKind.GROUND, planned_date=NOW.date(), crew=[team.crew], by=team.scheduler, at=NOW
        )
        before = job.version
    one(team, papers(job, team, visit=str(visit.pk)))
    with inside(team):
        assert Visit.objects.get().state == VisitState.UNDER_WAY
        job.refresh_from_db()
        assert job.version > before
        progress = Progress.objects.get(job=job)
    assert (progress.entries, progress.version, progress.last_entry_at) == (1, job.version, NOW)


def test_a_failure_in_the_middle_leaves_nothing(team: Team, job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*args: Any, **kwargs: Any) -> None:
        raise RuntimeError("power out")

    monkeypatch.setattr(actions, "sum_up", fails)
    with pytest.raises(RuntimeError):
        one(team, note(job, team))
    with inside(team):
        assert not Entry.objects.exists()
        assert not EntryText.objects.exists()


def test_a_member_of_two_firms_writes_only_into_the_one_in_scope(team: Team, job: Job) -> None:
    twin = member(team.other_firm, Role.CREW, user=team.crew.user)
    assert one(team, papers(job, team, author=str(twin.pk))).why == "no_person"


def test_the_whole_job_comes_in_and_every_verdict_is_good(team: Team, job: Job) -> None:
    log = happy_log(job, "submitted", crew=team.crew, engineer=team.engineer)
    receipts = send(log.entries, sender=team.crew)
    assert {receipt.status for receipt in receipts} == {"stored"}
    assert {UUID(receipt.id) for receipt in receipts} == {UUID(entry["id"]) for entry in log.entries}
