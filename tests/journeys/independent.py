"""The main job worked out a second time, by other people's code: CoolProp for the fluid, EPANET for the network.

Nothing of `calcs` or `jobs` is imported. Inputs are what was ordered and typed; formulas are named where they stand.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from itertools import pairwise
from math import log, pi
from pathlib import Path

from CoolProp.CoolProp import PropsSI

from tests.calcs import epanet

ASHRAE = Path(__file__).resolve().parents[2] / "calcs" / "data" / "ashrae_freezing.csv"
LENGTHS_M = {"L1": 216.0, "L2": 224.0, "L3": 232.0, "L4": 240.0}
BORE_M = (40.0 - 2 * 3.7) / 1000
HEADER_BORE_M = (63.0 - 2 * 5.8) / 1000
HEADER_M, PLANT_L = 30.0, 15.0
TARGET_C = -15.0
FITTINGS_K, ROUGHNESS_M = 6.0, 7e-6


def area(bore_m: float) -> float:
    return pi / 4 * bore_m**2


def volume_l(code: str) -> float:
    """Litres of a loop, from its geometry."""
    return area(BORE_M) * LENGTHS_M[code] * 1000


def system_l() -> float:
    return sum(map(volume_l, LENGTHS_M)) + area(HEADER_BORE_M) * HEADER_M * 1000 + PLANT_L


def mass_fraction() -> float:
    """Inhibited propylene glycol that freezes at the target: ASHRAE Handbook Fundamentals 2001, straight between its rows.

    ASHRAE is the warmer of the published curves there (CoolProp's Melinder fit freezes a little colder), and rules.
    """
    lines = [line for line in ASHRAE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    rows = [
        (float(row["mass_pct"]), float(row["T_freeze_C"]))
        for row in csv.DictReader(lines)
        if row["fluid"] == "propylene_glycol"
    ]
    for (w0, t0), (w1, t1) in pairwise(rows):
        if t1 <= TARGET_C <= t0:
            return (w0 + (w1 - w0) * (TARGET_C - t0) / (t1 - t0)) / 100
    raise LookupError(TARGET_C)


def mix(what: str, celsius: float) -> float:
    """A property of the target mix by CoolProp: D kg/m3, C J/kg/K, V Pa s."""
    return float(PropsSI(what, "T", celsius + 273.15, "P", 101325, f"INCOMP::MPG[{mass_fraction():.6f}]"))


def concentrate_l() -> float:
    """Mass balance at 20 °C: the glycol of the whole system, out of drums of 96 % by mass and 1055 kg/m3."""
    glycol_kg = system_l() / 1000 * mix("D", 20) * mass_fraction()
    return glycol_kg / 0.96 / 1055 * 1000


def source_kw() -> float:
    """What the ground must give at B0/W35: heating less the compressor's share."""
    return 12.0 * (1 - 1 / 4.6)


def design_flow_l_min() -> float:
    return source_kw() * 1000 / (mix("D", 0) * mix("C", 0) * 3.0) * 60_000


@dataclass(frozen=True)
class Running:
    flows_l_min: dict[str, float]
    drop_kpa: float


def running(folder: Path) -> Running:
    """The four loops at the design flow by EPANET, and the pressure drop of the manifold."""
    star = epanet.Star(
        lengths=list(LENGTHS_M.values()),
        bores=[BORE_M] * 4,
        fittings_k=[FITTINGS_K] * 4,
        roughness=ROUGHNESS_M,
        viscosity=mix("V", 0) / mix("D", 0),
        total=design_flow_l_min() / 60_000,
    )
    answer = epanet.solve(star, folder)
    drop = answer.head * mix("D", 0) * epanet.EPANET_GRAVITY / 1000
    return Running({code: q * 60_000 for code, q in zip(LENGTHS_M, answer.flows, strict=True)}, drop)


def transit_s(code: str, flow_l_min: float) -> float:
    """Plug flow: volume over flow."""
    return volume_l(code) / flow_l_min * 60


def heat_w(flow_l_min: float, t_in: float, t_out: float) -> float:
    """Density and heat capacity by CoolProp at the mean temperature, times flow and difference."""
    mean = (t_in + t_out) / 2
    return flow_l_min / 60_000 * mix("D", mean) * mix("C", mean) * (t_in - t_out)


def creep_exponent(minutes: list[float], bars: list[float], loading_min: float) -> float:
    """Slope of log p over log corrected time (t + 0.4 t_L), from first to last: Type II lineage, UK water industry."""
    t0, t1 = minutes[0] + 0.4 * loading_min, minutes[-1] + 0.4 * loading_min
    return -log(bars[-1] / bars[0]) / log(t1 / t0)


def residual_air_l(drop_mm: float, bin_mm: float, bar: float) -> tuple[float, float]:
    """Boyle with the stretch of SDR 11 pipe taken off, for a short-time wall modulus of 1.2 and of 0.9 GPa.

    V_air = (A·Δh − V·Δp·(1/K + D/(e·E))) / (1 − p0/p1), pressures absolute; K of water 2.09 GPa (IAPWS-95).
    """
    taken = pi / 4 * (bin_mm / 100) ** 2 * drop_mm / 100
    volume = system_l() - PLANT_L
    low, high = (
        (taken - volume * bar * 1e5 * (1 / 2.09e9 + (32.6 / 3.7) / modulus)) / (1 - 1.01325 / (1.01325 + bar))
        for modulus in (0.9e9, 1.2e9)
    )
    return low, high
