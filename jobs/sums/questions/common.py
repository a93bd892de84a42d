"""Fields and steps that several sums share: the antifreeze, its strength, the drum, the pipe, and the cautions."""

from __future__ import annotations

from functools import cache
from typing import Final

from calcs import fluid, mixing, strength
from calcs.base import Base
from calcs.errors import CalcError
from calcs.pipe import Pipe, PipeRow, metric_pipes, pipe
from calcs.sources import Source, Status
from calcs.strength import Basis, Product, Strength
from calcs.units import Quantity, quantity
from jobs.sums.errors import Mistake, about
from jobs.sums.questions.base import MAIN, MORE, Field, Given, Kind, Line, Part, Told, told
from jobs.sums.trade import LOCAL
from jobs.sums.units import DENSITY, PERCENT, SIZE, TEMPERATURE

FLUID: Final = (
    "Read the safety data sheet. Gloves and eye protection; keep eye wash and spill kit at hand.",
    "Alcohol mixes burn: no ignition, no ordinary pump motor. Some glycol is poisonous to drink.",
    "Nothing goes to drain or ditch without consent.",
    LOCAL,
)

OTHER_SIZE: Final = Part("A pipe that is not in the list", is_folded=True)
BASES: Final = tuple((base.value, base.label) for base in Base if base is not Base.WATER)
WITH_WATER: Final = ((Base.WATER.value, Base.WATER.label), *BASES)
OF_THE_MIX: Final = {
    "mass": Basis.MASS,
    "volume_final": Basis.VOLUME_FINAL,
    "volume_parts": Basis.VOLUME_PARTS,
    "volume_ashrae": Basis.VOLUME_ASHRAE,
}
ALL_BASES: Final = {**OF_THE_MIX, "product_volume": Basis.PRODUCT_VOLUME}
# Up to here the density of a mix is in the tables; a stronger product without one is taken as pure.
DENSITY_TABLE_ENDS: Final = 0.60

DENSITIES: Final = Source(
    "Densities: CRC Handbook of Chemistry and Physics, 102nd ed., and Melinder 2010 (IIR)", Status.READ
)

ANTIFREEZE: Final = Field("base", "Antifreeze", Kind.CHOICE, choices=BASES, default=Base.ETHYLENE_GLYCOL.value)
DRUM: Final = (
    Field(
        "drum_strength", "Antifreeze in the drum, by mass", units=PERCENT, low=1, high=100, default="100", part=MORE,
        help="From the data sheet. 100 for the undiluted liquid.",
    ),
    Field(
        "drum_density", "Density of the product at 20 °C", units=DENSITY, low=600, high=1700, required=False, part=MORE,
        help="From the data sheet. Left empty it is computed.",
    ),
)  # fmt: skip


def strength_field(name: str, label: str, help: str = "", *, required: bool = False, part: Part = MAIN) -> Field:  # noqa: A002
    return Field(name, label, units=PERCENT, low=0, high=100, required=required, help=help, part=part)


def basis_field(bases: dict[str, Basis], part: Part = MAIN) -> Field:
    pairs = tuple((code, basis.label) for code, basis in bases.items())
    return Field("basis", "These percentages are", Kind.CHOICE, choices=pairs, default="mass", part=part)


def frost_field(name: str, label: str, help: str = "", *, part: Part = MAIN) -> Field:  # noqa: A002
    return Field(name, label, units=TEMPERATURE, low=-60, high=0, required=False, help=help, part=part)


def base_of(given: Given) -> Base:
    return Base(given.choice("base"))


def drum_of(given: Given) -> Product:
    """The product in the drum, with its density computed where none was given."""
    base, fraction = base_of(given), given.quantity("drum_strength")
    if base.is_salt and fraction.m_as("") == 1.0:
        raise Mistake(
            f"{base.label.capitalize()} is sold dissolved in water; give the strength on its data sheet.",
            "drum_strength",
        )
    if fraction.m_as("") == 1.0 and not given.has("drum_density"):
        return strength.pure(base=base)
    density = given.maybe("drum_density")
    if density is None:
        with about("drum_density"):
            if fraction.m_as("") <= DENSITY_TABLE_ENDS or base.is_salt:
                density = fluid.mix_density(base=base, mass_fraction=fraction, temperature=mixing.ROOM)
            else:
                density = strength.pure(base=base).density
    with about("drum_strength"):
        return Product(base, fraction, density)


def strength_of(given: Given, name: str, product: Product | None = None) -> Strength:
    """A typed percentage on the basis chosen."""
    base, basis = base_of(given), ALL_BASES[given.choice("basis") or "mass"]
    if basis is Basis.VOLUME_ASHRAE and not base.is_glycol:
        raise Mistake("The ASHRAE volumes are for glycols only; choose another basis.", "basis")
    if base.is_salt and basis in {Basis.VOLUME_FINAL, Basis.VOLUME_PARTS}:
        raise Mistake("A salt has no volume of its own; give its strength by mass.", "basis")
    with about(name):
        found = Strength(given.quantity(name), basis, base, product)
        _ = found.mass_fraction
        return found


