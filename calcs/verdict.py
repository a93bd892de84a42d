"""One kind of verdict for the whole project: what was judged, how sure it is, and what would settle it."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from calcs.sources import Source, Status


class Outcome(StrEnum):
    """`WARN` is within the limit but outside the usual band."""

    PASS = "pass"  # noqa: S105 - the outcome, not a password
    WARN = "warn"
    FAIL = "fail"
    CANNOT_TELL = "cannot tell"


class Cause(StrEnum):
    """Why an outcome is not a plain pass."""

    NONE = ""
    LEAK = "leak"
    AIR = "air"
    TEMPERATURE = "temperature"
    DURATION = "duration"
    RESOLUTION = "resolution"
    RESTRAINT = "restraint"
    READINGS = "readings"
    CONDITIONS = "conditions"
    STRENGTH = "strength"
    FLOW = "flow"


@dataclass(frozen=True)
class Figure:
    """One number behind a verdict, in the unit in which it is shown. `u` is its standard uncertainty, same unit."""

    name: str
    value: float
    unit: str
    u: float | None = None
    limit: float | None = None


@dataclass(frozen=True)
class Verdict:
    """Outcome, reason in one sentence, the figures, the rule's source, and the way out of a *cannot tell*."""

    outcome: Outcome
    reason: str
    cause: Cause = Cause.NONE
    to_method: bool = True
    figures: tuple[Figure, ...] = ()
    source: Source = field(default=Source("", Status.HOUSE_DEFAULT))
    way_out: str = ""

    def __post_init__(self) -> None:
        if self.outcome is Outcome.CANNOT_TELL and not self.way_out:
            raise ValueError("a verdict of 'cannot tell' names the way out")


def inside(value: float, limit: float, *, u: float, coverage: float = 2.0) -> Outcome:
    """Guard-band decision against an upper limit (value, limit and standard uncertainty u in one unit).

    Pass when value + coverage·u is not above the limit, fail when value − coverage·u is above it, else cannot tell.
    Source: JCGM 106:2012, guarded acceptance with w = U = 2u.

    >>> inside(0.10, 0.20, u=0.03).value, inside(0.30, 0.20, u=0.03).value, inside(0.19, 0.20, u=0.03).value
    ('pass', 'fail', 'cannot tell')
    """
    if value + coverage * u <= limit:
        return Outcome.PASS
    if value - coverage * u > limit:
        return Outcome.FAIL
    return Outcome.CANNOT_TELL
