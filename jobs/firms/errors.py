"""What can go wrong on the way into a firm, and the base of every error that is shown to people."""

from __future__ import annotations


class Refused(Exception):
    """A rule of the firm or the trade says no. `str()` is one sentence that says what to do."""


class NoFirmInScope(RuntimeError):
    """A query on a firm's table was made without `firms.scope.scope(firm)`: a programming error, never shown."""


class WrongFirm(RuntimeError):
    """A row of another firm was about to be written: a programming error, never shown."""
