"""Design numbers of other arrays against sums of our own making here, CoolProp (fluids) and EPANET (network).

Nothing in the expected values comes from `calcs`: pipes are typed from the tables of ISO 15875-2, ISO 4427-2 and ASTM D3035.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import fluids
import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from jobs.ground.figures import Numbers
from jobs.ground.results import numbers_json, numbers_of
from jobs.ground.trade import DesignPlan, HeaderPlan, LimitPlan, LoopPlan, ManifoldPlan, Plan, ProductPlan
from tests.calcs import epanet

# CoolProp's names for Melinder's fluids ("Properties of Secondary Working Fluids", IIR 2010).
COOLPROP = {"propylene_glycol": "MPG", "ethylene_glycol": "MEG", "ethanol": "MEA"}
# mass %, °C: ASHRAE Handbook Fundamentals 2001, secondary coolants, inhibited ethylene glycol.
ASHRAE_EG = ((29, -13.3), (30, -14.1), (31, -14.8), (37, -19.4), (38, -20.3))
ROUGHNESS = 7e-6  # m, of polyethylene as the numbers page names it
LIMITS = LimitPlan(
    purge_velocity_m_s=0.6, purge_minutes=15, purge_turnovers=3, changeover_band_pct=25, freeze_margin_k=5,
    freeze_margin_block_k=3, balance_spread_pct=10, purge_source="test", changeover_source="test",
)  # fmt: skip


@dataclass(frozen=True)
class Array:
    """An array as drawn up by hand: lengths in m, pipe in mm, the litres per metre of the printed table."""

    name: str
    od: float
    wall: float
    material: str
    l_per_m: float
    lengths: tuple[float, ...]
    base: str
    concentrate: float
    freezing: float
    kw: float
    cop: float
    cold: float = 0.0
    k: float = 6.0
    header: tuple[float, float, float] | None = None  # od, wall, length each way
    bin_l: float = 200.0
    pump: tuple[float, float] | None = (90.0, 250.0)

    @property
    def bore(self) -> float:
        return (self.od - 2 * self.wall) / 1000


ARRAYS = (
    # ISO 15875-2 series S5, 32 × 2.9: 0.539 L/m.
    Array("cross-linked, two loops", 32, 2.9, "PE-Xa", 0.539, (200, 200), "propylene_glycol", 96, -15, 6, 4.3),
    # ASTM D3035 IPS 1 1/4 in DR 11: bore 34.49 mm (ASTM F2619), 0.934 L/m.
    Array("inch pipe, eight loops", 42.16, 3.835, "PE IPS", 0.934, (183, 183, 190, 190, 200, 200, 210, 210),
          "ethanol", 95, -12, 24, 4.2, header=(88.9, 8.075, 25)),
    # ISO 4427-2 40 × 3.7: 0.835 L/m.
    Array("twenty loops", 40, 3.7, "PE 100", 0.835, tuple(180.0 + 2 * n for n in range(20)), "ethylene_glycol", 95, -14,
          60, 4.4, header=(110, 10.0, 40)),
    # ISO 4427-2 25 × 2.3: 0.327 L/m; the smallest bin that anybody uses.
    Array("slim trench, tiny bin", 25, 2.3, "PE 100", 0.327, (100, 120), "propylene_glycol", 96, -15, 3, 3.5, bin_l=20),
    Array("no pump, no header", 40, 3.7, "PE 100", 0.835, (200, 210, 220), "ethanol", 95, -10, 9, 4.0, pump=None),
    Array("cold ethylene glycol", 32, 3.0, "PE 100", 0.531, (150, 160, 170, 180), "ethylene_glycol", 95, -20, 10, 3.8, cold=-5),
)  # fmt: skip


def plan_of(array: Array) -> Plan:
    loops = tuple(
        LoopPlan(
            code=f"L{n}", port=n, kind="trench", borehole="", section="", od_mm=array.od, wall_mm=array.wall,
            material=array.material, array_m=length - 10, lateral_m=10, fittings_k=array.k,
        )
        for n, length in enumerate(array.lengths, start=1)
    )  # fmt: skip
    header = HeaderPlan(array.header[0], array.header[1], "PE 100", array.header[2], 6.0, "") if array.header else None
    design = DesignPlan(
        revision="A", freezing_point_c=array.freezing, cold_fluid_c=array.cold, heating_kw=array.kw, cop=array.cop,
        rating_point="B0/W35", spread_k=3.0, minimum_flow_l_min=None, evaporator_drop_kpa=None, evaporator_flow_l_min=None,
        frost_alarm_c=array.freezing + 6, plant_volume_l=12.0, bin_l=array.bin_l,
        purge_pump_l_min=array.pump[0] if array.pump else None, purge_pump_kpa=array.pump[1] if array.pump else None,
    )  # fmt: skip
    product = ProductPlan("Any", array.base, array.concentrate, None, None, "", 25.0)
    return Plan(
        number=1, title=array.name, loops=loops, boreholes=(), sections=(), header=header,
        manifold=ManifoldPlan(len(loops), ""), design=design, product=product, limits=LIMITS,
    )  # fmt: skip


@dataclass(frozen=True)
class Case:
    """An array with its numbers."""

    array: Array
    plan: Plan
    found: Numbers
    shown: dict[str, Any]

    @property
    def mass(self) -> float:
        return float(self.shown["fluid"]["target_mass_pct"]) / 100

    def outside(self, what: str, celsius: float) -> float:
        """A property of the mix by CoolProp, SI."""
        return float(
            PropsSI(what, "T", 273.15 + celsius, "P", 3e5, f"INCOMP::{COOLPROP[self.array.base]}[{self.mass:.6f}]")
        )


@pytest.fixture(params=ARRAYS, ids=lambda array: array.name)
def case(request: pytest.FixtureRequest) -> Case:
    plan = plan_of(request.param)
    found = numbers_of(plan)
    return Case(request.param, plan, found, numbers_json(found))


def test_nothing_is_missing_and_nothing_fails(case: Case) -> None:
    assert case.found.problems == ()
    assert case.found.is_complete


def test_it_holds_what_the_printed_litres_per_metre_say(case: Case) -> None:
    """Tables print three decimals, so to 0.3 %."""
    array, volumes = case.array, case.shown["volumes"]
    assert volumes["loops_l"] == pytest.approx(sum(array.lengths) * array.l_per_m, rel=3e-3)
    bore = (array.header[0] - 2 * array.header[1]) / 100 if array.header else 0.0
    header = math.pi / 4 * bore**2 * 20 * array.header[2] if array.header else 0.0
    assert volumes["header_l"] == pytest.approx(header, rel=1e-9)
    assert volumes["system_l"] == pytest.approx(volumes["loops_l"] + header + 12, rel=1e-9)


def test_the_mix_is_as_strong_as_it_must_be(case: Case) -> None:
    """By the warmer of two curves, to be on the safe side: Melinder's and, for a glycol, the printed one of ASHRAE."""
    name = f"INCOMP::{COOLPROP[case.array.base]}[{case.mass:.6f}]"
    curves = [PropsSI("T_freeze", "T", 280, "P", 1e5, name) - 273.15]
    if case.array.base == "ethylene_glycol":
        curves.append(float(np.interp(100 * case.mass, [row[0] for row in ASHRAE_EG], [row[1] for row in ASHRAE_EG])))
    assert max(curves) == pytest.approx(case.array.freezing, abs=0.25)
    assert case.shown["fluid"]["frost_margin_k"] == pytest.approx(6, abs=0.05)


