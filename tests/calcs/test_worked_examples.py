"""Published worked examples of pipe flow, run through our own functions: Crane TP-410 and White's *Fluid Mechanics*.

The answers of Crane TP-410 are those quoted from the book in the open documentation of the `fluids` library; figures of the
fittings that the examples take from the book's tables come from that library. Bar: 2 % (loss coefficients of a tee: 0.005).
Example 7-8 is left out: the printed answer is not explained by the printed data. White 6.18 is in `test_network`, pump affinity
(7-33) in the golden rows.
"""

from __future__ import annotations

from math import pi, sqrt
from typing import Any

import numpy as np
import pytest
from fluids.fittings import K_ball_valve_Crane, K_gate_valve_Crane, K_lift_check_valve_Crane, bend_rounded

from calcs import fittings, friction, network
from calcs.network import Branch, PointsPump
from calcs.units import quantity

PUBLISHED = 0.02
INCH = 0.0254


def drop(flow: Any, length: Any, bore: Any, **more: Any) -> friction.Drop:
    return friction.pressure_drop(flow=flow, length=length, bore=bore, **more)


def test_crane_7_1_smooth_plastic_pipe() -> None:
    # Water at 30 degC, 200 L/min in 20 m of 50 mm plastic pipe (bore 52.5 mm): Re 100 600, f 0.0179.
    water = {"density": quantity(995.65, "kg/m^3"), "viscosity": quantity(0.7973, "mPa*s")}
    found = drop(
        quantity(200, "L/min"), quantity(20, "m"), quantity(52.5, "mm"), roughness=quantity(1.5, "um"), **water
    )
    assert found.reynolds == pytest.approx(100_600, rel=PUBLISHED)
    assert found.friction_factor == pytest.approx(0.0179, rel=PUBLISHED)


def test_crane_7_2_kv_and_equivalent_length() -> None:
    # Globe valve, Kv 500 in 150 mm schedule 40 pipe: K 3.6, L/D 240, L 37.0 m.
    bore = quantity(154, "mm")
    k = fittings.k_from_kv(kv=quantity(500, "m^3/h"), bore=bore)
    length = fittings.equivalent_length(k=k, bore=bore, friction_factor=0.015)
    assert k == pytest.approx(3.6, rel=PUBLISHED)
    assert (length / bore).to("").magnitude == pytest.approx(240, rel=PUBLISHED)
    assert length.to("m").magnitude == pytest.approx(37.0, rel=PUBLISHED)


def test_crane_7_6_tank_through_pipe_elbows_and_ball_valve() -> None:
    """7 m of head through 60 m of 80 mm pipe, f 0.017 as in the book: 2.74 m/s, 781 L/min."""
    bore, factor, re = 0.07792, 0.017, 1.9e5
    relative = 3.7 * (10 ** (-0.5 / sqrt(factor)) - 2.51 / (re * sqrt(factor)))
    k = 0.5 + 1.0 + 6 * bend_rounded(bore, angle=90.0, fd=factor, bend_diameters=0.65)
    k += K_ball_valve_Crane(bore, 0.060, 22.5, fd=factor)
    pipe = Branch(quantity(60, "m"), quantity(bore, "m"), fittings_k=k, roughness=quantity(relative * bore, "m"))
    tank = PointsPump(quantity(np.array([0.0, 30.0]), "L/s"), quantity(np.array([7.0001, 6.9999]), "m"))
    water: dict[str, Any] = {"density": quantity(999.1, "kg/m^3"), "viscosity": quantity(1.138, "mPa*s")}
    found = network.solve_with_pump(branches=[pipe], pump=tank, **water)
    assert found.reynolds[0] == pytest.approx(re, rel=PUBLISHED)
    assert found.velocities[0].to("m/s").magnitude == pytest.approx(2.74, rel=PUBLISHED)
    assert found.total_flow.to("L/min").magnitude == pytest.approx(781, rel=PUBLISHED)


