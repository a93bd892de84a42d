"""A product's own table of strength, freezing point, frost protection and Brix: it beats the general curves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, NamedTuple

from calcs._curves import Curve, freezing_curves
from calcs.base import Base
from calcs.errors import CalcError, NotKnown, Unsuitable
from calcs.fluid import CurvePoint, FreezingPoint
from calcs.sources import Source
from calcs.strength import DATA_SHEET, Basis, Product, Strength
from calcs.units import Quantity, quantity, si

WHAT: Final = "This supplier table"


class SupplierRow(NamedTuple):
    """One line of a data sheet; the strength is on the basis of the table, Brix and protection where the sheet tells them.

    `protection` is the middle between the first ice crystals and the point where the slush no longer pours: what many
    hand instruments show in degrees. It is colder than the freezing point.
    """

    strength: Quantity
    freezing_point: Quantity
    brix: float | None = None
    protection: Quantity | None = None


@dataclass(frozen=True)
class SupplierTable:
    """The table of one product. Make it with `supplier_table`, which checks it."""

    base: Base
    basis: Basis
    rows: tuple[SupplierRow, ...]
    product: Product | None
    source: Source

    @property
    def frost(self) -> Curve:
        """Freezing point, degC, by strength."""
        xs = [si(row.strength, "", "strength") for row in self.rows]
        ys = [si(row.freezing_point, "degC", "freezing point") for row in self.rows]
        return Curve(f"strength of {self.base.label} {self.basis.label}", xs, ys, self.source, "%")

    @property
    def sugar(self) -> Curve:
        """Brix by strength."""
        found = [(si(row.strength, "", "strength"), row.brix) for row in self.rows if row.brix is not None]
        if len(found) < 2:
            raise NotKnown(what="Brix of", value=self.base.label, known="strength and freezing point of this product")
        return Curve("strength of the product", [x for x, _ in found], [b for _, b in found], self.source)

    @property
    def shield(self) -> Curve:
        """Frost protection, degC, by strength."""
        found = [(si(row.strength, "", "strength"), row.protection) for row in self.rows if row.protection is not None]
        if len(found) < 2:
            raise NotKnown(
                what="Frost protection of", value=self.base.label, known="the freezing point of this product"
            )
        degrees = [si(protection, "degC", "frost protection") for _, protection in found]
        return Curve("strength of the product", [x for x, _ in found], degrees, self.source)


def supplier_table(
    *,
    base: Base,
    basis: Basis,
    rows: Sequence[SupplierRow],
    product: Product | None = None,
    source: Source = DATA_SHEET,
) -> SupplierTable:
    """A checked table of one product.

    Strength must rise from row to row, freezing point and protection fall and Brix rise; at least two rows.
    Units: fractions, degC. Range: freezing points to 0 degC, protection never warmer than the freezing point of its row;
    else `Unsuitable`. Source: the data sheet it was typed from.

    >>> sheet = [(0.25, -10.7), (0.30, -13.7), (0.40, -22.3)]
    >>> table = supplier_table(base=Base.ETHYLENE_GLYCOL, basis=Basis.VOLUME_PARTS,
    ...     rows=[SupplierRow(quantity(x, ""), quantity(t, "degC")) for x, t in sheet])
    >>> len(table.rows)
    3
    """
    made = SupplierTable(base, basis, tuple(rows), product, source)
    if len(made.rows) < 2:
        raise Unsuitable(what=WHAT, reason="it has fewer than two rows.", instead="Type in at least two.")
    for row in made.rows:
        Strength(row.strength, basis, base, product)
    if made.frost.ys[0] > 0:
        raise Unsuitable(what=WHAT, reason="a freezing point is above 0 °C.", instead="Check the signs.")
    if any(_warmer(row) for row in made.rows):
        reason = "frost protection is warmer than the freezing point of its row."
        raise Unsuitable(what=WHAT, reason=reason, instead="Check the columns.")
    brix = [row.brix for row in made.rows if row.brix is not None]
    colder = [-si(row.protection, "degC", "frost protection") for row in made.rows if row.protection is not None]
    if not (_rises(made.frost.xs) and _rises([-t for t in made.frost.ys]) and _rises(brix) and _rises(colder)):
        reason = "strength and Brix must rise, freezing point and frost protection fall from row to row."
        raise Unsuitable(what=WHAT, reason=reason, instead="Check the rows.")
    return made


def freezing_point(*, table: SupplierTable, strength: Strength) -> FreezingPoint:
    """The freezing point of a mix by its supplier's table, with the general curves beside it.

    Straight lines between rows. Units: degC. Range: the rows of the table, else `OutOfRange`; the same antifreeze, else
    `Unsuitable`. Source: the table's.

    >>> table = supplier_table(base=Base.ETHYLENE_GLYCOL, basis=Basis.MASS,
    ...     rows=[SupplierRow(quantity(x, ""), quantity(t, "degC")) for x, t in ((0.25, -10.0), (0.35, -17.0))])
    >>> found = freezing_point(table=table, strength=Strength(quantity(30, "percent"), Basis.MASS, Base.ETHYLENE_GLYCOL))
    >>> print(f"{found.value:.1f~P} by the supplier, {found.low:.1f~P} the coldest")
    -13.5 °C by the supplier, -14.6 °C the coldest
    """
    if strength.base is not table.base:
        raise Unsuitable(what=WHAT, reason=f"it is for {table.base.label}.", instead="Use the product's own table.")
    shown = strength.to(table.basis, table.product)
    value = table.frost(si(shown.value, "", "strength"))
    known = _general(strength)
    curves = (CurvePoint(quantity(value, "degC"), table.source), *known)
    low = min(si(point.value, "degC", "freezing point") for point in curves)
    return FreezingPoint(quantity(value, "degC"), quantity(low, "degC"), table.source, curves)


def strength_for(*, table: SupplierTable, freezing_point: Quantity) -> Strength:
    """The strength that freezes at the given temperature by the supplier's table; inverse of `freezing_point`.

    Straight lines between rows. Units: degC in; the basis of the table out. Range: the rows, else `OutOfRange`.
    Source: the table's.

    >>> table = supplier_table(base=Base.ETHYLENE_GLYCOL, basis=Basis.MASS,
    ...     rows=[SupplierRow(quantity(x, ""), quantity(t, "degC")) for x, t in ((0.25, -10.0), (0.35, -17.0))])
    >>> strength_for(table=table, freezing_point=quantity(-13.5, "degC")).label
    '30.0 % by mass, ethylene glycol'
    """
    back = table.frost.flipped("freezing point of the product", "°C")
    return _strength(table, back(si(freezing_point, "degC", "freezing point")))


def strength_from_brix(*, table: SupplierTable, brix: float) -> Strength:
    """The strength behind a Brix reading by the supplier's table, which knows the product's inhibitors.

    Straight lines between rows. Units: Brix at 20 degC in; the basis of the table out. Range: the rows that tell Brix,
    else `OutOfRange`; a table without Brix is `NotKnown`. Source: the table's.

    >>> rows = [SupplierRow(quantity(x, ""), quantity(t, "degC"), b) for x, t, b in ((0.25, -10.0, 17.0), (0.35, -17.0, 23.0))]
    >>> table = supplier_table(base=Base.ETHYLENE_GLYCOL, basis=Basis.MASS, rows=rows)
    >>> strength_from_brix(table=table, brix=20.0).label
    '30.0 % by mass, ethylene glycol'
    """
    return _strength(table, table.sugar.flipped("Brix of the product")(brix))


def strength_from_protection(*, table: SupplierTable, protection: Quantity) -> Strength:
    """The strength behind a degree scale of frost protection, by the supplier's table: no general curve tells it.

    Straight lines between rows; the freezing point of that strength is `freezing_point`. Units: degC in; the basis of the
    table out. Range: the rows that tell protection, else `OutOfRange`; a table without it is `NotKnown`. Source: the table's.

    >>> sheet = [(0.25, -10.0, -12.0), (0.35, -17.0, -21.0)]
    >>> table = supplier_table(base=Base.ETHYLENE_GLYCOL, basis=Basis.MASS,
    ...     rows=[SupplierRow(quantity(x, ""), quantity(t, "degC"), None, quantity(p, "degC")) for x, t, p in sheet])
    >>> mix = strength_from_protection(table=table, protection=quantity(-16.5, "degC"))
    >>> print(f"{mix.label}: {freezing_point(table=table, strength=mix).value:.1f~P}")
    30.0 % by mass, ethylene glycol: -13.5 °C
    """
    back = table.shield.flipped("frost protection of the product", "°C")
    return _strength(table, back(si(protection, "degC", "frost protection")))


def _warmer(row: SupplierRow) -> bool:
    if row.protection is None:
        return False
    return si(row.protection, "degC", "frost protection") > si(row.freezing_point, "degC", "freezing point")


def _general(strength: Strength) -> list[CurvePoint]:
    try:
        w = si(strength.mass_fraction, "", "strength")
    except CalcError:
        return []
    return [CurvePoint(quantity(t, "degC"), source) for source, t in freezing_curves(strength.base, w)]


def _strength(table: SupplierTable, value: float) -> Strength:
    return Strength(quantity(100 * value, "percent"), table.basis, table.base, table.product)


def _rises(values: Sequence[float]) -> bool:
    return all(a < b for a, b in pairwise(values))
