"""What can be refused about a sheet."""

from __future__ import annotations

from jobs.firms.errors import Refused


class SheetRefused(Refused):
    """The step cannot be taken as the sheet stands."""


class JobChanged(Refused):
    """Something below the sheet changed after the page was read. `changes`: what, in words."""

    def __init__(self, changes: tuple[str, ...]) -> None:
        said = f": {'; '.join(changes)}" if changes else ""
        super().__init__(f"The job has changed since you opened this page{said}. Look at it again, then approve.")
        self.changes = changes
