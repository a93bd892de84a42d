"""Every verdict of a job, recomputed from its entries. A door of the room."""

from __future__ import annotations

from dataclasses import dataclass

from calcs.verdict import Outcome, Verdict
from jobs.planning.models import Job
from jobs.visits import ledger
from jobs.visits.kinds import Logged

__all__ = ["Judged", "judge_all", "worst"]


@dataclass(frozen=True)
class Judged:
    """A current entry with what was found about it."""

    entry: Logged
    verdicts: tuple[Verdict, ...]

    @property
    def outcome(self) -> Outcome | None:
        return worst(self.verdicts)


def judge_all(job: Job) -> list[Judged]:
    """Current entries that are judged, in order, each with its verdicts."""
    return [Judged(line.logged, line.verdicts) for line in ledger.read(job).current if line.verdicts]


def worst(verdicts: tuple[Verdict, ...]) -> Outcome | None:
    """The gravest outcome; None when there is no verdict."""
    return ledger.worst(verdicts)
