"""Rows of golden/hydraulics.csv on friction, fittings, network, balance and purge: all of them run, here or elsewhere."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from calcs import fittings, friction, network, plant, purge
from calcs._darcy import swamee_jain
from calcs.friction import Law
from calcs.network import Branch, Branches, ParabolicPump, Solution
from calcs.plant import Bar, Manifold, Return
from calcs.units import quantity
from tests.calcs import golden_balance
from tests.calcs.golden_rows import Case, Found, case_id, check, rows

ROWS = rows("hydraulics")
# Pipe, fluid, heat: test_golden_hydraulics_fluid.py.
ELSEWHERE = {"HG19", "HG31", "HG32", "HG33", "HG35", "HG36", "HG37"}

WATER: dict[str, Any] = {"density": quantity(999.7026, "kg/m^3"), "viscosity": quantity(1.3061, "mm^2/s")}
PG25: dict[str, Any] = {"density": quantity(1025.81, "kg/m^3"), "viscosity": quantity(5.376295, "mm^2/s")}
LENGTHS = (150, 200, 250, 300)


def factor(re: float, rel: float, law: Law = Law.COLEBROOK) -> Found:
    return [float(friction.friction_factor(reynolds=re, relative_roughness=rel, law=law))]


def hg03() -> Found:
    # The row's library prints the constant as 6.97^0.9 (5.7397), EPANET as 5.74.
    return [float(swamee_jain(np.array([1e5]), np.array([1e-4]), 6.97**0.9)[0][0])]


def loops(lengths: Sequence[float], k: float = 4.0) -> list[Branch]:
    return [Branch(quantity(length, "m"), quantity(26.0, "mm"), fittings_k=k) for length in lengths]


def manifold(fluid: dict[str, Any], total: float, law: str = "colebrook") -> Found:
    found = network.solve(branches=loops(LENGTHS), total_flow=quantity(total, "L/s"), law=law, **fluid)
    return [*found.flows.to("L/s").magnitude.tolist(), found.manifold_drop.to("Pa").magnitude]


def hg11() -> Found:
    found = friction.pressure_drop(
        flow=quantity(0.2, "m^3/s"),
        length=quantity(500, "m"),
        bore=quantity(0.2, "m"),
        roughness=quantity(0.26, "mm"),
        density=quantity(900, "kg/m^3"),
        viscosity=quantity(1e-5, "m^2/s"),
    )
    head = found.pressure_drop.to("Pa").magnitude / (900 * 9.81)
    return [found.velocity.to("m/s").magnitude, found.reynolds, found.friction_factor, head]


def white() -> Solution:
    branches = Branches(
        length=quantity(np.array([100.0, 150.0, 80.0]), "m"),
        bore=quantity(np.array([8.0, 6.0, 4.0]), "cm"),
        fittings_k=np.zeros(3),
        roughness=quantity(np.array([0.24, 0.12, 0.20]), "mm"),
    )
    water: dict[str, Any] = {"density": quantity(1000, "kg/m^3"), "viscosity": quantity(1.02e-6, "m^2/s")}
    return network.solve(branches=branches, total_flow=quantity(99.8, "m^3/h"), **water)


def hg12() -> Found:
    flows = white().flows.to("m^3/h").magnitude.tolist()
    return [*flows, sum(flows)]


def hg13() -> Found:
    return [white().manifold_drop.to("Pa").magnitude / (1000 * 9.81)]


def hg20() -> Found:
    found = friction.pressure_drop(
        flow=quantity(0.30, "L/s"), length=quantity(1, "m"), bore=quantity(26.0, "mm"), **WATER
    )
    return [found.pressure_drop.to("Pa").magnitude, found.reynolds, found.friction_factor]


def hg23() -> Found:
    found = network.solve(branches=loops((100, 200), k=0.0), total_flow=quantity(0.2, "L/s"), **PG25)
    first, second = found.flows.magnitude
    return [first / second * 1.0]


def hg24() -> Found:
    worst = 0.0
    for count in (1, 2, 7, 60):
        found = network.solve(branches=loops([200] * count), total_flow=quantity(0.3 * count, "L/s"), **PG25)
        one = friction.pressure_drop(
            flow=quantity(0.3, "L/s"), length=quantity(200, "m"), bore=quantity(26, "mm"), fittings_k=4, **PG25
        )
        drop = (found.manifold_drop / one.pressure_drop).to("").magnitude
        worst = max(worst, float(np.max(np.abs(found.flows.to("L/s").magnitude / 0.3 - 1))), abs(drop - 1))
    return ["q = Q/N; dp of one" if worst <= 1e-12 else f"off by {worst}"]


def hg30() -> Found:
    found = network.solve_with_pump(
        branches=loops([200] * 3),
        pump=ParabolicPump(quantity(8, "m"), fall=quantity(4, "m"), flow_unit=quantity(3.6, "m^3/h")),
        header=[Branch(quantity(20, "m"), quantity(40.8, "mm"), fittings_k=6)] * 2,
        evaporator=(quantity(20, "kPa"), quantity(0.788, "L/s")),
        **PG25,
    )
    return [found.total_flow.to("L/s").magnitude, found.total_drop.to("Pa").magnitude / (1025.81 * 9.80665)]


def hg15() -> Found:
    bore = quantity(154, "mm")
    k = fittings.k_from_kv(kv=quantity(500, "m^3/h"), bore=bore)
    length = fittings.equivalent_length(k=k, bore=bore, friction_factor=0.015)
    return [k, (length / bore).to("").magnitude]


def hg18() -> Found:
    bore = quantity(102.26, "mm")
    tee = fittings.tee_converging(
        main_bore=bore, branch_bore=bore, main_flow=quantity(300, "gpm"), branch_flow=quantity(100, "gpm")
    )
    return [tee.branch, tee.run]


def ladder(returns: Return) -> Found:
    bar = Bar([Branch(quantity(6, "m"), quantity(51.4, "mm"))] * 11, returns)
    loop = Branch(quantity(200, "m"), quantity(26.2, "mm"), fittings_k=4)
    found = plant.solve(manifolds=[Manifold([loop] * 12, bar=bar)], total_flow=quantity(12 * 0.35, "L/s"), **PG25)
    return [1.0 + found.spread.low, 1.0 + found.spread.high]


def hg34() -> Found:
    flow = purge.flow_for(bore=quantity(26.0, "mm"), velocity=quantity(0.6, "m/s"))
    return [purge.velocity_of(flow=flow, bore=quantity(51.4, "mm")).to("m/s").magnitude]


CASES: dict[str, Case] = {
    "HG01": Case(lambda: factor(128, 0.0)),
    # Tolerances of friction factors are absolute: the values are printed to seven decimals or in full.
    "HG02": Case(lambda: factor(1e5, 1e-4), absolute=1e-10),
    "HG03": Case(hg03, absolute=1e-10),
    "HG04": Case(lambda: factor(1e5, 1e-4, Law.CHURCHILL), absolute=1e-10),
    "HG05": Case(lambda: factor(1e4, 0.0), absolute=1e-6),
    "HG06": Case(lambda: factor(1e5, 1e-3), absolute=1e-6),
    "HG07": Case(lambda: factor(2000, 1e-3, Law.EPANET), absolute=1e-12),
    "HG08": Case(lambda: factor(3000, 0.0, Law.EPANET), absolute=1e-6),
    "HG09": Case(lambda: factor(3000, 0.0, Law.CHURCHILL), absolute=1e-6),
    "HG10": Case(lambda: factor(3980, 0.0)),
    # "1 % f, 2 % head"; velocity and Reynolds number as printed.
    "HG11": Case(hg11, relative=[0.01, 0.01, 0.01, 0.02]),
    "HG12": Case(hg12, pick=[0, 1, 2, 3]),
    "HG13": Case(hg13),
    "HG14": Case(lambda: factor(100_600, 1.5e-6 / 0.0525)),
    "HG15": Case(hg15),
    "HG18": Case(hg18),
    "HG20": Case(hg20),
    "HG21": Case(lambda: manifold(WATER, 2.8)),
    # "1e-4 / 1e-3": flows, pressure.
    "HG22": Case(lambda: manifold(PG25, 1.4, "epanet"), relative=[1e-4, 1e-4, 1e-4, 1e-4, 1e-3]),
    "HG23": Case(hg23),
    "HG24": Case(hg24),
    "HG27": Case(lambda: [fittings.cv_from_kv(kv=quantity(1, "m^3/h")).to("gpm").magnitude]),
    "HG28": Case(lambda: ladder(Return.DIRECT)),
    "HG29": Case(lambda: ladder(Return.REVERSE)),
    "HG30": Case(hg30),
    "HG34": Case(hg34),
}
CASES |= golden_balance.CASES


@pytest.mark.parametrize("row_id", CASES, ids=[case_id(ROWS[key]) for key in CASES])
def test_row(row_id: str) -> None:
    check(ROWS[row_id], CASES[row_id], bare_is_relative=True)


def test_no_row_is_forgotten() -> None:
    assert set(CASES) | ELSEWHERE == set(ROWS)
    assert not set(CASES) & ELSEWHERE