def test_crane_7_15_power_for_pumping() -> None:
    # Water at 70 degF, 100 gpm, 500 ft of 3 in schedule 40, 400 ft lift, efficiency 0.7: 421 ft, 15.2 hp.
    bore, reducer, flow = 3.068 * INCH, 2.469 * INCH, quantity(100, "gpm")
    water = {"density": quantity(62.298, "lb/ft^3"), "viscosity": quantity(0.95, "cP")}
    re = friction.reynolds(flow=flow, bore=quantity(bore, "m"), **water)
    k = 1.0 + K_gate_valve_Crane(bore, bore, 0.0) + K_lift_check_valve_Crane(reducer, bore, angled=False)
    k += 4 * bend_rounded(Di=bore, angle=90.0, Re=re, method="Crane standard")
    rough = quantity(0.0022, "inch")
    lost = drop(flow, quantity(500, "ft"), quantity(bore, "m"), fittings_k=k, roughness=rough, **water)
    head = quantity(400, "ft") + lost.pressure_drop / (water["density"] * quantity(9.80665, "m/s^2"))
    power = head * water["density"] * quantity(9.80665, "m/s^2") * flow / 0.7
    assert head.to("ft").magnitude == pytest.approx(421, rel=PUBLISHED)
    assert power.to("hp").magnitude == pytest.approx(15.2, rel=PUBLISHED)
    # The lift hides the pipe: what is lost in it is 21 ft in the book.
    assert head.to("ft").magnitude - 400 == pytest.approx(21, abs=1.0)


def test_crane_7_27_control_valve() -> None:
    # 250 gpm of condensate at 60.998 lb/ft3, 80.6 to 70.8 psi: Cv 79.94.
    bore, flow, density = 4.026 * INCH, quantity(250, "gpm").m_as("m^3/s"), quantity(60.998, "lb/ft^3").m_as("kg/m^3")
    lost = quantity(80.6 - 70.8, "psi").m_as("Pa")
    k = 2.0 * lost * (pi / 4 * bore**2) ** 2 / (density * flow**2)
    cv = fittings.cv_from_kv(kv=fittings.kv_from_k(k=k, bore=quantity(bore, "m")))
    assert cv.to("gpm").magnitude == pytest.approx(79.94, rel=PUBLISHED)


def test_crane_7_35_converging_tee() -> None:
    # 300 gpm straight and 100 gpm from the branch in a 4 in tee: K -0.042 and 0.325, head -0.067 and 0.513 ft.
    bore = quantity(4.026, "inch")
    tee = fittings.tee_converging(
        main_bore=bore, branch_bore=bore, main_flow=quantity(300, "gpm"), branch_flow=quantity(100, "gpm")
    )
    assert tee.branch == pytest.approx(-0.042, abs=0.005)
    assert tee.run == pytest.approx(0.325, abs=0.005)
    speed = quantity(400, "gpm").m_as("m^3/s") / (pi / 4 * bore.m_as("m") ** 2)
    feet = speed**2 / (2 * 9.80665) / 0.3048
    assert tee.branch * feet == pytest.approx(-0.067, rel=PUBLISHED)
    assert tee.run * feet == pytest.approx(0.513, rel=PUBLISHED)


def test_white_6_7_oil_in_cast_iron() -> None:
    # Oil of 900 kg/m3 and 1e-5 m2/s, 0.2 m3/s, 500 m of 200 mm, 0.26 mm rough: V 6.4 m/s, Re 128 000, f 0.0225, 117 m.
    found = drop(
        quantity(0.2, "m^3/s"),
        quantity(500, "m"),
        quantity(0.2, "m"),
        roughness=quantity(0.26, "mm"),
        density=quantity(900, "kg/m^3"),
        viscosity=quantity(1e-5, "m^2/s"),
    )
    assert found.velocity.to("m/s").magnitude == pytest.approx(6.4, rel=PUBLISHED)
    assert found.reynolds == pytest.approx(128_000, rel=PUBLISHED)
    assert found.friction_factor == pytest.approx(0.0225, rel=PUBLISHED)
    assert found.pressure_drop.m_as("Pa") / (900 * 9.81) == pytest.approx(117, rel=PUBLISHED)


def test_white_6_18_friction_factors() -> None:
    # Three pipes in parallel at 20.3 m of head: f 0.0267, 0.0246, 0.0313 (their flows are in `test_network`).
    rows = [(62.5, 0.08, 0.24e-3), (25.9, 0.06, 0.12e-3), (11.4, 0.04, 0.20e-3)]
    found = [
        friction.friction_factor(reynolds=4 * flow / 3600 / (pi * bore * 1.02e-6), relative_roughness=rough / bore)
        for flow, bore, rough in rows
    ]
    assert found == pytest.approx([0.0267, 0.0246, 0.0313], rel=PUBLISHED)
