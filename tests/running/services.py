"""A PostgreSQL database and a Redis of a test's own."""

from __future__ import annotations

import secrets
import shutil
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
from psycopg import sql

from tests.running.server import Process, free_port

SUPERUSER = "postgresql://postgres@127.0.0.1:5432/postgres"


@contextmanager
def postgres_database() -> Iterator[str]:
    """The address of a fresh database, for a role that is no superuser and bypasses no row security."""
    name = f"groundloop_{secrets.token_hex(4)}"
    role, database = sql.Identifier(name), sql.Identifier(name)
    with psycopg.connect(SUPERUSER, autocommit=True) as superuser:
        superuser.execute(sql.SQL("CREATE ROLE {} LOGIN CREATEDB NOSUPERUSER NOBYPASSRLS").format(role))
        superuser.execute(sql.SQL("CREATE DATABASE {} OWNER {}").format(database, role))
    try:
        yield f"postgresql://{name}@127.0.0.1:5432/{name}"
    finally:
        with psycopg.connect(SUPERUSER, autocommit=True) as superuser:
            owned = superuser.execute("SELECT datname FROM pg_database WHERE datdba = %s::regrole", [name]).fetchall()
            for (leftover,) in owned:
                drop = sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(sql.Identifier(leftover))
                superuser.execute(drop)
            superuser.execute(sql.SQL("DROP ROLE {}").format(role))


class Redis:
    """An own redis-server on a private port, without persistence: what a crash forgets is forgotten."""

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        self.url = f"redis://127.0.0.1:{self.port}/0"
        server = shutil.which("redis-server")
        assert server, "no redis-server"
        options = ["--port", str(self.port), "--bind", "127.0.0.1", "--save", "", "--appendonly", "no"]
        self.process = Process([server, *options, "--dir", str(folder)], {}, folder / "redis.log")

    def start(self) -> None:
        self.process.start()

    def stop(self) -> None:
        self.process.kill9()

    def hang(self) -> None:
        """It keeps its connections and answers nothing."""
        self.process.send(signal.SIGSTOP)

    def go_on(self) -> None:
        self.process.send(signal.SIGCONT)
