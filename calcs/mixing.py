"""How much to pour: first fill in bins, residual water, blending, and correcting a filled system.

All sums are in mass; litres only at the edges, since volumes of antifreeze and water do not add up.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from calcs import _curves
from calcs.base import Base
from calcs.errors import NoSolution, OutOfRange, Unsuitable
from calcs.fluid import FreezingPoint
from calcs.strength import Basis, Product, Strength
from calcs.units import Quantity, quantity, si

NONE_LEFT: Final = quantity(0, "L")
ROOM: Final = quantity(20, "degC")
# More bins than anybody fills: a slip of the unit, which would make a list without end.
MOST_BINS: Final = 1000
# A share so small that it comes from the arithmetic, not from anything poured.
ROUNDING: Final = 1e-9


@dataclass(frozen=True)
class Batch:
    """One filling bin: the volume it gives, and what to pour into it."""

    volume: Quantity
    concentrate: Quantity
    water: Quantity


@dataclass(frozen=True)
class Drums:
    """How many drums or canisters to bring, and what is left in the last one."""

    count: int
    left_over: Quantity


@dataclass(frozen=True)
class FirstFill:
    """The recipe of a first fill. `poured` is stronger than `target` when water stays in the system."""

    target: Strength
    poured: Strength
    mixed_volume: Quantity
    concentrate_volume: Quantity
    water_volume: Quantity
    mass_concentrate: Quantity
    mass_water: Quantity
    contraction: Quantity
    batches: tuple[Batch, ...]

    @property
    def freezing_point(self) -> FreezingPoint:
        """The freezing point of the filled system."""
        return self.target.freezing_point

    def drums(self, *, drum_volume: Quantity) -> Drums:
        """How many drums of this size hold the concentrate."""
        return _drums(self.concentrate_volume, drum_volume)


@dataclass(frozen=True)
class Correction:
    """What to drain and what to add, at constant system volume. `adding` is None when water is added.

    `feed_and_bleed` is the volume to feed when the system mixes while it overflows; None where that never gets there
    (to pure water, or to the strength of the concentrate).
    """

    measured: Strength
    target: Strength
    adding: Product | None
    drain_volume: Quantity
    add_volume: Quantity
    mass_added: Quantity
    feed_and_bleed: Quantity | None

    def drums(self, *, drum_volume: Quantity, feeding: bool = False) -> Drums:
        """How many drums of this size hold the concentrate to add, or to feed; none where water is added."""
        poured = self.feed_and_bleed if feeding else self.add_volume
        if poured is None:
            raise NoSolution(
                what="the drums to feed", reason="feeding never reaches this target. Drain and add instead."
            )
        return _drums(poured if self.adding else NONE_LEFT, drum_volume)


@dataclass(frozen=True)
class Part:
    """A volume of one strength, to be blended."""

    volume: Quantity
    strength: Strength


def first_fill(  # noqa: PLR0913 - the recipe has seven givens
    *,
    base: Base,
    system_volume: Quantity,
    target: Strength,
    concentrate: Product,
    bin_volume: Quantity,
    residual_water: Quantity = NONE_LEFT,
    temperature: Quantity = ROOM,
) -> FirstFill:
    """The recipe of a first fill, in bins.

    m = V rho(w); m_c = m w / w_c; V_c = m_c / rho_c; V_w = (m - m_c) / rho_water; contraction = V_c + V_w - V, with
    V = system volume - residual water and w from `strength_to_aim_for`. n = ceil(V / bin), the last bin smaller.
    Units: volumes in litres out, masses in kg. Range: target weaker than the concentrate, not below the supplier's
    minimum and within the polynomial; mixing temperature above 0 degC; at most 1000 bins; else `OutOfRange`, `Frozen`,
    `Unsuitable`.
    Source: mass balance; densities CRC Handbook 102nd ed. and Melinder 2010.

    >>> from calcs.strength import by_mass, pure
    >>> fill = first_fill(base=Base.ETHYLENE_GLYCOL, system_volume=quantity(600, "L"),
    ...     target=by_mass(base=Base.ETHYLENE_GLYCOL, value=quantity(31.4, "percent")),
    ...     concentrate=pure(base=Base.ETHYLENE_GLYCOL), bin_volume=quantity(180, "L"))
    >>> print(f"{fill.concentrate_volume:.1f~P} + {fill.water_volume:.1f~P}, shrinks {fill.contraction:.1f~P}")
    175.9 l + 428.7 l, shrinks 4.6 l
    >>> [f"{batch.volume:.0f~P}" for batch in fill.batches]
    ['180 l', '180 l', '180 l', '60 l']
    """
    _same_base(base, target.base, concentrate.base)
    mix, total = _Mix(base, si(temperature, "degC", "temperature")), _positive(system_volume, "system volume")
    left, w_c = _residual(residual_water, total), si(concentrate.mass_fraction, "", "concentrate")
    _not_too_thin(_fraction(target), concentrate)
    aim = _aim(mix, total, left, _fraction(target), w_c)
    volume = total - left
    mass = volume * mix.rho(aim)
    mass_c = mass * aim / w_c
    v_c = mass_c / mix.rho_concentrate(concentrate)
    v_w = (mass - mass_c) / mix.water
    return FirstFill(
        target,
        _by_mass(base, aim),
        _litres(volume),
        _litres(v_c),
        _litres(v_w),
        quantity(mass_c, "kg"),
        quantity(mass - mass_c, "kg"),
        _litres(v_c + v_w - volume),
        _batches(volume, v_c, v_w, _positive(bin_volume, "bin volume")),
    )


def strength_after(
    *, system_volume: Quantity, poured: Strength, residual_water: Quantity, temperature: Quantity = ROOM
) -> Strength:
    """The strength of a system that keeps some water after it was filled, once mixed.

    w = m_p w_p / (m_p + rho_water V_left), m_p = (V - V_left) rho(w_p). Units: litres; percent by mass out.
    Range: 0 <= V_left <= V. Source: mass balance.

    >>> from calcs.strength import by_mass
    >>> mix = by_mass(base=Base.ETHYLENE_GLYCOL, value=quantity(31.4, "percent"))
    >>> left = quantity(60, "L")
    >>> print(f"{strength_after(system_volume=quantity(600, 'L'), poured=mix, residual_water=left).value:.2f~P}")
    28.37 %
    """
    total = _positive(system_volume, "system volume")
    mix = _Mix(poured.base, si(temperature, "degC", "temperature"))
    left = _residual(residual_water, total)
    return _by_mass(poured.base, mix.after(total, left, _fraction(poured)))


def strength_to_aim_for(
    *,
    system_volume: Quantity,
    target: Strength,
    residual_water: Quantity,
    concentrate: Product | None = None,
    temperature: Quantity = ROOM,
) -> Strength:
    """The strength to pour so that a system which keeps some water ends at its target; inverse of `strength_after`.

    Bisection on w_p. Units: as `strength_after`. Range: what the strongest mix known (and the concentrate) can reach;
    else `NoSolution`: drain more water. Source: mass balance.

    >>> from calcs.strength import by_mass
    >>> mix = by_mass(base=Base.ETHYLENE_GLYCOL, value=quantity(31.4, "percent"))
    >>> left = quantity(60, "L")
    >>> print(f"{strength_to_aim_for(system_volume=quantity(600, 'L'), target=mix, residual_water=left).value:.2f~P}")
    34.73 %
    """
    total = _positive(system_volume, "system volume")
    if concentrate is not None:
        _same_base(target.base, concentrate.base)
        _not_too_thin(_fraction(target), concentrate)
    strongest = 1.0 if concentrate is None else si(concentrate.mass_fraction, "", "concentrate")
    mix = _Mix(target.base, si(temperature, "degC", "temperature"))
    aim = _aim(mix, total, _residual(residual_water, total), _fraction(target), strongest)
    return _by_mass(target.base, aim)


def blend(*, parts: Sequence[Part], temperature: Quantity = ROOM) -> Strength:
    """The strength of several volumes put together.

    w = sum V_i rho_i w_i / sum V_i rho_i; never the mean of the freezing points, which comes out too cold.
    Units: any volume; percent by mass out. Range: one antifreeze (water is welcome), total volume above 0.
    Source: mass balance.

    >>> from calcs.strength import by_mass
    >>> bins = [(180, 33), (180, 30), (180, 31), (60, 28)]
    >>> parts = [Part(quantity(v, "L"), by_mass(base=Base.ETHYLENE_GLYCOL, value=quantity(w, "percent"))) for v, w in bins]
    >>> print(f"{blend(parts=parts).value:.2f~P}")
    31.00 %
    """
    bases = {part.strength.base for part in parts if _fraction(part.strength) > 0}
    _same_base(*bases)
    base = next(iter(bases), Base.WATER)
    mix = _Mix(base, si(temperature, "degC", "temperature"))
    pairs = [(_fraction(part.strength), _not_negative(part.volume, "volume of a part")) for part in parts]
    masses = [volume * mix.rho(w) for w, volume in pairs]
    if not sum(masses) > 0:
        raise NoSolution(what="the strength of the blend", reason="there is nothing in it.")
    return _by_mass(base, sum(m * w for m, (w, _) in zip(masses, pairs, strict=True)) / sum(masses))


def correction(
    *,
    base: Base,
    system_volume: Quantity,
    measured: Strength,
    target: Strength,
    concentrate: Product,
    temperature: Quantity = ROOM,
) -> Correction:
    """What to drain and add to bring a filled system from measured to target at constant volume.

    V_add = V rho_t (w_t - w_m) / (rho_c (w_c - w_m)); V_drain = V - V rho_t (w_c - w_t) / (rho_m (w_c - w_m)).
    Too strong: the same with water, w_c = 0. Feed and bleed: (V / rho_c) integral of rho(w) / (w_c - w) dw.
    Units: litres and kg out. Range: target weaker than the concentrate and not below the supplier's minimum, else
    `Unsuitable`. A system that cannot be drained is bled while it is fed. Source: mass balance; densities as `first_fill`.

    >>> from calcs.strength import by_mass, pure
    >>> glycol = Base.ETHYLENE_GLYCOL
    >>> fix = correction(base=glycol, system_volume=quantity(600, "L"), concentrate=pure(base=glycol),
    ...     measured=by_mass(base=glycol, value=quantity(25, "percent")),
    ...     target=by_mass(base=glycol, value=quantity(31.4, "percent")))
    >>> print(f"drain {fix.drain_volume:.1f~P}, add {fix.add_volume:.1f~P}, or feed {fix.feed_and_bleed:.1f~P}")
    drain 46.6 l, add 47.8 l, or feed 49.8 l
    """
    _same_base(base, measured.base, target.base, concentrate.base)
    volume = _positive(system_volume, "system volume")
    mix = _Mix(base, si(temperature, "degC", "temperature"))
    w_m, w_t = _fraction(measured), _fraction(target)
    _not_too_thin(w_t, concentrate)
    adding = concentrate if w_t >= w_m else None
    w_c, rho_c = (
        (si(adding.mass_fraction, "", "concentrate"), mix.rho_concentrate(adding)) if adding else (0.0, mix.water)
    )
    if adding:
        _weaker(w_t, w_c)
    rho_t, rho_m, span = mix.rho(w_t), mix.rho(w_m), w_c - w_m
    if w_t == w_m:
        return Correction(measured, target, None, NONE_LEFT, NONE_LEFT, quantity(0, "kg"), NONE_LEFT)
    added = volume * rho_t * (w_t - w_m) / span
    drained = volume - volume * rho_t * (w_c - w_t) / (rho_m * span)
    fed = None if w_t == w_c else _litres(volume / rho_c * _fed(mix, w_c, w_m, w_t))
    return Correction(measured, target, adding, _litres(drained), _litres(added / rho_c), quantity(added, "kg"), fed)


def correction_by_volume(
    *, system_volume: Quantity, measured: Quantity, target: Quantity, concentrate: Quantity
) -> Quantity:
    """The short form of a correction, good only when all three are percent by final volume.

    V_add = V (C_t - C_m) / (C_c - C_m). Units: fractions dimensionless or percent; litres out.
    Range: measured <= target < concentrate; fed with mass % it errs by up to 1 mass %. Source: volume balance.

    >>> given = {"measured": quantity(23, "percent"), "target": quantity(28, "percent")}
    >>> litres = correction_by_volume(system_volume=quantity(600, "L"), concentrate=quantity(100, "percent"), **given)
    >>> print(f"{litres:.1f~P}")
    39.0 l
    """
    c_m, c_t, c_c = si(measured, "", "measured"), si(target, "", "target"), si(concentrate, "", "concentrate")
    if not 0 <= c_m <= c_t < c_c <= 1:
        raise OutOfRange(
            what="target", value=f"{c_t:.3g}", low=f"{c_m:.3g}", high=f"{c_c:.3g}", source="volume balance"
        )
    return _litres(_positive(system_volume, "system volume") * (c_t - c_m) / (c_c - c_m))


class _Mix:
    """Densities of one antifreeze at one temperature (degC), kg/m3."""

    def __init__(self, base: Base, t: float) -> None:
        self.base, self.t = base, t
        _curves.state(Base.WATER, 0.0, t)
        self.water = _curves.pure_density(Base.WATER) * _curves.expansion(Base.WATER, 0.0, t)

    def rho(self, w: float) -> float:
        if self.base is Base.WATER or w == 0.0:
            return self.water
        _curves.state(self.base, w, self.t)
        return _curves.density(self.base, w, self.t)

    def rho_concentrate(self, product: Product) -> float:
        w = si(product.mass_fraction, "", "concentrate")
        return si(product.density, "kg/m^3", "density") * _curves.expansion(self.base, w, self.t)

    def after(self, total: float, left: float, w: float) -> float:
        mass = (total - left) * self.rho(w)
        return mass * w / (mass + self.water * left)


def _aim(mix: _Mix, total: float, left: float, w: float, strongest: float) -> float:
    _weaker(w, strongest)
    if w == 0.0 or left == 0.0:
        return w
    high = min(strongest, _curves.mass_fit(mix.base).x_max)
    best = mix.after(total, left, high)
    if w > best:
        raise NoSolution(
            what="the strength to pour",
            reason=f"with so much water left at most {100 * best:.1f} mass % can be reached. Drain more water first.",
        )
    return _curves.bisect(lambda aim: mix.after(total, left, aim) - w, w, high) if w < high else high


def _batches(volume: float, v_c: float, v_w: float, size: float) -> tuple[Batch, ...]:
    count = _pieces(volume, size)
    if count > MOST_BINS:
        least = f"{1e3 * volume / MOST_BINS:.0f} L"
        raise OutOfRange(what="bin volume", value=f"{1e3 * size:g} L", low=least, high="any", source="number of bins")
    volumes = [size] * (count - 1) + [volume - (count - 1) * size]
    return tuple(Batch(_litres(v), _litres(v_c * v / volume), _litres(v_w * v / volume)) for v in volumes)


def _drums(needed: Quantity, drum_volume: Quantity) -> Drums:
    size, wanted = _positive(drum_volume, "drum volume"), si(needed, "m^3", "concentrate")
    count = _pieces(wanted, size) if wanted > 0 else 0
    return Drums(count, _litres(max(0.0, count * size - wanted)))


def _pieces(volume: float, size: float) -> int:
    """Whole bins or drums; a rounding error is not another one."""
    return max(1, math.ceil(volume / size - ROUNDING))


def _fed(mix: _Mix, w_c: float, w_m: float, w_t: float, panels: int = 200) -> float:
    """Integral of rho(w) / (w_c - w) dw from w_m to w_t by Simpson's rule, smooth in s = ln |w_c - w|; kg/m3."""
    side = 1.0 if w_c > w_m else -1.0
    low, high = math.log(side * (w_c - w_t)), math.log(side * (w_c - w_m))
    step = (high - low) / panels
    rho = [mix.rho(w_c - side * math.exp(low + i * step)) for i in range(1, panels)]
    return step / 3 * (mix.rho(w_t) + mix.rho(w_m) + 4 * sum(rho[::2]) + 2 * sum(rho[1::2]))