def test_the_fluid_is_as_coolprop_has_it(case: Case) -> None:
    fluid, cold = case.shown["fluid"], case.array.cold
    assert fluid["density_kg_m3"] == pytest.approx(case.outside("D", cold), rel=2e-3)
    assert fluid["heat_capacity_j_kg_k"] == pytest.approx(case.outside("C", cold), rel=5e-3)
    assert fluid["viscosity_mpa_s"] == pytest.approx(1e3 * case.outside("V", cold), rel=2e-2)


def test_the_flow_carries_the_heat(case: Case) -> None:
    """Q (1 − 1/COP) = V ρ c ΔT, with ΔT = 3 K."""
    duty = case.array.kw * 1e3 * (1 - 1 / case.array.cop)
    flow = duty / (case.outside("D", case.array.cold) * case.outside("C", case.array.cold) * 3) * 6e4
    assert case.shown["flow"]["source_duty_kw"] == pytest.approx(duty / 1e3, rel=1e-9)
    assert case.shown["flow"]["design_flow_l_min"] == pytest.approx(flow, rel=6e-3)


def test_loops_share_the_flow_as_in_epanet(case: Case, tmp_path: Path) -> None:
    """With the flow and viscosity shown, so that only the network is judged.

    EPANET joins laminar and turbulent by a cubic of its own between Re 2000 and 4000; there only equal heads are asked for.
    """
    flow, fluid, loops = case.shown["flow"], case.shown["fluid"], case.shown["loops"]
    star = epanet.Star(
        lengths=case.array.lengths, bores=[case.array.bore] * len(loops), fittings_k=[case.array.k] * len(loops),
        roughness=ROUGHNESS, viscosity=fluid["kinematic_viscosity_mm2_s"] * 1e-6, total=flow["design_flow_l_min"] / 6e4,
    )  # fmt: skip
    answer = epanet.solve(star, tmp_path)
    own = np.array([loop["running"]["flow_l_min"] for loop in loops]) / 6e4
    regimes = {loop["running"]["regime"] for loop in loops}
    close = 2e-3 if "transition" not in regimes else 3e-2
    assert own == pytest.approx(answer.flows, rel=close)
    if "transition" not in regimes:
        kpa = answer.head * fluid["density_kg_m3"] * epanet.EPANET_GRAVITY / 1e3
        assert flow["manifold_drop_kpa"] == pytest.approx(kpa, rel=1.5e-2)


