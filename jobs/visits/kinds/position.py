"""Where a joint, a bend or a borehole lies: two distances from fixed points, and how deep."""

from __future__ import annotations

from jobs.visits.kinds.base import Kind, Of
from jobs.visits.kinds.fields import METRES, MILLIMETRES, choice, code, number, photo, picked

KIND = Kind(
    code="position",
    label="Measured position",
    of=Of.POINT,
    fields=(
        choice(
            "what",
            "What lies there",
            ("joint", "Joint"),
            ("bend", "Bend"),
            ("borehole", "Borehole head"),
            ("manifold", "Manifold or chamber"),
            ("crossing", "Crossing"),
            ("other", "Something else"),
        ),
        picked("section", "In section", "sections"),
        code("point_a", "Fixed point A", help="A corner of a building, not a tree or a fence."),
        number("distance_a", "Distance from A", METRES, soft=(0.1, 100), hard=(0, 2000)),
        code("point_b", "Fixed point B"),
        number("distance_b", "Distance from B", METRES, soft=(0.1, 100), hard=(0, 2000)),
        number("depth", "Depth below the surface", MILLIMETRES, soft=(300, 2500), hard=(0, 10000)),
        photo("position", required=False),
    ),
    help="To 5 cm. Whoever looks for it in thirty years has only this.",
)
