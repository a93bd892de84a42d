"""How a job may move from state to state, as one table. Plain words of `JobState`; a test walks every pair."""

from __future__ import annotations

from typing import Final

SITE: Final = ("in_ground", "tested", "backfilled", "flushed", "filled", "running_in", "ready")
DESK: Final = ("accepted", "designed", "scheduled")
CLOSED: Final = frozenset({"approved", "handed_over", "cancelled"})
PAUSES: Final = frozenset({"on_hold", "cancelled"})

# On site a job may pass several states in one batch of entries, and fall back when pipe is cut again.
MOVES: Final[dict[str, frozenset[str]]] = {
    "accepted": frozenset({"designed"}) | PAUSES,
    "designed": frozenset({"accepted", "scheduled"}) | PAUSES,
    "scheduled": frozenset({"designed", *SITE}) | PAUSES,
    **{state: (frozenset({*SITE, "submitted"}) - {state}) | PAUSES for state in SITE},
    "submitted": frozenset({"returned", "approved", *SITE}) | PAUSES,
    "returned": frozenset({"submitted", *SITE}) | PAUSES,
    "approved": frozenset({"handed_over", "returned"}),
    "handed_over": frozenset(),
    "on_hold": frozenset({*DESK, *SITE, "submitted", "returned", "cancelled"}),
    "cancelled": frozenset({*DESK, *SITE, "submitted", "returned"}),
}


def may_move(state: str, to: str) -> bool:
    """True when the table has the move. A job on hold goes back to the state it came from: see `move_state`."""
    return to in MOVES[state]


def may_change(state: str) -> bool:
    """True while the order and the design may still be changed."""
    return state not in CLOSED


def may_be_visited(state: str) -> bool:
    """True while a visit may be planned: not when the job is over, nor while it is on hold."""
    return state not in CLOSED | PAUSES


def is_before_ground(state: str) -> bool:
    """True until the crew has begun: loops, boreholes and sections may still be taken out."""
    return state in DESK
