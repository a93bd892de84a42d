"""The numbers of the main job against CoolProp (fluid), EPANET (network) and sums by hand. Never against our own code."""

from __future__ import annotations

import math
import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import wntr
from CoolProp.CoolProp import PropsSI

from jobs.firms.scope import scope
from jobs.ground.figures import Numbers
from jobs.ground.queries import plan_of
from jobs.ground.results import numbers, numbers_json, numbers_of, strength_rows
from jobs.ground.trade import Plan
from tests import build
from tests.people import a_firm

BORE, HEADER_BORE = 0.0326, 0.0514  # 40 × 3.7 and 63 × 5.8 mm
LENGTHS = [216.0, 224.0, 232.0, 240.0]
AREA = math.pi / 4 * BORE**2


def main_plan(**changes: Any) -> Plan:
    firm = a_firm()
    job = build.a_job(firm, **changes)
    with scope(firm.pk):
        return plan_of(job)


def brine(what: str, celsius: float, mass: float) -> float:
    """Propylene glycol by mass fraction from CoolProp (Melinder's data in its own fit)."""
    return float(PropsSI(what, "T", 273.15 + celsius, "P", 3e5, f"INCOMP::MPG[{mass:.6f}]"))


@pytest.fixture
def found(db: None) -> Numbers:
    return numbers_of(main_plan())


@pytest.fixture
def shown(found: Numbers) -> dict[str, Any]:
    return numbers_json(found)


def test_nothing_is_missing(found: Numbers) -> None:
    assert found.is_complete
    assert [loop.code for loop in found.loops] == ["L1", "L2", "L3", "L4"]


def test_volumes_by_hand(shown: dict[str, Any]) -> None:
    """0.8347 L/m and 2.075 L/m are the printed table values of 40 × 3.7 and 63 × 5.8."""
    loops = sum(LENGTHS) * 0.8347
    header = 2 * 15 * 2.075
    assert shown["volumes"]["loops_l"] == pytest.approx(loops, rel=1e-4)
    assert shown["volumes"]["header_l"] == pytest.approx(header, rel=1e-4)
    assert shown["volumes"]["system_l"] == pytest.approx(loops + header + 15, rel=1e-4)
    assert shown["loops"][3]["volume_l"] == pytest.approx(240 * 0.8347, rel=1e-4)


def test_the_mix_freezes_where_it_should(shown: dict[str, Any]) -> None:
    """ASHRAE and Melinder are within 0.2 K of each other at this strength."""
    mass = shown["fluid"]["target_mass_pct"] / 100
    freezing = PropsSI("T_freeze", "T", 273.15, "P", 1e5, f"INCOMP::MPG[{mass:.6f}]") - 273.15
    assert freezing == pytest.approx(-15.0, abs=0.2)
    assert shown["fluid"]["frost_margin_k"] == pytest.approx(-9.0 - -15.0, abs=0.01)


def test_the_fluid_at_0_degrees(shown: dict[str, Any]) -> None:
    fluid = shown["fluid"]
    mass = fluid["target_mass_pct"] / 100
    assert fluid["density_kg_m3"] == pytest.approx(brine("D", 0, mass), rel=1e-3)
    assert fluid["heat_capacity_j_kg_k"] == pytest.approx(brine("C", 0, mass), rel=2e-3)
    assert fluid["viscosity_mpa_s"] == pytest.approx(1e3 * brine("V", 0, mass), rel=1e-2)


def test_duty_and_flow_by_hand(shown: dict[str, Any]) -> None:
    """12 kW at COP 4.6 draw 9.391 kW; at 3 K that is Q / (rho cp dT)."""
    duty = 12e3 * (1 - 1 / 4.6)
    mass = shown["fluid"]["target_mass_pct"] / 100
    flow = duty / (brine("D", 0, mass) * brine("C", 0, mass) * 3) * 6e4
    assert shown["flow"]["source_duty_kw"] == pytest.approx(duty / 1e3, rel=1e-9)
    assert shown["flow"]["design_flow_l_min"] == pytest.approx(flow, rel=3e-3)


