"""Every table belongs to a firm or stands on a short closed list; and the database itself says so."""

from __future__ import annotations

from collections.abc import Iterable

import pytest
from django.apps import apps
from django.db import connection, models

from jobs.firms import guards
from jobs.firms.models import FirmManager, FirmOwned
from tests.engines import ELSEWHERE

# Outside the firm's scope: who signs in, and rows that carry ids, hashes and times only. Nothing is added lightly.
CLOSED_LIST = {
    "firms.User", "firms.Firm", "firms.Member", "work.Work", "work.Due", "accounts.LinkToken",
    "sessions.Session", "account.EmailAddress", "account.EmailConfirmation",
    "auth.Permission", "auth.Group", "contenttypes.ContentType",
}  # fmt: skip
# What an unscoped table of ours may hold: never text from people.
PLAIN = (
    models.UUIDField, models.ForeignKey, models.DateTimeField, models.PositiveIntegerField,
    models.PositiveSmallIntegerField, models.BooleanField,
)  # fmt: skip
CODES = {"kind", "key", "state", "error_code", "purpose", "token_hash"}


def strangers(found: Iterable[type[models.Model]]) -> list[str]:
    return [
        model._meta.label
        for model in found
        if not issubclass(model, FirmOwned) and model._meta.label not in CLOSED_LIST
    ]


def test_every_model_is_firm_owned_or_on_the_closed_list() -> None:
    assert strangers(apps.get_models()) == []


def test_the_closed_list_holds_nothing_that_is_not_there() -> None:
    assert CLOSED_LIST - {model._meta.label for model in apps.get_models()} == set()


def test_a_planted_table_is_found() -> None:
    class Stray(models.Model):
        class Meta:
            app_label = "office"

    try:
        assert strangers([Stray]) == ["office.Stray"]
    finally:
        del apps.all_models["office"]["stray"]
        apps.clear_cache()


@pytest.mark.parametrize("label", ["work.Work", "work.Due", "accounts.LinkToken"])
def test_what_stands_outside_the_scope_holds_no_text(label: str) -> None:
    texts = [
        field.name
        for field in apps.get_model(label)._meta.local_fields
        if not isinstance(field, PLAIN) and field.name not in CODES
    ]
    assert texts == []


@pytest.mark.parametrize("model", guards.firm_models(), ids=lambda model: model._meta.label)
def test_a_firms_table_keeps_the_scoped_manager_and_the_pair_that_others_may_point_at(model: type[FirmOwned]) -> None:
    assert isinstance(model._default_manager, FirmManager)
    assert isinstance(model._base_manager, FirmManager)
    pairs = [c.fields for c in model._meta.constraints if isinstance(c, models.UniqueConstraint)]
    assert ("firm", "id") in [tuple(fields) for fields in pairs]
    assert isinstance(model._meta.pk, models.UUIDField), "a count would tell one firm how much another does"


@pytest.mark.django_db
def test_every_column_that_points_at_a_firms_row_is_guarded() -> None:
    found = guards.triggers_found(connection)
    for model in guards.firm_models():
        if guards.kin(model):
            table = model._meta.db_table
            assert {f"{table}_kin_insert", f"{table}_kin_update"} <= found
    site = apps.get_model("planning", "Site")
    assert ("customer_id", "planning_customer") in guards.kin(site)


@pytest.mark.django_db
def test_every_ledger_has_its_triggers() -> None:
    found = guards.triggers_found(connection)
    verbs = ("update", "delete", *(("truncate",) if connection.vendor == "postgresql" else ()))
    for ledger in guards.LEDGERS:
        assert {f"{ledger.table}_no_{verb}" for verb in verbs} <= found


@pytest.mark.django_db
@pytest.mark.skipif("connection.vendor != 'postgresql'", reason=ELSEWHERE)
def test_every_table_with_a_firm_has_row_security_forced() -> None:
    sql = """
        SELECT c.relname, c.relrowsecurity AND c.relforcerowsecurity
            AND EXISTS (SELECT 1 FROM pg_policy p WHERE p.polrelid = c.oid AND p.polqual IS NOT NULL
                        AND p.polwithcheck IS NOT NULL)
        FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND a.attname = 'firm_id'
        WHERE c.relkind = 'r' AND NOT a.attisdropped
    """
    outside = {apps.get_model(label)._meta.db_table for label in CLOSED_LIST}
    with connection.cursor() as cursor:
        cursor.execute(sql)
        secured = dict(cursor.fetchall())
    assert {table for table, is_secured in secured.items() if not is_secured} - outside == set()
    assert set(guards.firm_tables()) <= set(secured)


@pytest.mark.django_db
@pytest.mark.skipif("connection.vendor != 'postgresql'", reason=ELSEWHERE)
def test_the_role_the_tests_use_is_bound_by_row_security() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT rolsuper OR rolbypassrls FROM pg_roles WHERE rolname = current_user")
        assert cursor.fetchone()[0] is False
