"""How a water-filled PE loop gives under pressure: modulus of wall and water, compliance, creep and temperature.

`bore_to_wall` is inside diameter over wall thickness, about SDR - 2 (8.8 for 40 x 3.7 mm).
"""

from __future__ import annotations

from math import exp, log

import numpy as np

from calcs._ranges import between, not_negative, positive
from calcs.sources import table
from calcs.units import Quantity, quantity, si

MULTI_AXIAL = 1.25
SHORT_TIME_EXPONENT = -0.08
SHORTEST_HOURS = 1.0 / 60.0
PPI = "PPI Handbook of PE Pipe 2nd ed., ch. 3 App. B"
WATER = "IAPWS-95, 0.01 to 30 degC"


def wall_modulus(*, time: Quantity, temperature: Quantity, grade: str = "pe4xxx") -> Quantity:
    """E = 1.25 E_uniaxial(t) m(T) in MPa: log-log between the table's times, t^-0.08 below half an hour.

    Range: 1 min to 50 years, -1.1 to 37.8 degC. Source: PPI Handbook 2nd ed. ch. 3 Table B.1.1 and its footnote on
    multi-axial stress (read); m(T) Table B.1.2 (memory, unconfirmed).

    >>> round(wall_modulus(time=quantity(0.5, "hour"), temperature=quantity(23, "degC")).magnitude)
    706
    """
    hours = between("time", si(time, "hour", "time"), SHORTEST_HOURS, 438300.0, PPI)
    rows = table("pe_modulus")
    times = [float(row["hours"]) for row in rows]
    values = [float(row[f"{grade}_mpa"]) for row in rows]
    if hours < times[0]:
        uniaxial = values[0] * (hours / times[0]) ** SHORT_TIME_EXPONENT
    else:
        uniaxial = exp(float(np.interp(log(hours), np.log(times), np.log(values))))
    return quantity(MULTI_AXIAL * uniaxial * _temperature_multiplier(temperature), "MPa")


def _temperature_multiplier(temperature: Quantity) -> float:
    rows = table("pe_temperature")
    heat = [float(row["fahrenheit"]) for row in rows]
    asked = between("wall temperature", si(temperature, "degF", "temperature"), heat[0], heat[-1], PPI)
    return float(np.interp(asked, heat, [float(row["multiplier"]) for row in rows]))


def water_modulus(*, temperature: Quantity) -> Quantity:
    """Isothermal bulk modulus of water at 1 atm in MPa, linear between the rows of `water_properties`.

    Range: 0.01 to 30 degC. Source: IAPWS-95 (computed).

    >>> round(water_modulus(temperature=quantity(10, "degC")).magnitude)
    2092
    """
    return quantity(1000.0 * _water("bulk_modulus_gpa_1atm", temperature), "MPa")


def water_expansion(*, temperature: Quantity) -> Quantity:
    """Volumetric expansion of water in 1/K at 5 bar; negative below 4 degC. Range: 0.01 to 30 degC.

    Source: IAPWS-95 (computed).

    >>> round(water_expansion(temperature=quantity(10, "degC")).magnitude * 1e6, 1)
    89.0
    """
    return quantity(1e-6 * _water("beta_1e6_per_k", temperature), "1/K")


def _water(column: str, temperature: Quantity) -> float:
    rows = table("water_properties")
    heat = [float(row["t_c"]) for row in rows]
    asked = between("water temperature", si(temperature, "degC", "temperature"), heat[0], heat[-1], WATER)
    return float(np.interp(asked, heat, [float(row[column]) for row in rows]))


def compliance(*, bore_to_wall: float, wall_modulus: Quantity, water_modulus: Quantity) -> Quantity:
    """C = 1/E_W + D/(e E_R), relative volume per pressure, in 1/Pa.

    Range: D/e 5 to 30 (SDR 7 to 32); thin-wall term good to 6 % for SDR 9 to 17. Source: EN 805:2000 A.27.4 (memory).

    >>> give = compliance(bore_to_wall=9, wall_modulus=quantity(800, "MPa"), water_modulus=quantity(2092, "MPa"))
    >>> round(give.to("1/bar").magnitude * 100, 2)
    0.12
    """
    ratio = between("bore over wall", bore_to_wall, 5.0, 30.0, "thin-wall formula")
    wall = positive("wall modulus", si(wall_modulus, "Pa", "wall modulus"))
    water = positive("water modulus", si(water_modulus, "Pa", "water modulus"))
    return quantity(1.0 / water + ratio / wall, "1/Pa")


