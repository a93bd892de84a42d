"""Before ground is broken: services searched, detected and marked, and a permit to dig."""

from __future__ import annotations

from calcs.verdict import Cause, Figure, Verdict
from jobs.visits.kinds import cautions
from jobs.visits.kinds.base import Answer, Facts, Field, Kind, Logged, Of
from jobs.visits.kinds.fields import METRES, code, number, photo, text, time, yes
from jobs.visits.kinds.said import EXACT, bad, look

FOUND = (
    ("electricity", "Electricity"),
    ("gas", "Gas"),
    ("water", "Water"),
    ("drain", "Drain or sewer"),
    ("telecom", "Telecom"),
    ("private", "Private service"),
    ("tank", "Tank or septic tank"),
    ("none", "None found"),
)


def judge(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    first, last = entry.time("valid_from"), entry.time("valid_to")
    found: list[Verdict] = []
    if first is not None and last is not None and last < first:
        found.append(bad("The permit ends before it begins.", Cause.READINGS, way_out="Correct its two dates."))
    near, limit = entry.number("nearest", "m"), facts.limit("services_near_m")
    if near is not None and limit is not None and near < limit.value - EXACT:
        figure = Figure("nearest service", near, "m", limit=limit.value)
        way_out = "Dig by hand there, or move the trench."
        found.append(look("A service lies near.", Cause.CONDITIONS, figure, source=limit.source, way_out=way_out))
    return tuple(found)


KIND = Kind(
    code="services_permit",
    label="Services search and permit to dig",
    of=Of.JOB,
    fields=(
        yes("records_seen", "Records of every owner seen, and in date", help="Also what is private: ask the owner."),
        yes("detected", "Swept on site with a locator"),
        yes("marked", "Marked on the ground"),
        Field("found", "What is there", Answer.MANY, choices=FOUND),
        number(
            "nearest", "Nearest service to our dig", METRES, soft=(0.3, 50), hard=(0, 5000), required=False,
            help="Measured from the edge of the trench.",
        ),
        code("permit_no", "Permit number"),
        time("valid_from", "Valid from"),
        time("valid_to", "Valid to"),
        code("locator", "Locator, serial number", required=False),
        text("trial_holes", "Trial holes: where, how deep, what was found", required=False),
        photo("services", "Photo of the marks, with a fixed feature in it"),
    ),
    help="Before the first bucket, and anew when the permit has run out.",
    cautions=cautions.SERVICES,
    roles=("crew", "engineer", "scheduler"),
    judge=judge,
)  # fmt: skip
