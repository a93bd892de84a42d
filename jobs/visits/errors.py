"""What can go wrong with visits and entries."""

from __future__ import annotations

from jobs.firms.errors import Refused


class Unreadable(Exception):
    """What came from a phone is no entry. It is kept for a person to look at."""


class NotHeld(Refused):
    """The entry is not held any more."""


class JobStopped(Refused):
    """The job is over or on hold."""


class VisitClosed(Refused):
    """The visit is finished or cancelled."""


class RunEnded(Refused):
    """There is no de-aeration run that could be extended."""
