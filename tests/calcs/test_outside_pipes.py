"""Pipe tables from geometry, the friction law against `fluids` and measured pipe, and printed worked examples."""

from __future__ import annotations

import math
from decimal import ROUND_CEILING, Decimal
from typing import Any

import numpy as np
import pytest
from fluids.friction import Colebrook, oregon_smooth_data
from fluids.piping import schedule_lookup
from numpy.polynomial.polynomial import Polynomial

from calcs.friction import Law, friction_factor, pressure_drop, reynolds
from calcs.network import Branch, ParabolicPump, solve, solve_with_pump
from calcs.pipe import metric_pipes, pipe
from calcs.purge import flow_for, velocity_of
from calcs.sources import table
from calcs.units import quantity

METRIC, INCH, CROSS = table("pipe_pe_metric"), table("pipe_pe_ips"), table("pipe_pexa")


def litres(bore_mm: float) -> float:
    return math.pi / 4.0 * (bore_mm / 100.0) ** 2 * 10.0


@pytest.mark.parametrize("row", METRIC, ids=lambda row: f"{row['od_mm']}x{row['e_min_mm']}")
def test_metric_row_is_its_own_geometry(row: dict[str, str]) -> None:
    od, wall, bore = (float(row[key]) for key in ("od_mm", "e_min_mm", "id_mm"))
    assert bore == pytest.approx(od - 2 * wall, abs=1e-9)
    assert float(row["litre_per_m"]) == pytest.approx(litres(bore), abs=6e-5)
    found = pipe(od=quantity(od, "mm"), wall=quantity(wall, "mm"))
    assert found.bore.m_as("mm") == pytest.approx(bore)
    assert found.volume_per_metre.m_as("L/m") == pytest.approx(litres(bore))
    assert found.sdr is not None


@pytest.mark.parametrize("row", CROSS, ids=lambda row: f"{row['od_mm']}x{row['e_min_mm']}")
def test_cross_linked_row_is_its_own_geometry(row: dict[str, str]) -> None:
    od, wall, bore = (float(row[key]) for key in ("od_mm", "e_min_mm", "id_mm"))
    assert bore == pytest.approx(od - 2 * wall, abs=1e-9)
    assert float(row["litre_per_m"]) == pytest.approx(litres(bore), abs=6e-4)
    assert row["status"] == "memory"


@pytest.mark.parametrize("row", INCH, ids=lambda row: f"{row['nps_in']} DR {row['dr']}")
def test_inch_row_is_its_own_geometry(row: dict[str, str]) -> None:
    od, bore = float(row["od_mm"]), float(row["id_mm"])
    # The bore is printed to 0.01 mm, the litres to 0.001 of the exact one.
    assert float(row["litre_per_m"]) == pytest.approx(litres(bore), abs=5e-4 + math.pi / 2 * bore * 0.005e-3 + 1e-6)
    # Outside diameters of IPS pipe are those of steel pipe: exact inches.
    if row["od_in"]:
        assert od == pytest.approx(25.4 * float(row["od_in"]), abs=0.006)
    if row["min_wall_in"]:
        wall = float(row["min_wall_in"])
        assert bore == pytest.approx(25.4 * (float(row["od_in"]) - 2 * wall), abs=0.006)
        # ASTM D3035: least wall = od / DR, never under 0.062 in, to 0.001 in.
        assert wall == pytest.approx(max(float(row["od_in"]) / float(row["dr"]), 0.062), abs=0.0011)


@pytest.mark.parametrize("row", [r for r in INCH if r["dr"] == "11"], ids=lambda row: str(row["nps_in"]))
def test_inch_bores_are_those_of_an_independent_table(row: dict[str, str]) -> None:
    # ASTM F2619 as held by the `fluids` library, schedule DR11F2619IPS (in mm there).
    names, bores, ods, walls = schedule_lookup["DR11F2619IPS"][:4]
    at = list(names).index(sum(_fraction(part) for part in row["nps_in"].split()))
    assert float(row["id_mm"]) == pytest.approx(bores[at], abs=0.02)
    assert float(row["od_mm"]) == pytest.approx(ods[at], abs=0.01)
    assert float(row["min_wall_mm"]) == pytest.approx(walls[at], abs=0.01)


