"""The work as it goes on site: hold points, overrides, corrections, asks, the run, through the actions."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calcs.verdict import Outcome
from jobs.firms.scope import scope
from jobs.planning.models import Job, JobState
from jobs.visits import actions, queries, results
from jobs.visits.errors import NotHeld
from jobs.visits.ledger import Standing
from jobs.visits.models import Ask, Decision, Entry, Progress, Run
from tests import build
from tests.build_entries import STAGES, Log, happy_log, n, photo, send
from tests.people import Team

NOW = datetime(2026, 3, 9, 18, 0, tzinfo=UTC)


@contextmanager
def inside(team: Team) -> Iterator[None]:
    with scope(team.firm.pk):
        yield


def started(job: Job, team: Team, upto: str) -> Log:
    """The job as far as `upto`, received; the log goes on from there."""
    log = happy_log(job, upto, crew=team.crew, engineer=team.engineer)
    send(log.entries, sender=team.crew)
    log.entries.clear()
    return log


def release(log: Log, section: str = "S1", **more: Any) -> dict[str, Any]:
    return log.add(
        "backfill_release", section, instrument="gauge", watch_pressure=n("2.0", "bar"), positions_taken=True,
        photo=photo(section), **more,
    )  # fmt: skip


def seen(team: Team, job: Job) -> queries.Ledger:
    with inside(team):
        return queries.ledger(job)


def test_a_release_without_a_passed_test_is_kept_held_and_changes_nothing(team: Team, job: Job) -> None:
    log = started(job, team, "joined")
    raw = release(log)
    (receipt,) = send(log.entries, sender=team.crew)
    assert (receipt.status, receipt.why) == ("held", "hold_point:H6")
    ledger = seen(team, job)
    assert not ledger.has("released", "S1")
    assert [(line.id, line.why) for line in ledger.held] == [(raw["id"], "hold point H6 Backfill is not released")]
    point = next(row for row in ledger.hold_points if (row.code, row.subject) == ("H6", "S1"))
    assert not point.is_open
    assert point.missing == ("S1 is not inside a passed pressure test.",)


def test_the_crew_says_it_is_covered_all_the_same(team: Team, job: Job) -> None:
    log = started(job, team, "joined")
    release(log)
    log.add("covered", "S1")
    held, covered = send(log.entries, sender=team.crew)
    assert (held.status, covered.status) == ("held", "stored")
    assert seen(team, job).covered_early == ["S1"]
    with inside(team):
        assert Progress.objects.get(job=job).sections_covered_early == 1


def test_an_override_with_a_reason_takes_effect_and_stays_marked(team: Team, job: Job) -> None:
    log = started(job, team, "joined")
    raw = release(log)
    over = log.add("override", "H6:S1", text={"reason": "Storm tonight, the trench will not stand"})
    send(log.entries, sender=team.crew)
    ledger = seen(team, job)
    assert ledger.has("released", "S1")
    assert ledger.by_id[raw["id"]].overridden_by == over["id"]
    assert not any(line.standing is Standing.HELD for line in ledger.lines)


def test_an_override_without_a_proper_reason_is_held(team: Team, job: Job) -> None:
    log = started(job, team, "joined")
    release(log)
    log.add("override", "H6:S1", text={"reason": "rain     "})
    _, over = send(log.entries, sender=team.crew)
    assert over.why == "missing:reason"
    assert not seen(team, job).has("released", "S1")


def test_a_hand_made_request_cannot_claim_to_be_released(team: Team, job: Job) -> None:
    """Facts, hold codes or decisions inside an entry are words from a phone; they are kept aside and do nothing."""
    log = started(job, team, "joined")
    raw = release(log)
    raw |= {"held": "", "decision": "taken", "facts": {"tested": {"S1": raw["id"]}}}
    (receipt,) = send([raw], sender=team.crew)
    assert receipt.status == "held"
    ledger = seen(team, job)
    assert not ledger.has("tested", "S1")
    assert not ledger.has("released", "S1")


def test_a_release_received_before_the_test_from_another_phone(team: Team, job: Job) -> None:
    """Phone B was first to find a signal. The release was made after the test, so it counts once the test is here."""
    whole = happy_log(job, "tested", crew=team.crew)
    test = [entry for entry in whole.entries if entry["kind"].startswith("pressure")]
    rest = [entry for entry in whole.entries if not entry["kind"].startswith("pressure")]
    send(rest, sender=team.crew)
    other = Log(job, team.engineer, device=uuid4(), at=whole.at + timedelta(minutes=9), instruments=whole.instruments)
    release(other)
    (early,) = send(other.entries, sender=team.engineer)
    assert early.why == "hold_point:H6"
    send(test, sender=team.crew)
    ledger = seen(team, job)
    assert ledger.has("released", "S1")
    with inside(team):
        assert Progress.objects.get(job=job).held == 0


def test_the_office_takes_a_held_entry(team: Team, job: Job) -> None:
    log = started(job, team, "joined")
    raw = release(log)
    send(log.entries, sender=team.crew)
    with inside(team):
        entry = Entry.objects.get(pk=raw["id"])
        actions.decide(entry, taken=True, reason="Seen on site by the manager", by=team.manager, at=NOW)
        ledger = queries.ledger(job)
        assert ledger.by_id[raw["id"]].overridden_by == "office"
        assert ledger.has("released", "S1")
        with pytest.raises(NotHeld):
            actions.decide(entry, taken=False, reason="Changed my mind", by=team.manager, at=NOW)


def test_the_office_leaves_a_held_entry_out(team: Team, job: Job) -> None:
    log = started(job, team, "joined")
    raw = release(log)
    send(log.entries, sender=team.crew)
    with inside(team):
        actions.decide(Entry.objects.get(pk=raw["id"]), taken=False, reason="Wrong section", by=team.manager, at=NOW)
        line = queries.ledger(job).by_id[raw["id"]]
        assert line.standing is Standing.LEFT_OUT
        assert queries.held_entries() == []


def test_what_cannot_be_read_cannot_be_taken(team: Team, job: Job) -> None:
    log = Log(job, team.crew)
    raw = log.add("pressure_test", "T1", covers={"value": [{"S1": 1}]})
    send(log.entries, sender=team.crew)
    with inside(team):
        entry = Entry.objects.get(pk=raw["id"])
        assert entry.held == "answer:covers"
        with pytest.raises(NotHeld):
            actions.decide(entry, taken=True, reason="Looks fine to me", by=team.manager, at=NOW)
        assert not Decision.objects.exists()


def test_a_correction_takes_over_and_the_first_stays_visible(team: Team, job: Job) -> None:
    log = started(job, team, "trenched")
    first = log.add("note", "", text={"note": "Gate code 4417"})
    fix = log.add("note", "", text={"note": "Gate code 4471"}, supersedes=first["id"], reason="typo")
    send(log.entries, sender=team.crew)
    ledger = seen(team, job)
    assert ledger.by_id[first["id"]].standing is Standing.SUPERSEDED
    assert ledger.by_id[first["id"]].superseded_by == (fix["id"],)
    assert [line.id for line in ledger.of("note")] == [fix["id"]]


def test_a_correction_that_comes_before_its_target(team: Team, job: Job) -> None:
    log = Log(job, team.crew)
    first = log.add("note", "", text={"note": "Gate code 4417"})
    fix = log.add("note", "", text={"note": "Gate code 4471"}, supersedes=first["id"], reason="typo")
    assert [receipt.status for receipt in send([fix, first], sender=team.crew)] == ["stored", "stored"]
    assert [line.id for line in seen(team, job).of("note")] == [fix["id"]]


def test_two_phones_correct_one_entry_and_both_stay(team: Team, job: Job) -> None:
    log = Log(job, team.crew)
    first = log.add("note", "", text={"note": "41 drums"})
    one = log.add("note", "", text={"note": "14 drums"}, supersedes=first["id"], reason="typo")
    other = Log(job, team.engineer, device=uuid4(), at=log.at)
    two = other.add("note", "", text={"note": "4 drums"}, supersedes=first["id"], reason="typo")
    send([*log.entries, *other.entries], sender=team.crew)
    lines = seen(team, job).of("note")
    assert {line.id for line in lines} == {one["id"], two["id"]}
    assert all(line.in_conflict for line in lines)


def test_a_corrected_reading_changes_the_verdict(team: Team, job: Job) -> None:
    """A last reading of 4.64 bar is a leak; it was a slip for 5.64."""
    log = happy_log(job, "tested", crew=team.crew)
    last = [entry for entry in log.entries if entry["kind"] == "pressure_reading"][-1]
    right = last["payload"]["pressure"]
    last["payload"]["pressure"] = n("4.64", "bar")
    send(log.entries, sender=team.crew)
    assert seen(team, job).outcomes["T1"] == Outcome.FAIL
    log.entries.clear()
    fix = log.add(
        "pressure_reading", "T1", after=200, instrument="gauge", phase="isolated", pressure=right, supersedes=last["id"],
        reason="read_wrong",
    )  # fmt: skip
    send([fix], sender=team.crew)
    ledger = seen(team, job)
    assert ledger.outcomes["T1"] == Outcome.PASS
    assert ledger.has("tested", "S1")


def test_pipe_cut_after_the_purge_undoes_the_work_and_the_state(team: Team, job: Job) -> None:
    log = started(job, team, "purged")
    with inside(team):
        job.refresh_from_db()
        assert job.state == JobState.FILLED
    log.add(
        "joint", "J11", after=30, method="electrofusion", od=n("40", "mm"), section="S1", loop="L1", buried=True,
        welder=str(team.crew.pk), ended_at=log.at + timedelta(minutes=20), cooling_min=n("30", "min"), visual_ok=True,
        scraped=True, clamped=True, indicators=True,
    )  # fmt: skip
    send(log.entries, sender=team.crew)
    ledger = seen(team, job)
    assert not ledger.has("tested", "S1")
    assert ledger.has("tested", "S2")
    assert ledger.subjects("filled") == ["L2", "L3", "L4"]
    assert not ledger.has("purged")
    end = ledger.of("pressure_end")[0]
    assert set(end.void_for) == {"S1", "L1"}
    with inside(team):
        job.refresh_from_db()
    assert job.state == JobState.IN_GROUND


STATES = {
    "papers": "scheduled", "trenched": "in_ground", "tested": "tested", "covered": "backfilled", "flushed": "flushed",
    "purged": "filled", "running": "running_in", "checked": "ready",
}  # fmt: skip


def test_the_job_moves_with_the_facts(team: Team, job: Job) -> None:
    log = happy_log(job, "submitted", crew=team.crew, engineer=team.engineer)
    sent = 0
    for stage in STAGES:
        upto = len(happy_log(job, stage, crew=team.crew, engineer=team.engineer).entries)
        send(log.entries[sent:upto], sender=team.crew)
        sent = upto
        with inside(team):
            job.refresh_from_db()
        assert job.state == STATES.get(stage, job.state), stage


def test_a_sheet_in_review_keeps_its_state(team: Team) -> None:
    submitted = build.a_job(team.firm, state=JobState.SUBMITTED)
    log = Log(submitted, team.crew)
    log.add("note", "", text={"note": "One more thing"})
    send(log.entries, sender=team.crew)
    with inside(team):
        submitted.refresh_from_db()
    assert submitted.state == JobState.SUBMITTED


def test_every_verdict_of_the_main_job(team: Team, job: Job) -> None:
    started(job, team, "submitted")
    with inside(team):
        judged = results.judge_all(job)
    kinds = {one.entry.kind for one in judged}
    assert {
        "trench_section", "pressure_test", "pressure_end", "watch_reading", "flush", "mix_batch", "strength_reading",
        "loop_fill", "purge", "residual_air", "source_settings", "follow_up", "final_reading",
    } <= kinds  # fmt: skip
    assert {one.outcome for one in judged} == {Outcome.PASS}
    assert all(
        verdict.source.text
        for one in judged
        for verdict in one.verdicts
        if verdict.figures and one.entry.kind != "pressure_test" and not _machine(verdict.reason)
    )


def _machine(reason: str) -> bool:
    """Figures against the heat pump's own data carry no published source."""
    return "heat pump" in reason


