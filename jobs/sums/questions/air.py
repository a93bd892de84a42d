"""How much air is left: pump against a shut return, see how much fluid goes in, take the pipe's own stretch off."""

from __future__ import annotations

from calcs.residual_air import ResidualAir, Squeeze, from_bin_level, from_litres_in, judge, residual_rows
from calcs.sources import Source, Status
from jobs.sums import trade
from jobs.sums.errors import Mistake, about
from jobs.sums.questions import common
from jobs.sums.questions.base import MORE, Answer, Example, Field, Given, Line, Part, Question, told
from jobs.sums.units import PRESSURE, VOLUME, WIDTH, Unit

BIN = Part("Read off the bin instead", is_folded=True)
AIR_PRESSURE = (Unit("kPa", "kPa"), Unit("bar", "bar"), Unit("mbar", "mbar"), Unit("psi", "psi"))
BOYLE = Source("Boyle's law, less the stretch of pipe and water (compliance as EN 805:2000 A.27.4)", Status.COMPUTED)


def answer(given: Given) -> Answer:
    found = _found(given)
    with about("volume"):
        verdict = judge(found)
    air, low, high = (float(value.m_as("L")) for value in (found.volume, found.low, found.high))
    rows = residual_rows()
    return Answer(
        lines=(
            Line("air", "Air left, at the pressure of the day", air, "L", 2, band=(high - low) / 2, is_main=True),
            Line("share", "Share of the volume", 100 * found.share, "%", 2, is_main=True),
            Line("lowest", "At least", low, "L", 2),
            Line("highest", "At most", high, "L", 2),
            common.litres("litres_in", "Went in", found.litres_in, places=2),
            common.litres("stretch", "Of it taken by the pipe's own stretch", found.elastic, places=2),
        ),
        sources=told(
            ("Air", BOYLE),
            ("Stiffness of the wall", rows["wall_modulus"].source),
            ("Its doubt", rows["modulus_doubt"].source),
            ("Good up to", rows["good_share"].source),
        ),
        verdict=verdict,
        warnings=("Air that is dissolved in the fluid is not seen by this; it comes out in the days after.",),
    )


def _found(given: Given) -> ResidualAir:
    start, end = given.quantity("start"), given.quantity("end")
    if end <= start:
        raise Mistake("The pressure at the end must be above the one at the start.", "end")
    level = given.has("bin_diameter") or given.has("bin_fall")
    if given.has("litres_in") == level:
        raise Mistake("Give what went in as a volume, or read off the bin: one of the two.", "litres_in")
    squeeze = Squeeze(
        volume=given.quantity("volume"),
        bore_to_wall=common.bore_to_wall(given),
        start_pressure=start,
        end_pressure=end,
        hose=given.maybe("hose"),
        atmosphere=given.maybe("atmosphere"),
    )
    if not level:
        with about("litres_in"):
            return from_litres_in(squeeze=squeeze, litres_in=given.quantity("litres_in"))
    diameter, fall = given.maybe("bin_diameter"), given.maybe("bin_fall")
    if diameter is None or fall is None:
        missing = "bin_diameter" if diameter is None else "bin_fall"
        raise Mistake("Give both the diameter of the bin and the fall of its level.", missing)
    with about("bin_fall"):
        return from_bin_level(squeeze=squeeze, diameter=diameter, level_drop=fall)


QUESTION = Question(
    name="air_check",
    title="Air check",
    says="How much air is still in a loop after purging, from the fluid that goes in under pressure.",
    moment="Filling",
    fields=(
        Field("volume", "Volume of the loop", units=VOLUME, low=1, high=100_000, help="What is squeezed: pipe only, hoses apart."),
        *common.size_fields("", default="PE100-40x3.7"),
        Field("start", "Pressure at the start", units=PRESSURE, low=0, high=16, default="0", help="At the gauge."),
        Field("end", "Pressure at the end", units=PRESSURE, low=0, high=16, help="Never above what the weakest part may take."),
        Field("litres_in", "Fluid that went in", units=VOLUME, low=0, high=1000, required=False),
        Field("bin_diameter", "Diameter of the round bin", units=WIDTH, low=5, high=300, required=False, part=BIN),
        Field("bin_fall", "Fall of its level", units=WIDTH, low=0, high=200, required=False, part=BIN),
        Field("hose", "Taken by the hoses alone", units=VOLUME, low=0, high=100, required=False, part=MORE, help="Try it with the loop shut."),
        Field("atmosphere", "Air pressure of the place", units=AIR_PRESSURE, low=50, high=110, required=False, part=MORE, help="101.3 kPa when left empty; less in the mountains."),
    ),
    answer=answer,
    examples=(Example("333.9 L of 40 × 3.7 mm pumped to 345 kPa; the level of a 25 cm bin falls by 5 cm: 1.65 L of air.", {"volume": "333.9", "pipe": "PE100-40x3.7", "start": "0", "end": "345", "start_unit": "kPa", "end_unit": "kPa", "bin_diameter": "25", "bin_fall": "5", "bin_diameter_unit": "cm", "bin_fall_unit": "cm"}),),
    cautions=(*trade.PRESSURE[1:3], *trade.HOSE),
)  # fmt: skip
