"""What is said of a test that one database engine cannot run."""

from __future__ import annotations

ELSEWHERE = "about the other database; tests/running/test_on_postgresql.py runs those of PostgreSQL there"