def test_an_ask_is_answered_by_a_correction(team: Team, job: Job) -> None:
    log = Log(job, team.crew)
    first = log.add("note", "", text={"note": "14 drums"})
    send(log.entries, sender=team.crew)
    with inside(team):
        entry = Entry.objects.select_related("job").get(pk=first["id"])
        actions.ask(entry, field="note", text="Which lot?", to=team.crew, by=team.manager, at=NOW)
        assert [ask.text for ask in queries.asks_to(team.crew)] == ["Which lot?"]
        assert Progress.objects.get(job=job).open_asks == 1
    fix = log.add("note", "", text={"note": "14 drums, lot PG-2605"}, supersedes=first["id"], reason="asked")
    send([fix], sender=team.crew)
    with inside(team):
        assert str(Ask.objects.get().answered_by_entry) == fix["id"]
        assert not queries.open_asks(job).exists()
        assert Progress.objects.get(job=job).open_asks == 0


def test_a_held_correction_answers_nothing(team: Team, job: Job) -> None:
    log = Log(job, team.crew)
    first = log.add("note", "", text={"note": "14 drums"})
    send(log.entries, sender=team.crew)
    with inside(team):
        entry = Entry.objects.select_related("job").get(pk=first["id"])
        actions.ask(entry, field="note", text="Which lot?", to=team.crew, by=team.manager, at=NOW)
    send([log.add("note", "", text={}, supersedes=first["id"], reason="asked")], sender=team.crew)
    with inside(team):
        assert queries.open_asks(job).count() == 1


