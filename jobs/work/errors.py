from __future__ import annotations

from jobs.firms.errors import Refused


class NotParked(Refused):
    """Only what was given up can be tried again."""


class BadAddress(Refused):
    """A mail address or subject that would break the mail's head."""


class Fenced(RuntimeError):
    """Another worker holds the row by now; what this one made is rolled back."""


class TookTooLong(RuntimeError):
    """A handler was left behind because it hung."""