def epanet(total: float, nu: float, folder: Path) -> tuple[dict[str, float], float, float]:
    """Flows m3/s of the loops, head loss m of loops and header, by EPANET 2.2 with the same pipes."""
    net = wntr.network.WaterNetworkModel()
    net.add_reservoir("plant", base_head=500.0)
    for name in ("in", "out"):
        net.add_junction(name, base_demand=0.0)
    net.add_junction("end", base_demand=total)
    for index, length in enumerate(LENGTHS, start=1):
        net.add_pipe(f"L{index}", "in", "out", length, BORE, roughness=7e-6, minor_loss=6.0)
    net.add_pipe("feed", "plant", "in", 0.01, 0.5, roughness=7e-6)
    net.add_pipe("header", "out", "end", 30.0, HEADER_BORE, roughness=7e-6, minor_loss=6.0)
    options = net.options
    options.hydraulic.headloss, options.hydraulic.accuracy, options.hydraulic.trials = "D-W", 1e-9, 500
    options.hydraulic.viscosity = nu / (1.1e-5 * 0.3048**2)  # relative to EPANET's water, 1.1e-5 ft2/s
    options.time.duration = 0
    here = Path.cwd()
    os.chdir(folder)  # the simulator leaves its files where it stands
    try:
        result = wntr.sim.EpanetSimulator(net).run_sim()
    finally:
        os.chdir(here)
    head = result.node["head"].iloc[0]
    flow = result.link["flowrate"].iloc[0]
    return {f"L{i}": float(flow[f"L{i}"]) for i in range(1, 5)}, head["in"] - head["out"], head["out"] - head["end"]


def test_flows_and_drops_against_epanet(shown: dict[str, Any], tmp_path: Path) -> None:
    """The loops run laminar, where both have one law; the header lies in the transition, where EPANET's cubic is its own."""
    mass = shown["fluid"]["target_mass_pct"] / 100
    density, nu = brine("D", 0, mass), brine("V", 0, mass) / brine("D", 0, mass)
    total = shown["flow"]["design_flow_l_min"] / 6e4
    flows, loops, header = epanet(total, nu, tmp_path)
    for loop in shown["loops"]:
        assert loop["running"]["flow_l_min"] == pytest.approx(6e4 * flows[loop["code"]], rel=3e-3)
    gravity = 32.2 * 0.3048  # EPANET's own
    assert shown["flow"]["manifold_drop_kpa"] == pytest.approx(loops * density * gravity / 1e3, rel=1.5e-2)
    assert shown["flow"]["header_drop_kpa"] == pytest.approx(header * density * gravity / 1e3, rel=5e-2)


def test_the_evaporator_goes_with_the_square_of_the_flow(shown: dict[str, Any]) -> None:
    flow = shown["flow"]
    assert flow["evaporator_drop_kpa"] == pytest.approx(18 * (flow["design_flow_l_min"] / 45) ** 2, rel=1e-9)
    parts = flow["manifold_drop_kpa"] + flow["header_drop_kpa"] + flow["evaporator_drop_kpa"]
    assert flow["total_drop_kpa"] == pytest.approx(parts, rel=1e-9)
    assert flow["conservative_drop_kpa"] >= flow["total_drop_kpa"]


def test_loops_share_the_whole_flow(shown: dict[str, Any]) -> None:
    running = [loop["running"] for loop in shown["loops"]]
    assert sum(loop["flow_l_min"] for loop in running) == pytest.approx(shown["flow"]["design_flow_l_min"], rel=1e-6)
    assert sum(loop["share_pct"] for loop in running) == pytest.approx(100, rel=1e-6)
    assert running[0]["flow_l_min"] > running[3]["flow_l_min"]
    for loop in running:
        assert loop["velocity_m_s"] == pytest.approx(loop["flow_l_min"] / 6e4 / AREA, rel=1e-6)


def test_the_first_fill_by_mass(shown: dict[str, Any]) -> None:
    """Mass balance with CoolProp's density at 20 °C: 96 mass % concentrate of 1055 kg/m³."""
    mass = shown["fluid"]["target_mass_pct"] / 100
    total = shown["volumes"]["system_l"] * brine("D", 20, mass) / 1e3
    concentrate = total * mass / 0.96
    water = total - concentrate
    fill = shown["fill"]
    assert fill["concentrate_l"] == pytest.approx(concentrate / 1.055, rel=3e-3)
    assert fill["water_l"] == pytest.approx(water / 0.9982, rel=3e-3)
    assert fill["drums"] == math.ceil(concentrate / 1.055 / 25)
    assert [round(batch["volume_l"]) for batch in fill["batches"]] == [200, 200, 200, 200, 38]
    assert sum(batch["concentrate_l"] for batch in fill["batches"]) == pytest.approx(fill["concentrate_l"])


