"""Scope and way of filling: set by the desk, told to the phone, counted by fold and sheet."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from django.urls import reverse

from jobs.firms.models import AuditEvent
from jobs.firms.scope import scope
from jobs.planning import actions as planning
from jobs.planning.errors import BadScope, JobClosed
from jobs.planning.models import Instrument, Job, JobState
from jobs.planning.trade import PHASES, NotOurs, scope_of
from jobs.visits import actions, queries
from tests import build
from tests.build_entries import Log, n, send
from tests.people import Team, signed_in

NOW = datetime(2026, 3, 9, 18, 0, tzinfo=UTC)
OTHERS = NotOurs("by_others", "Deepwell Drilling", "Certificate 4711")
GROUND = ("permits", "boreholes", "trench", "pipe", "header", "test", "backfill", "flush")


def answers(fill: str = "loop_by_loop", **rows: NotOurs) -> dict[str, str]:
    """The whole form; phases that are not named are ours."""
    found = {"fill": fill}
    for phase in PHASES:
        row = rows.get(phase, NotOurs("ours"))
        found |= {f"{phase}__{name}": getattr(row, name) for name in ("whose", "who", "evidence", "reason")}
    return found


def address(job: Job) -> str:
    return reverse("visits:scope", args=[job.pk])


def steps(team: Team, job: Job) -> dict[str, dict[str, Any]]:
    with scope(team.firm.pk, writes=False):
        job.refresh_from_db()
        return {step["code"]: step for step in queries.steps_of(job)}


def test_the_desk_says_whose_a_phase_is(team: Team, job: Job) -> None:
    client, before = signed_in(team.scheduler), job.version
    page = client.get(address(job)).content.decode()
    assert all(label in page for label in PHASES.values())
    assert "Services search and permit to dig" in page

    done = client.post(address(job), answers(test=OTHERS, balance=NotOurs("not_in_job", reason="One loop is enough")))

    assert done.status_code == 302
    assert steps(team, job)["test"]["not_ours"] == "Pressure test by others: Deepwell Drilling"
    assert steps(team, job)["balance"] | {"not_ours": "", "done": []} == {
        "code": "balance", "label": "Balance of the loops", "kind": "balance_reading", "not_ours": "", "done": [], "to_do": [],
    }  # fmt: skip
    assert job.version > before
    with scope(team.firm.pk, writes=False):
        event = AuditEvent.objects.get(verb="scope_set")
    assert event.detail == {
        "fields": ["scope", "fill_procedure"], "phases": ["balance", "test"], "fill": "loop_by_loop",
    } or event.detail["phases"] == ["balance", "test"]  # fmt: skip
    assert "Deepwell" not in str(event.detail)
    assert "by others: Deepwell Drilling" in client.get(address(job)).content.decode()


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (NotOurs("by_others", ""), "Say who does it."),
        (NotOurs("by_others", "  "), "Say who does it."),
        (NotOurs("not_in_job", reason="no"), "Say why in 10 characters or more."),
    ],
)
def test_a_phase_that_is_not_ours_says_who_or_why(team: Team, job: Job, row: NotOurs, said: str) -> None:
    page = signed_in(team.scheduler).post(address(job), answers(test=row, fill="water_only"))
    assert page.status_code == 200
    text = page.content.decode()
    assert said in text
    assert '<option value="water_only" selected>' in text  # what was typed is still there
    with scope(team.firm.pk):
        job.refresh_from_db()
        assert job.scope == {}
        with pytest.raises(BadScope):
            planning.set_scope(
                job,
                scope={"test": NotOurs(row.whose, row.who.strip(), "", row.reason)},
                fill="loop_by_loop",
                by=team.scheduler,
                at=NOW,
            )


@pytest.mark.parametrize(("phase", "fill"), [("moon", "loop_by_loop"), ("test", "by_bucket")])
def test_what_is_no_phase_or_way_is_refused(team: Team, job: Job, phase: str, fill: str) -> None:
    with scope(team.firm.pk), pytest.raises(BadScope):
        planning.set_scope(job, scope={phase: OTHERS}, fill=fill, by=team.scheduler, at=NOW)


def test_an_approved_job_keeps_its_scope(team: Team) -> None:
    done = build.a_job(team.firm, state=JobState.APPROVED)
    page = signed_in(team.scheduler).post(address(done), answers(test=OTHERS))
    assert "can no longer be changed" in page.content.decode()
    with scope(team.firm.pk), pytest.raises(JobClosed):
        actions.set_scope(done, scope={}, fill="loop_by_loop", by=team.scheduler, at=NOW)


def test_ours_again(team: Team, job: Job) -> None:
    client = signed_in(team.manager)
    client.post(address(job), answers(test=OTHERS))
    client.post(address(job), answers())
    assert steps(team, job)["test"]["not_ours"] == ""
    assert steps(team, job)["test"]["to_do"]


@pytest.mark.parametrize("who", ["crew", "engineer"])
def test_the_crew_does_not_change_it(team: Team, job: Job, who: str) -> None:
    assert signed_in(getattr(team, who)).get(address(job)).status_code == 403


@pytest.mark.parametrize(
    ("fill", "have", "lack"),
    [
        ("loop_by_loop", {"mix", "fill", "flush", "system"}, {"circulate", "as_filled", "flush_header"}),
        ("circulate", {"circulate", "flush", "delivery", "system"}, {"mix", "fill", "as_filled"}),
        ("pre_filled", {"as_filled", "flush_header", "system"}, {"mix", "fill", "flush", "delivery"}),
        ("water_only", {"flush", "purge", "air"}, {"mix", "fill", "circulate", "as_filled", "system", "delivery"}),
    ],
)
def test_the_way_of_filling_changes_the_steps(team: Team, job: Job, fill: str, have: set[str], lack: set[str]) -> None:
    signed_in(team.scheduler).post(address(job), answers(fill))
    assert have <= steps(team, job).keys()
    assert not lack & steps(team, job).keys()


def test_a_change_of_scope_is_felt_at_once(team: Team, job: Job) -> None:
    """A release held for want of a test counts as soon as the test is said to be by others."""
    log = Log(job, team.crew)
    log.add("backfill_release", "S1", watch_pressure=n("2.0", "bar"), positions_taken=True, photo={"value": ["0" * 64]})
    (receipt,) = send(log.entries, sender=team.crew)
    assert receipt.why == "hold_point:H6"
    signed_in(team.scheduler).post(address(job), answers(test=OTHERS, pipe=OTHERS))
    with scope(team.firm.pk, writes=False):
        job.refresh_from_db()
        assert queries.ledger(job).has("released", "S1")
        progress = queries.progress_of(job)
    assert progress is not None
    assert progress.held == 0


def test_a_job_may_start_at_the_filling(team: Team, job: Job) -> None:
    with scope(team.firm.pk):
        actions.set_scope(job, scope=dict.fromkeys(GROUND, OTHERS), fill="loop_by_loop", by=team.scheduler, at=NOW)
    log = Log(job, team.crew)
    log.add("mix_batch", "M1", spill_ready=True, water=n("100", "L"), concentrate=n("60", "L"), stirred=n("12", "min"))
    (receipt,) = send(log.entries, sender=team.crew)
    assert receipt.status == "stored"
    with scope(team.firm.pk, writes=False):
        job.refresh_from_db()
        holds = {row.code: row for row in queries.ledger(job).hold_points}
    assert job.state == JobState.FLUSHED
    assert "Flush by others: Deepwell Drilling" in holds["H9"].not_ours
    page = signed_in(team.scheduler).get(reverse("office:job", args=[job.pk])).content.decode()
    assert "Pressure test by others: Deepwell Drilling." in page


def test_the_phone_is_told(team: Team, job: Job) -> None:
    with scope(team.firm.pk):
        actions.set_scope(job, scope={"test": OTHERS}, fill="circulate", by=team.scheduler, at=NOW)
        pump = planning.add_instrument(
            by=team.scheduler,
            at=NOW,
            kind="pump",
            name="Purge unit",
            serial="P-1",
            unit="",
            suitable_for_flammable=True,
        )
        job.refresh_from_db()
        given = queries.ledger(job).case["given"]
    assert given["scope"] == {"test": "by others: Deepwell Drilling"}
    assert (given["fill"], given["pumps"], given["flammable"], given["shallow"]) == (
        "circulate",
        [str(pump.pk)],
        False,
        False,
    )


@pytest.mark.parametrize(("frost_m", "shallow"), [(0.6, False), (0.9, False), (0.91, True), (None, True)])
def test_pipe_above_the_frost(team: Team, frost_m: float | None, shallow: bool) -> None:
    """Sections are drawn 900 mm deep; a depth that nobody told is taken for shallow."""
    job = build.a_job(team.firm, site=build.a_site(team.firm, frost_depth_m=frost_m))
    with scope(team.firm.pk, writes=False):
        assert queries.ledger(job).case["given"]["shallow"] is shallow


def an_ethanol_job(team: Team) -> Job:
    product = build.a_product(team.firm, name="Clear spirit", base="ethanol", density_kg_m3=None, colour="")
    found = build.a_job(team.firm, product=product)
    with scope(team.firm.pk):
        before = dict.fromkeys(GROUND, OTHERS)
        actions.set_scope(found, scope=before, fill="loop_by_loop", by=team.scheduler, at=NOW)
    return found


@pytest.mark.parametrize(("fit", "why"), [(True, ""), (False, "hold_point:H9")])
def test_a_fluid_that_burns_wants_a_pump_that_is_fit_for_it(team: Team, fit: bool, why: str) -> None:
    job = an_ethanol_job(team)
    with scope(team.firm.pk):
        pump: Instrument = planning.add_instrument(
            by=team.scheduler, at=NOW, kind="pump", name="Purge unit", serial="P-1", unit="", suitable_for_flammable=fit
        )
    log = Log(job, team.crew)
    mixed: dict[str, Any] = {"water": n("100", "L"), "concentrate": n("60", "L"), "stirred": n("12", "min")}
    log.add("mix_batch", "M1", spill_ready=True, pump=str(pump.pk), **mixed)
    (receipt,) = send(log.entries, sender=team.crew)
    assert receipt.why == why
    with scope(team.firm.pk, writes=False):
        (row,) = queries.timeline(queries.ledger(job).lines, job)
    assert ("Pump", "Purge unit P-1" if fit else str(pump.pk)) in row.answers


def test_scope_that_was_kept_reads_back() -> None:
    raw = {
        "test": OTHERS.as_json(),
        "balance": {"whose": "not_in_job", "reason": "One loop is enough"},
        "moon": {"whose": "ours"},
    }
    assert scope_of(raw) == {"test": OTHERS, "balance": NotOurs("not_in_job", reason="One loop is enough")}
    assert scope_of({}) == {}
