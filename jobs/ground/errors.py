"""What the ground room refuses. Each is one sentence for people."""

from __future__ import annotations

from jobs.firms.errors import Refused


class LoopRefused(Refused):
    """A loop's code or port is taken, or it can no longer be taken out."""


class ImportRefused(Refused):
    """A loop list has rows that cannot be read; nothing of it was taken."""
