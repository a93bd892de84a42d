"""The ledgers' triggers, found in the database itself after migrating; and what they refuse."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction

from jobs.firms import audit, guards
from jobs.firms.checks import ledgers_are_guarded
from jobs.firms.models import AuditEvent, Firm
from jobs.firms.scope import scope
from jobs.visits.models import Entry, EntryText, Erasure
from tests.engines import ELSEWHERE
from tests.people import Team, a_team

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


@pytest.fixture
def team() -> Team:
    return a_team()


def an_event(team: Team) -> AuditEvent:
    with scope(team.firm.pk):
        audit.record(at=AT, actor=team.manager, verb="looked", subject=team.firm)
        return AuditEvent.objects.get()


def run(firm: Firm, sql: str) -> None:
    with scope(firm.pk), connection.cursor() as cursor:
        connection.check_constraints()  # PostgreSQL truncates no table with foreign keys still to be checked
        cursor.execute(sql)


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE firms_auditevent SET verb = 'nothing'",
        "DELETE FROM firms_auditevent",
        pytest.param(
            "INSERT OR REPLACE INTO firms_auditevent SELECT * FROM firms_auditevent",
            marks=pytest.mark.skipif("connection.vendor != 'sqlite'", reason=ELSEWHERE),
        ),
        pytest.param(
            "UPDATE OR REPLACE firms_auditevent SET verb = 'x'",
            marks=pytest.mark.skipif("connection.vendor != 'sqlite'", reason=ELSEWHERE),
        ),
        pytest.param(
            "TRUNCATE firms_auditevent", marks=pytest.mark.skipif("connection.vendor != 'postgresql'", reason=ELSEWHERE)
        ),
    ],
)
def test_a_ledger_refuses_every_way_to_change_it(team: Team, sql: str) -> None:
    event = an_event(team)
    with pytest.raises(DatabaseError, match="is a ledger"):
        run(team.firm, sql)
    with scope(team.firm.pk):
        assert AuditEvent.objects.get().verb == event.verb


def test_the_ledger_can_be_added_to(team: Team) -> None:
    an_event(team)
    with scope(team.firm.pk):
        audit.record(at=AT, actor=None, verb="swept", subject=team.firm, found=3)
        assert AuditEvent.objects.count() == 2


def test_every_trigger_stands_after_all_migrations() -> None:
    assert guards.missing_triggers(connection) == set()
    found = guards.triggers_found(connection)
    for table in ("visits_entry", "visits_entrytext", "visits_erasure", "visits_receiptfinding", "firms_auditevent"):
        assert {f"{table}_no_update", f"{table}_no_delete"} <= found
    assert {"visits_entry_kin_insert", "planning_site_kin_update"} <= found


def test_a_missing_trigger_is_found_by_the_system_check_and_mended_by_migrate() -> None:
    on = "" if connection.vendor == "sqlite" else " ON visits_entry"
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER visits_entry_no_update{on}")
    (warning,) = ledgers_are_guarded(databases=["default"])
    assert "visits_entry_no_update" in warning.msg
    call_command("migrate", verbosity=0)
    assert ledgers_are_guarded(databases=["default"]) == []


def test_free_text_goes_only_with_an_erasure_of_its_person(team: Team) -> None:
    with scope(team.firm.pk):
        entry = an_entry(team)
        text = EntryText.objects.create(entry=entry, person=team.crew, salt="s", body={"note": "wet"})
    with pytest.raises(DatabaseError, match="is a ledger"), scope(team.firm.pk):
        EntryText.objects.all().delete()
    with scope(team.firm.pk):
        Erasure.objects.create(person=team.engineer, at=AT)
    with pytest.raises(DatabaseError, match="is a ledger"), scope(team.firm.pk):
        EntryText.objects.all().delete()
    with scope(team.firm.pk):
        Erasure.objects.create(person=team.crew, at=AT)
        with pytest.raises(DatabaseError, match="is a ledger"), transaction.atomic():
            EntryText.objects.update(body={})
        text.delete()
        assert Entry.objects.filter(pk=entry.pk).exists()
        with pytest.raises(DatabaseError, match="is a ledger"), transaction.atomic():
            Entry.objects.filter(pk=entry.pk)._raw_delete(using="default")


def an_entry(team: Team) -> Entry:
    from tests.build import a_job  # noqa: PLC0415

    job = a_job(team.firm)
    return Entry.objects.create(
        job=job,
        kind="note",
        payload={},
        person=team.crew,
        sent_by=team.crew,
        device=team.crew.pk,
        device_seq=1,
        schema=1,
        observed_at=AT,
        recorded_at=AT,
        received_at=AT,
        clock_offset_s=0,
        content_hash="h",
    )
