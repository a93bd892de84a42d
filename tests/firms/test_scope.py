"""Without a firm nothing is read or written; with one, only its own. Holds on both databases."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any
from uuid import UUID, uuid4

import pytest
from django import forms
from django.db import DatabaseError, IntegrityError, connection, transaction

from jobs.firms.errors import NoFirmInScope, WrongFirm
from jobs.firms.models import AuditEvent, Device, Firm, Role
from jobs.firms.scope import firm_in_scope, scope
from jobs.planning.models import Customer, Site
from jobs.work.models import Mail
from tests.engines import ELSEWHERE
from tests.people import a_firm, member

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def a_mail(firm: Firm, subject: str = "One") -> Mail:
    with scope(firm.pk):
        return Mail.objects.create(to="a@example.test", subject=subject, body="", wanted_at=AT)


def a_site(firm: Firm) -> Site:
    with scope(firm.pk):
        customer = Customer.objects.create(name="Old Mill")
        return Site.objects.create(customer=customer, name="Barn", address="1 Lane")


READS: dict[str, Callable[[Mail], Any]] = {
    "all": lambda row: list(Mail.objects.all()),
    "get": lambda row: Mail.objects.get(pk=row.pk),
    "filter": lambda row: Mail.objects.filter(pk=row.pk).first(),
    "exists": lambda row: Mail.objects.exists(),
    "count": lambda row: Mail.objects.count(),
    "aggregate": lambda row: Mail.objects.aggregate(),
    "values": lambda row: list(Mail.objects.values("subject")),
    "in_bulk": lambda row: Mail.objects.in_bulk([row.pk]),
    "iterator": lambda row: list(Mail.objects.iterator()),
    "earliest": lambda row: Mail.objects.earliest("wanted_at"),
    "select_for_update": lambda row: list(Mail.objects.select_for_update()),
    "base manager": lambda row: list(Mail._base_manager.all()),
    "default manager": lambda row: list(Mail._default_manager.all()),
    "refresh_from_db": lambda row: row.refresh_from_db(),
}
WRITES: dict[str, Callable[[Mail], Any]] = {
    "save": lambda row: row.save(),
    "save of a new row": lambda row: Mail(to="b@example.test", subject="New", body="", wanted_at=AT).save(),
    "create": lambda row: Mail.objects.create(to="b@example.test", subject="New", body="", wanted_at=AT),
    "get_or_create": lambda row: Mail.objects.get_or_create(pk=row.pk),
    "update_or_create": lambda row: Mail.objects.update_or_create(pk=row.pk, defaults={"subject": "Changed"}),
    "update": lambda row: Mail.objects.update(subject="Changed"),
    "delete": lambda row: row.delete(),
    "delete all": lambda row: Mail.objects.all().delete(),
    "bulk_create": lambda row: Mail.objects.bulk_create(
        [Mail(to="b@example.test", subject="New", body="", wanted_at=AT)]
    ),
    "bulk_create of the queryset": lambda row: Mail.objects.all().bulk_create([row]),
    "bulk_update": lambda row: Mail.objects.bulk_update([row], ["subject"]),
}


@pytest.mark.parametrize("name", [*READS, *WRITES])
def test_without_a_scope_everything_raises(name: str) -> None:
    row = a_mail(a_firm())
    with pytest.raises(NoFirmInScope):
        {**READS, **WRITES}[name](row)


@pytest.mark.parametrize("name", READS)
def test_in_another_firms_scope_nothing_is_read(name: str) -> None:
    row, other = a_mail(a_firm(), "Secret"), a_firm("Other")
    with scope(other.pk):
        try:
            found = READS[name](row)
        except (Mail.DoesNotExist, ValueError):
            return
    assert not found or found in ([], {}, 0), found


@pytest.mark.parametrize("name", ["save", "delete", "bulk_create of the queryset", "bulk_update", "get_or_create"])
def test_in_another_firms_scope_a_row_at_hand_cannot_be_written(name: str) -> None:
    firm, other = a_firm(), a_firm("Other")
    row = a_mail(firm, "As it was")
    row.subject = "Changed"
    with pytest.raises((WrongFirm, IntegrityError)), scope(other.pk):
        WRITES[name](row)
    with scope(firm.pk):
        assert Mail.objects.get().subject == "As it was"


@pytest.mark.parametrize("name", ["update", "delete all"])
def test_in_another_firms_scope_a_sweeping_write_touches_nothing(name: str) -> None:
    firm, other = a_firm(), a_firm("Other")
    row = a_mail(firm, "As it was")
    with scope(other.pk):
        WRITES[name](row)
    with scope(firm.pk):
        assert Mail.objects.get().subject == "As it was"


def test_a_new_row_takes_the_firm_in_scope() -> None:
    firm = a_firm()
    assert a_mail(firm).firm_id == firm.pk
    with scope(firm.pk):
        (row,) = Mail.objects.bulk_create([Mail(to="b@example.test", subject="New", body="", wanted_at=AT)])
        assert row.firm_id == firm.pk


def test_a_row_for_another_firm_cannot_be_made() -> None:
    firm, other = a_firm(), a_firm("Other")
    strange = Mail(firm=other, to="b@example.test", subject="New", body="", wanted_at=AT)
    with scope(firm.pk):
        for write in (strange.save, lambda: Mail.objects.bulk_create([strange])):
            with pytest.raises(WrongFirm):
                write()


@pytest.mark.parametrize("field", ["firm", "firm_id"])
def test_a_row_never_changes_its_firm(field: str) -> None:
    firm, other = a_firm(), a_firm("Other")
    a_mail(firm)
    with scope(firm.pk), pytest.raises(WrongFirm):
        Mail.objects.update(**{field: other.pk})


def test_forward_and_backward_relations_are_scoped() -> None:
    firm, other = a_firm(), a_firm("Other")
    site = a_site(firm)
    with scope(firm.pk):
        fresh = Site.objects.get()
        customer = Customer.objects.get()
    with pytest.raises(NoFirmInScope):
        _ = fresh.customer
    with pytest.raises(NoFirmInScope):
        list(customer.sites.all())
    with scope(other.pk):
        with pytest.raises(Customer.DoesNotExist):
            _ = fresh.customer
        assert not list(customer.sites.all())
    with scope(firm.pk):
        assert fresh.customer == customer
        assert list(customer.sites.all()) == [site]


def test_the_database_refuses_a_row_that_points_at_another_firms() -> None:
    """Written past all of Django's help; what a forged id in a form would do if the form forgot to look."""
    firm, other = a_firm(), a_firm("Other")
    theirs = a_site(other)
    with pytest.raises((IntegrityError, DatabaseError), match="points at another firm"), scope(firm.pk):
        Site.objects.create(customer_id=theirs.customer_id, name="Mine", address="x")
    mine = a_site(firm)
    with pytest.raises((IntegrityError, DatabaseError), match="points at another firm"), scope(firm.pk):
        Site.objects.filter(pk=mine.pk).update(customer_id=theirs.customer_id)
    stranger = member(other, Role.CREW)
    with pytest.raises((IntegrityError, DatabaseError), match="points at another firm"), scope(firm.pk):
        AuditEvent.objects.create(at=AT, actor=stranger, verb="x", subject_kind="x")


