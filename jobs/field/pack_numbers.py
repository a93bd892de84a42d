"""Numbers that the phone computes with: pipes, limits, the product's table and its refractometer scales."""

from __future__ import annotations

from typing import Any, Final

from calcs import fluid, strength
from calcs.base import Base
from calcs.pressure_test import WATER_MODULUS, method_limits
from calcs.residual_air import residual_rows
from calcs.units import quantity, si
from jobs.ground.results import strength_rows
from jobs.ground.trade import Plan, ProductPlan
from jobs.planning.models import Instrument
from jobs.sums.tables import USUAL_BORE_TO_WALL, Row, changeover_json, scale_rows, water_share
from jobs.visits.kinds import Facts

REPLACED: Final = {"hold": "test_hold_min", "isolated": "test_isolated_min"}


def calc_json(facts: Facts, plan: Plan) -> dict[str, Any]:
    """Pipes and limits of this job by calculation."""
    return {
        "runs": {code: _run(run) for code, run in facts.runs.items()},
        "pressure": _pressure(facts),
        "changeover": _changeover(facts),
        "flush": {"velocity": _value(facts, "flush_velocity_m_s"), "minutes": _value(facts, "flush_minutes")},
        "purge": {
            "velocity": _value(facts, "purge_velocity_m_s"),
            "minutes": _value(facts, "purge_minutes_after_bubble"),
            "turnovers": _value(facts, "purge_turnovers"),
        },
        "residual_air": _residual_air(facts),
        "settings": {
            "margin_k": _value(facts, "freeze_margin_block_k"),
            "minimum_flow_l_min": plan.design.minimum_flow_l_min if plan.design else None,
        },
    }


def _value(facts: Facts, code: str) -> float | None:
    limit = facts.limit(code)
    return None if limit is None else limit.value


def _run(run: Any) -> dict[str, float]:
    ratio = run.bore_mm / run.wall_mm
    return {
        "length_m": run.length_m,
        "bore_mm": run.bore_mm,
        "volume_l": run.volume_l,
        "bore_to_wall": ratio,
        "water_share": water_share(ratio),
    }


def _pressure(facts: Facts) -> dict[str, Any]:
    rules = {key: row.value for key, row in method_limits("short_tightness").items()}
    own = {key: _value(facts, code) for key, code in REPLACED.items()}
    return {
        "rules": rules | {key: value for key, value in own.items() if value is not None},
        "sequence": {key: row.value for key, row in method_limits("en805_a27_2000").items()},
        "water_share": water_share(USUAL_BORE_TO_WALL),
    }


def _changeover(facts: Facts) -> dict[str, float]:
    band = _value(facts, "changeover_band_pct")
    return changeover_json() if band is None else changeover_json() | {"deviation": band / 100}


def _residual_air(facts: Facts) -> dict[str, Any] | None:
    if not facts.runs:
        return None
    rules = {key: row.value for key, row in residual_rows().items()}
    own = (("good_share", "residual_air_pct", 0.01), ("fail_share", "residual_air_fail_pct", 0.01))
    for key, code, factor in (*own, ("good_floor", "residual_air_min_l", 1.0)):
        value = _value(facts, code)
        if value is not None:
            rules[key] = factor * value
    return {
        "rules": rules,
        "squeeze": {
            "volume": sum(run.volume_l for run in facts.runs.values()),
            "bore_to_wall": max(run.bore_mm / run.wall_mm for run in facts.runs.values()),
            "wall_modulus": rules["wall_modulus"],
            "modulus_doubt": rules["modulus_doubt"],
            "water_modulus": WATER_MODULUS,
        },
    }


def fluid_json(
    plan: Plan, numbers: dict[str, Any], facts: Facts, instruments: list[Instrument]
) -> dict[str, Any] | None:
    """The product: target, lookup table, and what a look through each refractometer says."""
    found, product = numbers.get("fluid"), plan.product
    if not found or not product or product.base == Base.WATER.value:
        return None
    return {
        "product": product.name,
        "base": product.base,
        "base_label": found["base_label"],
        "colour": product.colour,
        "target_mass_pct": found["target_mass_pct"],
        "target_vol_pct": found["target_volume_pct"],
        "freezing_point_c": found["freezing_point_c"],
        "band_pct": _value(facts, "strength_band_pct"),
        "agree_pct": _value(facts, "strength_agree_pct"),
        "gap_min": _value(facts, "reading_gap_min"),
        "concentrate_mass_pct": product.concentrate_mass_pct,
        "concentrate_kg_m3": _density(product),
        "water_kg_m3": _water_density(),
        "table": strength_rows(product.base),
        "scales": _scales(product.base, instruments),
    }


def _density(product: ProductPlan) -> float:
    """As the maker tells, else that of the pure antifreeze."""
    if product.density_kg_m3 is not None:
        return product.density_kg_m3
    return si(strength.pure(base=Base(product.base)).density, "kg/m^3", "density")


def _water_density() -> float:
    found = fluid.mix_density(base=Base.WATER, mass_fraction=quantity(0, "percent"), temperature=quantity(20, "degC"))
    return si(found, "kg/m^3", "density")


def _scales(base: str, instruments: list[Instrument]) -> dict[str, dict[str, tuple[Row, ...]]]:
    """By scale and instrument (empty: one that is not named). Only Brix and the degree scale of this very fluid."""
    used = [row for row in instruments if row.kind == "refractometer"]
    scales = ["brix", base] if Base(base).is_glycol else ["brix"]
    found: dict[str, dict[str, tuple[Row, ...]]] = {}
    for scale in scales:
        rows = {"": scale_rows(base, scale, None, None)}
        rows |= {str(row.pk): scale_rows(base, scale, row.resolution, row.accuracy) for row in used}
        if rows[""]:
            found[scale] = rows
    return found
