from __future__ import annotations

from jobs.firms.errors import Refused


class AlreadyMember(Refused):
    """Somebody with this mail address works in the firm."""


class LastManager(Refused):
    """A firm must keep a manager, or nobody could approve or invite."""


class InvitationClosed(Refused):
    """Used, withdrawn or run out while the page was open."""


class NotAFirm(Refused):
    """What a new firm needs is missing or unreadable."""
