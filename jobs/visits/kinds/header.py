"""The main header: how it goes through the wall, and when it is connected to the heat pump."""

from __future__ import annotations

from calcs.verdict import Cause, Figure, Verdict
from jobs.visits.kinds import cautions
from jobs.visits.kinds.base import Facts, Kind, Logged, Of
from jobs.visits.kinds.fields import METRES, MILLIMETRES, choice, number, photo, yes
from jobs.visits.kinds.said import bad, look


def judge(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:  # noqa: ARG001 - the shape of every judge
    found = [
        bad(words, Cause.CONDITIONS, way_out=way_out) for name, words, way_out in WRONG if entry.value(name) is False
    ]
    high, vents = entry.number("high_points", "pcs"), entry.number("vents", "pcs")
    if high is not None and vents is not None and vents < high:
        figure = Figure("vents", vents, "", limit=high)
        way_out = "Fit a vent at each, or purge the header faster."
        found.append(look("A high point has no vent.", Cause.CONDITIONS, figure, way_out=way_out))
    return tuple(found)


WRONG = (
    ("sealed", "The penetration is not tight.", "Seal it against water and ground gas, inside and outside."),
    ("no_joint_in_wall", "There is a joint inside the wall.", "Move it to where it can be seen and mended."),
    ("labelled", "The pipes are not labelled.", "Label them: to ground, from ground."),
)

PENETRATION = Kind(
    code="header_penetration",
    label="Header and wall penetration",
    of=Of.HEADER,
    fields=(
        number("length_to", "Length to ground", METRES, soft=(1, 200), hard=(0.1, 5000)),
        number("length_from", "Length from ground", METRES, soft=(1, 200), hard=(0.1, 5000)),
        number("depth", "Depth", MILLIMETRES, soft=(600, 2000), hard=(0, 6000)),
        number("high_points", "High points", ("pcs",), soft=(0, 4), hard=(0, 50), help="None: 0."),
        number("vents", "Vents at them", ("pcs",), soft=(0, 4), hard=(0, 50)),
        choice(
            "seal",
            "Seal in the wall",
            ("link", "Mechanical link seal"),
            ("compound", "Sealing compound"),
            ("flange", "Flange"),
            ("none", "None"),
        ),
        yes("sealed", "Tight against water and ground gas, inside and outside"),
        yes("no_joint_in_wall", "No joint inside the wall or sleeve"),
        yes("insulated", "Insulated inside and near the wall", good=None),
        yes("labelled", "Labelled: to ground, from ground"),
        photo("penetration", "Photo, inside and outside"),
    ),
    help="Header joints are logged as joints, and go into the pressure test.",
    cautions=cautions.TRENCH,
    judge=judge,
)

CONNECTION = Kind(
    code="plant_connection",
    label="Connect to the heat pump",
    of=Of.JOB,
    fields=(
        yes("kept_closed", "Loops and header full of clean water and capped until now"),
        yes("strainer", "Strainer fitted before the heat pump"),
        yes("shut_off", "Valves to the heat pump shut"),
        photo("plant_room", required=False),
    ),
    help="After everything is flushed. The valves stay shut until purge and residual air are passed.",
    cautions=cautions.ELECTRICITY,
)