def _fraction(text: str) -> float:
    over, _, under = text.partition("/")
    return float(over) / float(under or 1)


def test_greatest_wall_rule_has_one_exception() -> None:
    # e_max = e_min + roundup(0.1 e_min + 0.1 mm, 0.1): ISO 11922-1 grade V; 40 mm SDR 13.6 is read as 3.5 instead of 3.4.
    apart = {}
    for row in METRIC:
        if row["e_max_mm"]:
            least = Decimal(row["e_min_mm"])
            more = (least / 10 + Decimal("0.1")).quantize(Decimal("0.1"), rounding=ROUND_CEILING)
            if least + more != Decimal(row["e_max_mm"]):
                apart[row["sdr"], row["od_mm"]] = float(Decimal(row["e_max_mm"]) - least - more)
    assert apart == {("13.6", "40"): pytest.approx(0.1)}


def test_all_rows_are_offered_once() -> None:
    offered = metric_pipes()
    assert len(offered) == len(METRIC) + len(INCH) + len(CROSS)
    assert len({row.label for row in offered if row.material != "PE 100"}) == len(INCH) + len(CROSS)
    assert all(0 < 2 * row.wall_mm < row.od_mm for row in offered)


@pytest.mark.parametrize("relative", [0.0, 1e-6, 1e-5, 2.7e-4, 1e-3, 1e-2, 0.05])
def test_colebrook_equals_the_independent_solution(relative: float) -> None:
    # `fluids.Colebrook` solves the same equation with the Lambert W function (tol=-1: exact form).
    for re in np.geomspace(4000.0, 1e8, 25).tolist():
        ours = friction_factor(reynolds=re, relative_roughness=relative)
        assert ours == pytest.approx(Colebrook(re, relative), rel=1e-9)


@pytest.mark.parametrize("relative", [0.0, 1e-4, 1e-3])
@pytest.mark.parametrize(("law", "most"), [(Law.EPANET, 0.03), (Law.CHURCHILL, 0.025)])
def test_explicit_laws_stay_near_colebrook(relative: float, law: Law, most: float) -> None:
    # Hydraulics reference, section 2: Swamee-Jain and Churchill at most +2 % at Re 4000, less than that to 2e5.
    re = np.geomspace(4000.0, 2e5, 60)
    ours = friction_factor(reynolds=re, relative_roughness=relative, law=law)
    theirs = np.array([Colebrook(float(each), relative) for each in re])
    assert np.max(np.abs(ours / theirs - 1.0)) < most


def measured(low: float, high: float) -> tuple[np.ndarray, np.ndarray]:
    pairs = [(re, f) for re, f in oregon_smooth_data_pairs() if low <= re < high]
    return np.array([re for re, _ in pairs]), np.array([f for _, f in pairs])


def oregon_smooth_data_pairs() -> list[tuple[float, float]]:
    """59 points of one laboratory smooth pipe, shipped with `fluids` as Reynolds numbers and Darcy factors."""
    re, factor = oregon_smooth_data
    return list(zip(re, factor, strict=True))


# Hydraulics reference, section 2: how far each law lies from the measured points, by Reynolds number.
@pytest.mark.parametrize(
    ("low", "high", "law", "points", "mean", "worst"),
    [
        (2300.0, 3000.0, Law.EPANET, 7, -0.05, 0.21),
        (2300.0, 3000.0, Law.COLEBROOK, 7, -0.05, 0.21),
        (2300.0, 3000.0, Law.CHURCHILL, 7, 0.24, 0.51),
        (3000.0, 4000.0, Law.COLEBROOK, 4, -0.12, 0.22),
        (3000.0, 4000.0, Law.CHURCHILL, 4, 0.04, 0.12),
    ],
)
def test_laws_against_the_measured_pipe(
    low: float, high: float, law: Law, points: int, mean: float, worst: float
) -> None:
    re, factor = measured(low, high)
    assert len(re) == points
    apart = np.asarray(friction_factor(reynolds=re, relative_roughness=0.0, law=law)) / factor - 1.0
    assert float(np.mean(apart)) == pytest.approx(mean, abs=0.015)
    assert float(np.max(np.abs(apart))) <= worst


