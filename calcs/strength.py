"""How strong a mix is, always with its basis: a bare percentage is never a strength."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from calcs import _curves
from calcs.base import Base
from calcs.errors import OutOfRange, Unsuitable
from calcs.fluid import FreezingPoint, freezing_point
from calcs.sources import Source, Status
from calcs.units import Quantity, quantity, si

__all__ = ["Base", "Basis", "Product", "Strength", "by_mass", "convert", "product_strength", "pure"]


DATA_SHEET: Final = Source("data sheet of the product", Status.READ)


class Basis(StrEnum):
    """What a percentage is a percentage of. Volumes are at 20 degC."""

    MASS = "mass"
    VOLUME_FINAL = "volume of the finished mix"
    VOLUME_PARTS = "volume parts before mixing"
    VOLUME_ASHRAE = "ASHRAE volume"
    PRODUCT_VOLUME = "volume of product before mixing"

    @property
    def label(self) -> str:
        """What stands behind the percent sign."""
        return f"by {self.value}"


@dataclass(frozen=True)
class Product:
    """A concentrate as delivered: pure antifreeze in it by mass, and its density at 20 degC.

    `minimum` is the weakest mix that its supplier allows (by mass): below it the inhibitor is too thin. None: not told.
    """

    base: Base
    mass_fraction: Quantity
    density: Quantity
    name: str = ""
    source: Source = DATA_SHEET
    minimum: Quantity | None = None

    def __post_init__(self) -> None:
        w = si(self.mass_fraction, "", "mass_fraction")
        if not 0 < w <= 1:
            raise OutOfRange(what="strength of the product", value=f"{w:g}", low="0", high="1", source="mass fraction")
        least = 0.0 if self.minimum is None else si(self.minimum, "", "minimum")
        if not 0 <= least <= w:
            told, high = f"{100 * least:g} %", f"{100 * w:g} %"
            raise OutOfRange(what="least strength of a mix", value=told, low="0 %", high=high, source=DATA_SHEET.text)
        rho = si(self.density, "kg/m^3", "density")
        if not 500 <= rho <= 2500:
            raise OutOfRange(
                what="density of the product",
                value=f"{rho:g} kg/m³",
                low="500",
                high="2500",
                source="liquids of the trade",
            )


@dataclass(frozen=True)
class Strength:
    """A value with its basis and its antifreeze. Basis `PRODUCT_VOLUME` needs the product."""

    value: Quantity
    basis: Basis
    base: Base
    product: Product | None = None

    def __post_init__(self) -> None:
        value = si(self.value, "", "strength")
        top = 0 if self.base is Base.WATER else 1
        if not 0 <= value <= top:
            what = f"strength of {self.base.label}"
            raise OutOfRange(
                what=what, value=f"{100 * value:g} %", low="0 %", high=f"{100 * top} %", source="definition"
            )
        if self.basis is Basis.PRODUCT_VOLUME:
            _product_of(self.product, self.base)

    @property
    def mass_fraction(self) -> Quantity:
        """Pure antifreeze by mass, in percent."""
        return quantity(100 * _to_mass(self), "percent")

    @property
    def freezing_point(self) -> FreezingPoint:
        """The freezing point of the mix; see `fluid.freezing_point`."""
        return freezing_point(base=self.base, mass_fraction=self.mass_fraction)

    @property
    def label(self) -> str:
        """The value with basis and antifreeze, as shown to people."""
        return f"{100 * si(self.value, '', 'strength'):.1f} % {self.basis.label}, {self.base.label}"

    def to(self, basis: Basis, product: Product | None = None) -> Strength:
        """The same strength on another basis; see `convert`."""
        return convert(strength=self, basis=basis, product=product)


def by_mass(*, base: Base, value: Quantity) -> Strength:
    """A strength by mass.

    w = mass of pure antifreeze / mass of the mix. Units: dimensionless or percent. Range: 0 to 100 %, else
    `OutOfRange`. Source: definition.

    >>> by_mass(base=Base.ETHANOL, value=quantity(24.6, "percent")).label
    '24.6 % by mass, ethanol'
    """
    return Strength(value, Basis.MASS, base)


def pure(*, base: Base) -> Product:
    """The undiluted antifreeze as a product.

    w = 100 %, density at 20 degC from the table. Units: kg/m3. Range: glycols, alcohols, glycerol; a salt is `NotKnown`
    since it is sold in solution. Source: CRC Handbook 102nd ed.; glycols handbook values from memory.

    >>> print(f"{pure(base=Base.ETHANOL).density:.1f~P}")
    789.3 kg/m³
    """
    rho = _curves.pure_density(base)
    status = Status.MEMORY if base.is_glycol else Status.READ
    source = Source("density of the pure liquid at 20 °C", status)
    return Product(base, quantity(100, "percent"), quantity(rho, "kg/m^3"), f"pure {base.label}", source)


def convert(*, strength: Strength, basis: Basis, product: Product | None = None) -> Strength:
    """The same mix on another basis.

    With w by mass: final volume w rho(w) / rho_pure; parts (w/rho_pure) / (w/rho_pure + (1-w)/rho_water); ASHRAE volume
    by the table; product volume (m_p/rho_p) / (m_p/rho_p + m_w/rho_water) with m_p = w/w_p, m_w = 1 - m_p. All at 20 degC.
    Units: percent out. Range: salts have no volume of pure antifreeze (`NotKnown`); ASHRAE is for glycols to 60 mass %;
    final volume reaches as far as the density table; a product cannot give more than its own strength.
    Source: definitions; densities CRC Handbook 102nd ed. and Melinder 2010; ASHRAE Fundamentals 2001.

    >>> mix = by_mass(base=Base.ETHYLENE_GLYCOL, value=quantity(30, "percent"))
    >>> print(f"{mix.to(Basis.VOLUME_FINAL).value:.2f~P} {mix.to(Basis.VOLUME_PARTS).value:.2f~P}")
    27.96 % 27.76 %
    """
    w = _to_mass(strength)
    kept = product or strength.product
    value = _from_mass(strength.base, w, basis, kept)
    return Strength(quantity(100 * value, "percent"), basis, strength.base, kept)


def product_strength(*, product: Product, value: Quantity) -> Strength:
    """A strength as parts of product in product plus water, both measured before mixing.

    w = theta rho_p w_p / (theta rho_p + (1 - theta) rho_water). Units: dimensionless or percent. Range: 0 to 100 %.
    Source: mass balance.

    >>> mixture = Product(Base.ETHYLENE_GLYCOL, quantity(95, "percent"), quantity(1125, "kg/m^3"))
    >>> print(f"{product_strength(product=mixture, value=quantity(30, 'percent')).mass_fraction:.2f~P}")
    30.94 %
    """
    return Strength(value, Basis.PRODUCT_VOLUME, product.base, product)


def _product_of(product: Product | None, base: Base) -> Product:
    if product is None:
        raise Unsuitable(
            what="A percentage of product", reason="it is not said which product.", instead="Give the product as well."
        )
    if product.base is not base:
        raise Unsuitable(
            what=f"A product of {product.base.label}",
            reason=f"the mix is {base.label}.",
            instead="Never mix two antifreezes.",
        )
    return product


def _to_mass(strength: Strength) -> float:
    base, value = strength.base, si(strength.value, "", "strength")
    if strength.basis is Basis.MASS or value == 0.0:
        return value
    if strength.basis is Basis.VOLUME_FINAL:
        return _mass_from_final(base, value)
    if strength.basis is Basis.VOLUME_ASHRAE:
        return _curves.ashrae_volume(base).flipped("ASHRAE volume fraction", "%")(value)
    if strength.basis is Basis.VOLUME_PARTS:
        return _mass_from_parts(value, _curves.pure_density(base), 1.0)
    product = _product_of(strength.product, base)
    return _mass_from_parts(value, *_facts(product))


def _from_mass(base: Base, w: float, basis: Basis, product: Product | None) -> float:
    if basis is Basis.MASS or w == 0.0:
        return w
    if basis is Basis.VOLUME_FINAL:
        return _curves.final_volume(base, w)
    if basis is Basis.VOLUME_ASHRAE:
        return _curves.ashrae_volume(base)(w)
    if basis is Basis.VOLUME_PARTS:
        return _parts(w, _curves.pure_density(base), 1.0)
    rho, strongest = _facts(_product_of(product, base))
    if w > strongest:
        raise OutOfRange(
            what=f"strength of {base.label} by mass",
            value=f"{100 * w:.1f} %",
            low="0 %",
            high=f"{100 * strongest:.1f} %",
            source="strength of the product",
        )
    return _parts(w, rho, strongest)


def _facts(product: Product) -> tuple[float, float]:
    return si(product.density, "kg/m^3", "density"), si(product.mass_fraction, "", "mass_fraction")


def _parts(w: float, rho: float, strongest: float) -> float:
    concentrate = w / strongest / rho
    water = (1.0 - w / strongest) / _curves.pure_density(Base.WATER)
    return concentrate / (concentrate + water)


def _mass_from_parts(value: float, rho: float, strongest: float) -> float:
    concentrate = value * rho
    return strongest * concentrate / (concentrate + (1.0 - value) * _curves.pure_density(Base.WATER))


def _mass_from_final(base: Base, value: float) -> float:
    curve = _curves.crc_density(base)
    top = curve.xs[-1] if curve is not None else _curves.mass_fit(base).x_max
    highest = _curves.final_volume(base, top)
    source = _curves.CRC if curve is not None else _curves.MELINDER
    _curves.check(f"volume fraction of {base.label}", value, 0.0, highest, source, "%")
    return _curves.bisect(lambda w: _curves.final_volume(base, w) - value, 0.0, top)