def elastic_volume(*, volume: Quantity, pressure_change: Quantity, compliance: Quantity) -> Quantity:
    """dV = V dp C in L: water that goes in (or out) for a change of pressure, no air. Volume above 0.

    Source: definition of the compliance.

    >>> give = compliance(bore_to_wall=8.811, wall_modulus=quantity(1.2, "GPa"), water_modulus=quantity(2.09, "GPa"))
    >>> out = elastic_volume(volume=quantity(166.94, "L"), pressure_change=quantity(100, "kPa"), compliance=give)
    >>> round(out.to("mL").magnitude, 1)
    130.6
    """
    v = positive("volume", si(volume, "L", "volume"))
    return quantity(v * si(pressure_change, "Pa", "pressure change") * si(compliance, "1/Pa", "compliance"), "L")


def creep_volume(
    *, volume: Quantity, pressure: Quantity, bore_to_wall: float, early_modulus: Quantity, late_modulus: Quantity
) -> Quantity:
    """dV = V p (D/e) (1/E_late - 1/E_early) in L: what a loop under constant pressure takes as its wall creeps.

    Range: late modulus not above the early one. Source: as `compliance`.

    >>> more = creep_volume(volume=quantity(400, "L"), pressure=quantity(1.5, "bar"), bore_to_wall=8.81,
    ...     early_modulus=quantity(1.25 * 565, "MPa"), late_modulus=quantity(1.25 * 379, "MPa"))
    >>> round(more.magnitude, 3)
    0.367
    """
    early = positive("early modulus", si(early_modulus, "Pa", "early modulus"))
    late = between("late modulus", si(late_modulus, "Pa", "late modulus"), 1.0, early)
    v, p = positive("volume", si(volume, "L", "volume")), not_negative("pressure", si(pressure, "Pa", "pressure"))
    return quantity(v * p * positive("bore over wall", bore_to_wall) * (1.0 / late - 1.0 / early), "L")


def sealed_pressure(*, start: Quantity, time: Quantity, since: Quantity, grade: str = "pe4xxx") -> Quantity:
    """p = p_0 E(time) / E(since): pressure left in a sealed loop without vessel as its wall relaxes.

    Units: bar. Range: as `wall_modulus`, times counted from pressurising. Source: PPI Table B.1.1 (read).

    >>> left = sealed_pressure(start=quantity(62.5, "psi"), since=quantity(0.5, "hour"), time=quantity(100, "hour"))
    >>> round(left.to("psi").magnitude, 1)
    41.9
    """
    room = quantity(23.0, "degC")
    positive("time since", si(since, "hour", "time since"))
    late = wall_modulus(time=time, temperature=room, grade=grade)
    early = wall_modulus(time=since, temperature=room, grade=grade)
    share = si(late, "MPa", "late modulus") / si(early, "MPa", "early modulus")
    return quantity(si(start, "bar", "start pressure") * share, "bar")


def pressure_per_kelvin(*, water_expansion: Quantity, wall_expansion: Quantity, compliance: Quantity) -> Quantity:
    """dp/dT = (beta_w - 3 alpha) / C in kPa/K of a sealed water-filled free pipe: warming lowers the pressure.

    Multiply by the share of the loop that changes temperature. Range: pipe and water at one temperature. Source: volume
    balance; alpha of PE 1.3 to 1.8e-4 per K (ASME B31.9 and a generic data page, read).

    >>> give = compliance(bore_to_wall=8.811, wall_modulus=quantity(800, "MPa"), water_modulus=quantity(2092, "MPa"))
    >>> slope = pressure_per_kelvin(water_expansion=quantity(0.889e-4, "1/K"), wall_expansion=quantity(1.3e-4, "1/K"),
    ...     compliance=give)
    >>> round(slope.magnitude, 1)
    -26.2
    """
    water, wall = si(water_expansion, "1/K", "water expansion"), si(wall_expansion, "1/K", "wall expansion")
    give = positive("compliance", si(compliance, "1/kPa", "compliance"))
    return quantity((water - 3.0 * wall) / give, "kPa/K")


def leak_to_pressure(*, leak: Quantity, volume: Quantity, compliance: Quantity) -> Quantity:
    """dp/dt = -q / (V C) in kPa/h: what a leak reads as. Large loops hide leaks. Range: all above 0, leak 0 or more.

    Source: volume balance.

    >>> give = compliance(bore_to_wall=8.811, wall_modulus=quantity(886, "MPa"), water_modulus=quantity(2092, "MPa"))
    >>> fall = leak_to_pressure(leak=quantity(0.1, "L/hour"), volume=quantity(166.9, "L"), compliance=give)
    >>> round(fall.magnitude, 1)
    -57.5
    """
    q = not_negative("leak", si(leak, "L/hour", "leak"))
    v = positive("volume", si(volume, "L", "volume"))
    return quantity(-q / (v * positive("compliance", si(compliance, "1/kPa", "compliance"))), "kPa/hour")
