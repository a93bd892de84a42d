"""The target mix of a design: how strong, what it is like, and the recipe of the first fill."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from calcs import fluid as fluids
from calcs import mixing, target
from calcs import strength as strengths
from calcs.base import Base
from calcs.errors import CalcError
from calcs.units import Quantity, quantity
from jobs.ground.figures import Batch, Fill, Fluid, Volumes
from jobs.ground.trade import DesignPlan, Plan, ProductPlan

# Fluid and water in the bin and in the hoses when loops are filled and purged: a house default.
FILLING_AT: Final = quantity(10, "degC")
# Up to here the density of a mix is in the tables; a stronger product without one is taken as pure.
DENSITY_TABLE_ENDS_PCT: Final = 60.0


@dataclass
class Mix:
    """The target mix of a design: cold, as it is filled, and half water at the front of the filling."""

    design: DesignPlan
    product: ProductPlan
    strength: strengths.Strength
    cold: fluids.Properties
    filling: fluids.Properties
    interface: fluids.Properties
    warnings: tuple[str, ...] = ()


def mix_of(plan: Plan) -> Mix | None:
    design, product = plan.design, plan.product
    if design is None or product is None:
        return None
    base = Base(product.base)
    strength, warnings = _target(base, design, product)
    fraction = strength.mass_fraction

    def at(share: float, temperature: Quantity) -> fluids.Properties:
        return fluids.properties(base=base, mass_fraction=share * fraction, temperature=temperature)

    cold = quantity(design.cold_fluid_c, "degC")
    return Mix(design, product, strength, at(1.0, cold), at(1.0, FILLING_AT), at(0.5, FILLING_AT), warnings)


def _target(base: Base, design: DesignPlan, product: ProductPlan) -> tuple[strengths.Strength, tuple[str, ...]]:
    """Cold enough, and never below the least strength of the product."""
    if base is Base.WATER:
        return strengths.by_mass(base=base, value=quantity(0.0, "percent")), ()
    required = quantity(design.freezing_point_c, "degC")
    found = target.strength_to_mix(base=base, required=required, product=_concentrate(product))
    return found.strength, found.warnings


def fluid_of(mix: Mix) -> Fluid:
    point = mix.strength.freezing_point
    alarm = mix.design.frost_alarm_c
    margin = None if alarm is None else quantity(alarm - float(point.value.m_as("degC")), "K")
    return Fluid(
        base=mix.product.base,
        base_label=mix.strength.base.label,
        product=mix.product.name,
        colour=mix.product.colour,
        target_mass=mix.strength.mass_fraction,
        target_volume=_by_volume(mix.strength),
        freezing_point=point.value,
        freezing_point_low=point.low,
        temperature=mix.cold.temperature,
        density=mix.cold.density,
        heat_capacity=mix.cold.heat_capacity,
        viscosity=mix.cold.viscosity,
        kinematic_viscosity=mix.cold.kinematic_viscosity,
        frost_margin=margin,
    )


def _by_volume(strength: strengths.Strength) -> Quantity | None:
    """None for a salt, which has no liquid pure form."""
    try:
        return strength.to(strengths.Basis.VOLUME_FINAL).value
    except CalcError:
        return None


def _concentrate(product: ProductPlan) -> strengths.Product:
    """The product with its least strength and its density, computed where the maker tells none."""
    base, fraction = Base(product.base), quantity(product.concentrate_mass_pct, "percent")
    if product.density_kg_m3 is not None:
        density = quantity(product.density_kg_m3, "kg/m^3")
    elif product.concentrate_mass_pct <= DENSITY_TABLE_ENDS_PCT or base.is_salt:
        density = fluids.mix_density(base=base, mass_fraction=fraction, temperature=mixing.ROOM)
    else:
        density = strengths.pure(base=base).density
    least = None if product.minimum_mass_pct is None else quantity(product.minimum_mass_pct, "percent")
    return strengths.Product(base, fraction, density, product.name, minimum=least)


def fill_of(volumes: Volumes, mix: Mix) -> Fill | None:
    if mix.strength.base is Base.WATER:
        return None
    recipe = mixing.first_fill(
        base=mix.strength.base,
        system_volume=volumes.system,
        target=mix.strength,
        concentrate=_concentrate(mix.product),
        bin_volume=quantity(mix.design.bin_l, "L"),
    )
    drum = quantity(mix.product.drum_l, "L")
    drums = recipe.drums(drum_volume=drum)
    return Fill(
        drums=drums.count,
        drum=drum,
        left_over=drums.left_over,
        mixed=recipe.mixed_volume,
        concentrate=recipe.concentrate_volume,
        water=recipe.water_volume,
        contraction=recipe.contraction,
        batches=tuple(Batch(b.volume, b.concentrate, b.water) for b in recipe.batches),
    )


@lru_cache(maxsize=32)
def strength_rows(base: str) -> tuple[tuple[float, float | None, float, float | None], ...]:
    """The lookup table of a fluid for the phone: mass %, volume %, freezing point °C, °Brix; every 0.5 mass %."""
    rows = fluids.strength_table(base=Base(base), step=quantity(0.5, "percent"))
    return tuple(
        (
            round(float(row.mass_fraction.m_as("percent")), 4),
            None if row.volume_fraction is None else round(float(row.volume_fraction.m_as("percent")), 4),
            round(float(row.freezing_point.m_as("degC")), 4),
            None if row.brix is None else round(row.brix, 4),
        )
        for row in rows
    )
