"""The sums, in the order in which a job needs them. A new one is a module here, and a line below."""

from __future__ import annotations

from typing import Final

from jobs.sums.questions import (
    air,
    correction,
    heat,
    mix,
    pipe_volume,
    pressure_test,
    purge,
    refractometer,
)
from jobs.sums.questions.base import Question

QUESTIONS: Final[tuple[Question, ...]] = (
    pipe_volume.QUESTION,
    mix.QUESTION,
    pressure_test.QUESTION,
    purge.QUESTION,
    air.QUESTION,
    refractometer.QUESTION,
    correction.QUESTION,
    heat.QUESTION,
)


def by_moment() -> list[tuple[str, list[Question]]]:
    """The sums under the moment of the work in which they are asked for."""
    found: dict[str, list[Question]] = {}
    for question in QUESTIONS:
        found.setdefault(question.moment, []).append(question)
    return list(found.items())
