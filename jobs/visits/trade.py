"""Words of the trade for what happens to entries: why one is held, what may be said about a correction."""

from __future__ import annotations

from datetime import timedelta
from typing import Final

from jobs.visits.procedure import hold_label

# A phone's clock further off than this is told; its times are then corrected by the offset for the order of the work.
CLOCK_OFF_S: Final = 120.0
# Further off than any reset clock is: the sending time is no time, and nothing is put right by it.
CLOCK_LOST_S: Final = timedelta(days=100 * 365).total_seconds()
# Typed this long after it was observed, or observed after it was typed.
LATE_S: Final = timedelta(hours=24).total_seconds()
AHEAD_S: Final = timedelta(minutes=5).total_seconds()
# The next entry of a phone says it was typed this long before the one before it, or the phone saw its clock move by more:
# it was put back, or forward, in between.
PUT_BACK_S: Final = 60.0
SCHEMA: Final = 1
LEAST_REASON: Final = 10
OPEN_FOR_CREW: Final = timedelta(days=14)
LONGEST_EXTENSION: Final = timedelta(days=366)

REASONS: Final = {
    "typo": "Typed wrongly",
    "read_wrong": "Read wrongly",
    "wrong_subject": "Logged for another place",
    "asked": "The office asked",
    "again": "Done again",
    "added": "Something to add",
    "withdrawn": "Did not happen",
}

# How a value came into the phone.
SOURCES: Final = {
    "typed": "Typed on the spot",
    "photo_read": "Read off a photo",
    "phoned_in": "Phoned in",
    "transcribed": "Copied from paper",
}

HELD: Final = {
    "kind": "a kind of entry this office does not know yet",
    "schema": "written by a newer app",
    "closed": "the job is closed",
    "rights": "written by somebody who may not log this",
    "subject": "for a place this job does not have",
    "visit": "for a visit of another job",
    "missing": "an answer is missing: {field}",
    "hard_range": "outside what is possible: {field}",
    "unit": "in a unit this answer does not take: {field}",
    "answer": "an answer that cannot be read: {field}",
}


# What cannot be read cannot count, whoever says so; it is left out and logged again.
NEVER_TAKEN: Final = ("kind", "schema", "unit", "answer")


def may_be_taken(code: str) -> bool:
    """May the office let an entry that is held for this count after all?"""
    return code.partition(":")[0] not in NEVER_TAKEN


def source_words(code: str) -> str:
    """How it came in, for people; a code that is not known as it is."""
    return SOURCES.get(code, code.replace("_", " ").capitalize())


def held_words(code: str) -> str:
    """Why an entry is held, for people; `code` is `missing:photo`, `hold_point:H6` and the like."""
    what, _, field = code.partition(":")
    if what == "hold_point":
        return f"hold point {hold_label(field)} is not released"
    return HELD.get(what, "the office has to look").format(field=field.replace("_", " "))
