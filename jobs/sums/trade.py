"""Words of caution that sums and kinds of entry share. None replaces local codes or whoever is licensed for the work."""

from __future__ import annotations

from typing import Final

LOCAL: Final = "Local codes and your firm's own safe method of work come first."

PRESSURE: Final = (
    "Water only, never air or gas: a burst with gas throws parts with great force.",
    "Nobody beside pipe, caps or hoses at test pressure. Restrain the ends, keep out of line with them.",
    "Raise the pressure in steps and let it down slowly. The lowest-rated part sets the highest pressure.",
    LOCAL,
)
HOSE: Final = ("Hoses whip when a valve shuts: tie them down, open and shut slowly.", LOCAL)