def test_purging_by_hand(shown: dict[str, Any]) -> None:
    """0.6 m/s is 30.0 L/min in 40 × 3.7 and 74.7 L/min in 63 × 5.8 (printed table); 15 min or three volumes."""
    for loop, length in zip(shown["loops"], LENGTHS, strict=True):
        assert loop["purge"]["flow_l_min"] == pytest.approx(30.0, abs=0.06)
        assert loop["purge"]["time_min"] == pytest.approx(max(15, 3 * length / 0.6 / 60), rel=1e-9)
        assert loop["purge"]["pump_suffices"] is True
    header = shown["purge"]["header"]
    assert header["flow_l_min"] == pytest.approx(74.7, abs=0.06)
    assert header["velocity_one_loop_m_s"] == pytest.approx(0.6 * (BORE / HEADER_BORE) ** 2, rel=1e-9)
    assert header["loops_open"] == 2


def test_changeover_by_hand(shown: dict[str, Any]) -> None:
    """A front moves at the mean velocity; 5 to 10 % of the volume are mixed in a single turbulent loop."""
    for loop, length in zip(shown["loops"], LENGTHS, strict=True):
        seen = loop["changeover"]
        assert seen["transit_s"] == pytest.approx(length / 0.6, rel=1e-9)
        assert seen["first_colour_s"] < seen["transit_s"] < seen["full_colour_s"]
        assert 0.04 < seen["mixed_l"] / loop["volume_l"] < 0.10
        assert seen["is_sharp"]


def said(plan: Plan) -> dict[str, str]:
    return {caution.code: caution.text for caution in numbers_of(plan).cautions}


@pytest.mark.django_db
def test_cautions_of_the_main_job() -> None:
    """11 % between shortest and longest loop, header not purged by one loop, all laminar; nothing else."""
    words = said(main_plan())
    assert set(words) == {"laminar", "lengths", "purge"}
    assert "L4 (240 m) is 11 % longer than L1 (216 m)" in words["lengths"]


@pytest.mark.django_db
def test_cautions_for_a_design_with_everything_wrong() -> None:
    plan = main_plan(
        laterals_m=(10.0, 160.0, 20.0, 20.0),
        design={"frost_alarm_c": -12.0, "minimum_flow_l_min": 120.0, "purge_pump_l_min": 25.0, "purge_pump_kpa": 60.0},
    )
    words = said(plan)
    assert "only 3.0 K above the freezing point" in words["freeze_margin"]
    assert "less than the heat pump's minimum of 120 L/min" in words["minimum_flow"]
    assert "Re 2000 to 4000" in words["transition"]
    assert "L2 by −" in words["balance"]
    texts = [caution.text for caution in numbers_of(plan).cautions]
    assert any("too small for loop L1" in text for text in texts)
    assert any("cannot purge the main header" in text for text in texts)


@pytest.mark.django_db
def test_a_small_purge_unit_slows_the_changeover() -> None:
    plan = main_plan(design={"purge_pump_l_min": 20.0, "purge_pump_kpa": 250.0})
    loop = numbers_of(plan).loops[0]
    assert loop.changeover is not None
    assert float(loop.changeover.transit.m_as("s")) == pytest.approx(216 * AREA / (20 / 6e4), rel=1e-9)


@pytest.mark.django_db
def test_what_is_missing_is_told_and_the_rest_computed() -> None:
    bare = numbers_of(main_plan(with_design=False, with_array=False))
    assert len(bare.missing) == 2
    assert (bare.loops, bare.flow, bare.fill) == ((), None, None)
    no_design = numbers_of(main_plan(with_design=False))
    assert no_design.missing == ("Enter the design data: heat pump, fluid and purge unit.",)
    assert no_design.loops[0].volume.m_as("L") == pytest.approx(216 * 0.8347, rel=1e-4)
    no_loops = numbers_of(main_plan(with_array=False))
    assert no_loops.fluid is not None
    assert no_loops.fill is None


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("design", "word"),
    [
        ({"freezing_point_c": -70.0}, "outside"),
        ({"cold_fluid_c": -20.0}, "freezing point"),
        ({"cop": 0.9}, "COP"),
    ],
)
def test_a_calculation_out_of_range_is_a_sentence(design: dict[str, Any], word: str) -> None:
    found = numbers_of(main_plan(design=design))
    assert any(word in sentence for sentence in found.problems)
    assert found.volumes is not None
    assert not found.is_complete


