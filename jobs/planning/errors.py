"""What planning refuses. Each is one sentence for people."""

from __future__ import annotations

from jobs.firms.errors import Refused


class MoveRefused(Refused):
    """The job cannot go from the state it is in to the one asked for."""


class JobClosed(Refused):
    """The job is approved, handed over or cancelled; its order and design stand."""


class BadRuleSet(Refused):
    """A limit has no unit, source or status, or an unknown code."""


class BadScope(Refused):
    """A phase that is not ours says neither who does it nor why it is left out."""