@pytest.mark.parametrize("law", list(Law))
def test_above_ten_thousand_all_laws_are_within_five_percent_of_the_measured_pipe(law: Law) -> None:
    re, factor = measured(1e4, 1e5)
    assert len(re) >= 5
    apart = np.asarray(friction_factor(reynolds=re, relative_roughness=0.0, law=law)) / factor - 1.0
    assert np.max(np.abs(apart)) < 0.05


def test_laminar_points_of_the_measured_pipe() -> None:
    re, factor = measured(0.0, 1500.0)
    assert len(re) > 5
    apart = np.asarray(friction_factor(reynolds=re, relative_roughness=0.0)) / factor - 1.0
    assert abs(float(np.mean(apart))) < 0.05


def test_there_are_59_measured_points() -> None:
    assert len(oregon_smooth_data_pairs()) == 59


@pytest.mark.parametrize("relative", [0.0, 2.7e-4, 5e-3, 0.05])
def test_product_law_has_no_step_and_no_kink(relative: float) -> None:
    """Value and slope meet at Re 2000 and 4000, so that every drop has one flow."""
    for joint in (2000.0, 4000.0):
        before, at, after = (
            float(friction_factor(reynolds=joint + step, relative_roughness=relative)) for step in (-0.5, 0.0, 0.5)
        )
        assert after - at == pytest.approx(at - before, abs=2e-7)


