"""One kind of entry, one place: fields, ranges, cautions, targets, judgement. A door of the room."""

from __future__ import annotations

from typing import Any

from jobs.visits.kinds import (
    backfill,
    driller_papers,
    fluid_delivery,
    flush,
    joint,
    loop_fill,
    mix_batch,
    papers,
    plant_room,
    pressure_test,
    purge,
    strength_reading,
    trench_section,
)
from jobs.visits.kinds.base import Answer, Facts, Field, Fluid, Instrument, Kind, Logged, Of, Target
from jobs.visits.kinds.units import UNITS, convert, units_json

__all__ = [
    "KINDS",
    "UNITS",
    "Answer",
    "Facts",
    "Field",
    "Fluid",
    "Instrument",
    "Kind",
    "Logged",
    "Of",
    "Target",
    "convert",
    "kinds_json",
    "units_json",
]

KINDS: dict[str, Kind] = {
    kind.code: kind
    for kind in (
        driller_papers.KIND,
        trench_section.KIND,
        joint.KIND,
        backfill.PARTIAL,
        pressure_test.START,
        pressure_test.READING,
        pressure_test.END,
        backfill.RELEASE,
        backfill.COVERED,
        backfill.WATCH,
        flush.KIND,
        fluid_delivery.KIND,
        mix_batch.KIND,
        strength_reading.KIND,
        loop_fill.KIND,
        purge.PURGE,
        purge.RESIDUAL,
        plant_room.STATIC,
        plant_room.SETTINGS,
        plant_room.START,
        plant_room.FOLLOW_UP,
        plant_room.FINAL,
        papers.PHOTO,
        papers.NOTE,
        papers.SIGNATURE,
        papers.OVERRIDE,
        papers.SUBMIT,
    )
}


def kinds_json() -> dict[str, Any]:
    """Every kind for the phone's forms, by code, in the order of the work."""
    return {code: kind.as_json() for code, kind in KINDS.items()}
