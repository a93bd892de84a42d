"""A stretch of trench before pipe lies in it: depth, bed, inspection."""

from __future__ import annotations

from calcs.verdict import Cause, Figure, Verdict
from jobs.visits.kinds import cautions
from jobs.visits.kinds.base import Facts, Kind, Logged, Of, Target
from jobs.visits.kinds.fields import MILLIMETRES, choice, number, photo, yes
from jobs.visits.kinds.said import at_least, bad

LIMITS = (
    (
        "depth",
        "trench_depth_mm",
        "The trench is deep enough.",
        "The trench is too shallow.",
        "Go deeper, then log it again.",
    ),
    ("bed", "bed_mm", "The bed is thick enough.", "The bed is too thin.", "Put more bed in, then log it again."),
)


def targets(facts: Facts, subject: str) -> tuple[Target, ...]:  # noqa: ARG001 - one rule for all sections
    found = ((name, facts.limit(code)) for name, code, *_ in LIMITS)
    return tuple(
        Target(name, "at least", low=limit.value, unit=limit.unit, source=limit.source.label)
        for name, limit in found
        if limit
    )


def judge(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    found = []
    for name, code, good, short, way_out in LIMITS:
        limit, value = facts.limit(code), entry.number(name, "mm")
        if limit is not None and value is not None:
            figure = Figure(name, value, "mm", limit=limit.value)
            said = {"good": good, "short": short, "way_out": way_out}
            found.append(at_least(figure, limit.source, cause=Cause.CONDITIONS, **said))
    if entry.yes("stones"):
        found.append(bad("Sharp stones are left in the bed.", Cause.CONDITIONS, way_out="Take them out."))
    if entry.value("excavation_inspected") is False:
        found.append(
            bad("The excavation was not inspected.", Cause.CONDITIONS, way_out="Inspect it, then log it again.")
        )
    return tuple(found)


KIND = Kind(
    code="trench_section",
    label="Trench section",
    of=Of.SECTION,
    fields=(
        yes("excavation_inspected", "Excavation inspected this shift"),
        number("depth", "Depth", MILLIMETRES, soft=(600, 2000), hard=(100, 6000)),
        choice(
            "bed_material",
            "Bed",
            ("sand", "Sand"),
            ("fines", "Fine stone-free soil"),
            ("soil", "Dug soil"),
            ("none", "None"),
        ),
        number("bed", "Bed thickness", MILLIMETRES, soft=(75, 200), hard=(0, 500)),
        yes("stones", "Sharp stones left", good=False),
        yes("water", "Water in the trench", good=False),
        number(
            "joints",
            "Joints in this section",
            ("pcs",),
            soft=(0, 20),
            hard=(0, 200),
            required=False,
            help="How many the drawing shows. None: 0.",
        ),
        photo("trench", "Photo with staff or tape"),
    ),
    help="Before pipe is laid.",
    cautions=cautions.TRENCH,
    judge=judge,
    targets=targets,
)
