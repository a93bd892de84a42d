"""How strong to mix: cold enough, never below what the supplier allows, and not far stronger than needed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from calcs import supplier
from calcs.base import Base
from calcs.errors import Unsuitable
from calcs.fluid import FreezingPoint, mass_fraction_for
from calcs.sources import Limit, Source, limits
from calcs.strength import Basis, Product, Strength, by_mass
from calcs.supplier import SupplierTable
from calcs.units import Quantity, quantity, si
from calcs.verdict import Cause, Figure, Outcome, Verdict

# So small that it comes from turning a curve round, not from the strength.
ROUNDING: Final = 1e-9


@dataclass(frozen=True)
class Target:
    """The strength to mix. `raised` when the freezing point alone would have allowed a weaker one.

    `surplus` is how many kelvin it freezes below what is required; `minimum` is the least strength that was kept to.
    `warnings` are sentences for the person who mixes.
    """

    strength: Strength
    freezing_point: FreezingPoint
    required: Quantity
    minimum: Strength | None
    raised: bool
    surplus: Quantity
    source: Source
    warnings: tuple[str, ...] = ()


def strength_to_mix(
    *, base: Base, required: Quantity, product: Product | None = None, table: SupplierTable | None = None
) -> Target:
    """The weakest mix that freezes no warmer than required and is not below the least strength.

    w = max(w of the freezing point, least strength). The freezing point is that of the supplier's `table` where there is
    one, else of `fluid.freezing_point`. The least strength is the product's; for a glycol without one 25 volume %, since
    weaker inhibitor fails and weak glycol fouls. Units: degC in, percent by mass out, surplus in kelvin.
    Range: 0 degC down to the coldest point of the curve, else `OutOfRange`; an antifreeze, else `Unsuitable`.
    Source: as the curve; least strength from the product's data sheet or suppliers' and trade articles (read).

    >>> mild = strength_to_mix(base=Base.ETHYLENE_GLYCOL, required=quantity(-8, "degC"))
    >>> print(f"{mild.strength.label}, {mild.freezing_point.value:.1f~P}, raised: {mild.raised}")
    26.9 % by mass, ethylene glycol, -12.0 °C, raised: True
    """
    if base is Base.WATER:
        raise Unsuitable(what="Water", reason="it holds no antifreeze.", instead="Say which antifreeze is mixed in.")
    ask = si(required, "degC", "required")
    asked = _strength_at(base, required, table)
    least, source = _least(base, product or (table.product if table else None))
    strength = max([asked] if least is None else [asked, least.to(Basis.MASS)], key=_mass)
    raised = _mass(strength) > _mass(asked) + ROUNDING
    found = _freezing(strength, table)
    surplus = max(0.0, ask - si(found.value, "degC", "freezing point"))
    return Target(
        strength,
        found,
        required,
        least,
        raised,
        quantity(surplus, "K"),
        source if raised else found.source,
        _warnings(strength, least, raised, surplus),
    )


def judge(
    *, strength: Strength, required: Quantity, product: Product | None = None, table: SupplierTable | None = None
) -> Verdict:
    """Whether a chosen strength is one to mix for: a plan, so without the doubt of an instrument.

    Fail when it freezes above what is required or is below the least strength; warn when it freezes more than 6 K colder
    than required; else pass. Units: degC. Range: as `strength_to_mix`. Source: house default (6 K); least strength as there.

    >>> mix = by_mass(base=Base.PROPYLENE_GLYCOL, value=quantity(45, "percent"))
    >>> found = judge(strength=mix, required=quantity(-15, "degC"))
    >>> print(found.outcome.value, "-", found.reason)
    warn - It freezes at -25.8 °C, 10.8 K colder than required: that costs pumping power.
    """
    ask, frost = si(required, "degC", "required"), _freezing(strength, table)
    got = si(frost.value, "degC", "freezing point")
    least, source = _least(strength.base, product or (table.product if table else None))
    figures = (Figure("freezing point", got, "degC", limit=ask), Figure("strength", 100 * _mass(strength), "mass %"))
    way_out = f"Mix for {strength_to_mix(base=strength.base, required=required, product=product, table=table).strength.label}."
    if got > ask + ROUNDING:
        reason = f"It freezes at {got:.1f} °C; {ask:.1f} °C is required."
        return Verdict(Outcome.FAIL, reason, Cause.STRENGTH, figures=figures, source=frost.source, way_out=way_out)
    if least is not None and _mass(strength) < _mass(least) * (1.0 - ROUNDING):
        reason = f"It is below the least strength, {least.label}."
        return Verdict(Outcome.FAIL, reason, Cause.STRENGTH, figures=figures, source=source, way_out=way_out)
    surplus = limits("fluid_limits", "frost")["surplus"]
    if ask - got > surplus.value:
        return Verdict(
            Outcome.WARN, _too_strong(got, ask), Cause.STRENGTH, figures=figures, source=surplus.source, way_out=way_out
        )
    return Verdict(
        Outcome.PASS, f"It freezes at {got:.1f} °C; {ask:.1f} °C is required.", figures=figures, source=frost.source
    )


def _strength_at(base: Base, required: Quantity, table: SupplierTable | None) -> Strength:
    if table is None:
        return by_mass(base=base, value=mass_fraction_for(base=base, freezing_point=required))
    if table.base is not base:
        raise Unsuitable(what="This supplier table", reason=f"it is for {table.base.label}.", instead="Use its own.")
    # Milder than the first row of the sheet, its first row is the weakest mix that the supplier knows.
    warmest = table.frost.ys[0]
    at = quantity(min(si(required, "degC", "required"), warmest), "degC")
    return supplier.strength_for(table=table, freezing_point=at).to(Basis.MASS)


def _freezing(strength: Strength, table: SupplierTable | None) -> FreezingPoint:
    return strength.freezing_point if table is None else supplier.freezing_point(table=table, strength=strength)


def _least(base: Base, product: Product | None) -> tuple[Strength | None, Source]:
    """The weakest mix allowed, and who says so."""
    if product is not None and product.base is not base:
        raise Unsuitable(
            what=f"A product of {product.base.label}",
            reason=f"the mix is {base.label}.",
            instead="Name its own product.",
        )
    usual = _rules()["least_glycol"]
    if product is not None and product.minimum is not None:
        return by_mass(base=base, value=product.minimum), product.source
    if base.is_glycol:
        return Strength(quantity(usual.value, "percent"), Basis.VOLUME_FINAL, base), usual.source
    return None, usual.source


def _warnings(strength: Strength, least: Strength | None, raised: bool, surplus: float) -> tuple[str, ...]:  # noqa: FBT001
    told = []
    if raised and least is not None:
        told.append(
            f"Raised to the least strength, {least.label}: a weaker mix would be cold enough but badly protected."
        )
    if surplus > limits("fluid_limits", "frost")["surplus"].value:
        told.append(f"It freezes {surplus:.1f} K colder than required, which costs pumping power.")
    biocide = _rules()["biocide_below"]
    if strength.base is Base.ETHANOL and 100 * _mass(strength) < biocide.value:
        told.append(
            f"Below {biocide.value:g} % by mass ethanol may need a biocide ({biocide.source.label}). Ask its supplier."
        )
    return tuple(told)


def _too_strong(got: float, ask: float) -> str:
    return f"It freezes at {got:.1f} °C, {ask - got:.1f} K colder than required: that costs pumping power."


def _rules() -> dict[str, Limit]:
    return limits("fluid_limits", "target")


def _mass(strength: Strength) -> float:
    return si(strength.mass_fraction, "", "strength")