class TestPrinted:
    """Worked examples in print; the tolerance is 2 % where the book reads a chart."""

    def test_white_6_7(self) -> None:
        # White, Fluid Mechanics, example 6.7: oil 0.2 m3/s, 500 m of 200 mm cast iron, e 0.26 mm, nu 1e-5, rho 900.
        oil: dict[str, Any] = {"density": quantity(900, "kg/m^3"), "viscosity": quantity(1e-5, "m^2/s")}
        drop = pressure_drop(
            flow=quantity(0.2, "m^3/s"),
            length=quantity(500, "m"),
            bore=quantity(200, "mm"),
            roughness=quantity(0.26, "mm"),
            **oil,
        )
        assert drop.velocity.m_as("m/s") == pytest.approx(6.4, rel=0.02)
        assert drop.reynolds == pytest.approx(128000, rel=0.02)
        assert drop.friction_factor == pytest.approx(0.0225, rel=0.02)
        assert drop.pressure_drop.m_as("Pa") / (900 * 9.81) == pytest.approx(116.2, rel=0.02)

    @pytest.mark.parametrize(("at", "hour", "factor"), [(0, 62.5, 0.0267), (1, 25.9, 0.0246), (2, 11.4, 0.0313)])
    def test_white_6_18(self, at: int, hour: float, factor: float) -> None:
        # White, example 6.18: three pipes between the same ends, 20.3 m of water lost, total 99.8 m3/h.
        water: dict[str, Any] = {"density": quantity(1000, "kg/m^3"), "viscosity": quantity(1.02e-6, "m^2/s")}
        sizes = [(100, 80, 0.24), (150, 60, 0.12), (80, 40, 0.20)]
        pipes = [
            Branch(quantity(run, "m"), quantity(bore, "mm"), roughness=quantity(rough, "mm"))
            for run, bore, rough in sizes
        ]
        found = solve(branches=pipes, total_flow=quantity(99.8, "m^3/hour"), **water)
        assert found.flows.m_as("m^3/hour")[at] == pytest.approx(hour, rel=0.02)
        assert found.manifold_drop.m_as("Pa") / (1000 * 9.81) == pytest.approx(20.3, rel=0.02)
        _, bore, rough = sizes[at]
        f = friction_factor(reynolds=float(found.reynolds[at]), relative_roughness=rough / bore)
        assert f == pytest.approx(factor, rel=0.02)

    def test_crane_7_1_smooth_pipe(self) -> None:
        # Crane TP-410, example 7-1: water at 30 degC, 200 L/min in 50 mm plastic pipe (bore 52.5 by its Reynolds number).
        flow, nu = quantity(200, "L/min"), quantity(0.8007, "mm^2/s")
        assert reynolds(flow=flow, bore=quantity(52.5, "mm"), viscosity=nu) == pytest.approx(100600, rel=0.02)
        assert friction_factor(reynolds=100600.0, relative_roughness=0.0) == pytest.approx(0.0179, rel=0.02)

    def test_crane_7_2_length_of_a_loss(self) -> None:
        # Crane TP-410, example 7-2: K 3.6 equals 37.0 m of 154 mm pipe at f 0.015 (L/D 240): one drop with K, one with L.
        big: dict[str, Any] = {
            "bore": quantity(154, "mm"),
            "density": quantity(998, "kg/m^3"),
            "viscosity": quantity(1e-8, "m^2/s"),
        }
        rough = quantity(0.154 * _roughness_of(0.015), "m")
        flow = quantity(100, "L/s")
        by_k = pressure_drop(flow=flow, length=quantity(0, "m"), fittings_k=3.6, roughness=rough, **big)
        by_length = pressure_drop(flow=flow, length=quantity(37.0, "m"), roughness=rough, **big)
        assert by_length.pressure_drop.m_as("Pa") == pytest.approx(by_k.pressure_drop.m_as("Pa"), rel=0.02)

    @pytest.mark.parametrize(
        ("od", "wall", "litres_per_minute"),
        [(25, 2.3, 11.8), (32, 3.0, 19.1), (40, 3.7, 30.0), (50, 4.6, 47.1), (63, 5.8, 74.7), (90, 8.2, 153.2)],
    )
    def test_purge_flow_and_back(self, od: float, wall: float, litres_per_minute: float) -> None:
        # Pressure and purge reference, section 4.2: litres a minute at 0.6 m/s.
        bore = pipe(od=quantity(od, "mm"), wall=quantity(wall, "mm")).bore
        flow = flow_for(bore=bore, velocity=quantity(0.6, "m/s"))
        assert flow.m_as("L/min") == pytest.approx(litres_per_minute, rel=0.005)
        assert velocity_of(flow=flow, bore=bore).m_as("m/s") == pytest.approx(0.6)


def _roughness_of(factor: float) -> float:
    """Roughness over bore of rough flow: 1/sqrt f = -2 log10(e / 3.7), the end of Colebrook for high Re."""
    return float(3.7 * 10.0 ** (-0.5 / math.sqrt(factor)))


def test_pump_and_system_meet_where_a_polynomial_says() -> None:
    """Laminar system, parabolic pump: a quadratic with one positive root, solved by numpy."""
    rho, nu, length, bore = 1025.81, 5.376295e-6, 150.0, 0.0408
    slope = 128 * rho * nu * length / (math.pi * bore**4)
    unit, head = 3.6 / 3600, rho * 9.80665
    pump = ParabolicPump(quantity(0.5, "m"), quantity(9.0, "m"), quantity(3.6, "m^3/hour"))
    found = solve_with_pump(
        branches=[Branch(quantity(length, "m"), quantity(bore, "m"))],
        pump=pump,
        density=quantity(rho, "kg/m^3"),
        viscosity=quantity(nu, "m^2/s"),
    )
    roots = Polynomial([0.5 * head, -slope, -9.0 * head / unit**2]).roots()
    assert float(found.reynolds[0]) < 2000
    assert found.total_flow.m_as("m^3/s") == pytest.approx(float(max(roots.real)), rel=1e-8)
