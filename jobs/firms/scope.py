"""Which firm this work is for. Without a scope every query on a firm's table raises.

`scope(firm)` wraps a view, a handler or a command. On PostgreSQL it opens a transaction and tells row security the
firm for that transaction only (a session-wide setting would leak through the pool). On SQLite it opens one for work
that writes; reading there needs none, and IMMEDIATE would make every reader a writer.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from uuid import UUID

from django.db import connection, transaction

from jobs.firms.errors import NoFirmInScope, WrongFirm

_firm: ContextVar[UUID | None] = ContextVar("firm", default=None)


def firm_in_scope() -> UUID:
    """The id of the firm this work is for. Raises `NoFirmInScope`."""
    firm = _firm.get()
    if firm is None:
        raise NoFirmInScope("no firm in scope: wrap the view, handler or command in firms.scope.scope(firm)")
    return firm


@contextmanager
def scope(firm: UUID, *, writes: bool = True) -> Iterator[None]:
    """Everything inside is for this firm. Scopes of different firms do not nest."""
    outer = _firm.get()
    if outer is not None and outer != firm:
        raise WrongFirm("a scope for another firm is open")
    token = _firm.set(firm)
    try:
        if connection.vendor == "postgresql":
            with transaction.atomic():
                with connection.cursor() as cursor:
                    cursor.execute("SELECT set_config('groundloop.firm', %s, true)", [str(firm)])
                yield
        elif writes:
            with transaction.atomic():
                yield
        else:
            yield
    finally:
        _firm.reset(token)
