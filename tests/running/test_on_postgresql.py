"""The suites that hold the rules of firm and ledger, once more on PostgreSQL as a role that row security binds."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import psycopg
import pytest

from tests.running.server import ROOT, environment

# What only PostgreSQL can show: row security, locks, conflicts on insert, triggers.
ALWAYS = (
    "tests/firms",
    "tests/work",
    "tests/planning/test_numbering.py",
    "tests/visits/test_receive.py",
    "tests/field/test_replay.py",
    "tests/sheets/test_race.py",
    "tests/architecture/test_database.py",
)
# Every URL x role x another firm's object a second time, and the rooms that lean on the rules above: some minutes.
LONG = (
    "tests/trust",
    "tests/accounts/test_people.py",
    "tests/accounts/test_invitations.py",
    "tests/visits/test_work.py",
    "tests/visits/test_runs.py",
    "tests/reminders",
    "tests/sheets/test_review.py",
    "tests/sheets/test_views.py",
    "tests/office/test_desk.py",
)

pytestmark = pytest.mark.postgres


def test_the_role_is_bound_by_row_security(postgres_url: str) -> None:
    with psycopg.connect(postgres_url) as connection:
        flags = connection.execute(
            "SELECT rolsuper, rolbypassrls FROM pg_roles WHERE rolname = current_user"
        ).fetchone()
    assert flags == (False, False)


@pytest.mark.parametrize("suites", [ALWAYS, pytest.param(LONG, marks=pytest.mark.long)], ids=["always", "long"])
def test_the_suites_hold_on_postgresql(suites: tuple[str, ...], postgres_url: str, tmp_path: Path) -> None:
    # Nothing of an outer parallel run may reach the inner one.
    env = {
        name: value
        for name, value in environment(tmp_path, DATABASE_URL=postgres_url).items()
        if not name.startswith("PYTEST_")
    }
    env["GROUNDLOOP_TEST_ALL"] = "0"
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-p",
        "no:cacheprovider",
        "-m",
        "not (browser or postgres or redis or long)",
    ]
    done = subprocess.run([*command, *suites], cwd=ROOT, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{done.stdout[-6000:]}\n{done.stderr[-2000:]}"
    assert " passed" in done.stdout, done.stdout[-500:]


def test_migrations_run_as_that_role(postgres_url: str, tmp_path: Path) -> None:
    env = environment(tmp_path, DATABASE_URL=postgres_url)
    for command in (["migrate", "--verbosity", "0"], ["check", "--database", "default", "--fail-level", "WARNING"]):
        done = subprocess.run(
            [sys.executable, "manage.py", *command], cwd=ROOT, env=env, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr[-3000:]
    with psycopg.connect(postgres_url) as connection:
        unforced = connection.execute(
            "SELECT c.relname FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND a.attname = 'firm_id'"
            " WHERE c.relkind = 'r' AND NOT (c.relrowsecurity AND c.relforcerowsecurity) ORDER BY 1"
        ).fetchall()
    # The closed list of tables that stand outside (ids, hashes and times only).
    assert [name for (name,) in unforced] == ["accounts_linktoken", "firms_member", "work_due", "work_work"]
