"""The float core of the fluid side: tables and polynomials on plain numbers.

Mass fractions are 0 to 1, temperatures are degC, all else SI. Nothing here is shown to people.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Final, NamedTuple

from calcs.base import Base
from calcs.errors import Frozen, NotKnown, OutOfRange
from calcs.sources import Source, Status, document, table

KELVIN: Final = 273.15
FIT_FROM: Final = 0.01

MELINDER: Final = Source("Melinder 2010 (IIR), polynomial", Status.READ)
ASHRAE: Final = Source("ASHRAE Handbook Fundamentals 2001, inhibited glycols", Status.READ)
CRC: Final = Source("CRC Handbook of Chemistry and Physics, 102nd ed., aqueous solutions", Status.READ)
LANGE: Final = Source("Lange's Handbook of Chemistry, 15th ed., Table 5.13", Status.READ)
IAPWS: Final = Source("IAPWS-95 at 3 bar", Status.COMPUTED)

Coefficients = tuple[tuple[float, ...], ...]


class State(NamedTuple):
    """Density kg/m3, heat capacity J/(kg K), conductivity W/(m K), viscosity Pa s, freezing point degC."""

    rho: float
    cp: float
    k: float
    mu: float
    t_freeze: float


@dataclass(frozen=True)
class Fit:
    """One fluid's polynomials: value = sum c[i][j] (T - t_base)^i (x - x_base)^j, T in K."""

    t_base: float
    x_base: float
    x_min: float
    x_max: float
    t_max: float
    freezing_is_exp: bool
    coeffs: dict[str, Coefficients]

    def value(self, name: str, t: float, x: float) -> float:
        """The bare sum at temperature `t` (degC) and fraction `x`."""
        dt, dx = t + KELVIN - self.t_base, x - self.x_base
        total = 0.0
        for row in reversed(self.coeffs[name]):
            inner = 0.0
            for c in reversed(row):
                inner = inner * dx + c
            total = total * dt + inner
        return total

    def freezing(self, x: float) -> float:
        """Freezing point of the fit, degC."""
        bare = self.value("T_freeze", 0.0, x)
        return (math.exp(bare) if self.freezing_is_exp else bare) - KELVIN

    def state(self, t: float, x: float) -> State:
        """The four properties and the fit's own freezing point, with no check of range."""
        return State(
            self.value("density", t, x),
            self.value("specific_heat", t, x),
            self.value("conductivity", t, x),
            math.exp(self.value("viscosity", t, x)),
            self.freezing(x) if "T_freeze" in self.coeffs else 0.0,
        )


def _fit(raw: dict[str, Any]) -> Fit:
    coeffs = {name: tuple(tuple(row) for row in rows) for name, rows in raw["coeffs"].items()}
    return Fit(
        raw["T_base_K"],
        raw.get("x_base", 0.0),
        raw.get("x_min", 0.0),
        raw.get("x_max", 0.0),
        raw["T_max_C"],
        raw["form"].get("T_freeze") == "exppolynomial",
        coeffs,
    )


@cache
def water_fit() -> Fit:
    """Water from 0 to 100 degC."""
    return _fit(document("water_polynomials"))


@cache
def mass_fit(base: Base) -> Fit:
    """The polynomials on the mass basis of one antifreeze."""
    return _fit(document("melinder_polynomials")["fluids"][base.value])


@cache
def ashrae_fit(base: Base) -> Fit:
    """The polynomials on the ASHRAE volume basis; glycols only."""
    fluids = document("ashrae_volume_polynomials")["fluids"]
    if base.value not in fluids:
        raise NotKnown(what="ASHRAE volume table of", value=base.label, known="ethylene and propylene glycol")
    return _fit(fluids[base.value])


class Curve:
    """A table read by straight lines between its rows; outside the rows is an error."""

    def __init__(self, what: str, xs: Sequence[float], ys: Sequence[float], source: Source, unit: str = "") -> None:
        self.what, self.source, self.unit = what, source, unit
        self.xs, self.ys = tuple(xs), tuple(ys)

    def __call__(self, x: float) -> float:
        """y at x."""
        check(self.what, x, self.xs[0], self.xs[-1], self.source, self.unit)
        i = min(bisect_right(self.xs, x), len(self.xs) - 1)
        x0, x1, y0, y1 = self.xs[i - 1], self.xs[i], self.ys[i - 1], self.ys[i]
        return y0 + (y1 - y0) * (x - x0) / (x1 - x0)

    def covers(self, x: float) -> bool:
        """Whether x lies within the rows."""
        return self.xs[0] <= x <= self.xs[-1]

    def flipped(self, what: str, unit: str = "") -> Curve:
        """x as a function of y; the ys must rise or fall all the way."""
        pairs = sorted(zip(self.ys, self.xs, strict=True))
        return Curve(what, [y for y, _ in pairs], [x for _, x in pairs], self.source, unit)


