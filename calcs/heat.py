"""Heat carried by the loop: duty of the source, flow for a duty, measured heat with its uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from calcs._ranges import between, not_negative, positive
from calcs.errors import NoSolution, OutOfRange, WrongUnit
from calcs.fluid import Properties
from calcs.sources import Source, Status, limits
from calcs.units import Quantity, quantity, si
from calcs.verdict import Cause, Figure, Outcome, Verdict

COVERAGE: Final = 2.0
WIDEST_SPREAD: Final = 50.0
LAMINAR: Final = 2300.0
TURBULENT: Final = 4000.0
LAMINAR_NUSSELT: Final = 4.36
GUM: Final = Source("JCGM 100:2008, 5.1.6", Status.MEMORY)


@dataclass(frozen=True)
class Heat:
    """Heat carried by a flow; positive when it is taken from the ground. `expanded` is 2 u; `relative` is 2 u / |duty|."""

    duty: Quantity
    u: Quantity
    expanded: Quantity
    relative: float


def source_duty(*, heating: Quantity, cop: float) -> Quantity:
    """What the ground gives while the heat pump delivers `heating`.

    Q_source = Q (1 - 1 / COP), losses and pump heat left out. Units: any power; watts out. Range: COP above 1.
    Source: energy balance.

    >>> print(f"{source_duty(heating=quantity(12, 'kW'), cop=4.6):.0f~P}")
    9391 W
    """
    if not 1.0 < cop < math.inf:
        raise OutOfRange(what="COP", value=cop, low="more than 1", high="any finite value", source="energy balance")
    return quantity(positive("heating power", si(heating, "W", "heating")) * (1.0 - 1.0 / cop), "W")


def flow_for(*, duty: Quantity, spread: Quantity, properties: Properties) -> Quantity:
    """The flow that carries a duty at a temperature spread.

    V = Q / (rho cp dT). Units: power, kelvin (a difference, never degC); L/s out. Range: duty above 0, spread above 0
    to 50 K, else `OutOfRange`. Source: energy balance.

    >>> from calcs.fluid import Base, properties as of
    >>> mix = of(base=Base.ETHYLENE_GLYCOL, mass_fraction=quantity(30.5, "percent"), temperature=quantity(0, "degC"))
    >>> print(f"{flow_for(duty=quantity(9, 'kW'), spread=quantity(3, 'K'), properties=mix):.4f~P}")
    0.7865 l/s
    """
    watts = positive("duty", si(duty, "W", "duty"))
    kelvins = _spread(si(spread, "K", "spread"))
    return quantity(watts / (_rho_cp(properties) * kelvins) * 1e3, "L/s")


def spread_for(*, duty: Quantity, flow: Quantity, properties: Properties) -> Quantity:
    """The temperature spread that a flow must have to carry a duty; inverse of `flow_for`.

    dT = Q / (rho cp V). Units: K out. Range: duty and flow above 0. Source: energy balance.

    >>> from calcs.fluid import Base, properties as of
    >>> mix = of(base=Base.ETHYLENE_GLYCOL, mass_fraction=quantity(30.5, "percent"), temperature=quantity(0, "degC"))
    >>> print(f"{spread_for(duty=quantity(9, 'kW'), flow=quantity(0.7135, 'L/s'), properties=mix):.2f~P}")
    3.31 K
    """
    watts = positive("duty", si(duty, "W", "duty"))
    return quantity(watts / (_rho_cp(properties) * positive("flow", si(flow, "m^3/s", "flow"))), "K")


def standard_uncertainty(*, limit: Quantity) -> Quantity:
    """The standard uncertainty of an instrument known by its error limit ±a.

    u = a / sqrt(3) (rectangular distribution). Units: those of the limit. Range: 0 or more.
    Source: JCGM 100:2008, 4.3.7 (memory).

    >>> print(f"{standard_uncertainty(limit=quantity(2, 'percent')):.3f~P}")
    1.155 %
    """
    try:
        bare, unit = float(limit.magnitude), str(limit.units)
    except AttributeError:
        raise WrongUnit(what="error limit", value=repr(limit), needed="that of the instrument") from None
    return quantity(not_negative("error limit", bare) / math.sqrt(3.0), unit)


def pair_uncertainty(*, limit_each: Quantity) -> Quantity:
    """The standard uncertainty of the difference of two thermometers, each with error limit ±a.

    u = sqrt(2) a / sqrt(3). Units: kelvin (a difference). Range: 0 to 10 K. Source: JCGM 100:2008, 5.1 (memory).

    >>> print(f"{pair_uncertainty(limit_each=quantity(0.15, 'K')):.4f~P}")
    0.1225 K
    """
    each = between("error limit of a thermometer, K", si(limit_each, "K", "limit_each"), 0.0, 10.0)
    return quantity(math.sqrt(2.0 / 3.0) * each, "K")


def heat_from_flow(  # noqa: PLR0913 - three readings, the fluid, three uncertainties
    *,
    flow: Quantity,
    t_in: Quantity,
    t_out: Quantity,
    properties: Properties,
    u_flow: Quantity,
    u_pair: Quantity,
    u_heat_capacity: Quantity | None = None,
) -> Heat:
    """The heat a flow carries, with its uncertainty; in and out are relative to the heat pump.

    Q = rho cp V (t_in - t_out); (u_Q/Q)^2 = (u_V/V)^2 + (u_dT/dT)^2 + (u_rc/rc)^2; U = 2 u.
    Units: `u_flow` and `u_heat_capacity` relative standard uncertainties (percent), `u_pair` the standard uncertainty of
    the difference in kelvin. Left out, rho cp counts as known within ±2 % (house default).
    Range: flow above 0; a difference up to 50 K that is not 0 (`NoSolution`). Source: JCGM 100:2008, 5.1.6 (memory).

    >>> from calcs.fluid import Base, properties as of
    >>> mix = of(base=Base.PROPYLENE_GLYCOL, mass_fraction=quantity(25, "percent"), temperature=quantity(0, "degC"))
    >>> heat = heat_from_flow(flow=quantity(0.788, "L/s"), t_in=quantity(0, "degC"), t_out=quantity(-3, "degC"),
    ...     properties=mix, u_flow=standard_uncertainty(limit=quantity(2, "percent")),
    ...     u_pair=pair_uncertainty(limit_each=quantity(0.15, "K")))
    >>> print(f"{heat.duty:.0f~P} ± {100 * heat.relative:.1f} %")
    9390 W ± 8.8 %
    """
    difference = si(t_in, "degC", "t_in") - si(t_out, "degC", "t_out")
    if difference == 0.0:
        raise NoSolution(
            what="the heat", reason="both thermometers read the same. Let the heat pump run and read again."
        )
    _spread(abs(difference))
    duty = _rho_cp(properties) * positive("flow", si(flow, "m^3/s", "flow")) * difference
    u_rc = _default_heat_capacity() if u_heat_capacity is None else si(u_heat_capacity, "", "u_heat_capacity")
    shares = (
        not_negative("uncertainty of the flow", si(u_flow, "", "u_flow")),
        not_negative("uncertainty of the difference", si(u_pair, "K", "u_pair")) / difference,
        not_negative("uncertainty of the heat capacity", u_rc),
    )
    relative = math.hypot(*shares)
    u = abs(duty) * relative
    return Heat(quantity(duty, "W"), quantity(u, "W"), quantity(COVERAGE * u, "W"), COVERAGE * relative)


def heat_balance(*, measured: Heat, expected: Quantity, expanded_expected: Quantity | None = None) -> Verdict:
    """Whether the measured heat agrees with what the heat pump should draw.

    Pass when |Q_m - Q_e| <= sqrt(U_m^2 + U_e^2), else fail; cannot tell when U_m is above 20 % of the heat.
    Units: watts; U_e is 10 % of the expected heat unless given. Range: expected above 0. Source: house default;
    En criterion of comparison measurements.

    >>> heat = Heat(quantity(9390, "W"), quantity(413, "W"), quantity(826, "W"), 0.088)
    >>> heat_balance(measured=heat, expected=quantity(9391, "W")).outcome.value
    'pass'
    """
    rules = limits("fluid_limits", "heat")
    duty, target = si(measured.duty, "W", "measured"), positive("expected heat", si(expected, "W", "expected"))
    share = rules["expected_duty_limit"].value / 100
    u_expected = share * target if expanded_expected is None else si(expanded_expected, "W", "expanded_expected")
    room = math.hypot(si(measured.expanded, "W", "measured"), not_negative("expanded uncertainty", u_expected))
    figures = (
        Figure("measured heat", duty, "W", si(measured.u, "W", "u"), target),
        Figure("accepted difference", room, "W"),
    )
    outcome, reason = _judged(duty, target, room)
    cause = Cause.NONE if outcome is Outcome.PASS else Cause.FLOW
    way_out = ""
    if measured.relative > rules["inconclusive_above"].value / 100:
        outcome, cause = Outcome.CANNOT_TELL, Cause.READINGS
        reason = f"The measured heat is uncertain by {100 * measured.relative:.0f} %."
        way_out = "Measure again with a matched pair of thermometers and a flow meter for this fluid."
    return Verdict(outcome, reason, cause, figures=figures, source=rules["expected_duty_limit"].source, way_out=way_out)


def convective_resistance(*, flow: Quantity, bore: Quantity, properties: Properties, legs: int = 1) -> Quantity:
    """Thermal resistance between fluid and pipe wall, per metre of probe, with `legs` pipes side by side.

    R = 1 / (legs pi D h), h = Nu k / D. Nu = 4.36 below Re 2300; Gnielinski from 4000 with f = (0.79 ln Re - 1.64)^-2;
    a straight line in Re between. Units: K m/W out. Range: flow above 0, Re to 5e6; fully developed, constant flux.
    Source: Gnielinski 1976, Petukhov's friction factor (memory).

    >>> from calcs.fluid import Base, properties as of
    >>> mix = of(base=Base.ETHYLENE_GLYCOL, mass_fraction=quantity(30.5, "percent"), temperature=quantity(0, "degC"))
    >>> r = convective_resistance(flow=quantity(0.1966, "L/s"), bore=quantity(32.6, "mm"), properties=mix, legs=2)
    >>> print(f"{r.to('mK m/W'):.1f~P}")
    82.2 m·mK/W
    """
    if legs < 1:
        raise OutOfRange(what="number of pipes side by side", value=legs, low=1, high="any", source="geometry")
    d = positive("bore", si(bore, "m", "bore"))
    v = positive("flow", si(flow, "m^3/s", "flow"))
    nu = si(properties.kinematic_viscosity, "m^2/s", "viscosity")
    re = between("Reynolds number", 4 * v / (math.pi * d * nu), 0.0, 5e6, "Gnielinski 1976")
    k = si(properties.conductivity, "W/m/K", "conductivity")
    return quantity(1.0 / (legs * math.pi * _nusselt(re, properties.prandtl) * k), "K*m/W")


def _nusselt(re: float, prandtl: float) -> float:
    if re <= LAMINAR:
        return LAMINAR_NUSSELT
    if re >= TURBULENT:
        return _gnielinski(re, prandtl)
    share = (re - LAMINAR) / (TURBULENT - LAMINAR)
    return LAMINAR_NUSSELT + share * (_gnielinski(TURBULENT, prandtl) - LAMINAR_NUSSELT)


def _gnielinski(re: float, prandtl: float) -> float:
    eighth = (0.79 * math.log(re) - 1.64) ** -2 / 8
    return eighth * (re - 1000) * prandtl / (1 + 12.7 * math.sqrt(eighth) * (math.cbrt(prandtl) ** 2 - 1))


def _judged(duty: float, target: float, room: float) -> tuple[Outcome, str]:
    apart = duty - target
    if abs(apart) <= room:
        return Outcome.PASS, f"Measured {duty / 1e3:.2f} kW agrees with the expected {target / 1e3:.2f} kW."
    side = "more" if apart > 0 else "less"
    return Outcome.FAIL, f"Measured {duty / 1e3:.2f} kW is {abs(apart) / 1e3:.2f} kW {side} than expected."


def _default_heat_capacity() -> float:
    return limits("fluid_limits", "heat")["heat_capacity_limit"].value / 100 / math.sqrt(3.0)


def _rho_cp(properties: Properties) -> float:
    rho, cp = si(properties.density, "kg/m^3", "density"), si(properties.heat_capacity, "J/kg/K", "heat capacity")
    return positive("density", rho) * positive("heat capacity", cp)


def _spread(kelvins: float) -> float:
    if not 0.0 < kelvins <= WIDEST_SPREAD:
        raise OutOfRange(
            what="temperature spread",
            value=f"{kelvins:g} K",
            low="more than 0",
            high=f"{WIDEST_SPREAD:g} K",
            source="a difference, not a temperature",
        )
    return kelvins
