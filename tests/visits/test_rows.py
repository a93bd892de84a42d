"""Lines of the ledger in words: every kind of answer, every way an entry may stand; and that erasing leaves the rest whole."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest

from jobs.firms.scope import scope
from jobs.planning.models import Job
from jobs.visits import actions, queries, rows, trade
from jobs.visits.envelope import read, text_hash
from jobs.visits.errors import NotHeld, RunEnded
from jobs.visits.models import Entry, EntryText, Run
from jobs.visits.receiving import same_content
from jobs.visits.rows import Row
from tests.build_entries import Log, happy_log, n, photo, send
from tests.people import Team

NOW = datetime(2026, 7, 1, 18, 0, tzinfo=UTC)
SUMMER = datetime(2026, 7, 1, 7, 30, tzinfo=UTC)


def shown(team: Team, job: Job) -> dict[str, Row]:
    with scope(team.firm.pk):
        return {row.id: row for row in rows.timeline(queries.ledger(job).lines, job)}


def words(team: Team, job: Job, raw: dict[str, Any]) -> dict[str, str]:
    send([raw], sender=team.crew)
    return dict(shown(team, job)[raw["id"]].answers)


def test_each_answer_in_its_words(team: Team, job: Job) -> None:
    """As typed, with its unit; times of the site, an hour ahead in summer."""
    log = Log(job, team.crew, at=SUMMER)
    trench = log.add(
        "trench_section", "S1", excavation_inspected=True, depth=n("90,5", "cm"), bed_material="sand", bed={"unknown": "not_known"},
        stones=False, water={"unknown": "not_applicable"}, joints=n("3", "pcs"), photo=photo("t"),
    )  # fmt: skip
    assert words(team, job, trench) == {
        "Excavation inspected this shift": "yes", "Depth": "90,5 cm", "Bed": "Sand", "Bed thickness": "not known", "Sharp stones left": "no",
        "Water in the trench": "does not apply", "Joints in this section": "3", "Photo with staff or tape": "1 photo",
    }  # fmt: skip
    joint = log.add(
        "joint", "J1", method="butt", od=n("63", "mm"), section="S3", loop="H", buried=True, welder=str(team.crew.pk),
        ended_at=SUMMER, cooling_min=n("20", "min"), visual_ok=True, photo={"value": ["0" * 64, "1" * 64]},
    )  # fmt: skip
    found = words(team, job, joint)
    assert found["Finished at"] == "01 Jul 08:30"
    assert (found["Method"], found["In section"], found["Joins loop"]) == ("Butt fusion", "S3", "H")
    assert found["Photo with its number"] == "2 photos"
    assert "Made by" not in found
    covers = log.add("pressure_test", "T1", covers=["S1", "L1", "H"], method="short_tightness")
    assert words(team, job, covers)["What is in the test"] == "S1, L1, H"
    signed = log.add("signature", "", role="customer", text={"name": "R. Hazel", "strokes": [[[0, 0], [1, 1]]]})
    assert words(team, job, signed) == {"Signs as": "Customer", "Name": "R. Hazel", "Signature": "drawn"}
    lot = log.add(
        "fluid_delivery", "", lot="PG-2605", drums=n("4", "pcs"), drum_l=n("25", "L"), strength=n("96", "mass %")
    )
    assert words(team, job, lot)["Lot number"] == "PG-2605"


EMPTY: tuple[Any, ...] = ({}, {"value": None}, {"value": ""}, {"value": []}, None, 7, "bare", [1])


@pytest.mark.parametrize("answer", EMPTY, ids=repr)
def test_what_was_not_answered_is_not_printed_as_an_answer(team: Team, job: Job, answer: Any) -> None:
    """Least of all as *no*."""
    log = Log(job, team.crew)
    names = ("excavation_inspected", "depth", "bed_material", "bed", "stones", "water", "joints", "photo")
    raw = log.add("trench_section", "S1")
    raw["payload"] = dict.fromkeys(names, answer)
    assert words(team, job, raw) == {}
    assert shown(team, job)[raw["id"]].is_held


@pytest.mark.parametrize("at", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00", "soon", "2026-03-09"])
def test_a_time_that_is_none_is_printed_as_it_came(team: Team, job: Job, at: str) -> None:
    raw = Log(job, team.crew).add("joint", "J1", ended_at={"value": at})
    assert words(team, job, raw)["Finished at"].startswith(at if at != "2026-03-09" else "09 Mar")


def test_a_number_that_could_not_be_read_shows_what_was_typed(team: Team, job: Job) -> None:
    raw = Log(job, team.crew).add("trench_section", "S1", depth={"text": "about a metre", "value": None, "unit": ""})
    assert words(team, job, raw)["Depth"] == "about a metre"


def test_a_kind_of_a_newer_phone_is_printed_bare(team: Team, job: Job) -> None:
    raw = Log(job, team.crew).add("moon_phase", "", phase="full", size=n("3", "m"))
    assert words(team, job, raw) == {"phase": "full", "size": "3.0"}
    row = shown(team, job)[raw["id"]]
    assert (row.label, row.marks) == ("Moon phase", (("held", "Held: a kind of entry this office does not know yet"),))


HELD = {
    "kind": "a kind of entry this office does not know yet", "schema": "written by a newer app", "closed": "the job is closed",
    "rights": "written by somebody who may not log this", "subject": "for a place this job does not have",
    "visit": "for a visit of another job", "missing:photo": "an answer is missing: photo",
    "hard_range:test_pressure": "outside what is possible: test pressure", "unit:flow": "in a unit this answer does not take: flow",
    "answer:ended_at": "an answer that cannot be read: ended at", "hold_point:H6": "hold point H6 Backfill is not released",
    "hold_point:H99": "hold point H99 is not released", "something new": "the office has to look",
}  # fmt: skip


@pytest.mark.parametrize("code", HELD)
def test_why_it_is_held(code: str) -> None:
    assert trade.held_words(code) == HELD[code]


@pytest.mark.parametrize("code", HELD)
def test_what_the_office_may_let_count(code: str) -> None:
    assert trade.may_be_taken(code) is (code.partition(":")[0] not in {"kind", "schema", "unit", "answer"})


@pytest.mark.parametrize("reason", [*trade.REASONS, "of its own"])
def test_a_correction_says_why(team: Team, job: Job, reason: str) -> None:
    log = Log(job, team.crew)
    first = log.add("note", "", text={"note": "41 drums"})
    second = log.add("note", "", text={"note": "14 drums"}, supersedes=first["id"], reason=reason)
    send(log.entries, sender=team.crew)
    seen = shown(team, job)
    assert (seen[first["id"]].is_struck, seen[first["id"]].marks) == (True, (("done", "Corrected"),))
    assert seen[second["id"]].marks == (("open", trade.REASONS.get(reason, "Correction")),)
    assert not seen[second["id"]].is_struck


@pytest.mark.parametrize(
    ("source", "mark"),
    [
        ("typed", ()),
        ("photo_read", (("open", "Read off a photo"),)),
        ("phoned_in", (("open", "Phoned in"),)),
        ("paper", (("open", "Paper"),)),
    ],
)
def test_where_it_came_from(team: Team, job: Job, source: str, mark: tuple[Any, ...]) -> None:
    raw = Log(job, team.crew).add("note", "", text={"note": "41 drums"}) | {"source": source}
    send([raw], sender=team.crew)
    assert shown(team, job)[raw["id"]].marks == mark


def test_in_conflict(team: Team, job: Job) -> None:
    log = Log(job, team.crew)
    first = log.add("note", "", text={"note": "41"})
    for text in ("14", "4"):
        log.add("note", "", text={"note": text}, supersedes=first["id"], reason="typo")
    send(log.entries, sender=team.crew)
    seen = shown(team, job)
    warned = [row.id for row in seen.values() if ("warn", "Corrected more than once: choose one") in row.marks]
    assert sorted(warned) == sorted(one["id"] for one in log.entries[1:])


def release(log: Log) -> UUID:
    raw = log.add("backfill_release", "S1", watch_pressure=n("2.0", "bar"), positions_taken=True, photo=photo("S1"))
    send([raw], sender=log.author)
    return UUID(raw["id"])


@pytest.mark.parametrize(
    ("is_taken", "marks"),
    [(True, (("fail", "Past a closed hold point by the office"),)), (False, (("done", "Left out by the office"),))],
)
def test_the_offices_word(team: Team, job: Job, is_taken: bool, marks: tuple[Any, ...]) -> None:
    key = release(Log(job, team.crew))
    with scope(team.firm.pk):
        actions.decide(Entry.objects.get(pk=key), taken=is_taken, reason="Seen on site today", by=team.manager, at=NOW)
        (panel,) = [row for row in rows.holds(queries.ledger(job)) if row.code == "H6"]
    row = shown(team, job)[str(key)]
    assert (row.marks, row.is_struck, row.is_held) == (marks, not is_taken, False)
    assert panel.state == (("fail", "Passed without release") if is_taken else ("held", "Holds"))


def test_past_a_hold_point_with_a_reason_of_the_crew(team: Team, job: Job) -> None:
    log = Log(job, team.crew)
    key = release(log)
    send([log.add("override", "H6:S1", text={"reason": "Storm tonight, it will not stand"})], sender=team.crew)
    assert shown(team, job)[str(key)].marks == (("fail", "Past a closed hold point"),)


def test_undone_by_a_joint_made_again(team: Team, job: Job) -> None:
    log = happy_log(job, "tested", crew=team.crew)
    end = log.entries[-1]["id"]
    log.add(
        "joint", "J40", after=30, method="butt", od=n("40", "mm"), section="S1", loop="L1", buried=True, welder="x",
        ended_at=log.at + timedelta(minutes=20), cooling_min=n("20", "min"), visual_ok=True,
        plate_temperature=n("215", "°C"), soak=n("60", "s"), changeover=n("5", "s"),
    )  # fmt: skip
    send(log.entries, sender=team.crew)
    assert ("warn", "Undone by later work for S1, L1") in shown(team, job)[end].marks


def test_a_verdict_in_words_with_its_figures(team: Team, job: Job) -> None:
    raw = Log(job, team.crew).add("watch_reading", "T1", pressure=n("1.5", "bar"))
    trench = Log(job, team.crew, seq=9).add("trench_section", "S1", depth=n("790", "mm"), excavation_inspected=True)
    send([raw, trench], sender=team.crew)
    row = shown(team, job)[trench["id"]]
    assert row.is_held
    assert row.verdicts == ()
    with scope(team.firm.pk):
        actions.decide(
            Entry.objects.get(pk=trench["id"]), taken=True, reason="The photo came by mail", by=team.manager, at=NOW
        )
    (said,) = shown(team, job)[trench["id"]].verdicts
    assert (said.state, said.word, said.figures) == ("fail", "Fail", ("depth 790 mm (limit 800)",))


@pytest.mark.parametrize("first", ["missing", "rights", "subject"])
def test_the_office_cannot_let_count_what_cannot_be_read_behind_another_fault(team: Team, job: Job, first: str) -> None:
    """An unreadable answer under `rights` or `subject` would break the fold of the whole job."""
    log = Log(job, team.scheduler if first == "rights" else team.crew)
    raw = log.add("pressure_test", "T1" if first != "subject" else "Q1", covers={"value": [{"S1": 1}]})
    send(log.entries, sender=team.crew)
    with scope(team.firm.pk):
        entry = Entry.objects.get(pk=raw["id"])
        assert entry.held == ("answer:covers" if first == "missing" else first)
        with pytest.raises(NotHeld):
            actions.decide(entry, taken=True, reason="Looks fine to me", by=team.manager, at=NOW)
        actions.decide(entry, taken=False, reason="Cannot be read", by=team.manager, at=NOW)


def test_a_run_of_absurd_length_that_the_office_takes_has_an_end(team: Team, job: Job) -> None:
    log = happy_log(job, "running", crew=team.crew, engineer=team.engineer)
    log.entries[-1]["payload"]["planned_days"] = n("1e9", "d")
    receipts = send(log.entries, sender=team.crew)
    assert receipts[-1].why == "hard_range:planned_days"
    with scope(team.firm.pk):
        actions.decide(
            Entry.objects.get(pk=log.entries[-1]["id"]), taken=True, reason="Let us see it", by=team.manager, at=NOW
        )
        run = Run.objects.get()
        assert run.ends_at.year == 2036
        with pytest.raises(RunEnded):
            actions.extend_run(
                run, to=datetime(9999, 12, 31, tzinfo=UTC), reason="A slip of the keys", by=team.manager, at=NOW
            )


TEXTS: tuple[tuple[str, str, dict[str, Any], dict[str, Any]], ...] = (
    ("note", "", {}, {"note": "Gate code 4471 שלום 🚜"}),
    ("signature", "", {"role": "customer"}, {"name": "R. Hazel", "strokes": [[[0.5, 1], [2, 3.25]]]}),
    ("override", "H6:S1", {}, {"reason": "Storm tonight, it will not stand"}),
    ("sheet_submit", "", {"complete": True}, {"remark": "Left the ladder"}),
    ("covered", "S1", {}, {"anything": "a word where none was asked"}),
)


@pytest.mark.parametrize(("kind", "subject", "answers", "text"), TEXTS, ids=[row[0] for row in TEXTS])
def test_an_erased_person_leaves_entries_that_verify(
    team: Team, job: Job, kind: str, subject: str, answers: dict[str, Any], text: dict[str, Any]
) -> None:
    raw = Log(job, team.crew).add(kind, subject, text=text, **answers)
    kept = Log(job, team.engineer, device=uuid4()).add("note", "", text={"note": "Mine stays"})
    send([raw, kept], sender=team.crew)
    with scope(team.firm.pk):
        before = Entry.objects.filter(pk=raw["id"]).values().get()
        salt = EntryText.objects.get(entry=raw["id"]).salt
        folded = dict(queries.ledger(job).folded)
        assert actions.erase_person(team.crew, by=team.manager, at=NOW) == 1
        row = Entry.objects.get(pk=raw["id"])
        assert Entry.objects.filter(pk=raw["id"]).values().get() == before
        assert row.content_hash == read(raw).content_hash
        assert row.text_hash == text_hash(salt, text), "who has the words and the salt can still prove them"
        assert row.text_hash != text_hash(salt, {**text, "x": 1})
        assert same_content(row, read(raw))
        assert not same_content(row, read(raw | {"subject": "L1"}))
        assert dict(queries.ledger(job).folded) == folded
        assert [one.body for one in EntryText.objects.all()] == [{"note": "Mine stays"}]
        assert actions.erase_person(team.crew, by=team.manager, at=NOW) == 0
    assert not {str(part) for part in text.values()} & {said for _, said in shown(team, job)[raw["id"]].answers}
    (receipt,) = send([raw], sender=team.crew)
    assert receipt.status == "duplicate"
    with scope(team.firm.pk):
        assert EntryText.objects.count() == 1, "what comes again from the phone does not bring the words back"
