"""Migrations and the guards: SQLite remakes a table for most changes."""

from __future__ import annotations

import pytest
from django.db import OperationalError, connection, models

from jobs.firms import guards
from jobs.planning.models import Customer
from tests.engines import ELSEWHERE
from tests.real_db import Environment, real_db

__all__ = ["real_db"]


def alter() -> None:
    """What a migration does that makes a column longer."""
    field = models.CharField(max_length=121)
    field.set_attributes_from_name("name")
    field.model = Customer
    with connection.schema_editor() as editor:
        editor.alter_field(Customer, Customer._meta.get_field("name"), field, strict=True)


@pytest.mark.skipif("connection.vendor != 'sqlite'", reason=ELSEWHERE)
def test_a_table_that_the_triggers_of_another_read_can_be_remade(real_db: Environment) -> None:
    with pytest.raises(OperationalError, match="error in trigger"):
        alter()
    guards.drop_before_migrate(None, using="default")
    alter()
    assert guards.missing_triggers(connection)
    guards.remake(connection)
    assert guards.missing_triggers(connection) == set()
