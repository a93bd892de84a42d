"""From bed to cover: partial cover, release, covered, and the watch pressure in between."""

from __future__ import annotations

from calcs.verdict import Cause, Figure, Verdict
from jobs.visits.kinds import cautions, tightness
from jobs.visits.kinds.base import Facts, Kind, Logged, Of, Target
from jobs.visits.kinds.fields import MILLIMETRES, number, photo, pressure, yes
from jobs.visits.kinds.said import at_least


def judge_cover(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    cover, limit = entry.number("cover", "mm"), facts.limit("cover_mm")
    if cover is None or limit is None:
        return ()
    said = {
        "good": "The protective layer is thick enough.",
        "short": "The protective layer is too thin.",
        "way_out": "Put more fine fill on before anything else goes in.",
    }
    figure = Figure("layer", cover, "mm", limit=limit.value)
    return (at_least(figure, limit.source, cause=Cause.CONDITIONS, **said),)


def cover_targets(facts: Facts, subject: str) -> tuple[Target, ...]:  # noqa: ARG001 - one rule for all sections
    limit = facts.limit("cover_mm")
    if limit is None:
        return ()
    return (Target("cover", "at least", low=limit.value, unit="mm", source=limit.source.label),)


PARTIAL = Kind(
    code="partial_cover",
    label="Partial cover before the test",
    of=Of.SECTION,
    fields=(
        yes("joints_open", "Joints left open to view"),
        number("cover", "Cover over the pipe", MILLIMETRES, soft=(50, 300), hard=(0, 2000)),
        photo("partial_cover", required=False),
    ),
    help="Fill may hold the pipe down before the test as long as every joint stays in sight.",
    cautions=cautions.TRENCH[:1],
)

RELEASE = Kind(
    code="backfill_release",
    label="Release for backfill",
    of=Of.SECTION,
    instrument="gauge",
    fields=(
        pressure("watch_pressure", "Watch pressure now", soft=(0.5, 4), hard=(0, 16)),
        yes("positions_taken", "Positions of joints and bends measured"),
        photo("before_backfill", "Photo before it is covered"),
    ),
    help="Only a section inside a passed test may be covered.",
    cautions=cautions.WATCH,
)

COVERED = Kind(
    code="covered",
    label="Covered",
    of=Of.SECTION,
    fields=(
        number("cover", "First layer over the pipe", MILLIMETRES, soft=(50, 300), hard=(0, 2000), required=False),
        pressure("watch_pressure", "Watch pressure after the layer", soft=(0.5, 4), hard=(0, 16), required=False),
        yes("tape", "Warning tape laid", required=False),
    ),
    help="Say so also when it was covered without a release: it happens, and the office must know.",
    judge=judge_cover,
    targets=cover_targets,
)

WATCH = Kind(
    code="watch_reading",
    label="Watch pressure reading",
    of=Of.TEST,
    instrument="gauge",
    repeats=True,
    fields=(pressure("pressure", "Pressure", soft=(0.3, 4), hard=(0, 16)),),
    help="During and after backfill. PE gives way a little by itself; a sudden fall is a strike.",
    cautions=cautions.WATCH,
    judge=tightness.judge_watch,
)

WATCH_RELEASE = Kind(
    code="watch_release",
    label="Watch pressure let off",
    of=Of.TEST,
    instrument="gauge",
    fields=(
        pressure("pressure", "Pressure before it was let off", soft=(0.3, 4), hard=(0, 16)),
        yes("capped", "Left full of clean water and capped"),
    ),
    help="Only when the protective layer is on over all that is in the test: till then a strike must show on the gauge.",
    cautions=cautions.WATCH,
)