def test_the_regime_follows_from_the_reynolds_number(case: Case) -> None:
    """Re = v d / ν; laminar up to 2000, turbulent from 4000."""
    nu = case.shown["fluid"]["kinematic_viscosity_mm2_s"] * 1e-6
    for loop in case.shown["loops"]:
        run = loop["running"]
        velocity = run["flow_l_min"] / 6e4 / (math.pi / 4 * case.array.bore**2)
        reynolds = velocity * case.array.bore / nu
        assert run["reynolds"] == pytest.approx(reynolds, rel=1e-4)
        assert run["regime"] == ("laminar" if reynolds < 2000 else "transition" if reynolds < 4000 else "turbulent")


def test_a_laminar_loop_drops_as_hagen_and_poiseuille_say(case: Case) -> None:
    """Δp = 128 μ L V / (π d⁴) + K ρ v² / 2."""
    mu, rho = case.outside("V", case.array.cold), case.outside("D", case.array.cold)
    laminar = 0
    for loop, length in zip(case.shown["loops"], case.array.lengths, strict=True):
        if loop["running"]["regime"] != "laminar":
            continue
        laminar += 1
        flow, bore = loop["running"]["flow_l_min"] / 6e4, case.array.bore
        velocity = flow / (math.pi / 4 * bore**2)
        pascal = 128 * mu * length * flow / (math.pi * bore**4) + case.array.k * rho * velocity**2 / 2
        assert loop["running"]["drop_kpa"] == pytest.approx(pascal / 1e3, rel=2.5e-2)
    assert laminar == sum(loop["running"]["reynolds"] < 2000 for loop in case.shown["loops"])


def test_the_header_drops_out_and_back(case: Case) -> None:
    """Darcy-Weisbach over both pipes, with the friction factor of the `fluids` library (Clamond's solution of Colebrook)."""
    flow = case.shown["flow"]
    if case.array.header is None:
        assert flow["header_drop_kpa"] == 0
        return
    od, wall, each_way = case.array.header
    bore, rho = (od - 2 * wall) / 1000, case.outside("D", case.array.cold)
    velocity = flow["design_flow_l_min"] / 6e4 / (math.pi / 4 * bore**2)
    reynolds = velocity * bore * rho / case.outside("V", case.array.cold)
    assert reynolds > 4000
    factor = fluids.friction_factor(Re=reynolds, eD=ROUGHNESS / bore)
    pascal = (factor * 2 * each_way / bore + 6.0) * rho * velocity**2 / 2
    assert flow["header_velocity_m_s"] == pytest.approx(velocity, rel=1e-6)
    assert flow["header_drop_kpa"] == pytest.approx(pascal / 1e3, rel=2e-2)


