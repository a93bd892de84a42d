"""Correction of a filled system: what to drain and what to add, or what to feed while it overflows."""

from __future__ import annotations

from collections.abc import Iterator

from calcs.mixing import ROOM, Correction, correction
from calcs.strength import Strength
from jobs.sums.errors import about
from jobs.sums.questions import common
from jobs.sums.questions.base import MORE, Answer, Example, Field, Given, Line, Question, told
from jobs.sums.units import TEMPERATURE, VOLUME


def answer(given: Given) -> Answer:
    product = common.drum_of(given)
    measured = common.either(given, "measured_freezing_point", "measured", product)
    target = common.either(given, "freezing_point", "strength", product)
    with about("freezing_point" if given.has("freezing_point") else "strength"):
        fix = correction(
            base=target.base,
            system_volume=given.quantity("volume"),
            measured=measured,
            target=target,
            concentrate=product,
            temperature=given.quantity("temperature", ROOM),
        )
    what = "concentrate" if fix.adding else "water"
    fed = fix.feed_and_bleed
    lines = [
        common.litres("drain", "Drain first", fix.drain_volume, is_main=True),
        common.litres("add", f"Then add {what}", fix.add_volume, is_main=True),
        *([common.litres("feed", f"Or feed {what} while it overflows", fed, is_main=True)] if fed is not None else []),
        Line("mass_added", f"That is {what} of", float(fix.mass_added.m_as("kg")), "kg", 1),
        common.frost_line(measured, "Freezing point now", name="measured_freezing_point"),
        common.frost_line(target, "Freezing point afterwards"),
        *common.percents(measured, "measured", "Strength now"),
        *common.percents(target, "target", "Strength afterwards"),
    ]
    sources = (
        common.frost_source(target),
        *told(("Volumes to drain and add", common.DENSITIES)),
        *common.product_sources(given, product),
    )
    return Answer(tuple(lines), sources, warnings=tuple(_warnings(fix, measured, target)))


def _warnings(fix: Correction, measured: Strength, target: Strength) -> Iterator[str]:
    if fix.add_volume.magnitude == 0:
        yield "The system is at its target: there is nothing to correct."
        return
    yield "Let it run until it is mixed, then measure again: the figures hold for a system that is mixed throughout."
    if target.mass_fraction < measured.mass_fraction:
        yield "This makes the mix weaker: check that its inhibitor still stays above what the maker asks for."
    if fix.feed_and_bleed is None:
        yield "By feeding alone this strength is never reached; drain first."


QUESTION = Question(
    name="correction",
    title="Correct a filled system",
    says="How much to drain and add to bring a mix from the strength you measured to the one you want.",
    moment="Filling",
    fields=(
        common.ANTIFREEZE,
        Field("volume", "Volume of the whole system", units=VOLUME, low=1, high=100_000),
        common.frost_field("measured_freezing_point", "Freezing point now", "Give this, or the strength below."),
        common.strength_field("measured", "Strength now"),
        common.frost_field("freezing_point", "Freezing point wanted", "Give this, or the strength below."),
        common.strength_field("strength", "Strength wanted"),
        common.basis_field(common.ALL_BASES),
        *common.DRUM,
        Field(
            "temperature", "Temperature of the fluid", units=TEMPERATURE, low=1, high=40, required=False, part=MORE,
            help="20 °C when left empty.",
        ),
    ),
    answer=answer,
    examples=(Example("600 L of methanol mix from 15 to 20 % by mass: drain 39.6 L and add 43.1 L.", {"base": "methanol", "volume": "600", "measured": "15", "strength": "20", "basis": "mass"}),),
    cautions=common.FLUID,
)  # fmt: skip
