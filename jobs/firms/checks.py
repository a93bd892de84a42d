"""System checks of the firm rule: the ledgers' triggers stand in the database."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.core.checks import CheckMessage, Tags, register
from django.core.checks import Warning as CheckWarning
from django.db import connections

from jobs.firms import guards


@register(Tags.database)
def ledgers_are_guarded(databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """Only asked with `check --database default`. A warning, because `migrate` is what mends it and errors stop it."""
    missing: set[str] = set()
    for alias in databases or []:
        missing |= guards.missing_triggers(connections[alias])
    return [CheckWarning(f"The trigger {name} is missing; run migrate.", id="firms.W001") for name in sorted(missing)]