def _fraction(strength: Strength) -> float:
    return si(strength.mass_fraction, "", "strength")


def _by_mass(base: Base, w: float) -> Strength:
    return Strength(quantity(100 * w, "percent"), Basis.MASS, base)


def _litres(cubic_metres: float) -> Quantity:
    return quantity(1e3 * cubic_metres, "L")


def _positive(volume: Quantity, name: str) -> float:
    found = _not_negative(volume, name)
    if found == 0:
        raise OutOfRange(what=name, value="0 L", low="more than 0 L", high="any", source="geometry")
    return found


def _not_negative(volume: Quantity, name: str) -> float:
    found = si(volume, "m^3", name)
    if not 0 <= found < math.inf:
        raise OutOfRange(what=name, value=f"{1e3 * found:g} L", low="0 L", high="any", source="geometry")
    return found


def _residual(volume: Quantity, total: float) -> float:
    left = _not_negative(volume, "residual water")
    if left >= total:
        high = f"less than {1e3 * total:g} L"
        raise OutOfRange(what="residual water", value=f"{1e3 * left:g} L", low="0 L", high=high, source="system volume")
    return left


def _same_base(*bases: Base) -> None:
    names = sorted({base.label for base in bases})
    if len(names) > 1:
        raise Unsuitable(
            what=f"A mix of {' and '.join(names)}",
            reason="the two cannot be measured or corrected together.",
            instead="Use one antifreeze.",
        )


def _weaker(w: float, strongest: float) -> None:
    if w > strongest:
        raise Unsuitable(
            what=f"A concentrate of {100 * strongest:.1f} mass %",
            reason=f"it is weaker than the target of {100 * w:.1f} mass %.",
            instead="Use a stronger product.",
        )


def _not_too_thin(w: float, product: Product) -> None:
    """Nothing but plain water may be weaker than the supplier allows."""
    least = 0.0 if product.minimum is None else si(product.minimum, "", "minimum")
    if 0.0 < w < least * (1.0 - ROUNDING):
        raise Unsuitable(
            what=f"A target of {100 * w:.1f} mass %",
            reason=f"the supplier asks for {100 * least:.1f} mass % at least, or the inhibitor is too thin.",
            instead="Aim for that or more.",
        )
