"""Every row of golden/antifreeze.csv against the calculations. Row status 'read' means a published figure."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import pytest

from calcs import fluid, friction, hazard, heat, mixing, pipe, refractometer
from calcs.base import Base
from calcs.errors import Frozen
from calcs.fluid import Properties
from calcs.sources import table
from calcs.strength import Basis, Product, product_strength
from calcs.units import Quantity, quantity
from calcs.verdict import Outcome
from tests.calcs.golden_fluid_cases import (
    ashrae_fit_freezing,
    ashrae_freezing,
    ashrae_property,
    at_state,
    brix_correction,
    brix_of_index,
    freezing_from_brix,
    from_final_volume,
    index_at_20,
    index_at_25,
    index_of_brix,
    mass_from_brix,
    mass_property,
    polynomial_freezing,
    strength_for,
    strength_on_polynomial,
    to_basis,
    used_freezing,
    wrong_scale,
)
from tests.calcs.golden_fluid_rows import Row, base_of, degrees, mix, number, percent, product_of
from tests.calcs.golden_rows import case_id, rows

ROWS = rows("antifreeze")
WORDS = {Outcome.PASS: "pass", Outcome.CANNOT_TELL: "borderline", Outcome.FAIL: "fail"}


def recipe(row: Row) -> mixing.FirstFill:
    text = row["input"]
    base = base_of(text.split(",")[1])
    target, _, concentrate = text.partition(", pure" if ", pure" in text else ", concentrate")
    return mixing.first_fill(
        base=base,
        system_volume=quantity(number(r"([\d.]+) L", text), "L"),
        target=mix(base, number(r"([\d.]+) mass %", target)),
        concentrate=product_of(base, concentrate),
        bin_volume=quantity(180, "L"),
    )


def concentrate_to_pour(row: Row) -> float:
    return float(recipe(row).concentrate_volume.m_as("L"))


def water_to_pour(row: Row) -> float:
    return float(recipe(row).water_volume.m_as("L"))


def contraction(row: Row) -> float:
    return float(recipe(row).contraction.m_as("L"))


def without_contraction(row: Row) -> float:
    """Parts before mixing are the sum without contraction; SG is against water."""
    water = next(float(r["density_kg_m3"]) for r in table("pure_densities_20C") if r["fluid"] == "water")
    gravity = number(r"SG ([\d.]+)", row["input"])
    product = Product(Base.ETHYLENE_GLYCOL, percent(100), quantity(gravity * water, "kg/m^3"))
    parts = mix(Base.ETHYLENE_GLYCOL, 30).to(Basis.PRODUCT_VOLUME, product).value
    return 1000 * float(parts.m_as(""))


def product_recipe(row: Row) -> float:
    product = Product(Base.ETHYLENE_GLYCOL, percent(95), quantity(1125, "kg/m^3"))
    return float(product_strength(product=product, value=percent(30)).mass_fraction.m_as("percent"))


def correction(row: Row) -> mixing.Correction:
    text = row["input"]
    base = base_of(text)
    return mixing.correction(
        base=base,
        system_volume=quantity(600, "L"),
        measured=mix(base, number(r"([\d.]+) ->", text)),
        target=mix(base, number(r"-> ([\d.]+)", text)),
        concentrate=product_of(base, text.partition("correcting with")[2]),
    )


def drained(row: Row) -> float:
    return float(correction(row).drain_volume.m_as("L"))


def added(row: Row) -> float:
    return float(correction(row).add_volume.m_as("L"))


def fed(row: Row) -> float:
    found = correction(row).feed_and_bleed
    assert found is not None
    return float(found.m_as("L"))


def volume_form(row: Row) -> float:
    litres = mixing.correction_by_volume(
        system_volume=quantity(600, "L"), measured=percent(23), target=percent(28), concentrate=percent(100)
    )
    return float(litres.m_as("L"))


def blend(row: Row) -> float:
    base = base_of(row["input"])
    pairs = re.findall(r"([\d.]+) L at ([\d.]+) %", row["input"])
    parts = [mixing.Part(quantity(float(v), "L"), mix(base, float(w))) for v, w in pairs]
    assert len(parts) == 4
    return float(mixing.blend(parts=parts).value.m_as("percent"))


def residual_water(row: Row) -> float:
    base = base_of(row["input"])
    found = mixing.strength_after(
        system_volume=quantity(600, "L"),
        poured=mix(base, number(r"([\d.]+) mass %", row["input"])),
        residual_water=quantity(60, "L"),
    )
    return float(found.value.m_as("percent"))


def batches(row: Row) -> tuple[mixing.Batch, ...]:
    base = Base.PROPYLENE_GLYCOL
    return mixing.first_fill(
        base=base,
        system_volume=quantity(number(r"^([\d.]+) L", row["input"]), "L"),
        target=mix(base, 30),
        concentrate=product_of(base, "pure"),
        bin_volume=quantity(number(r"in a ([\d.]+) L", row["input"]), "L"),
    ).batches


def number_of_batches(row: Row) -> float:
    return len(batches(row))


def last_batch(row: Row) -> float:
    return round(float(batches(row)[-1].volume.m_as("L")), 9)


def loop_fluid(row: Row) -> Properties:
    if not row["input"].startswith("water"):
        return at_state(row)
    return fluid.properties(base=Base.WATER, mass_fraction=percent(0), temperature=degrees(5))


def total_flow(row: Row) -> Quantity:
    watts = quantity(number(r"([\d.]+) W,", row["input"]), "W")
    spread = quantity(number(r"dT ([\d.]+) K", row["input"]), "K")
    return heat.flow_for(duty=watts, spread=spread, properties=loop_fluid(row))


def bore(row: Row) -> Quantity:
    return quantity(number(r"inner diameter ([\d.]+) mm", row["input"]), "mm")


def loop_flow(row: Row) -> Quantity:
    loops = number(r"(\d+) parallel", row["input"])
    return quantity(float(total_flow(row).m_as("L/s")) / loops, "L/s")


def litres_per_second(row: Row) -> float:
    return float(total_flow(row).m_as("L/s"))


def loop_reynolds(row: Row) -> float:
    viscosity = loop_fluid(row).kinematic_viscosity
    return friction.reynolds(flow=loop_flow(row), bore=bore(row), viscosity=viscosity)


def loop_drop(row: Row) -> float:
    found = friction.pressure_drop(
        flow=loop_flow(row),
        length=quantity(number(r"loops of ([\d.]+) m", row["input"]), "m"),
        bore=bore(row),
        density=loop_fluid(row).density,
        viscosity=loop_fluid(row).viscosity,
        roughness=quantity(number(r"roughness ([\d.]+) mm", row["input"]), "mm"),
    )
    return float(found.pressure_drop.m_as("kPa"))


def loop_resistance(row: Row) -> float:
    found = heat.convective_resistance(flow=loop_flow(row), bore=bore(row), properties=loop_fluid(row), legs=2)
    return float(found.m_as("mK*m/W"))


def flow_for_reynolds(row: Row) -> float:
    viscosity = at_state(row).kinematic_viscosity
    one = friction.reynolds(flow=quantity(1, "L/min"), bore=bore(row), viscosity=viscosity)
    return number(r"Re (\d+)", row["input"]) / one


def reynolds(row: Row) -> float:
    flow = quantity(number(r"([\d.]+) m3/h", row["input"]), "m^3/h")
    return friction.reynolds(flow=flow, bore=bore(row), viscosity=at_state(row).kinematic_viscosity)


def pipe_volume(row: Row) -> float:
    found = pipe.pipe(od=quantity(40, "mm"), wall=quantity(3.7, "mm"))
    assert found.bore.m_as("mm") == pytest.approx(bore(row).m_as("mm"))
    return float(found.volume_per_metre.m_as("L/m"))


def laminar_resistance(row: Row) -> float:
    thick = fluid.properties(base=Base.PROPYLENE_GLYCOL, mass_fraction=percent(30), temperature=degrees(0))
    thick = replace(thick, conductivity=quantity(number(r"k = ([\d.]+)", row["input"]), "W/m/K"))
    slow = {"flow": quantity(0.1, "L/s"), "bore": quantity(32.6, "mm")}
    return float(heat.convective_resistance(**slow, properties=thick, legs=2).m_as("m*K/W"))


def flash_point(row: Row) -> float:
    share = percent(number(r"([\d.]+) vol %", row["input"]))
    return float(hazard.flash_point(base=base_of(row["input"]), volume_fraction=share).m_as("degC"))


def oxygen_demand(row: Row) -> float:
    return float(hazard.oxygen_demand(base=base_of(row["input"])).m_as(""))


def verdict(row: Row) -> str:
    found = refractometer.frost_verdict(
        freezing_point=degrees(number(r"reading (-[\d.]+)", row["input"])),
        required=degrees(number(r"required (-[\d.]+)", row["input"])),
    )
    return WORDS[found.outcome]


def below_freezing(row: Row) -> str:
    with pytest.raises(Frozen):
        at_state(row)
    return "below freezing"


def _ids(*spans: tuple[int, int] | int) -> list[str]:
    pairs = [(span, span) if isinstance(span, int) else span for span in spans]
    return [f"AF-{i:03d}" for low, high in pairs for i in range(low, high + 1)]


CASES: dict[str, Callable[[Row], float | str]] = {
    **dict.fromkeys(_ids((1, 13), (24, 28), 75, 76, 171), polynomial_freezing),
    **dict.fromkeys(_ids((14, 23)), ashrae_freezing),
    **dict.fromkeys(_ids((29, 33), (42, 74), (161, 168)), mass_property),
    **dict.fromkeys(_ids((34, 41), 169, 170), ashrae_property),
    **dict.fromkeys(_ids(172), ashrae_fit_freezing),
    **dict.fromkeys(_ids(77, 78), used_freezing),
    **dict.fromkeys(_ids(79, 81), strength_for),
    **dict.fromkeys(_ids(80), strength_on_polynomial),
    **dict.fromkeys(_ids(82, 84), to_basis(Basis.VOLUME_FINAL)),
    **dict.fromkeys(_ids(83, 85), to_basis(Basis.VOLUME_PARTS)),
    **dict.fromkeys(_ids(86), from_final_volume),
    **dict.fromkeys(_ids((87, 92), 94, 95), index_at_20),
    **dict.fromkeys(_ids(93), index_at_25),
    **dict.fromkeys(_ids((96, 98)), index_of_brix),
    **dict.fromkeys(_ids(99), brix_of_index),
    **dict.fromkeys(_ids(100, 101), brix_correction),
    **dict.fromkeys(_ids((102, 106)), mass_from_brix),
    **dict.fromkeys(_ids(107, 108), freezing_from_brix),
    **dict.fromkeys(_ids((109, 111)), wrong_scale),
    **dict.fromkeys(_ids(112, 115, 118, 173, 175), concentrate_to_pour),
    **dict.fromkeys(_ids(113, 116, 119, 174, 176), water_to_pour),
    **dict.fromkeys(_ids(114, 117, 177), contraction),
    **dict.fromkeys(_ids(120), without_contraction),
    **dict.fromkeys(_ids(121), product_recipe),
    **dict.fromkeys(_ids(122, 124, 126, 128, 180), drained),
    **dict.fromkeys(_ids(123, 125, 127, 129, 181), added),
    **dict.fromkeys(_ids(130), volume_form),
    **dict.fromkeys(_ids(131), fed),
    **dict.fromkeys(_ids(132), blend),
    **dict.fromkeys(_ids(133), residual_water),
    **dict.fromkeys(_ids(134, 178), number_of_batches),
    **dict.fromkeys(_ids(135, 179), last_batch),
    **dict.fromkeys(_ids(136, 140), litres_per_second),
    **dict.fromkeys(_ids(137, 141, 143, 182), loop_reynolds),
    **dict.fromkeys(_ids(138, 142, 144, 183), loop_drop),
    **dict.fromkeys(_ids(139), loop_resistance),
    **dict.fromkeys(_ids(145, 146, 184), flow_for_reynolds),
    **dict.fromkeys(_ids(147), reynolds),
    **dict.fromkeys(_ids(148), pipe_volume),
    **dict.fromkeys(_ids(149), laminar_resistance),
    **dict.fromkeys(_ids((150, 153)), flash_point),
    **dict.fromkeys(_ids(154, 155), oxygen_demand),
    **dict.fromkeys(_ids((156, 159)), verdict),
    **dict.fromkeys(_ids(160), below_freezing),
}


def test_every_row_has_its_case() -> None:
    assert set(ROWS) == set(CASES)


@pytest.mark.parametrize("key", sorted(CASES), ids=[case_id(ROWS[key]) for key in sorted(CASES)])
def test_row(key: str) -> None:
    row = ROWS[key]
    found = CASES[key](row)
    if isinstance(found, str):
        assert found == row["expected"]
        return
    assert abs(found - float(row["expected"])) <= float(row["tolerance"]), (row["input"], found)
