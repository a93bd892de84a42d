"""Rows of golden/hydraulics.csv on valves, pumps and balancing; `test_golden_hydraulics` runs them."""

from __future__ import annotations

from calcs import balance, heat
from calcs.network import Branch
from calcs.units import quantity
from tests.calcs.golden_rows import Case, Found


def hg16() -> Found:
    # The drawing behind the 21 ft of friction is not in the row: what is checked is the way from head to power.
    lifted = heat.pumping_power(
        flow=quantity(100, "gpm"),
        pressure_drop=quantity(421, "ft") * quantity(1000 * 9.80665, "Pa/m"),
        efficiency=0.7,
        heating=quantity(100, "kW"),
        run_time=quantity(1, "hour"),
    )
    return [lifted.electric.m_as("hp")]


def hg17() -> Found:
    full = heat.Duty(quantity(400, "gpm"), quantity(126, "ft"), quantity(17.5, "hp"))
    slow = heat.at_speed(duty=full, ratio=1700 / 3500)
    return [slow.flow.m_as("gpm"), slow.head.m_as("ft"), slow.power.m_as("hp")]


def hg25() -> Found:
    found = balance.settings(
        loops=[Branch(quantity(m, "m"), quantity(26.0, "mm"), fittings_k=4) for m in (160, 180, 200, 220, 240, 280)],
        flows=balance.equal_flows(total=quantity(2.1, "L/s"), loops=6),
        density=quantity(1025.81, "kg/m^3"),
        viscosity=quantity(5.376295, "mm^2/s"),
        least_drop=quantity(3, "kPa"),
    )
    return [*found.flow_coefficients.m_as("m^3/hour").tolist(), found.common_drop.m_as("kPa")]


def hg26() -> Found:
    drops = [
        balance.valve_drop(
            flow=quantity(2.5, "m^3/hour"),
            flow_coefficient=quantity(5, "m^3/hour"),
            density=quantity(density, "kg/m^3"),
        )
        for density in (1000.0, 1025.8)
    ]
    return [drop.m_as("Pa") for drop in drops]


def hg38() -> Found:
    return [heat.efficiency_of_penalty(power=quantity(0.8, "W"), flow=quantity(1, "gpm"), head=quantity(1, "ft"))]


CASES: dict[str, Case] = {
    "HG16": Case(hg16, pick=[1]),
    # The power is printed to one decimal: 2.005 hp.
    "HG17": Case(hg17, relative=[0.002, 0.002, 0.025]),
    "HG25": Case(hg25),
    "HG26": Case(hg26),
    # An efficiency is printed to three decimals.
    "HG38": Case(hg38, absolute=1e-3),
}