def test_scopes_of_two_firms_do_not_nest_and_of_one_do() -> None:
    firm, other = a_firm(), a_firm("Other")
    with scope(firm.pk):
        with scope(firm.pk, writes=False):
            assert firm_in_scope() == firm.pk
        with pytest.raises(WrongFirm), scope(other.pk):
            pass
        assert firm_in_scope() == firm.pk
        a_mail(firm)
    with pytest.raises(NoFirmInScope):
        firm_in_scope()


def test_a_scope_that_fails_is_closed_and_rolled_back() -> None:
    firm = a_firm()

    def fail() -> None:
        with scope(firm.pk):
            Mail.objects.create(to="a@example.test", subject="Half", body="", wanted_at=AT)
            raise ValueError("after the write")

    with pytest.raises(ValueError, match="after"):
        fail()
    with pytest.raises(NoFirmInScope):
        firm_in_scope()
    with scope(firm.pk):
        assert not Mail.objects.exists()


def test_another_thread_has_no_scope() -> None:
    errors: list[Exception] = []

    def look() -> None:
        try:
            firm_in_scope()
        except NoFirmInScope as error:
            errors.append(error)

    with scope(a_firm().pk):
        thread = threading.Thread(target=look)
        thread.start()
        thread.join()
    assert len(errors) == 1


def test_none_needs_no_scope_so_that_forms_can_be_imported() -> None:
    class Form(forms.Form):
        device = forms.ModelChoiceField(Device.objects.none())

    assert not Form({"device": uuid4()}).is_valid()


@pytest.mark.skipif("connection.vendor != 'postgresql'", reason=ELSEWHERE)
class TestRowSecurity:
    """PostgreSQL says it a second time, whatever SQL is sent."""

    def test_raw_sql_sees_only_the_firm_in_scope(self) -> None:
        firm, other = a_firm(), a_firm("Other")
        a_mail(firm)
        assert self.count(other.pk) == 0
        assert self.count(firm.pk) == 1

    def count(self, firm: UUID) -> int:
        with scope(firm), connection.cursor() as cursor:
            cursor.execute("SELECT count(*) FROM work_mail")
            found: int = cursor.fetchone()[0]
            return found

    def test_raw_sql_without_a_scope_raises(self) -> None:
        """The test's own transaction still carries what the last scope set; a request's would be over."""
        a_mail(a_firm())
        self.run("SELECT set_config('groundloop.firm', '', true)")
        with pytest.raises(DatabaseError, match="no firm in scope"), transaction.atomic():
            self.run("SELECT count(*) FROM work_mail")

    def test_raw_sql_cannot_write_for_another_firm(self) -> None:
        firm, other = a_firm(), a_firm("Other")
        a_mail(firm)
        a_mail(other)
        with scope(other.pk):
            assert self.run("UPDATE work_mail SET subject = 'Theirs'") == 1
        with pytest.raises(DatabaseError, match="row-level security"), scope(other.pk):
            self.run("UPDATE work_mail SET firm_id = %s", firm.pk)
        columns = 'id, firm_id, "to", subject, body, wanted_at, is_secret'
        with pytest.raises(DatabaseError, match="row-level security"), scope(other.pk):
            self.run(f"INSERT INTO work_mail ({columns}) VALUES (%s, %s, 'a', 'b', '', now(), false)", uuid4(), firm.pk)
        with scope(firm.pk):
            assert Mail.objects.get().subject == "One"

    def run(self, sql: str, *values: UUID) -> int:
        with connection.cursor() as cursor:
            cursor.execute(sql, values)
            return int(cursor.rowcount)
