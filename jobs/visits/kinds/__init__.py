"""One kind of entry, one place: fields, ranges, cautions, targets, judgement. A door of the room."""

from __future__ import annotations

from typing import Any

from jobs.visits.kinds import (
    backfill,
    balance,
    borehole,
    circulation,
    driller_papers,
    excavation,
    fluid_delivery,
    flush,
    header,
    joint,
    loop_fill,
    manifold_port,
    mix_batch,
    papers,
    pipe_laid,
    plant_room,
    position,
    pressure_test,
    purge,
    services,
    site,
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
        services.KIND,
        borehole.TUBE,
        borehole.GROUTING,
        driller_papers.KIND,
        trench_section.KIND,
        excavation.KIND,
        pipe_laid.KIND,
        joint.KIND,
        manifold_port.KIND,
        header.PENETRATION,
        position.KIND,
        backfill.PARTIAL,
        pressure_test.START,
        pressure_test.READING,
        pressure_test.END,
        backfill.RELEASE,
        backfill.COVERED,
        backfill.WATCH,
        backfill.WATCH_RELEASE,
        flush.KIND,
        header.CONNECTION,
        fluid_delivery.KIND,
        mix_batch.KIND,
        strength_reading.KIND,
        loop_fill.START,
        loop_fill.KIND,
        circulation.KIND,
        purge.PURGE,
        purge.RESIDUAL,
        balance.KIND,
        plant_room.STATIC,
        plant_room.SETTINGS,
        plant_room.START,
        plant_room.FOLLOW_UP,
        plant_room.FINAL,
        site.LEAVING,
        site.WASTE,
        site.INCIDENT,
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
