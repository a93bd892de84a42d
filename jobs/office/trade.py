"""The stations a job passes, in the order of the work. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from jobs.planning.models import JobState


@dataclass(frozen=True)
class Station:
    """One mark on a job's line: passed, here, or ahead."""

    label: str
    place: str

    @property
    def spoken(self) -> str:
        return {"passed": "done", "here": "now", "ahead": "to come"}[self.place]


LINE = (
    ("Order", JobState.ACCEPTED),
    ("Design", JobState.DESIGNED),
    ("Booked", JobState.SCHEDULED),
    ("In ground", JobState.IN_GROUND),
    ("Tested", JobState.TESTED),
    ("Covered", JobState.BACKFILLED),
    ("Flushed", JobState.FLUSHED),
    ("Filled", JobState.FILLED),
    ("Run", JobState.RUNNING_IN),
    ("Readings", JobState.READY),
    ("Sheet", JobState.SUBMITTED),
    ("Approved", JobState.APPROVED),
)
_STANDS_AT = {JobState.RETURNED: JobState.SUBMITTED, JobState.HANDED_OVER: JobState.APPROVED}


def stations(state: str) -> tuple[Station, ...]:
    """The whole line of a job in this state. A job on hold or cancelled shows nothing as reached.

    >>> [s.label for s in stations("tested") if s.place != "ahead"]
    ['Order', 'Design', 'Booked', 'In ground', 'Tested']
    """
    at = _STANDS_AT.get(JobState(state), JobState(state))
    order = [code for _, code in LINE]
    reached = order.index(at) if at in order else -1
    whole = reached == len(order) - 1
    return tuple(
        Station(label, "passed" if n < reached or whole else "here" if n == reached else "ahead")
        for n, (label, _) in enumerate(LINE)
    )