def test_purging_takes_the_flow_and_time_of_the_printed_pipe(case: Case) -> None:
    """0.6 m/s in litres per minute is 36 times the litres per metre; 15 min or three volumes."""
    total = 0.0
    for loop, length in zip(case.shown["loops"], case.array.lengths, strict=True):
        assert loop["purge"]["flow_l_min"] == pytest.approx(36 * case.array.l_per_m, rel=3e-3)
        wanted = max(15.0, 3 * length / 0.6 / 60)
        assert loop["purge"]["time_min"] == pytest.approx(wanted, rel=1e-6)
        assert loop["purge"]["pump_suffices"] is (None if case.array.pump is None else True)
        total += wanted
    assert case.shown["purge"]["time_min"] >= total * (1 - 1e-9)


def test_the_recipe_fills_the_system_with_that_mix(case: Case) -> None:
    """Mass of antifreeze in equals mass of antifreeze wanted, with densities of CoolProp at 20 °C."""
    fill, volume = case.shown["fill"], case.shown["volumes"]["system_l"]
    wanted = volume * case.outside("D", 20) / 1e3 * case.mass
    strong = case.array.concentrate / 100
    # Pure liquids at 20 °C, kg/L (CRC Handbook): a drum of 95 or 96 % is within 1.5 % of a straight line to water.
    pure = {"propylene_glycol": 1.0361, "ethylene_glycol": 1.1135, "ethanol": 0.7893}[case.array.base]
    mixed = 1 / (strong / pure + (1 - strong) / 0.9982)
    assert fill["concentrate_l"] * mixed * strong == pytest.approx(wanted, rel=2e-2)
    assert fill["drums"] == math.ceil(fill["concentrate_l"] / 25 - 1e-9)
    assert fill["left_over_l"] == pytest.approx(25 * fill["drums"] - fill["concentrate_l"], abs=1e-6)
    assert fill["concentrate_l"] + fill["water_l"] - fill["contraction_l"] == pytest.approx(volume, rel=1e-6)


def test_no_batch_overflows_the_bin(case: Case) -> None:
    batches = case.shown["fill"]["batches"]
    assert len(batches) == math.ceil(case.shown["volumes"]["system_l"] / case.array.bin_l - 1e-9)
    assert all(0 < batch["volume_l"] <= case.array.bin_l + 1e-9 for batch in batches)
    shares = {round(batch["concentrate_l"] / batch["volume_l"], 6) for batch in batches}
    assert len(shares) == 1


def test_colour_arrives_when_the_pipe_has_been_swept(case: Case) -> None:
    for loop, length in zip(case.shown["loops"], case.array.lengths, strict=True):
        seen = loop["changeover"]
        swept = length * case.array.l_per_m / seen["flow_l_min"] * 60
        assert seen["transit_s"] == pytest.approx(swept, rel=4e-3)
        assert seen["first_colour_s"] < seen["transit_s"] < seen["full_colour_s"]


def named(name: str) -> Array:
    return next(array for array in ARRAYS if array.name == name)


def cautions(plan: Plan) -> dict[str, str]:
    return {caution.code: caution.text for caution in numbers_of(plan).cautions}


@pytest.mark.parametrize(
    ("pump", "enough"), [((90.0, 250.0), True), ((12.0, 250.0), False), ((90.0, 5.0), False), (None, None)]
)
def test_a_purge_unit_that_is_too_small_is_told(pump: tuple[float, float] | None, enough: bool | None) -> None:
    """Too few litres or too little pressure; both words on the page, none when nothing is entered."""
    plan = plan_of(replace(named("cross-linked, two loops"), pump=pump))
    found = numbers_of(plan)
    assert found.purge is not None
    assert found.purge.pump_suffices is enough
    said = " ".join(caution.text for caution in found.cautions)
    assert ("too small" in said) is (enough is False)
    assert ("No purge unit is entered" in said) is (enough is None)


