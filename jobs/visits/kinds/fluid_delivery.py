"""The drums that came."""

from __future__ import annotations

from jobs.visits.kinds import cautions
from jobs.visits.kinds.base import Kind, Of
from jobs.visits.kinds.fields import code, number, photo

KIND = Kind(
    code="fluid_delivery",
    label="Antifreeze delivered",
    of=Of.JOB,
    fields=(
        code("lot", "Lot number"),
        number("drums", "Drums", ("pcs",), soft=(1, 60), hard=(0, 1000)),
        number("drum_l", "Litres in a drum", ("L", "gal"), soft=(5, 220), hard=(1, 1500)),
        number(
            "strength",
            "Strength on the label",
            ("mass %", "vol %"),
            soft=(20, 100),
            hard=(0, 100),
            help="Say which per cent the label means.",
        ),
        photo("drum_label", "Photo of the label", required=False),
    ),
    help="Count and read the label before a drum is opened.",
    cautions=cautions.FLUID,
)
