"""From bed to cover: partial cover, release, covered, and the watch pressure in between."""

from __future__ import annotations

from jobs.visits.kinds import cautions, tightness
from jobs.visits.kinds.base import Kind, Of
from jobs.visits.kinds.fields import MILLIMETRES, number, photo, pressure, yes

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
        yes("tape", "Warning tape laid", required=False),
    ),
    help="Say so also when it was covered without a release: it happens, and the office must know.",
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