def test_without_a_header_it_is_said_and_taken_as_nothing() -> None:
    plan = plan_of(named("no pump, no header"))
    flow = numbers_json(numbers_of(plan))["flow"]
    assert (flow["header_drop_kpa"], flow["header_velocity_m_s"]) == (0, None)
    assert flow["total_drop_kpa"] == pytest.approx(flow["manifold_drop_kpa"], rel=1e-12)
    assert "manifold to be in the plant room" in cautions(plan)["no_header"]


def test_a_wide_header_needs_several_loops_open() -> None:
    """110 × 10.0 needs 0.6 m/s × 6.362 L/m × 60 = 229 L/min; a unit of 90 L/min cannot, one of 250 L/min can."""
    small, large = (plan_of(replace(named("twenty loops"), pump=(flow, 400.0))) for flow in (90.0, 250.0))
    one, other = numbers_json(numbers_of(small))["purge"], numbers_json(numbers_of(large))["purge"]
    assert one["header"]["flow_l_min"] == pytest.approx(36 * 6.362, rel=1e-3)
    assert (one["header"]["loops_open"], one["pump_suffices"]) == (None, False)
    # 229 / 30.1 L/min of one 40 × 3.7 loop at 0.6 m/s = 7.6; open loops may run faster, so up to eight.
    assert 2 <= other["header"]["loops_open"] <= 8
    said = " ".join(caution.text for caution in numbers_of(small).cautions)
    assert "cannot purge the main header" in said


def test_one_loop_that_is_much_longer_is_told_and_gets_less() -> None:
    array = replace(named("no pump, no header"), lengths=(150.0, 150.0, 300.0))
    shown, words = numbers_json(numbers_of(plan_of(array))), cautions(plan_of(array))
    flows = [loop["running"]["flow_l_min"] for loop in shown["loops"]]
    assert flows[0] == pytest.approx(flows[1], rel=1e-9)
    assert flows[2] < 0.7 * flows[0]
    assert "L3 (300 m) is 100 % longer than L1 (150 m)" in words["lengths"]
    assert "L3 by −" in words["balance"]


@pytest.mark.parametrize(
    ("change", "part", "words"),
    [
        ({"freezing_point_c": -75.0}, "fluid", "outside"),
        ({"cold_fluid_c": -25.0}, "fluid", "freezing point"),
        ({"cop": 1.0}, "flow", "COP"),
        ({"bin_l": 0.0}, "fill", "bin"),
    ],
)
def test_what_cannot_be_is_a_sentence_and_the_volume_stands(change: dict[str, float], part: str, words: str) -> None:
    plan = plan_of(named("cross-linked, two loops"))
    assert plan.design is not None
    changes: dict[str, Any] = dict(change)
    found = numbers_of(replace(plan, design=replace(plan.design, **changes)))
    assert getattr(found, part) is None
    assert any(words in sentence for sentence in found.problems)
    assert found.volumes is not None


@pytest.mark.parametrize("share", [0.5, 2.0, 4.0])
def test_twice_the_heat_is_twice_the_flow(share: float) -> None:
    plan = plan_of(named("inch pipe, eight loops"))
    assert plan.design is not None
    more = replace(plan, design=replace(plan.design, heating_kw=share * plan.design.heating_kw))
    one, other = (numbers_json(numbers_of(each))["flow"]["design_flow_l_min"] for each in (plan, more))
    assert other / one == pytest.approx(share, rel=1e-9)


def test_the_heat_pumps_least_flow_wins_and_the_spread_falls() -> None:
    plan = plan_of(named("slim trench, tiny bin"))
    assert plan.design is not None
    usual = numbers_json(numbers_of(plan))["flow"]["design_flow_l_min"]
    forced = replace(plan, design=replace(plan.design, minimum_flow_l_min=1.5 * usual))
    flow = numbers_json(numbers_of(forced))["flow"]
    assert flow["design_flow_l_min"] == pytest.approx(1.5 * usual, rel=1e-9)
    assert flow["spread_k"] == pytest.approx(3 / 1.5, rel=1e-9)
    assert "the sums take the minimum" in cautions(forced)["minimum_flow"]
