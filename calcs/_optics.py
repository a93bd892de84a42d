"""Refractive index and Brix on plain numbers: 20 degC, mass fractions 0 to 1."""

from __future__ import annotations

from functools import cache

from calcs._curves import CRC, Curve
from calcs.base import Base
from calcs.errors import NotKnown
from calcs.sources import Source, Status, table

ICUMSA = Source("ICUMSA 1974 sucrose scale", Status.READ)
OIV = Source("OIV-MA-AS2-02, Table I", Status.READ)
GLYCOL_INDEX = Source("MacBeth & Thompson 1951 (25 degC) brought to 20 degC", Status.COMPUTED)


@cache
def index_curve(base: Base) -> Curve:
    """Refractive index at 20 degC by mass fraction, cut off where it no longer rises."""
    if base is Base.PROPYLENE_GLYCOL:
        rows = [(float(r["mass_pct"]), float(r["nD20_computed"])) for r in table("propylene_glycol_refractive_index")]
        return _rising(base, rows, GLYCOL_INDEX)
    found = [r for r in table("crc_aqueous_solutions") if r["fluid"] == base.value and r["nD20"]]
    rows = [(0.0, index_from_brix(0.0)), *((float(r["mass_pct"]), float(r["nD20"])) for r in found)]
    if not found:
        raise NotKnown(
            what="refractive index of",
            value=base.label,
            known="the glycols, ethanol, methanol, glycerol and potassium carbonate",
        )
    return _rising(base, rows, CRC)


def _rising(base: Base, rows: list[tuple[float, float]], source: Source) -> Curve:
    kept = rows[:1]
    for row in rows[1:]:
        if row[1] <= kept[-1][1]:
            break
        kept.append(row)
    return Curve(f"mass fraction of {base.label}", [0.01 * w for w, _ in kept], [n for _, n in kept], source, "%")


def index_of(base: Base, w: float) -> float:
    """Refractive index at 20 degC."""
    return index_curve(base)(w)


@cache
def _fraction_curve(base: Base) -> Curve:
    return index_curve(base).flipped(f"refractive index of {base.label}")


def fraction_of(base: Base, n: float) -> float:
    """Mass fraction with the refractive index `n` at 20 degC."""
    return _fraction_curve(base)(n)


def slope(base: Base, w: float) -> float:
    """dn/dw of the table, at least over one row, per unit of mass fraction."""
    curve = index_curve(base)
    low, high = max(curve.xs[0], w - 0.02), min(curve.xs[-1], w + 0.02)
    return (curve(high) - curve(low)) / (high - low)


@cache
def _sugar() -> Curve:
    rows = table("icumsa_brix_1974")
    return Curve("Brix", [float(r["brix"]) for r in rows], [float(r["nD20"]) for r in rows], ICUMSA)


@cache
def _sugar_back() -> Curve:
    return _sugar().flipped("refractive index on the Brix scale")


def index_from_brix(brix: float) -> float:
    """Refractive index at 20 degC of a Brix reading."""
    return _sugar()(brix)


def brix_of(n: float) -> float:
    """Brix reading of a refractive index at 20 degC."""
    return _sugar_back()(n)


@cache
def _corrections() -> tuple[Curve, ...]:
    """One curve by temperature for each Brix column."""
    rows = table("brix_temperature_correction")
    temperatures = [float(r["T_C"]) for r in rows]
    columns = [name for name in rows[0] if name != "T_C"]
    return tuple(
        Curve("sample temperature", temperatures, [float(r[name]) for r in rows], OIV, "°C") for name in columns
    )


def brix_correction(brix: float, t: float) -> float:
    """What to add to an uncompensated Brix reading taken at `t`, degC."""
    columns = [float(name.removeprefix("brix_")) for name in table("brix_temperature_correction")[0] if name != "T_C"]
    by_brix = Curve("Brix to correct for temperature", columns, [c(t) for c in _corrections()], OIV)
    return by_brix(brix)


def propylene_glycol_slope(w: float) -> float:
    """dn/dT of a propylene glycol mix, per K: from the shipped 25 and 20 degC columns."""
    rows = table("propylene_glycol_refractive_index")
    slopes = [(float(r["nD25"]) - float(r["nD20_computed"])) / 5.0 for r in rows]
    return Curve("mass fraction", [0.01 * float(r["mass_pct"]) for r in rows], slopes, GLYCOL_INDEX)(w)
