"""From what an instrument shows to strength and freezing point, with uncertainty; a scale that does not fit is refused."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from calcs import _curves, _optics
from calcs._ranges import between, not_negative, positive
from calcs.base import Base
from calcs.errors import CalcError, Unsuitable
from calcs.sources import Source, limits
from calcs.strength import Basis, Strength
from calcs.units import Quantity, quantity, si
from calcs.verdict import Cause, Figure, Outcome, Verdict

ZERO_AT: Final = 20.0
SLOPE_FROM, SLOPE_TO = 5.0, 30.0
TWELFTH: Final = 1 / math.sqrt(12.0)
THIRD: Final = 1 / math.sqrt(3.0)


class Scale(StrEnum):
    """What the instrument shows. `FREEZING_POINT` is a scale in degrees made for one glycol."""

    BRIX = "°Bx"
    REFRACTIVE_INDEX = "refractive index"
    FREEZING_POINT = "freezing point"
    DENSITY = "density"


@dataclass(frozen=True)
class Reading:
    """What a reading says. The two `u` are standard uncertainties; `low` is the coldest published freezing point.

    `warnings` are sentences for the person who reads it.
    """

    base: Base
    scale: Scale
    mass_fraction: Quantity
    volume_fraction: Quantity | None
    freezing_point: Quantity
    low: Quantity
    u_mass_fraction: Quantity
    u_freezing_point: Quantity
    source: Source
    warnings: tuple[str, ...] = ()

    @property
    def strength(self) -> Strength:
        """The strength by mass."""
        return Strength(self.mass_fraction, Basis.MASS, self.base)


def read(  # noqa: PLR0913 - scale, value and what must be known about the instrument
    *,
    scale: Scale,
    value: Quantity,
    base: Base,
    sample_temperature: Quantity,
    compensated: bool = True,
    scale_base: Base | None = None,
    midpoint: bool = False,
    resolution: Quantity | None = None,
    accuracy: Quantity | None = None,
) -> Reading:
    """Strength and freezing point from a refractometer.

    Reading -> index at 20 degC (ICUMSA 1974 for Brix) -> mass fraction (index table, straight lines) -> freezing point
    (`fluid.freezing_point`). Without compensation propylene glycol takes its own dn/dT, the others the sucrose table.
    u^2 = (limit / sqrt 3)^2 + (resolution / sqrt 12)^2 + (sample temperature)^2 + (index table)^2.
    Units: Brix and index dimensionless, freezing point degC, its resolution and accuracy in kelvin.
    Range: a degree scale only for its own glycol and for ice crystals (a `midpoint` scale shows the middle between ice and
    pour point, which only the product's table knows: `supplier.strength_from_protection`); no Brix for methanol, acetate,
    formate; ethanol to 15 Brix; uncompensated samples 5 to 20 degC (propylene glycol to 30); else `Unsuitable` or
    `OutOfRange`.
    Source: CRC Handbook 102nd ed., MacBeth & Thompson 1951, ICUMSA 1974, OIV-MA-AS2-02, ASTM D3321 (scope).

    >>> got = read(scale=Scale.BRIX, value=quantity(18, ""), base=Base.ETHYLENE_GLYCOL,
    ...     sample_temperature=quantity(20, "degC"))
    >>> print(f"{got.mass_fraction:.1f~P} by mass, {got.freezing_point:.1f~P} ± {2 * got.u_freezing_point.magnitude:.1f} K")
    28.0 % by mass, -12.7 °C ± 0.3 K
    """
    t = si(sample_temperature, "degC", "sample temperature")
    between("sample temperature, degC", t, 0.0, 60.0, "hand instruments")
    _refuse(scale, base, scale_base, midpoint)
    shown = _shown(scale, value, base)
    n = shown if compensated or t == ZERO_AT else _at_20(base, shown, t)
    w = _optics.fraction_of(base, n)
    u_w = math.hypot(_instrument_u(scale, base, w, n, resolution, accuracy), _index_u(scale, base, w, t, compensated))
    return _reading(base, scale, w, u_w, _optics.index_curve(base).source, _warnings(base, scale, t))


def read_density(
    *,
    density: Quantity,
    base: Base,
    sample_temperature: Quantity,
    resolution: Quantity | None = None,
    accuracy: Quantity | None = None,
) -> Reading:
    """Strength and freezing point from a hydrometer or density meter: the instrument for alcohols.

    Inverse of rho(w, T) (`fluid.mix_density`). u^2 = (limit / sqrt 3)^2 + (resolution / sqrt 12)^2 + (drho/dT u_T)^2,
    over drho/dw; u_T from a thermometer limit of 1 K (house default). Units: kg/m3, degC.
    Range: samples of 0 to 40 degC; alcohols lighter, others heavier than water; a glycol above 1080 kg/m3 is `Unsuitable`
    (battery-acid scale). Source: CRC Handbook 102nd ed.; Melinder 2010.

    >>> got = read_density(density=quantity(961.7, "kg/m^3"), base=Base.ETHANOL, sample_temperature=quantity(20, "degC"))
    >>> print(f"{got.mass_fraction:.1f~P}, {got.freezing_point:.1f~P}")
    25.0 %, -15.4 °C
    """
    rules = limits("fluid_limits", "reading")
    t = between("sample temperature, degC", si(sample_temperature, "degC", "sample temperature"), 0.1, 40.0)
    rho = positive("density", si(density, "kg/m^3", "density"))
    if base is Base.WATER:
        raise _no_strength()
    if base.is_glycol and rho > rules["battery_acid_density"].value:
        raise Unsuitable(
            what=f"A density of {rho:.0f} kg/m³",
            reason=f"no {base.label} mix is so heavy; the scale is for battery acid.",
            instead="Read the glycol scale or Brix.",
        )
    w = _fraction_of_density(base, rho, t)
    slope = _density_slope(base, w, t)
    drift = _curves.density(base, w, t + 1.0) - _curves.density(base, w, t)
    limit = rules["density_limit"].value if accuracy is None else si(accuracy, "kg/m^3", "accuracy")
    step = 0.0 if resolution is None else si(resolution, "kg/m^3", "resolution")
    u_rho = math.hypot(_spread(limit, step), drift * rules["sample_temperature_limit"].value * THIRD)
    source = _curves.MELINDER if _curves.crc_density(base) is None else _curves.CRC
    return _reading(base, Scale.DENSITY, w, u_rho / slope, source, _warnings(base, Scale.DENSITY, t))


def index_of(*, base: Base, mass_fraction: Quantity) -> float:
    """The refractive index of a mix at 20 degC.

    Straight lines between table rows. Units: none. Range: as far as the index rises (ethanol 80, methanol 48 mass %).
    Source: CRC Handbook 102nd ed.; propylene glycol MacBeth & Thompson 1951 brought from 25 to 20 degC (computed, 3e-4).

    >>> index_of(base=Base.ETHYLENE_GLYCOL, mass_fraction=quantity(28, "percent"))
    1.3605
    """
    return _optics.index_of(base, si(mass_fraction, "", "mass_fraction"))


def index_from_brix(*, brix: float) -> float:
    """The refractive index at 20 degC of a Brix reading.

    Straight lines between whole degrees. Units: none. Range: 0 to 50. Source: ICUMSA 1974.

    >>> round(index_from_brix(brix=20.0), 5)
    1.36384
    """
    return _optics.index_from_brix(brix)


def brix_from_index(*, index: float) -> float:
    """The Brix reading of a refractive index at 20 degC; inverse of `index_from_brix`.

    Straight lines between whole degrees. Units: none. Range: 1.33299 to 1.42009. Source: ICUMSA 1974.

    >>> round(brix_from_index(index=1.36384), 2)
    20.0
    """
    return _optics.brix_of(index)


def brix_correction(*, brix: float, sample_temperature: Quantity) -> float:
    """What to add to a Brix reading taken without temperature compensation.

    Straight lines in Brix and temperature. Units: degC in. Range: 10 to 30 Brix, 5 to 20 degC, else `OutOfRange`.
    Source: OIV-MA-AS2-02, Table I (sucrose: a glycol moves more, up to 1.96e-4 against 1.08e-4 per K).

    >>> round(brix_correction(brix=20.0, sample_temperature=quantity(10, "degC")), 3)
    -0.65
    """
    return _optics.brix_correction(brix, si(sample_temperature, "degC", "sample temperature"))


def shown_on(*, base: Base, mass_fraction: Quantity, scale_base: Base) -> Quantity:
    """What a degree scale made for `scale_base` shows for a mix of `base`: the size of the mistake.

    Index of the sample -> strength of the scale's glycol -> polynomial freezing point. Units: degC out.
    Range: indexes of both tables; scales exist for the two glycols. Source: as `read`; Melinder 2010.

    >>> thirty = quantity(30, "percent")
    >>> seen = shown_on(base=Base.PROPYLENE_GLYCOL, mass_fraction=thirty, scale_base=Base.ETHYLENE_GLYCOL)
    >>> print(f"{seen:.1f~P}")
    -18.0 °C
    """
    if not scale_base.is_glycol:
        raise Unsuitable(
            what=f"A degree scale for {scale_base.label}", reason="there is none in the tables.", instead=""
        )
    w = _optics.fraction_of(scale_base, _optics.index_of(base, si(mass_fraction, "", "mass_fraction")))
    return quantity(_curves.polynomial_freezing(scale_base, w), "degC")


def frost_verdict(*, freezing_point: Quantity, required: Quantity, u: Quantity | None = None) -> Verdict:
    """Whether a measured freezing point is cold enough.

    Pass when it is at or below required - guard, fail when above required + guard, else cannot tell; guard is 1 K or 2 u,
    whichever is more. Warn when it is more than 6 K colder than required. Units: degC, u in kelvin.
    Range: -100 to 0 degC. Source: house default; 1 K is the accuracy of ASTM D3321.

    >>> ask = quantity(-15, "degC")
    >>> [frost_verdict(freezing_point=quantity(t, "degC"), required=ask).outcome.value for t in (-16.2, -15.4, -13.6)]
    ['pass', 'cannot tell', 'fail']
    """
    rules = limits("fluid_limits", "frost")
    got = between("freezing point, degC", si(freezing_point, "degC", "freezing point"), -100.0, 0.0)
    ask = between("required freezing point, degC", si(required, "degC", "required"), -100.0, 0.0)
    u_k = None if u is None else si(u, "K", "u")
    guard = max(rules["guard"].value, 2 * (u_k or 0.0))
    text = f"Freezing point {got:.1f} °C, required {ask:.1f} °C"
    figures = (Figure("freezing point", got, "degC", u_k, ask), Figure("guard band", guard, "K"))
    if got > ask + guard:
        outcome, reason, way_out = Outcome.FAIL, f"{text}: too weak.", "Correct the strength and measure again."
    elif got > ask - guard:
        outcome, reason = Outcome.CANNOT_TELL, f"{text}: within {guard:.1f} K of the limit."
        way_out = "Take two more readings at 20 °C, or make the mix stronger."
    elif got < ask - rules["surplus"].value:
        outcome, reason, way_out = Outcome.WARN, f"{text}: stronger than needed, which costs pumping power.", ""
    else:
        outcome, reason, way_out = Outcome.PASS, f"{text}.", ""
    cause = Cause.NONE if outcome is Outcome.PASS else Cause.STRENGTH
    return Verdict(outcome, reason, cause, figures=figures, source=rules["guard"].source, way_out=way_out)


def repeat_of(*, readings: Sequence[Reading]) -> Reading:
    """One reading out of repeats on the same instrument: the warmest, if they agree within 1 K.

    Repeats share the instrument's error, so the uncertainty is that of one. Units: those of the readings.
    Range: one or more readings of one antifreeze, within 1 K (house default), else `Unsuitable`. Source: house default.

    >>> twice = [read(scale=Scale.BRIX, value=quantity(b, ""), base=Base.ETHYLENE_GLYCOL,
    ...     sample_temperature=quantity(20, "degC")) for b in (18.0, 18.4)]
    >>> print(f"{repeat_of(readings=twice).freezing_point:.1f~P}")
    -12.7 °C
    """
    if not readings or len({r.base for r in readings}) > 1:
        raise Unsuitable(what="This set of readings", reason="it is not of one fluid.", instead="Read the fluid twice.")
    warmest = max(readings, key=lambda r: si(r.freezing_point, "degC", "freezing point"))
    coldest = min(si(r.freezing_point, "degC", "freezing point") for r in readings)
    apart = si(warmest.freezing_point, "degC", "freezing point") - coldest
    if apart > limits("fluid_limits", "frost")["guard"].value:
        raise Unsuitable(
            what="This pair of readings",
            reason=f"they differ by {apart:.1f} K.",
            instead="Clean the prism, wait 30 s and read again.",
        )
    return warmest


def _no_strength() -> CalcError:
    return Unsuitable(what="A strength of water", reason="it has none.", instead="Say which antifreeze is in it.")


def _refuse(scale: Scale, base: Base, scale_base: Base | None, midpoint: bool) -> None:  # noqa: FBT001
    if base is Base.WATER:
        raise _no_strength()
    if scale is Scale.DENSITY:
        raise Unsuitable(what="A density", reason="it is no refractometer scale.", instead="Use a density reading.")
    if base in {Base.METHANOL, Base.POTASSIUM_ACETATE, Base.POTASSIUM_FORMATE}:
        why = "its index hardly changes with strength." if base is Base.METHANOL else "no index table is known."
        raise Unsuitable(what=f"A refractometer for {base.label}", reason=why, instead="Use a density meter.")
    if scale is Scale.FREEZING_POINT:
        _refuse_degrees(base, scale_base, midpoint)


def _refuse_degrees(base: Base, scale_base: Base | None, midpoint: bool) -> None:  # noqa: FBT001
    what = "This degree scale" if scale_base is None else f"The {scale_base.label} scale"
    instead = "Read the scale for this fluid, or Brix."
    if not base.is_glycol:
        raise Unsuitable(what=what, reason=f"degree scales are for glycols, not for {base.label}.", instead=instead)
    if scale_base is not base:
        reason = "it is not said for which glycol it is." if scale_base is None else f"the fluid is {base.label}."
        if scale_base is Base.ETHYLENE_GLYCOL:
            reason += " It would show several kelvin too much protection."
        raise Unsuitable(what=what, reason=reason, instead=instead)
    if midpoint:
        reason = "it shows frost protection, which is colder than the first ice crystals."
        raise Unsuitable(what=what, reason=reason, instead="Read Brix, or the product's own table.")


def _shown(scale: Scale, value: Quantity, base: Base) -> float:
    """The refractive index that the instrument takes the reading for."""
    if scale is Scale.FREEZING_POINT:
        return _optics.index_of(base, _curves.mass_fraction_at(base, si(value, "degC", "reading")))
    bare = si(value, "", "reading")
    if scale is Scale.REFRACTIVE_INDEX:
        return _flat(base, bare)
    return _flat(base, _optics.index_from_brix(bare))


def _flat(base: Base, n: float) -> float:
    top = limits("fluid_limits", "reading")["ethanol_brix_high"].value
    if base is Base.ETHANOL and n > _optics.index_from_brix(top):
        raise Unsuitable(
            what="A refractometer for strong ethanol",
            reason=f"above {top:g} °Bx its index hardly rises and then falls again.",
            instead="Use a density meter.",
        )
    return n


def _at_20(base: Base, n: float, t: float) -> float:
    """The index at 20 degC of an uncompensated reading taken at `t`."""
    if base is not Base.PROPYLENE_GLYCOL:
        brix = _optics.brix_of(n)
        return _optics.index_from_brix(brix + _optics.brix_correction(brix, t))
    between("sample temperature, degC", t, SLOPE_FROM, SLOPE_TO, _optics.GLYCOL_INDEX.label)
    found = n
    for _ in range(20):
        found = n - _optics.propylene_glycol_slope(_optics.fraction_of(base, found)) * (t - ZERO_AT)
    return found


def _instrument_u(
    scale: Scale, base: Base, w: float, n: float, resolution: Quantity | None, accuracy: Quantity | None
) -> float:
    """Standard uncertainty of the mass fraction from limit and resolution of the instrument."""
    rules = limits("fluid_limits", "reading")
    slope = _optics.slope(base, w)
    if scale is Scale.FREEZING_POINT:
        unit, limit, per_unit = "K", rules["freezing_scale_limit"].value, 1.0 / _freezing_slope(base, w)
    elif scale is Scale.BRIX:
        per_brix = _optics.index_from_brix(min(_optics.brix_of(n) + 0.5, 50.0)) - n
        unit, limit, per_unit = "", rules["brix_limit"].value, 2.0 * per_brix / slope
    else:
        unit, limit, per_unit = "", rules["index_limit"].value, 1.0 / slope
    limit = limit if accuracy is None else si(accuracy, unit, "accuracy")
    step = 0.0 if resolution is None else si(resolution, unit, "resolution")
    return _spread(limit, step) * per_unit


def _spread(limit: float, step: float) -> float:
    """Standard uncertainty from an error limit and a reading step."""
    return math.hypot(not_negative("accuracy", limit) * THIRD, not_negative("resolution", step) * TWELFTH)


def _index_u(scale: Scale, base: Base, w: float, t: float, compensated: bool) -> float:  # noqa: FBT001
    """Standard uncertainty of the mass fraction from sample temperature and index table."""
    rules = limits("fluid_limits", "reading")
    table = "index_table_glycol" if base is Base.PROPYLENE_GLYCOL else "index_table_crc"
    known = 0.0 if scale is Scale.FREEZING_POINT else rules[table].value
    per_kelvin = rules["slope_mismatch"].value
    if base is Base.PROPYLENE_GLYCOL and not compensated:
        per_kelvin = -_optics.propylene_glycol_slope(w) * rules["slope_doubt"].value
    return math.hypot(known * THIRD, per_kelvin * (t - ZERO_AT) * THIRD) / _optics.slope(base, w)


def _freezing_slope(base: Base, w: float) -> float:
    """How many kelvin the freezing point falls per unit of mass fraction."""
    low, high = max(w - 0.01, 0.0), min(w + 0.01, _curves.highest_fraction(base))
    return (_curves.used_freezing(base, low)[0] - _curves.used_freezing(base, high)[0]) / (high - low)


def _fraction_of_density(base: Base, rho: float, t: float) -> float:
    top = _curves.mass_fit(base).x_max
    ends = sorted((_curves.density(base, 0.0, t), _curves.density(base, top, t)))
    source = (_curves.MELINDER if _curves.crc_density(base) is None else _curves.CRC).label
    between(f"density of {base.label}, kg/m³", rho, ends[0], ends[1], source)
    return _curves.bisect(lambda w: _curves.density(base, w, t) - rho, 0.0, top)


def _density_slope(base: Base, w: float, t: float) -> float:
    """How much the density changes per unit of mass fraction, taken over 1 mass %, kg/m3."""
    low, high = max(w - 0.005, 0.0), min(w + 0.005, _curves.mass_fit(base).x_max)
    return abs(_curves.density(base, high, t) - _curves.density(base, low, t)) / (high - low)


def _reading(base: Base, scale: Scale, w: float, u_w: float, source: Source, warnings: tuple[str, ...]) -> Reading:
    used, _ = _curves.used_freezing(base, w)
    low = min(t for _, t in _curves.freezing_curves(base, w))
    phi = None if base.is_salt else quantity(100 * _curves.final_volume(base, w), "percent")
    return Reading(
        base,
        scale,
        quantity(100 * w, "percent"),
        phi,
        quantity(used, "degC"),
        quantity(low, "degC"),
        quantity(100 * u_w, "percent"),
        quantity(u_w * _freezing_slope(base, w), "K"),
        source,
        warnings,
    )


def _warnings(base: Base, scale: Scale, t: float) -> tuple[str, ...]:
    rules = limits("fluid_limits", "reading")
    low, high = rules["sample_temperature_low"].value, rules["sample_temperature_high"].value
    told = []
    if not low <= t <= high:
        told.append(f"The sample was at {t:.0f} °C. Let it come to {low:.0f} to {high:.0f} °C and read again.")
    if base is Base.ETHANOL and scale is not Scale.DENSITY:
        told.append("Denaturants shift the index of ethanol. A density meter is better.")
    if base.is_glycol and scale is not Scale.DENSITY:
        told.append(
            "Inhibitors can make a glycol read stronger than it is. Prefer the table of the product's supplier."
        )
    return tuple(told)
