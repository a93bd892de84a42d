"""What the database itself refuses: changes to ledgers, and rows that point at another firm's row, on both engines;
other firms' rows altogether on PostgreSQL.

One list, applied after every migrate, because SQLite drops a table's triggers whenever it remakes the table.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import ForeignKey, Model

from jobs.firms.models import FirmOwned, Member


@dataclass(frozen=True)
class Ledger:
    """A table that is only added to. `erased_by`: rows may go when an erasure row for their person stands."""

    app: str
    model: str
    erased_by: str = ""

    @property
    def table(self) -> str:
        return str(apps.get_model(self.app, self.model)._meta.db_table)

    @property
    def erasure_table(self) -> str:
        return str(apps.get_model(self.app, self.erased_by)._meta.db_table) if self.erased_by else ""


LEDGERS = (
    Ledger("firms", "AuditEvent"),
    Ledger("visits", "Entry"),
    Ledger("visits", "EntryText", erased_by="Erasure"),
    Ledger("visits", "Erasure"),
    Ledger("visits", "ReceiptFinding"),
)


def firm_models() -> list[type[FirmOwned]]:
    """Every table that a firm owns."""
    found = [model for model in apps.get_models() if issubclass(model, FirmOwned) and model._meta.managed]
    return sorted(found, key=lambda model: model._meta.db_table)


def firm_tables() -> list[str]:
    return [model._meta.db_table for model in firm_models()]


def kin(model: type[Model]) -> list[tuple[str, str]]:
    """Columns that point at rows which belong to a firm, with the table they point at."""
    return [
        (field.column, field.related_model._meta.db_table)
        for field in model._meta.local_fields
        if isinstance(field, ForeignKey)
        and isinstance(field.related_model, type)
        and (issubclass(field.related_model, FirmOwned) or field.related_model is Member)
    ]


def expected_triggers(tables: set[str]) -> set[str]:
    """The names of the triggers that should stand when these tables are there."""
    ledgers = {f"{ledger.table}_no_{verb}" for ledger in LEDGERS for verb in ("update", "delete")}
    kindred = {
        f"{model._meta.db_table}_kin_{verb}" for model in firm_models() if kin(model) for verb in ("insert", "update")
    }
    return {name for name in ledgers | kindred if name.rsplit("_", 2)[0] in tables}


def missing_triggers(connection: BaseDatabaseWrapper) -> set[str]:
    """Triggers that should stand on the tables there are, and do not."""
    with connection.cursor() as cursor:
        tables = set(connection.introspection.table_names(cursor))
    return expected_triggers(tables) - triggers_found(connection)


def _sqlite_ledger(ledger: Ledger) -> list[str]:
    table = ledger.table
    unless = ""
    if ledger.erased_by:
        erased = f"SELECT 1 FROM {ledger.erasure_table} x WHERE x.person_id = OLD.person_id AND x.firm_id = OLD.firm_id"
        unless = f"WHEN NOT EXISTS ({erased})"
    refuse = f"BEGIN SELECT RAISE(ABORT, '{table} is a ledger: rows are never changed or deleted'); END"
    return [
        f"DROP TRIGGER IF EXISTS {table}_no_update",
        f"DROP TRIGGER IF EXISTS {table}_no_delete",
        f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} {refuse}",
        f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} {unless} {refuse}",
    ]


def _strangers(columns: list[tuple[str, str]]) -> str:
    """True for a new row one of whose columns points at no row of the same firm."""
    return " OR ".join(
        f"(NEW.{column} IS NOT NULL AND NOT EXISTS"
        f" (SELECT 1 FROM {target} x WHERE x.id = NEW.{column} AND x.firm_id = NEW.firm_id))"
        for column, target in columns
    )


def _sqlite_kin(table: str, columns: list[tuple[str, str]]) -> list[str]:
    refuse = f"BEGIN SELECT RAISE(ABORT, '{table} points at another firm'); END"
    statements = []
    for verb in ("insert", "update"):
        statements += [
            f"DROP TRIGGER IF EXISTS {table}_kin_{verb}",
            f"CREATE TRIGGER {table}_kin_{verb} BEFORE {verb.upper()} ON {table} WHEN {_strangers(columns)} {refuse}",
        ]
    return statements


def _postgresql_ledger(ledger: Ledger) -> list[str]:
    table = ledger.table
    erased = ""
    if ledger.erased_by:
        found = f"SELECT 1 FROM {ledger.erasure_table} x WHERE x.person_id = OLD.person_id AND x.firm_id = OLD.firm_id"
        erased = f"IF TG_OP = 'DELETE' AND EXISTS ({found}) THEN RETURN OLD; END IF;"
    refuse = f"RAISE EXCEPTION '{table} is a ledger: rows are never changed or deleted' USING ERRCODE = '23000';"
    each = f"EXECUTE FUNCTION {table}_refuse()"
    return [
        _function(f"{table}_refuse", f"{erased} {refuse} RETURN NULL;"),
        *(f"DROP TRIGGER IF EXISTS {table}_no_{verb} ON {table}" for verb in ("update", "delete", "truncate")),
        f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} FOR EACH ROW {each}",
        f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} FOR EACH ROW {each}",
        f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} FOR EACH STATEMENT {each}",
    ]


def _postgresql_kin(table: str, columns: list[tuple[str, str]]) -> list[str]:
    """The same question; row security hides strangers from it, so that it asks for kin, not for strangers."""
    refuse = f"RAISE EXCEPTION '{table} points at another firm' USING ERRCODE = '23000';"
    each = f"FOR EACH ROW EXECUTE FUNCTION {table}_kin()"
    statements = [_function(f"{table}_kin", f"IF {_strangers(columns)} THEN {refuse} END IF; RETURN NEW;")]
    for verb in ("insert", "update"):
        statements += [
            f"DROP TRIGGER IF EXISTS {table}_kin_{verb} ON {table}",
            f"CREATE TRIGGER {table}_kin_{verb} BEFORE {verb.upper()} ON {table} {each}",
        ]
    return statements


def _function(name: str, body: str) -> str:
    return f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN {body} END $$"


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
    own = "firm_id = groundloop_firm()"
    return [
        f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY",
        f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY",
        f"DROP POLICY IF EXISTS own_firm ON {table}",
        f"CREATE POLICY own_firm ON {table} USING ({own}) WITH CHECK ({own})",
    ]


def remake(connection: BaseDatabaseWrapper) -> None:
    """Makes every guard anew; harmless to run again."""
    sqlite = connection.vendor == "sqlite"
    with connection.cursor() as cursor:
        tables = set(connection.introspection.table_names(cursor))
        statements = [] if sqlite else [ROW_SECURITY_FUNCTION]
        for model in firm_models():
            table, columns = model._meta.db_table, kin(model)
            if table not in tables:
                continue
            if not sqlite:
                statements += _row_security(table)
            if columns:
                statements += _sqlite_kin(table, columns) if sqlite else _postgresql_kin(table, columns)
        for ledger in LEDGERS:
            if ledger.table in tables:
                statements += _sqlite_ledger(ledger) if sqlite else _postgresql_ledger(ledger)
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


def drop_before_migrate(sender: Any, using: str, **_: Any) -> None:  # noqa: ARG001  (called with the app)
    """SQLite cannot remake a table that the triggers of another one read; they are made again at the end."""
    connection = connections[using]
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            for name in triggers_found(connection):
                cursor.execute(f'DROP TRIGGER IF EXISTS "{name}"')


def remake_after_migrate(sender: Any, using: str, **_: Any) -> None:
    """Runs once per migrate, after the last app."""
    last = [config for config in apps.get_app_configs() if config.models_module is not None][-1]
    if sender.label == last.label:
        remake(connections[using])