@pytest.mark.django_db
def test_a_product_without_density_or_too_weak() -> None:
    plan = main_plan()
    assert plan.product is not None
    known = numbers_of(plan).fill
    guessed = numbers_of(replace(plan, product=replace(plan.product, density_kg_m3=None))).fill
    assert known is not None
    assert guessed is not None
    ratio = float((guessed.concentrate / known.concentrate).m_as(""))
    assert ratio == pytest.approx(
        1055 / 1036.1, rel=5e-3
    )  # pure propylene glycol at 20 °C: 1036.1 kg/m³ (CRC Handbook)
    weak = numbers_of(replace(plan, product=replace(plan.product, concentrate_mass_pct=30.0, density_kg_m3=1025.0)))
    assert any("weaker than the target" in sentence for sentence in weak.problems)
    thin = replace(plan, product=replace(plan.product, minimum_mass_pct=40.0))
    raised = numbers_of(thin).fluid
    assert raised is not None
    assert float(raised.target_mass.m_as("percent")) == pytest.approx(40.0), "never below the maker's least strength"
    assert "Raised to the least strength" in said(thin)["strength"]


@pytest.mark.django_db
@pytest.mark.parametrize("base", ["ethylene_glycol", "ethanol", "potassium_formate", "potassium_carbonate"])
def test_other_fluids_have_numbers_too(base: str) -> None:
    plan = main_plan()
    assert plan.product is not None
    mass = 40.0 if base.startswith("potassium") else 95.0
    found = numbers_of(
        replace(plan, product=replace(plan.product, base=base, concentrate_mass_pct=mass, density_kg_m3=None))
    )
    assert found.problems == ()
    assert found.fill is not None
    assert found.flow is not None


@pytest.mark.django_db
def test_no_header_means_the_manifold_is_in_the_plant_room() -> None:
    plan = replace(main_plan(), header=None)
    found = numbers_of(plan)
    assert found.purge is not None
    assert found.purge.header is None
    assert "plant room" in said(plan)["no_header"]
    assert found.flow is not None
    assert found.flow.header_drop.m_as("kPa") == 0


@pytest.mark.django_db
def test_numbers_follow_a_change_at_once() -> None:
    from jobs.ground.actions import change_loop  # noqa: PLC0415

    firm = a_firm()
    job = build.a_job(firm)
    with scope(firm.pk):
        before = numbers(job)
        loop = job.loops.get(code="L1")
        change_loop(loop, by=build.somebody(firm), at=build.AT, array_m=210.0)
        after = numbers(job)
    assert before.volumes is not None
    assert after.volumes is not None
    assert float((after.volumes.loops - before.volumes.loops).m_as("L")) == pytest.approx(10 * 0.8347, rel=1e-4)


def test_every_number_of_the_pack_names_its_unit(shown: dict[str, Any]) -> None:
    bare = {"reynolds", "turnovers", "drums", "port", "loops_open"}

    def floats(value: Any, name: str = "") -> list[str]:
        if isinstance(value, dict):
            return [found for key, inner in value.items() for found in floats(inner, key)]
        if isinstance(value, list):
            return [found for inner in value for found in floats(inner, name)]
        return [name] if isinstance(value, int | float) and not isinstance(value, bool) else []

    suffixes = (
        "_l",
        "_l_min",
        "_m",
        "_mm",
        "_m_s",
        "_kpa",
        "_pct",
        "_c",
        "_kg_m3",
        "_j_kg_k",
        "_mpa_s",
        "_mm2_s",
        "_kw",
        "_k",
        "_s",
        "_min",
    )
    assert [name for name in floats(shown) if name not in bare and not name.endswith(suffixes)] == []


def test_the_strength_table_of_the_phone() -> None:
    """30 mass % propylene glycol: CoolProp freezes it at −12.8 °C; the used curve is the warmer of two."""
    rows = {row[0]: row for row in strength_rows("propylene_glycol")}
    freezing = PropsSI("T_freeze", "T", 273.15, "P", 1e5, "INCOMP::MPG[0.30]") - 273.15
    assert rows[30.0][2] == pytest.approx(freezing, abs=0.6)
    assert rows[0.0][2] == pytest.approx(0, abs=0.01)
    assert [row[0] for row in strength_rows("propylene_glycol")] == sorted(rows)
    assert all(a[2] > b[2] for a, b in zip(list(rows.values())[1:], list(rows.values())[2:], strict=False))