def test_recompute_makes_the_same_summary_again(team: Team, job: Job) -> None:
    log = started(job, team, "released")
    release(log, "S9")
    log.add("covered", "S1")
    send(log.entries, sender=team.crew)
    with inside(team):
        before = Progress.objects.filter(job=job).values().get()
        run = list(Run.objects.values())
        Progress.objects.filter(job=job).delete()
        assert actions.recompute_all(at=NOW) == 1
        after = Progress.objects.filter(job=job).values().get()
        assert list(Run.objects.values()) == run
    skipped = {"id", "version"}
    assert {k: v for k, v in after.items() if k not in skipped} == {k: v for k, v in before.items() if k not in skipped}


def test_reading_a_ledger_takes_as_many_queries_for_few_as_for_many(
    team: Team, job: Job, django_assert_num_queries: Any
) -> None:
    log = happy_log(job, "purged", crew=team.crew, engineer=team.engineer)
    send(log.entries[:3], sender=team.crew)
    with scope(team.firm.pk, writes=False), django_assert_num_queries(9):
        queries.ledger(job)
    send(log.entries[3:], sender=team.crew)
    with scope(team.firm.pk, writes=False), django_assert_num_queries(9):
        queries.ledger(job)


@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_order_and_any_repetition_give_the_same_state(team: Team, job: Job, data: st.DataObject) -> None:
    """As a batch may arrive: shuffled, parts of it again."""
    fresh = build.a_job(team.firm, state=JobState.SCHEDULED)
    log = happy_log(fresh, "released", crew=team.crew)
    entries = [
        entry
        for entry in log.entries
        if entry["kind"] != "pressure_reading" or entry["payload"]["phase"]["value"] != "x"
    ]
    order = data.draw(st.permutations(entries))
    again = data.draw(st.lists(st.sampled_from(entries), max_size=6))
    statuses = [receipt.status for receipt in send([*order, *again], sender=team.crew)]
    assert "id_conflict" not in statuses
    with inside(team):
        ledger = queries.ledger(fresh)
        assert len(ledger.lines) == len(entries)
        assert [line.id for line in ledger.lines] == [entry["id"] for entry in entries]
        assert ledger.subjects("released") == ["S1", "S2", "S3"]
        assert not ledger.held
        fresh.refresh_from_db()
        assert Progress.objects.get(job=fresh).held == 0
    assert fresh.state == JobState.TESTED
