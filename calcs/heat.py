"""Heat carried by the loop, with its uncertainty, and what the pump takes to carry it.

Duty of the source, flow for a duty, measured heat; power, share and speed of the circulator; mean and steadiness of readings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from calcs._ranges import between, not_negative, positive
from calcs.errors import NoSolution, OutOfRange, WrongUnit
from calcs.fluid import Properties
from calcs.sources import Limit, Source, Status, limits, table
from calcs.units import Array, Quantity, quantity, si, si_array
from calcs.verdict import Cause, Figure, Outcome, Verdict, inside

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


@dataclass(frozen=True)
class Pumping:
    """What a circulator takes: hydraulic and electric power, energy of a year, and the share of the heating capacity."""

    hydraulic: Quantity
    electric: Quantity
    energy: Quantity
    share: float


@dataclass(frozen=True)
class Duty:
    """One operating point of a pump."""

    flow: Quantity
    head: Quantity
    power: Quantity


@dataclass(frozen=True)
class Mean:
    """Mean of n readings: `scatter` is the standard deviation of one, `u` the standard uncertainty of the mean."""

    value: Quantity
    scatter: Quantity
    u: Quantity
    n: int


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


def pumping_power(
    *, flow: Quantity, pressure_drop: Quantity, efficiency: float, heating: Quantity, run_time: Quantity
) -> Pumping:
    """P_hyd = Q dp; P_el = P_hyd / eta; share = P_el / heating capacity; energy of a year = P_el x hours run.

    Units: `efficiency` wire to water, `run_time` hours in a year (8760 h where the pump never stops). Range: efficiency
    above 0 to 1, at most 8784 h. Take flow and drop at the coldest fluid: that is when it costs most.
    Source: definition of the efficiency.

    >>> found = pumping_power(flow=quantity(0.788, "L/s"), pressure_drop=quantity(57.7, "kPa"), efficiency=0.3,
    ...     heating=quantity(12, "kW"), run_time=quantity(2400, "hour"))
    >>> round(found.electric.m_as("W")), round(100 * found.share, 1), round(found.energy.m_as("kWh"))
    (152, 1.3, 364)
    """
    eta = between("efficiency", efficiency, 1e-3, 1.0, "wire to water")
    drop = positive("pressure drop", si(pressure_drop, "Pa", "pressure drop"))
    water = positive("flow", si(flow, "m^3/s", "flow")) * drop
    hours = between("run time of a year, h", si(run_time, "hour", "run time"), 0.0, 8784.0, "a year")
    capacity = positive("heating capacity", si(heating, "W", "heating"))
    return Pumping(
        hydraulic=quantity(water, "W"),
        electric=quantity(water / eta, "W"),
        energy=quantity(water / eta * hours / 1e3, "kWh"),
        share=water / eta / capacity,
    )


def pump_efficiencies() -> dict[str, Limit]:
    """Wire-to-water efficiencies to reckon with while the pump's own sheet is not at hand (range: rows of the table).

    Source: each row of `calcs/data/pump_efficiency.csv`.

    >>> round(pump_efficiencies()["ari_330"].value, 3)
    0.236
    """
    return {
        row["rule"]: Limit(float(row["efficiency"]), "", Source(row["source"], Status(row["status"])))
        for row in table("pump_efficiency")
    }


def efficiency_of_penalty(*, power: Quantity, flow: Quantity, head: Quantity) -> float:
    """The wire-to-water efficiency behind a rule of so many watts per flow and head of water: rho g Q H / P.

    Units: any; water at 1000 kg/m3. Range: all above 0. Source: definition of the efficiency.

    >>> round(efficiency_of_penalty(power=quantity(0.8, "W"), flow=quantity(1, "gpm"), head=quantity(1, "ft")), 3)
    0.236
    """
    lifted = 1000.0 * 9.80665 * positive("flow", si(flow, "m^3/s", "flow")) * positive("head", si(head, "m", "head"))
    return lifted / positive("power", si(power, "W", "power"))


def judge_pumping(*, pumping: Pumping, u: Quantity | None = None) -> Verdict:
    """Whether the pump takes a reasonable share of the heating capacity: at most 2.5 %, the doubt of the power counted.

    Units: `u` the relative standard uncertainty of the electric power, 15 % unless measured. Range: as `pumping_power`.
    Source: house default after a UK installer standard that was not read (memory): never shown as its requirement.

    >>> found = pumping_power(flow=quantity(0.788, "L/s"), pressure_drop=quantity(57.7, "kPa"), efficiency=0.3,
    ...     heating=quantity(12, "kW"), run_time=quantity(2400, "hour"))
    >>> judge_pumping(pumping=found).outcome.value
    'pass'
    """
    rows = limits("house_limits", "pumping")
    limit = rows["share_limit"]
    part = rows["power_doubt"].value / 100.0 if u is None else not_negative("uncertainty", si(u, "", "u"))
    share = 100.0 * pumping.share
    figures = (Figure("pump power over heating capacity", share, "%", u=part * share, limit=limit.value),)
    outcome = inside(share, limit.value, u=part * share)
    if outcome is Outcome.PASS:
        return Verdict(outcome, "The pump takes a reasonable share.", figures=figures, source=limit.source)
    if outcome is Outcome.FAIL:
        reason = "The pump takes too much: look at flow, strength, pipe sizes and the pump."
        return Verdict(outcome, reason, Cause.FLOW, figures=figures, source=limit.source)
    return Verdict(
        outcome,
        "The power of the pump is not known well enough.",
        Cause.READINGS,
        figures=figures,
        source=limit.source,
        way_out="Read the pump's power on its display or a meter.",
    )


def at_speed(*, duty: Duty, ratio: float) -> Duty:
    """The same pump at another speed: flow x r, head x r^2, power x r^3, with r = new speed / old speed.

    Units: those of the duty. Range: 0.2 to 2; below half speed the power of a real motor falls less than this.
    Source: affinity laws; example 7.33 of Crane TP-410 (read).

    >>> full = Duty(quantity(400, "gpm"), quantity(126, "ft"), quantity(17.5, "hp"))
    >>> slow = at_speed(duty=full, ratio=1700 / 3500)
    >>> round(slow.flow.m_as("gpm"), 1), round(slow.head.m_as("ft"), 1), round(slow.power.m_as("hp"), 1)
    (194.3, 29.7, 2.0)
    """
    r = between("speed ratio", ratio, 0.2, 2.0, "affinity laws")
    return Duty(duty.flow * r, duty.head * r**2, duty.power * r**3)


def mean_of(*, readings: Quantity, u: Quantity | None = None) -> Mean:
    """Mean of n readings under like conditions: u^2 = s^2 / n + u_instrument^2.

    Reading again makes the scatter smaller, never the error of the instrument. Units: `readings` one quantity that wraps
    an array; `u` the instrument's standard uncertainty as a difference. Range: two readings or more.
    Source: JCGM 100:2008, 4.2.3 (memory).

    >>> found = mean_of(readings=quantity([3.0, 3.2, 3.1, 2.9], "L/s"))
    >>> round(found.value.magnitude, 2), round(found.u.magnitude, 3), found.n
    (3.05, 0.065, 4)
    """
    unit, difference = _units_of(readings)
    values = si_array(readings, unit, "readings")
    if len(values) < 2 or not np.all(np.isfinite(values)):
        raise OutOfRange(
            what="readings", value=len(values), low=2, high="any number", source="a mean of finite readings"
        )
    scatter = float(np.std(values, ddof=1))
    own = 0.0 if u is None else not_negative("uncertainty", si(u, difference, "u"))
    whole = math.hypot(scatter / math.sqrt(len(values)), own)
    mean = quantity(float(np.mean(values)), unit)
    return Mean(mean, quantity(scatter, difference), quantity(whole, difference), len(values))


def steadiness(
    *, times: Quantity, temperatures: Quantity, resolution: Quantity, limit: Quantity | None = None
) -> Verdict:
    """Whether a temperature stands still: the drift over the time watched, by a straight line, within a limit.

    Slope b by least squares; drift = |b| t, u by the larger of scatter about the line and the step of the thermometer.
    Units: arrays of times and temperatures, the step and limit as differences in kelvin (0.3 K unless given).
    Range: three readings or more over 10 min or more, times rising. Source: least squares; limit house default.

    >>> seen = steadiness(times=quantity([0, 5, 10, 15, 20], "min"), resolution=quantity(0.1, "kelvin"),
    ...     temperatures=quantity([-1.0, -1.1, -1.0, -1.0, -1.1], "degC"))
    >>> seen.outcome.value
    'pass'
    """
    rows = limits("house_limits", "steady")
    minutes, celsius = si_array(times, "min", "times"), si_array(temperatures, "degC", "temperatures")
    if len(minutes) != len(celsius) or not np.all(np.isfinite([*minutes, *celsius])) or np.any(np.diff(minutes) <= 0.0):
        raise OutOfRange(
            what="times", value=len(minutes), low=len(celsius), high=len(celsius), source="rising, one each"
        )
    step = positive("resolution", si(resolution, "kelvin", "resolution"))
    most = rows["drift"].value if limit is None else positive("limit", si(limit, "kelvin", "limit"))
    source, watched = rows["drift"].source, float(minutes[-1] - minutes[0]) if len(minutes) else 0.0
    again = f"Read on: three readings or more over {rows['minutes'].value:.0f} min."
    if len(minutes) < 3 or watched < rows["minutes"].value:
        short = "It was not watched for long enough."
        return Verdict(Outcome.CANNOT_TELL, short, Cause.DURATION, source=source, way_out=again)
    slope, u = _slope(minutes, celsius, step)
    figures = (Figure("drift", slope * watched, "K", u=u * watched, limit=most),)
    outcome = inside(abs(slope) * watched, most, u=u * watched)
    if outcome is Outcome.PASS:
        return Verdict(outcome, "The temperature stands still.", figures=figures, source=source)
    if outcome is Outcome.FAIL:
        reason = "The temperature still moves: what is read now is not the running state."
        return Verdict(outcome, reason, Cause.TEMPERATURE, figures=figures, source=source)
    reason = "The readings scatter too much to see whether it stands still."
    more = "Read more often, or with a finer thermometer."
    return Verdict(outcome, reason, Cause.READINGS, figures=figures, source=source, way_out=more)


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


def _units_of(readings: Quantity) -> tuple[str, str]:
    """The unit of readings and that of their differences: degrees on a scale differ by kelvins."""
    try:
        unit = str(readings.units)
    except AttributeError:
        raise WrongUnit(what="readings", value=repr(readings), needed="that of the instrument") from None
    if unit in {"degree_Celsius", "degree_Fahrenheit"}:
        return "degC", "kelvin"
    return ("kelvin", "kelvin") if str(readings.dimensionality) == "[temperature]" else (unit, unit)


def _slope(minutes: Array, values: Array, step: float) -> tuple[float, float]:
    """Least-squares slope and its standard uncertainty, never finer than the step of the reading allows."""
    apart = minutes - np.mean(minutes)
    square = float(np.sum(apart**2))
    slope = float(np.sum(apart * values)) / square
    left = values - np.mean(values) - slope * apart
    scatter = math.sqrt(float(np.sum(left**2)) / (len(values) - 2))
    return slope, max(scatter, step / math.sqrt(12.0)) / math.sqrt(square)


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
