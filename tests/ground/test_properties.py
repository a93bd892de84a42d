"""Whatever is planned, the numbers are finite and hang together, or a sentence says why there are none."""

from __future__ import annotations

import math
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs.pipe import metric_pipes
from jobs.ground.drawing import array_svg
from jobs.ground.results import numbers_json, numbers_of
from jobs.ground.trade import BoreholePlan, DesignPlan, HeaderPlan, LimitPlan, LoopPlan, ManifoldPlan, Plan, ProductPlan

PIPES = [(row.od_mm, row.wall_mm, row.material) for row in metric_pipes() if 20 <= row.od_mm <= 63]
HEADERS = [(row.od_mm, row.wall_mm, row.material) for row in metric_pipes() if 40 <= row.od_mm <= 160]
BASES = ["propylene_glycol", "ethylene_glycol", "ethanol", "methanol", "potassium_formate"]
LIMITS = LimitPlan(
    purge_velocity_m_s=0.6, purge_minutes=15, purge_turnovers=3, changeover_band_pct=25, freeze_margin_k=5,
    freeze_margin_block_k=3, balance_spread_pct=10, purge_source="test", changeover_source="test",
)  # fmt: skip


@st.composite
def loops_of(draw: st.DrawFn) -> tuple[LoopPlan, ...]:
    count = draw(st.integers(1, 12))
    alike = draw(st.booleans())
    pipe = draw(st.sampled_from(PIPES))
    made = []
    for number in range(1, count + 1):
        od, wall, material = pipe if alike else draw(st.sampled_from(PIPES))
        made.append(
            LoopPlan(
                code=f"L{number}", port=number, kind=draw(st.sampled_from(["borehole", "trench"])), borehole="B1",
                section="", od_mm=od, wall_mm=wall, material=material, array_m=draw(st.floats(20, 600)),
                lateral_m=draw(st.floats(0, 200)), fittings_k=draw(st.floats(0, 40)),
            )
        )  # fmt: skip
    return tuple(made)


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    loops = draw(loops_of())
    od, wall, material = draw(st.sampled_from(HEADERS))
    header = HeaderPlan(od, wall, material, draw(st.floats(0.5, 300)), draw(st.floats(0, 40)), "")
    pump = draw(st.one_of(st.none(), st.tuples(st.floats(5, 300), st.floats(20, 600))))
    design = DesignPlan(
        revision="A", freezing_point_c=draw(st.floats(-25, -3)), cold_fluid_c=draw(st.floats(-8, 15)),
        heating_kw=draw(st.floats(2, 200)), cop=draw(st.floats(1.5, 6)), rating_point="B0/W35",
        spread_k=draw(st.floats(2, 6)), minimum_flow_l_min=draw(st.one_of(st.none(), st.floats(1, 400))),
        evaporator_drop_kpa=18, evaporator_flow_l_min=45, frost_alarm_c=draw(st.one_of(st.none(), st.floats(-12, 0))),
        plant_volume_l=draw(st.floats(0, 100)), bin_l=draw(st.floats(50, 1000)),
        purge_pump_l_min=pump[0] if pump else None, purge_pump_kpa=pump[1] if pump else None,
    )  # fmt: skip
    base = draw(st.sampled_from(BASES))
    strong = 48.0 if base.startswith("potassium") else 95.0
    return Plan(
        number=1, title="Any", loops=loops, boreholes=(BoreholePlan("B1", 100),), sections=(),
        header=draw(st.one_of(st.none(), st.just(header))), manifold=ManifoldPlan(len(loops), ""), design=design,
        product=ProductPlan("Any", base, strong, None, None, "", 25.0), limits=LIMITS,
    )  # fmt: skip


def every_float(value: Any) -> list[float]:
    if isinstance(value, dict):
        return [found for inner in value.values() for found in every_float(inner)]
    if isinstance(value, list):
        return [found for inner in value for found in every_float(inner)]
    return [value] if isinstance(value, float) else []


@settings(max_examples=60, deadline=None)
@given(plans())
def test_any_plan(plan: Plan) -> None:
    found = numbers_of(plan)
    shown = numbers_json(found)
    assert all(math.isfinite(number) for number in every_float(shown))
    assert found.missing == ()
    assert all(sentence.rstrip().endswith((".", ")")) for sentence in found.problems)
    volume = sum(math.pi / 4 * (loop.od_mm - 2 * loop.wall_mm) ** 2 * loop.length_m / 1e3 for loop in plan.loops)
    assert shown["volumes"]["loops_l"] == pytest.approx(volume, rel=1e-9)
    if shown["flow"]:
        total = shown["flow"]["design_flow_l_min"]
        assert sum(loop["running"]["flow_l_min"] for loop in shown["loops"]) == pytest.approx(total, rel=1e-6)
        least = plan.design.minimum_flow_l_min if plan.design else None
        assert total >= (least or 0) - 1e-9
    if shown["fill"]:
        batches = shown["fill"]["batches"]
        assert sum(batch["volume_l"] for batch in batches) == pytest.approx(shown["volumes"]["system_l"], rel=1e-9)
        assert max(batch["volume_l"] for batch in batches) <= (plan.design.bin_l if plan.design else 0) * (1 + 1e-9)
        held = shown["fill"]["drums"] * 25
        assert held - 25 < shown["fill"]["concentrate_l"] <= held + 1e-6


@settings(max_examples=60, deadline=None)
@given(plans())
def test_what_must_grow_grows(plan: Plan) -> None:
    """More length never holds less, drops less or takes less time."""
    longer = tuple(LoopPlan(**{**vars(loop), "array_m": loop.array_m * 1.1}) for loop in plan.loops)
    before, after = numbers_json(numbers_of(plan)), numbers_json(numbers_of(Plan(**{**vars(plan), "loops": longer})))
    assert after["volumes"]["system_l"] > before["volumes"]["system_l"]
    for old, new in zip(before["loops"], after["loops"], strict=True):
        if old["changeover"] and new["changeover"]:
            assert new["changeover"]["transit_s"] > old["changeover"]["transit_s"]
        if old["purge"] and new["purge"]:
            assert new["purge"]["pressure_kpa"] > old["purge"]["pressure_kpa"]
            assert new["purge"]["time_min"] >= old["purge"]["time_min"]
    if before["flow"] and after["flow"]:
        assert after["flow"]["total_drop_kpa"] > before["flow"]["total_drop_kpa"]


@settings(max_examples=40, deadline=None)
@given(plans())
def test_any_plan_can_be_drawn(plan: Plan) -> None:
    drawing = ET.fromstring(array_svg(plan))  # noqa: S314 - our own drawing
    codes = {text.text for text in drawing.iter("{http://www.w3.org/2000/svg}text")}
    assert {loop.code for loop in plan.loops} <= codes
