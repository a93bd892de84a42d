"""Static pressure of the brine circuit: expansion vessel, pre-charge, fill window, and how a sealed loop settles.

Gauge pressures throughout. The form of EN 12828 annex D is from memory: confirm it before it is quoted as a requirement.
Never loosen or open a charged vessel; check the pre-charge only with the fluid side empty.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from calcs._ranges import between, not_negative, positive
from calcs._tightness import TWO_READINGS
from calcs.base import Base
from calcs.elastic import wall_modulus, water_modulus
from calcs.errors import NoSolution
from calcs.fluid import mix_density
from calcs.sources import Limit, limits
from calcs.stress import GRAVITY
from calcs.units import Quantity, quantity, si
from calcs.verdict import Cause, Figure, Outcome, Verdict

ATMOSPHERE_BAR = 1.0
WATER_TABLE_END = 30.0


@dataclass(frozen=True)
class Charge:
    """A vessel as it is filled: nominal volume and gas pre-charge."""

    volume: Quantity
    precharge: Quantity


@dataclass(frozen=True)
class Sizing:
    """Least nominal volume, with the expansion and the reserve of fluid that it holds."""

    least: Quantity
    expansion: Quantity
    reserve: Quantity


@dataclass(frozen=True)
class FillWindow:
    """Between which pressures the cold circuit is filled: below `low` the reserve is short, above `high` the relief lifts."""

    low: Quantity
    high: Quantity


@dataclass(frozen=True)
class ThermalChange:
    """Change of volume from one temperature to another; positive grows. `net` is fluid less pipe: pressure follows it.

    The pipe's is a band, since the expansion of PE is known as a range only.
    """

    fluid: Quantity
    pipe_low: Quantity
    pipe_high: Quantity

    @property
    def net_low(self) -> Quantity:
        """The lower of fluid less pipe."""
        return min(self.fluid - self.pipe_low, self.fluid - self.pipe_high)

    @property
    def net_high(self) -> Quantity:
        """The higher of fluid less pipe."""
        return max(self.fluid - self.pipe_low, self.fluid - self.pipe_high)


def vessel_rows() -> dict[str, Limit]:
    """The figures of vessel and static pressure with their sources (units in the rows; range: keys of the table).

    Source: `calcs/data/vessel.csv`.

    >>> vessel_rows()["reserve_share"].source.status.value
    'memory'
    """
    return limits("vessel", "vessel")


def end_pressure(*, relief: Quantity) -> Quantity:
    """Highest working pressure under a relief valve: p_e = p_SV - 0.5 bar up to 5 bar, 0.9 p_SV above.

    Units: bar. Range: relief pressure over 0.5 bar. Source: EN 12828 annex D (memory, unconfirmed).

    >>> end_pressure(relief=quantity(3, "bar")).magnitude
    2.5
    """
    rows = vessel_rows()
    less, small = rows["relief_margin"].value, rows["relief_small"].value
    opens = between("relief pressure", si(relief, "bar", "relief"), less, 100.0, rows["relief_margin"].source.text)
    return quantity(opens - less if opens <= small else rows["relief_share"].value * opens, "bar")


def precharge(*, height: Quantity, density: Quantity, margin: Quantity | None = None) -> Quantity:
    """Gas pre-charge: p_0 = rho g h + margin, at least 0.7 bar, with h the height of the top of the circuit over the vessel.

    Units: bar. Range: height 0 or more (0 where the vessel is the highest point); margin 0.3 bar unless given.
    Source: hydrostatics; margin and least pre-charge EN 12828 practice (memory, unconfirmed).

    >>> round(precharge(height=quantity(8, "m"), density=quantity(1020, "kg/m^3")).magnitude, 2)
    1.1
    """
    rows = vessel_rows()
    static = positive("density", si(density, "kg/m^3", "density")) * GRAVITY * si(height, "m", "height") / 1e5
    more = rows["precharge_margin"].value if margin is None else si(margin, "bar", "margin")
    held = not_negative("static pressure", static) + not_negative("margin", more)
    return quantity(max(rows["precharge_least"].value, held), "bar")


def expansion(
    *, volume: Quantity, base: Base, mass_fraction: Quantity, filled_at: Quantity, warmest: Quantity
) -> Quantity:
    """V_e = V (rho_fill / rho_warm - 1) in L: what the fluid grows from filling to its warmest.

    Range: temperatures above the freezing point, as `fluid.mix_density`; the growth of the pipe, which helps, is left out.
    Source: mass balance; densities Melinder 2010 (read).

    >>> more = expansion(volume=quantity(400, "L"), base=Base.PROPYLENE_GLYCOL, mass_fraction=quantity(25, "percent"),
    ...     filled_at=quantity(15, "degC"), warmest=quantity(25, "degC"))
    >>> round(more.magnitude, 2)
    1.58
    """
    v = positive("volume", si(volume, "L", "volume"))
    return quantity(v * _growth(base, mass_fraction, filled_at, warmest), "L")


def thermal_change(
    *,
    volume: Quantity,
    base: Base,
    mass_fraction: Quantity,
    start: Quantity,
    end: Quantity,
    share: float = 1.0,
) -> ThermalChange:
    """dV of fluid, V (rho_start/rho_end - 1), and of free pipe, 3 alpha V dT, in L when all goes from start to end.

    PE shrinks more than brine, so a loop that cools as a whole may *gain* pressure: never judge by the direction alone.
    Range: `share` of the pipe that changes temperature with the fluid (0 to 1; buried pipe follows the ground). Source:
    mass balance; alpha 1.3 to 1.8e-4 per K (ASME B31.9 and a data page read, handbooks memory).

    >>> cold = thermal_change(volume=quantity(400, "L"), base=Base.PROPYLENE_GLYCOL,
    ...     mass_fraction=quantity(25, "percent"), start=quantity(15, "degC"), end=quantity(-5, "degC"))
    >>> round(cold.fluid.magnitude, 1), round(cold.pipe_low.magnitude, 1), cold.net_low.magnitude > 0
    (-2.2, -3.1, True)
    """
    v = positive("volume", si(volume, "L", "volume"))
    rows, part = vessel_rows(), between("share of the pipe", share, 0.0, 1.0)
    change = si(end, "degC", "end") - si(start, "degC", "start")
    return ThermalChange(
        fluid=quantity(v * _growth(base, mass_fraction, start, end), "L"),
        pipe_low=quantity(3.0 * rows["alpha_low"].value * v * part * change, "L"),
        pipe_high=quantity(3.0 * rows["alpha_high"].value * v * part * change, "L"),
    )


def reserve(*, volume: Quantity) -> Quantity:
    """Reserve of fluid in the vessel: V_WR = max(0.5 % of the system, 3 L), in L.

    Range: volume above 0. Source: EN 12828 annex D (memory, unconfirmed).

    >>> reserve(volume=quantity(400, "L")).magnitude
    3.0
    """
    rows = vessel_rows()
    v = positive("volume", si(volume, "L", "volume"))
    return quantity(max(rows["reserve_share"].value * v, rows["reserve_least"].value), "L")


def size(*, expansion: Quantity, reserve: Quantity, precharge: Quantity, end: Quantity) -> Sizing:
    """V_N >= (V_e + V_WR) (p_e + 1) / (p_e - p_0) in L. The 3 L of `reserve` are never less than 20 % of a vessel up to 15 L.

    Range: p_e above p_0, else `NoSolution`. Source: EN 12828 annex D (memory, unconfirmed).

    >>> found = size(expansion=quantity(1.585, "L"), reserve=quantity(3, "L"), precharge=quantity(0.7, "bar"),
    ...     end=quantity(2.5, "bar"))
    >>> round(found.least.magnitude, 1)
    8.9
    """
    grow, kept = si(expansion, "L", "expansion"), si(reserve, "L", "reserve")
    least = (not_negative("expansion", grow) + not_negative("reserve", kept)) * _ratio(precharge, end)
    return Sizing(quantity(least, "L"), quantity(grow, "L"), quantity(kept, "L"))


def size_without_reserve(*, expansion: Quantity, precharge: Quantity, end: Quantity) -> Quantity:
    """V = e C / (1 - (p_0 + 1)/(p_max + 1)) in L, the short published form: no fluid is kept in reserve.

    Range: p_max above p_0. Source: a heat pump manual (read; its expansion figures lie below plain water's and are not used).

    >>> found = size_without_reserve(expansion=quantity(100 * 0.00779, "L"), precharge=quantity(0.5, "bar"),
    ...     end=quantity(1.5, "bar"))
    >>> round(found.magnitude, 1)
    1.9
    """
    grow = not_negative("expansion", si(expansion, "L", "expansion"))
    return quantity(grow * _ratio(precharge, end), "L")


def fill_window(*, vessel: Charge, expansion: Quantity, reserve: Quantity, end: Quantity) -> FillWindow:
    """p_min = V_N (p_0 + 1)/(V_N - V_WR) - 1 and p_max = (p_e + 1)/(1 + V_e (p_e + 1)/(V_N (p_0 + 1))) - 1, in bar.

    Range: vessel larger than the reserve; `NoSolution` when the vessel is so small that the window is empty.
    Source: EN 12828 annex D (memory, unconfirmed); Boyle's law.

    >>> window = fill_window(vessel=Charge(quantity(12, "L"), quantity(0.7, "bar")), expansion=quantity(1.585, "L"),
    ...     reserve=quantity(3, "L"), end=quantity(2.5, "bar"))
    >>> round(window.low.magnitude, 2), round(window.high.magnitude, 2)
    (1.27, 1.75)
    """
    nominal = positive("volume of the vessel", si(vessel.volume, "L", "volume"))
    gas = nominal * (si(vessel.precharge, "bar", "precharge") + ATMOSPHERE_BAR)
    kept = not_negative("reserve", si(reserve, "L", "reserve"))
    more = not_negative("expansion", si(expansion, "L", "expansion"))
    top = positive("end pressure", si(end, "bar", "end")) + ATMOSPHERE_BAR
    if kept >= nominal or gas <= 0.0:
        raise NoSolution(what="the fill window", reason="the vessel is smaller than the reserve: take a larger one.")
    low = gas / (nominal - kept) - ATMOSPHERE_BAR
    high = top / (1.0 + more * top / gas) - ATMOSPHERE_BAR
    if low > high:
        raise NoSolution(
            what="the fill window",
            reason="the vessel is too small or charged too high: take a larger one, or a lower pre-charge.",
        )
    return FillWindow(quantity(low, "bar"), quantity(high, "bar"))


def judge_fill(*, pressure: Quantity, window: FillWindow, resolution: Quantity) -> Verdict:
    """Whether the cold circuit is filled inside its window; a step of the gauge nearer to an end than 2u warns.

    Units: bar. Range: resolution above 0. Source: `fill_window` (memory, unconfirmed).

    >>> window = FillWindow(quantity(1.27, "bar"), quantity(1.75, "bar"))
    >>> judge_fill(pressure=quantity(1.5, "bar"), window=window, resolution=quantity(0.1, "bar")).outcome.value
    'pass'
    """
    p, step = si(pressure, "bar", "pressure"), positive("resolution", si(resolution, "bar", "resolution"))
    low, high = si(window.low, "bar", "window"), si(window.high, "bar", "window")
    u = TWO_READINGS / 2.0**0.5 * step
    figures = (Figure("fill pressure", p, "bar", u=u, limit=low if p < (low + high) / 2.0 else high),)
    source = vessel_rows()["reserve_share"].source
    if low + 2.0 * u <= p <= high - 2.0 * u:
        return Verdict(Outcome.PASS, "The circuit is filled inside its window.", figures=figures, source=source)
    if low <= p <= high:
        reason = "The circuit is filled, but near the end of its window for this gauge."
        return Verdict(Outcome.WARN, reason, Cause.RESOLUTION, figures=figures, source=source)
    what = "below its window: add fluid" if p < low else "above its window: let some out"
    return Verdict(Outcome.FAIL, f"The fill pressure is {what}.", Cause.CONDITIONS, figures=figures, source=source)


def settled_pressure(  # noqa: PLR0913 - a circuit, a start and a later hour
    *,
    start: Quantity,
    since: Quantity,
    time: Quantity,
    volume: Quantity,
    bore_to_wall: float,
    temperature: Quantity,
    vessel: Charge | None = None,
    added: Quantity | None = None,
) -> Quantity:
    """The pressure of a sealed circuit hours, days or a year after filling, as its PE wall creeps: no leak, no air.

    Volume balance: gas V_N (p_0 + 1)/(p + 1) grows by the creep V (D/e) (p/E_2 - p_1/E_1), less what the fluid gives back,
    V (p_1 - p)/K, less `added` (a top-up, or a `ThermalChange`'s net). An empty vessel helps no more. Without a vessel and
    with stiff water this is `elastic.sealed_pressure`.
    Units: bar; `since` and `time` count from pressurising. Range: 1 min to 50 years, wall -1.1 to 37.8 degC, D/e 5 to 30;
    free pipe: buried and grouted loops creep less. Source: PPI Handbook 2nd ed. ch. 3 (read; multipliers memory).

    >>> case = {"start": quantity(1.5, "bar"), "since": quantity(0.5, "hour"), "volume": quantity(400, "L"),
    ...     "bore_to_wall": 8.81, "temperature": quantity(10, "degC")}
    >>> held = Charge(quantity(12, "L"), quantity(0.7, "bar"))
    >>> [round(settled_pressure(time=quantity(t, "hour"), vessel=held, **case).magnitude, 2) for t in (24, 240, 8766)]
    [1.45, 1.42, 1.36]
    """
    first = positive("start pressure", si(start, "bar", "start"))
    v = positive("volume", si(volume, "L", "volume"))
    ratio = between("bore over wall", bore_to_wall, 5.0, 30.0, "thin-wall formula")
    early = si(wall_modulus(time=since, temperature=temperature), "bar", "early modulus")
    late = si(wall_modulus(time=time, temperature=temperature), "bar", "late modulus")
    more = 0.0 if added is None else si(added, "L", "added")
    heat = min(max(si(temperature, "degC", "temperature"), 0.01), WATER_TABLE_END)
    water = si(water_modulus(temperature=quantity(heat, "degC")), "bar", "water modulus")
    gas = _gas(vessel)

    def surplus(p: float) -> float:
        """Room that the circuit has beyond its fluid, L; rises with p."""
        pipe = v * ratio * (p / late - first / early)
        return pipe + v * (p - first) / water - (gas(p) - gas(first)) - more

    return quantity(_rising_root(surplus, -0.99, 2.0 * first + 100.0), "bar")


def _gas(vessel: Charge | None) -> Callable[[float], float]:
    """Litres of gas at a pressure; never more than the vessel holds."""
    if vessel is None:
        return lambda _: 0.0
    nominal = positive("volume of the vessel", si(vessel.volume, "L", "volume"))
    charge = not_negative("pre-charge", si(vessel.precharge, "bar", "precharge")) + ATMOSPHERE_BAR
    return lambda p: min(nominal, nominal * charge / (p + ATMOSPHERE_BAR))


def _rising_root(rising: Callable[[float], float], low: float, high: float) -> float:
    if rising(low) > 0.0 or rising(high) < 0.0:
        raise NoSolution(
            what="the settled pressure", reason="so much fluid leaves or comes in that the circuit is empty or bursts."
        )
    for _ in range(80):
        middle = (low + high) / 2.0
        low, high = (middle, high) if rising(middle) < 0.0 else (low, middle)
    return (low + high) / 2.0


def _growth(base: Base, mass_fraction: Quantity, start: Quantity, end: Quantity) -> float:
    def density(at: Quantity, name: str) -> float:
        si(at, "degC", name)
        return si(mix_density(base=base, mass_fraction=mass_fraction, temperature=at), "kg/m^3", "density")

    return density(start, "start") / density(end, "end") - 1.0


def _ratio(precharge: Quantity, end: Quantity) -> float:
    """(p_e + 1) / (p_e - p_0): nominal volume per litre that must find room."""
    empty = not_negative("pre-charge", si(precharge, "bar", "precharge"))
    full = si(end, "bar", "end pressure")
    if full <= empty:
        raise NoSolution(
            what="the vessel", reason="the pre-charge is as high as the end pressure: use a higher relief pressure."
        )
    return (full + ATMOSPHERE_BAR) / (full - empty)