def check(what: str, value: float, low: float, high: float, source: Source, unit: str = "") -> None:
    """Raise OutOfRange unless low <= value <= high (nan is outside). With unit % a fraction is told in percent."""
    if not low <= value <= high:
        scale, tail = (100.0 if unit == "%" else 1.0), f" {unit}" if unit else ""
        told = [f"{scale * number:.4g}{tail}" for number in (value, low, high)]
        raise OutOfRange(what=what, value=told[0], low=told[1], high=told[2], source=source.label)


def frozen(what: str, t: float, t_freeze: float) -> Frozen:
    """The error for a fluid at or below its freezing point, degC."""
    return Frozen(what=what, value=f"{t:.2f} °C", freezing_point=f"{t_freeze:.2f} °C")


def bisect(f: Callable[[float], float], low: float, high: float) -> float:
    """The root of a rising or falling f between low and high, to the last digits of a float."""
    rising = f(high) > f(low)
    for _ in range(60):
        middle = 0.5 * (low + high)
        if (f(middle) < 0.0) is rising:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _rows(name: str, base: Base, x: str, y: str, key: str = "fluid") -> list[tuple[float, float]]:
    rows = [r for r in table(name) if r[key] == base.value and r[x] and r[y]]
    return [(float(r[x]), float(r[y])) for r in rows]


def _by_mass(base: Base, rows: list[tuple[float, float]], source: Source) -> Curve:
    """A curve over mass fraction from rows in mass %."""
    return Curve(f"mass fraction of {base.label}", [0.01 * w for w, _ in rows], [y for _, y in rows], source, "%")


@cache
def crc_freezing(base: Base) -> Curve | None:
    """CRC freezing points, degC by mass fraction."""
    rows = _rows("crc_aqueous_solutions", base, "mass_pct", "T_freeze_C")
    return _by_mass(base, [(0.0, 0.0), *rows], CRC) if rows else None


@cache
def ashrae_freezing(base: Base) -> Curve | None:
    """ASHRAE freezing points, degC by mass fraction."""
    rows = _rows("ashrae_freezing", base, "mass_pct", "T_freeze_C")
    return _by_mass(base, rows, ASHRAE) if rows else None


@cache
def lange_freezing(base: Base) -> Curve | None:
    """Lange's freezing points, degC by mass fraction; rows by volume only are left out."""
    rows = _rows("lange_freezing", base, "mass_pct", "T_freeze_C")
    return _by_mass(base, rows, LANGE) if rows else None


@cache
def ashrae_volume(base: Base) -> Curve:
    """ASHRAE volume fraction by mass fraction: a column of its own, never derived."""
    rows = _rows("ashrae_freezing", base, "mass_pct", "ashrae_vol_pct")
    if not rows:
        raise NotKnown(what="ASHRAE volume table of", value=base.label, known="ethylene and propylene glycol")
    return _by_mass(base, [(m, 0.01 * v) for m, v in rows], ASHRAE)


def polynomial_freezing(base: Base, w: float) -> float:
    """Freezing point of the mass polynomial, degC; a straight line to 0 degC below 1 mass %."""
    fit = mass_fit(base)
    check(f"mass fraction of {base.label}", w, 0.0, fit.x_max, MELINDER, "%")
    return fit.freezing(w) if w >= FIT_FROM else fit.freezing(FIT_FROM) * w / FIT_FROM


def freezing_curves(base: Base, w: float) -> list[tuple[Source, float]]:
    """Every known freezing point of this mix, degC, with its source; those outside their rows are left out."""
    if base is Base.WATER:
        return [(IAPWS, 0.0)]
    found = []
    if 0.0 <= w <= mass_fit(base).x_max:
        found.append((MELINDER, polynomial_freezing(base, w)))
    tables = (ashrae_freezing(base), crc_freezing(base), lange_freezing(base))
    return [*found, *((c.source, c(w)) for c in tables if c is not None and c.covers(w))]


def _glycol_freezing(base: Base, w: float) -> tuple[float, Source]:
    ashrae = ashrae_freezing(base)
    if ashrae is None:
        raise NotKnown(what="ASHRAE freezing table of", value=base.label, known="ethylene and propylene glycol")
    return max((polynomial_freezing(base, w), MELINDER), (ashrae(w), ASHRAE), key=lambda pair: pair[0])


def used_freezing(base: Base, w: float) -> tuple[float, Source]:
    """The freezing point to work with, degC, and the curve it is from.

    Glycols: the warmer of polynomial and ASHRAE. Alcohols: the CRC table. Others: the polynomial.
    """
    if base is Base.WATER:
        check("mass fraction of antifreeze in water", w, 0.0, 0.0, IAPWS, "%")
        return 0.0, IAPWS
    if base.is_glycol:
        return _glycol_freezing(base, w)
    crc = crc_freezing(base)
    if base.is_alcohol and crc is not None:
        return crc(w), CRC
    return polynomial_freezing(base, w), MELINDER


