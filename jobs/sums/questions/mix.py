"""First fill: what to pour for a system of this volume, bin by bin, and how many drums to bring."""

from __future__ import annotations

from collections.abc import Iterator

from calcs.base import Base
from calcs.errors import CalcError
from calcs.hazard import GESTIS, flash_point
from calcs.mixing import NONE_LEFT, ROOM, FirstFill, first_fill
from calcs.strength import Product, Strength
from calcs.target import judge
from calcs.units import quantity
from calcs.verdict import Outcome
from jobs.sums.errors import Mistake, about
from jobs.sums.parse import shown
from jobs.sums.questions import common
from jobs.sums.questions.base import MORE, Answer, Example, Field, Given, Line, Question, Table, Told, told
from jobs.sums.units import TEMPERATURE, VOLUME


def answer(given: Given) -> Answer:
    product = common.drum_of(given)
    target = common.either(given, "freezing_point", "strength", product)
    fill = _fill(given, target, product)
    with about("drum"):
        drums = fill.drums(drum_volume=given.quantity("drum"))
    size = given.typed("drum")
    lines = [
        common.litres("concentrate", "Concentrate", fill.concentrate_volume, is_main=True),
        common.litres("water", "Water", fill.water_volume, is_main=True),
        Line("drums", f"Drums of {shown(size.value)} {size.unit.shown}", float(drums.count), "", 0, is_main=True),
        common.frost_line(target, "Freezing point", _asked(given), is_main=True),
        Line("bins", "Bins to mix", float(len(fill.batches)), "", 0),
        common.litres("left_over", "Left over in the last drum", drums.left_over),
        common.litres("mixed", "Mixed in all", fill.mixed_volume),
        common.litres("contraction", "Shrinks in mixing by", fill.contraction),
        *common.percents(target, "strength", "Strength in the system"),
    ]
    if given.has("residual_water"):
        lines += common.percents(fill.poured, "poured", "Strength to pour")
    sources = [common.frost_source(target), *told(("Concentrate and water", common.DENSITIES))]
    sources += common.product_sources(given, product)
    for line, source in _burns(target, fill):
        lines.append(line)
        sources.append(source)
    return Answer(tuple(lines), tuple(sources), warnings=tuple(_warnings(given, target)), tables=(_batches(fill),))


def _asked(given: Given) -> str:
    return "freezing_point" if given.has("freezing_point") else "strength"


def _fill(given: Given, target: Strength, product: Product) -> FirstFill:
    residual, volume = given.maybe("residual_water"), given.quantity("volume")
    if residual is not None and residual >= volume:
        raise Mistake("The water left in the pipes must be less than the whole volume.", "residual_water")
    if target.mass_fraction.m_as("") == 0:
        raise Mistake("There is no antifreeze in a mix of 0; give what you want to reach.", _asked(given))
    if (volume / given.quantity("bin")).m_as("") > 1000:
        raise Mistake("That would be more than 1000 bins; give a larger bin or another unit.", "bin")
    with about(_asked(given)):
        return first_fill(
            base=target.base,
            system_volume=volume,
            target=target,
            concentrate=product,
            bin_volume=given.quantity("bin"),
            residual_water=NONE_LEFT if residual is None else residual,
            temperature=given.quantity("temperature", ROOM),
        )


def _batches(fill: FirstFill) -> Table:
    """Bins that are alike stand in one row."""
    rows: list[tuple[str, ...]] = []
    last = len(fill.batches)
    full = [batch for batch in fill.batches if batch.volume == fill.batches[0].volume]
    for first, count, batch in ((1, len(full), full[0]), (len(full) + 1, last - len(full), fill.batches[-1])):
        if count:
            name = f"{first}" if count == 1 else f"{first} to {first + count - 1}, each"
            figures = (batch.water, batch.concentrate, batch.volume)
            rows.append((name, *(f"{float(value.m_as('L')):.1f}" for value in figures)))
    return Table("Bin by bin, water first", ("Bin", "Water, L", "Concentrate, L", "Gives, L"), tuple(rows))


def _burns(target: Strength, fill: FirstFill) -> Iterator[tuple[Line, Told]]:
    """The flash point, where the table has one; a strength outside it says nothing."""
    volume = common.by_volume(fill.poured)
    if target.base is not Base.ETHANOL or volume is None:
        return
    try:
        point = flash_point(base=target.base, volume_fraction=quantity(volume, "percent"))
    except CalcError:
        return
    yield Line("flash_point", "Flash point of the mix", float(point.m_as("degC")), "°C", 0), Told("Flash point", GESTIS)


def _warnings(given: Given, target: Strength) -> Iterator[str]:
    # Cold enough by its own freezing point, so all that may be wrong with it is that the inhibitor is too thin.
    chosen = judge(strength=target, required=target.freezing_point.value)
    if chosen.outcome is Outcome.FAIL:
        yield f"{chosen.reason} {chosen.source.label}."
    if common.base_of(given).is_alcohol:
        yield "An alcohol mix burns: no ignition near bin and drums, and a pump that is made for it."
    if not given.has("residual_water"):
        yield "Water left in the pipes after flushing makes the mix weaker; tell how much, if the pipes are not empty."


QUESTION = Question(
    name="mix",
    title="First fill",
    says="How much antifreeze and water to pour, bin by bin, and how many drums to bring.",
    moment="Before the work",
    fields=(
        common.ANTIFREEZE,
        Field("volume", "Volume of the whole system", units=VOLUME, low=1, high=100_000),
        common.frost_field("freezing_point", "Freezing point wanted", "Give this, or the strength below."),
        common.strength_field("strength", "Strength wanted", "Give this, or the freezing point above."),
        common.basis_field(common.ALL_BASES),
        Field("bin", "Filling bin", units=VOLUME, low=1, high=20_000, default="200", help="What one batch gives."),
        Field("drum", "Size of a drum", units=VOLUME, low=0.5, high=2000, default="25"),
        Field(
            "residual_water", "Water left in the pipes", units=VOLUME, low=0, high=100_000, required=False, part=MORE,
            help="What stays in after flushing; the mix is poured that much stronger.",
        ),
        *common.DRUM,
        Field(
            "temperature", "Temperature while mixing", units=TEMPERATURE, low=1, high=40, required=False, part=MORE,
            help="20 °C when left empty.",
        ),
    ),
    answer=answer,
    examples=(Example("600 L of ethylene glycol mix at 31.4 % by mass: 175.9 L of concentrate and 428.7 L of water.", {"base": "ethylene_glycol", "volume": "600", "strength": "31.4", "basis": "mass", "bin": "180", "drum": "25"}),),
    cautions=common.FLUID,
)  # fmt: skip
