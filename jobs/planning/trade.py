"""Which phases of a job are ours, and how a job may move from state to state. Plain words; a test walks every pair."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Final

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


PHASES: Final[dict[str, str]] = {
    "permits": "Services search and permit to dig",
    "boreholes": "Boreholes and their papers",
    "trench": "Trench and bed",
    "pipe": "Pipe, joints and manifold",
    "header": "Main header and wall penetration",
    "test": "Pressure test",
    "backfill": "Backfill",
    "flush": "Flush",
    "fill": "Antifreeze",
    "purge": "Purge and residual air",
    "balance": "Balance of the loops",
    "start": "Settings and start of the de-aeration run",
    "follow_up": "De-aeration checks",
    "final": "Final readings",
}
OURS: Final = "ours"
BY_OTHERS: Final = "by_others"
NOT_IN_JOB: Final = "not_in_job"
WHOSE: Final[dict[str, str]] = {OURS: "We do it", BY_OTHERS: "By others", NOT_IN_JOB: "Not in this job"}
LEAST_REASON: Final = 10


@dataclass(frozen=True)
class NotOurs:
    """A phase that is not ours: done by `who` with `evidence`, or left out for a `reason`."""

    whose: str
    who: str = ""
    evidence: str = ""
    reason: str = ""

    @property
    def words(self) -> str:
        return f"by others: {self.who}" if self.whose == BY_OTHERS else "not in this job"

    @property
    def complaint(self) -> str:
        """What is still to be said about it; empty when nothing is."""
        if self.whose == BY_OTHERS and not self.who:
            return "Say who does it."
        if self.whose == NOT_IN_JOB and len(self.reason) < LEAST_REASON:
            return f"Say why in {LEAST_REASON} characters or more."
        return "" if self.whose in {BY_OTHERS, NOT_IN_JOB} else "Say whose it is."

    def as_json(self) -> dict[str, str]:
        return {name: value for name, value in asdict(self).items() if value}


def scope_of(raw: Mapping[str, Mapping[str, Any]]) -> dict[str, NotOurs]:
    """The phases that are not ours, in the order of the work. A phase that is not named is ours."""
    names = ("whose", "who", "evidence", "reason")
    return {
        phase: NotOurs(*(str(raw[phase].get(name, "")).strip() for name in names)) for phase in PHASES if phase in raw
    }