def highest_fraction(base: Base) -> float:
    """The largest mass fraction for which the used freezing point is known."""
    crc = crc_freezing(base)
    if base.is_alcohol and crc is not None:
        return crc.xs[-1]
    return 0.0 if base is Base.WATER else mass_fit(base).x_max


def mass_fraction_at(base: Base, t_freeze: float) -> float:
    """Inverse of `used_freezing`."""
    high = highest_fraction(base)
    coldest, source = used_freezing(base, high)
    check(f"freezing point of {base.label}", t_freeze, coldest, 0.0, source, "°C")
    if t_freeze == 0.0:
        return 0.0
    return bisect(lambda w: used_freezing(base, w)[0] - t_freeze, 0.0, high)


def bare_state(base: Base, w: float, t: float) -> State:
    """The properties with the range of strength checked but not whether the fluid is frozen.

    Below 1 mass % a straight line between water and the polynomial at 1 mass %, since the polynomials miss water.
    """
    if base is Base.WATER:
        return water_fit().state(t, 0.0)
    fit = mass_fit(base)
    check(f"mass fraction of {base.label}", w, 0.0, fit.x_max, MELINDER, "%")
    if w >= FIT_FROM:
        return fit.state(t, w)
    share = w / FIT_FROM
    pairs = zip(water_fit().state(t, 0.0), fit.state(t, FIT_FROM), strict=True)
    return State(*(a + (b - a) * share for a, b in pairs))


def state(base: Base, w: float, t: float) -> State:
    """Properties at mass fraction `w` and temperature `t`; the freezing point is the used one."""
    t_freeze, _ = used_freezing(base, w)
    if t <= t_freeze:
        raise frozen(base.label if base is Base.WATER else f"{base.label} {100 * w:.3g} mass %", t, t_freeze)
    high = (water_fit() if base is Base.WATER else mass_fit(base)).t_max
    check("fluid temperature", t, t_freeze, high, IAPWS if base is Base.WATER else MELINDER, "°C")
    return bare_state(base, w, t)._replace(t_freeze=t_freeze)


@cache
def pure_density(base: Base) -> float:
    """Density of the undiluted liquid at 20 degC, kg/m3; salts have none."""
    for row in table("pure_densities_20C"):
        if row["fluid"] == base.value:
            return float(row["density_kg_m3"])
    raise NotKnown(what="density of pure", value=base.label, known="water, glycols, alcohols and glycerol")


@cache
def crc_density(base: Base) -> Curve | None:
    """CRC density at 20 degC, kg/m3 by mass fraction, where mixing uses it: glycol, alcohols, glycerol."""
    if base.is_salt:
        return None
    rows = _rows("crc_aqueous_solutions", base, "mass_pct", "density_kg_m3_20C")
    water = (0.0, pure_density(Base.WATER))
    return _by_mass(base, [water, *rows], CRC) if rows else None


def density_20(base: Base, w: float) -> float:
    """Density of a mix at 20 degC for mixing sums: CRC table, else polynomial; kg/m3."""
    if base is Base.WATER or w == 0.0:
        return pure_density(Base.WATER)
    curve = crc_density(base)
    return curve(w) if curve is not None else bare_state(base, w, 20.0).rho


def expansion(base: Base, w: float, t: float) -> float:
    """rho(t) / rho(20 degC) of a mix or of a concentrate.

    Above the range of the polynomial a straight line to the expansion of the undiluted liquid; for salts the
    polynomial's strongest mix stands for the concentrate.
    """
    if base is Base.WATER:
        return water_fit().state(t, 0.0).rho / water_fit().state(20.0, 0.0).rho
    top = mass_fit(base).x_max
    x = min(w, top)
    mix = bare_state(base, x, t).rho / bare_state(base, x, 20.0).rho
    rows = [r for r in table("pure_expansion") if r["base"] == base.value]
    if w <= top or not rows:
        return mix
    pure = 1.0 - float(rows[0]["expansion_per_K"]) * (t - 20.0)
    return mix + (pure - mix) * (w - top) / (1.0 - top)


def density(base: Base, w: float, t: float) -> float:
    """Density of a mix at `t` for mixing sums, kg/m3."""
    rho = density_20(base, w)
    return rho if t == 20.0 else rho * expansion(base if w > 0.0 else Base.WATER, w, t)


def final_volume(base: Base, w: float) -> float:
    """Volume of pure antifreeze per volume of the finished mix, at 20 degC: w rho(w) / rho_pure."""
    return w * density_20(base, w) / pure_density(base)