def either(given: Given, frost: str, percent: str, product: Product | None = None) -> Strength:
    """A strength told by its freezing point or as a percentage: one of the two."""
    if given.has(frost) == given.has(percent):
        raise Mistake("Give the freezing point or the strength, one of the two.", frost)
    if given.has(percent):
        return strength_of(given, percent, product)
    base = base_of(given)
    with about(frost):
        fraction = fluid.mass_fraction_for(base=base, freezing_point=given.quantity(frost))
        return strength.by_mass(base=base, value=fraction)


def frost_line(
    mix: Strength, label: str, field: str = "", *, name: str = "freezing_point", is_main: bool = False
) -> Line:
    """The freezing point of a mix; its band reaches to the coldest published curve."""
    with about(field):
        point = mix.freezing_point
    spread = float(point.spread.m_as("delta_degC"))
    return Line(name, label, float(point.value.m_as("degC")), "°C", 1, band=spread or None, is_main=is_main)


def frost_source(mix: Strength) -> Told:
    return Told("Freezing point", mix.freezing_point.source)


def percents(mix: Strength, name: str, label: str) -> tuple[Line, ...]:
    """A strength by mass, and by volume of the finished mix where that is known."""
    found = [Line(f"{name}_mass", f"{label}, by mass", float(mix.mass_fraction.m_as("percent")), "%", 1)]
    volume = by_volume(mix)
    if volume is not None:
        found.append(Line(f"{name}_volume", f"{label}, by volume of the finished mix", volume, "%", 1))
    return tuple(found)


def by_volume(mix: Strength) -> float | None:
    """None for a salt, which has no liquid pure form."""
    try:
        return float(mix.to(Basis.VOLUME_FINAL).value.m_as("percent"))
    except CalcError:
        return None


def product_sources(given: Given, product: Product) -> tuple[Told, ...]:
    if given.has("drum_density") or product.source.text.startswith("density of the pure"):
        return told(("Product", product.source))
    return ()


def litres(name: str, label: str, value: Quantity, *, places: int = 1, is_main: bool = False) -> Line:
    return Line(name, label, float(value.m_as("L")), "L", places, is_main=is_main)


@cache
def pipe_sizes() -> dict[str, PipeRow]:
    """Every size of the tables by a code that can stand in an address: "PE100-32x3"."""
    found: dict[str, PipeRow] = {}
    for row in metric_pipes():
        code = f"{row.material.replace(' ', '').replace('-', '')}-{row.od_mm:g}x{row.wall_mm:g}"
        found.setdefault(code, row)
    return found


def size_fields(prefix: str, *, default: str, part: Part = MAIN, label: str = "Pipe") -> tuple[Field, ...]:
    """A pipe from the tables, or by its own outside diameter and wall."""
    sizes = tuple((code, row.label) for code, row in pipe_sizes().items())
    own = (("own", "not in this list"), *sizes)
    apart = part if part.is_folded else OTHER_SIZE
    return (
        Field(f"{prefix}pipe", label, Kind.CHOICE, choices=own, default=default, part=part),
        Field(
            f"{prefix}od", "Outside diameter", units=SIZE, low=5, high=1000, required=False, part=apart,
            help="Only for a pipe that is not in the list.",
        ),
        Field(f"{prefix}wall", "Wall", units=SIZE, low=0.5, high=100, required=False, part=apart),
    )  # fmt: skip


def pipe_of(given: Given, prefix: str = "") -> Pipe:
    """The pipe chosen or typed; typed figures beside a size from the list are a slip that is told."""
    od, wall, code = given.maybe(f"{prefix}od"), given.maybe(f"{prefix}wall"), given.choice(f"{prefix}pipe")
    if code != "own":
        if od is not None or wall is not None:
            raise Mistake(
                "Choose “not in this list” to use the diameter and wall that are typed, or empty them.", f"{prefix}pipe"
            )
        return pipe_sizes()[code].pipe
    if od is None or wall is None:
        raise Mistake("Give both the outside diameter and the wall.", f"{prefix}od" if od is None else f"{prefix}wall")
    with about(f"{prefix}wall"):
        return pipe(od=od, wall=wall)


def pipe_source(given: Given, prefix: str = "") -> tuple[Told, ...]:
    row = pipe_sizes().get(given.choice(f"{prefix}pipe"))
    return () if row is None else told((f"Pipe {row.od_mm:g} × {row.wall_mm:g} mm", Source(row.standard, row.status)))


def bore_to_wall(given: Given, prefix: str = "") -> float:
    """Bore over wall, within what the thin-wall formula allows."""
    found = pipe_of(given, prefix)
    ratio = found.diameter_ratio - 2.0
    if not 5.0 <= ratio <= 30.0:
        raise Mistake(
            "The wall is too thick or too thin for this sum; bore over wall must be 5 to 30.", f"{prefix}wall"
        )
    return ratio


def fluid_of(given: Given, temperature: Quantity) -> fluid.Properties:
    """The fluid in the pipe: water, or a mix of the strength given."""
    base = base_of(given)
    fraction = quantity(0.0, "percent")
    if base is not Base.WATER:
        if not given.has("strength"):
            raise Mistake(f"Give the strength of the {base.label} mix.", "strength")
        fraction = strength_of(given, "strength").mass_fraction
    elif given.has("strength") and given.number("strength") > 0:
        raise Mistake("Water has no strength; choose the antifreeze or empty the strength.", "strength")
    with about("strength" if base is not Base.WATER else "temperature"):
        return fluid.properties(base=base, mass_fraction=fraction, temperature=temperature)
