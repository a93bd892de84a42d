"""A database of a test's own, for tests that really commit: threads, kills, ledgers that refuse to be emptied.

`real_db` is a fixture: import it where it is used. It is a copy of the migrated test database, thrown away afterwards;
Django's own flush cannot empty a ledger. It gives the environment in which another process finds the same database.
"""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.db import connection, connections
from psycopg import sql
from pytest_django.plugin import DjangoDbBlocker

Environment = dict[str, str]


@pytest.fixture
def real_db(django_db_setup: None, django_db_blocker: DjangoDbBlocker, tmp_path: Path) -> Iterator[Environment]:
    with django_db_blocker.unblock():
        assert not connection.in_atomic_block, "real_db stands for the mark django_db; use one of them"
        yield from _sqlite(tmp_path) if connection.vendor == "sqlite" else _postgresql()


def _sqlite(folder: Path) -> Iterator[Environment]:
    file = folder / "groundloop.sqlite3"
    connection.ensure_connection()
    with closing(sqlite3.connect(file)) as copy:
        connection.connection.backup(copy)
    template, name = connection.connection, connection.settings_dict["NAME"]
    connection.connection, connection.settings_dict["NAME"] = None, str(file)
    try:
        yield {"GROUNDLOOP_DATA": str(folder), "DATABASE_URL": ""}
    finally:
        connection.close()
        connection.connection, connection.settings_dict["NAME"] = template, name


def _postgresql() -> Iterator[Environment]:
    template, copy = str(connection.settings_dict["NAME"]), f"copy_{secrets.token_hex(4)}"
    _close()
    with _maintenance() as admin:
        admin.execute(sql.SQL("CREATE DATABASE {} TEMPLATE {}").format(sql.Identifier(copy), sql.Identifier(template)))
    connection.settings_dict["NAME"] = copy
    server = connection.settings_dict
    try:
        yield {
            "DATABASE_URL": f"postgresql://{server['USER']}:{server['PASSWORD']}@{server['HOST']}:{server['PORT']}/{copy}"
        }
    finally:
        _close()
        connection.settings_dict["NAME"] = template
        with _maintenance() as admin:
            admin.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(copy)))


def _close() -> None:
    connection.close()
    pool: Any = connection
    pool.close_pool()


def _maintenance() -> psycopg.Connection[Any]:
    server = connection.settings_dict
    address = {"host": server["HOST"], "port": server["PORT"], "user": server["USER"], "password": server["PASSWORD"]}
    return psycopg.connect(**address, dbname="postgres", autocommit=True)


def at_once(*jobs: Callable[[], Any]) -> list[Any]:
    """Runs the jobs in threads of their own, each with its own connection; what they return, in order."""

    def closing(job: Callable[[], Any]) -> Any:
        try:
            return job()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(jobs)) as pool:
        return [future.result(timeout=60) for future in [pool.submit(closing, job) for job in jobs]]
