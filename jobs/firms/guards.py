"""What the database itself refuses: changes to ledgers on both engines, and other firms' rows on PostgreSQL.

One list, applied after every migrate, because SQLite drops a table's triggers whenever it remakes the table.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper

from jobs.firms.models import FirmOwned


@dataclass(frozen=True)
class Ledger:
    """A table that is only added to. `erased_by`: rows may go when an erasure row for their person stands."""

    app: str
    model: str
    erased_by: str = ""

    @property
    def table(self) -> str:
        return apps.get_model(self.app, self.model)._meta.db_table

    @property
    def erasure_table(self) -> str:
        return apps.get_model(self.app, self.erased_by)._meta.db_table if self.erased_by else ""


LEDGERS = (
    Ledger("firms", "AuditEvent"),
    Ledger("visits", "Entry"),
    Ledger("visits", "EntryText", erased_by="Erasure"),
    Ledger("visits", "Erasure"),
    Ledger("visits", "ReceiptFinding"),
)


def firm_tables() -> list[str]:
    """Every table that a firm owns."""
    return sorted(
        model._meta.db_table for model in apps.get_models() if issubclass(model, FirmOwned) and model._meta.managed
    )


def missing_triggers(connection: BaseDatabaseWrapper) -> set[str]:
    """Triggers that should stand on the ledgers there are, and do not."""
    with connection.cursor() as cursor:
        tables = set(connection.introspection.table_names(cursor))
    expected = {f"{ledger.table}_no_{verb}" for ledger in LEDGERS for verb in ("update", "delete") if ledger.table in tables}
    return expected - triggers_found(connection)


def _sqlite(ledger: Ledger) -> list[str]:
    table = ledger.table
    unless = (
        f"WHEN NOT EXISTS (SELECT 1 FROM {ledger.erasure_table} x WHERE x.person_id = OLD.person_id"
        f" AND x.firm_id = OLD.firm_id)"
        if ledger.erased_by
        else ""
    )
    return [
        f"DROP TRIGGER IF EXISTS {table}_no_update",
        f"DROP TRIGGER IF EXISTS {table}_no_delete",
        f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{table} is a ledger: rows are never changed'); END",
        f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} {unless} "
        f"BEGIN SELECT RAISE(ABORT, '{table} is a ledger: rows are never deleted'); END",
    ]


def _postgresql(ledger: Ledger) -> list[str]:
    table = ledger.table
    erased = (
        f"IF TG_OP = 'DELETE' AND EXISTS (SELECT 1 FROM {ledger.erasure_table} x WHERE x.person_id = OLD.person_id"
        f" AND x.firm_id = OLD.firm_id) THEN RETURN OLD; END IF;"
        if ledger.erased_by
        else ""
    )
    return [
        f"CREATE OR REPLACE FUNCTION {table}_refuse() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN {erased} "
        f"RAISE EXCEPTION '{table} is a ledger: rows are never changed or deleted' USING ERRCODE = '23000'; "
        f"RETURN NULL; END $$",
        f"DROP TRIGGER IF EXISTS {table}_no_update ON {table}",
        f"DROP TRIGGER IF EXISTS {table}_no_delete ON {table}",
        f"DROP TRIGGER IF EXISTS {table}_no_truncate ON {table}",
        f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} FOR EACH ROW EXECUTE FUNCTION {table}_refuse()",
        f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION {table}_refuse()",
        f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} FOR EACH STATEMENT "
        f"EXECUTE FUNCTION {table}_refuse()",
    ]


ROW_SECURITY_FUNCTION = """
CREATE OR REPLACE FUNCTION groundloop_firm() RETURNS uuid LANGUAGE plpgsql STABLE AS $$
DECLARE firm text := current_setting('groundloop.firm', true);
BEGIN
  IF firm IS NULL OR firm = '' THEN
    RAISE EXCEPTION 'no firm in scope' USING ERRCODE = '42501';
  END IF;
  RETURN firm::uuid;
END $$
"""


def _row_security(table: str) -> list[str]:
    return [
        f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY",
        f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY",
        f"DROP POLICY IF EXISTS own_firm ON {table}",
        f"CREATE POLICY own_firm ON {table} USING (firm_id = groundloop_firm()) "
        f"WITH CHECK (firm_id = groundloop_firm())",
    ]


def remake(connection: BaseDatabaseWrapper) -> None:
    """Makes every guard anew; harmless to run again."""
    with connection.cursor() as cursor:
        tables = set(connection.introspection.table_names(cursor))
        ledgers = [ledger for ledger in LEDGERS if ledger.table in tables]
        if connection.vendor == "sqlite":
            statements = [line for ledger in ledgers for line in _sqlite(ledger)]
        else:
            owned = [table for table in firm_tables() if table in tables]
            statements = [ROW_SECURITY_FUNCTION, *(line for table in owned for line in _row_security(table))]
            statements += [line for ledger in ledgers for line in _postgresql(ledger)]
        for statement in statements:
            cursor.execute(statement)


def triggers_found(connection: BaseDatabaseWrapper) -> set[str]:
    """The names of the triggers that stand in the database."""
    sql = (
        "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        if connection.vendor == "sqlite"
        else "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal"
    )
    with connection.cursor() as cursor:
        cursor.execute(sql)
        return {row[0] for row in cursor.fetchall()}


def remake_after_migrate(sender: Any, using: str, **_: Any) -> None:
    """Runs once per migrate, after the last app."""
    last = [config for config in apps.get_app_configs() if config.models_module is not None][-1]
    if sender.label == last.label:
        remake(connections[using])
