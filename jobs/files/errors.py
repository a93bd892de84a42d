"""What can go wrong with bytes."""

from __future__ import annotations

from jobs.firms.errors import Refused


class NotAPicture(Refused):
    """What came is not a picture that can be kept."""


class UploadRefused(Refused):
    """The upload cannot start or go on as asked."""


class NoRoom(Refused):
    """The disk is full; what was there before is still whole."""


class WrongOffset(Exception):
    """A piece for another place than the next one. The phone goes on from `true_offset`."""

    def __init__(self, true_offset: int) -> None:
        super().__init__(true_offset)
        self.true_offset = true_offset
