"""One usable call of every public function of the calculations, for the contract that all of them keep."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass
from types import ModuleType
from typing import Any

import numpy as np
import pint

import calcs
from calcs import heat, refractometer, residual_air
from calcs.base import Base
from calcs.changeover import expected as changeover_expected
from calcs.deaeration import Visit
from calcs.fluid import properties
from calcs.friction import Law
from calcs.mixing import Part
from calcs.network import Branch, Branches, ParabolicPump
from calcs.pipe import Segment, pipe
from calcs.pressure_test import Restraint
from calcs.refractometer import Scale
from calcs.residual_air import Squeeze
from calcs.strength import Basis, by_mass, pure
from calcs.supplier import SupplierRow, supplier_table
from calcs.units import Quantity, quantity
from tests.calcs import contract_cases_site

# What makes, reads or carries quantities and data, rather than computing with them.
PLUMBING = {"units", "sources", "errors", "verdict", "base"}
EG, PG = Base.ETHYLENE_GLYCOL, Base.PROPYLENE_GLYCOL
WATER: dict[str, Any] = {"density": quantity(999.7, "kg/m^3"), "viscosity": quantity(1.306, "mm^2/s")}
PG25 = properties(base=PG, mass_fraction=quantity(25, "percent"), temperature=quantity(0, "degC"))
LOOPS = [Branch(quantity(length, "m"), quantity(32.6, "mm"), 4.0, name=f"L{length}") for length in (180, 200, 240)]
HEADER = [Branch(quantity(40, "m"), quantity(51.4, "mm"), 6.0, name="header")]
THIRD, MIX = by_mass(base=EG, value=quantity(31.4, "percent")), by_mass(base=EG, value=quantity(25, "percent"))
SHEET = supplier_table(
    base=EG,
    basis=Basis.MASS,
    rows=[
        SupplierRow(quantity(25, "percent"), quantity(-10, "degC"), 17.0, quantity(-12, "degC")),
        SupplierRow(quantity(35, "percent"), quantity(-17, "degC"), 23.0, quantity(-21, "degC")),
    ],
)
SQUEEZE = Squeeze(quantity(334, "L"), 8.8, quantity(0.5, "bar"), quantity(3.5, "bar"), quantity(0.05, "L"))
VISITS = [
    Visit(3, quantity(1.8, "bar"), quantity(1.9, "bar"), quantity(0, "L")),
    Visit(7, quantity(1.85, "bar"), quantity(1.9, "bar"), quantity(0, "L")),
]
FRONT = changeover_expected(length=quantity(200, "m"), bore=quantity(32.6, "mm"), flow=quantity(30, "L/min"), **WATER)
GIVE = quantity(1.03e-8, "1/Pa")
MEASURED = heat.Heat(quantity(9390, "W"), quantity(413, "W"), quantity(826, "W"), 0.088)
READING = refractometer.read(scale=Scale.BRIX, value=quantity(18, ""), base=EG, sample_temperature=quantity(20, "degC"))
PROBE = pipe(od=quantity(40, "mm"), wall=quantity(3.7, "mm"))
PUMP = ParabolicPump(quantity(8, "m"), quantity(4, "m"), quantity(3.6, "m^3/hour"))


def q(value: float, unit: str) -> Quantity:
    """A short name, since this file is made of quantities."""
    return quantity(value, unit)


CASES: dict[str, dict[str, Any]] = {
    **contract_cases_site.CASES,
    "changeover.austin_palfrey": {"bore": q(32.6, "mm"), "length": q(200, "m"), "reynolds": 14980.0},
    "changeover.changeover_rows": {},
    "changeover.critical_reynolds": {"bore": q(32.6, "mm")},
    "changeover.diagnose": {
        "expected": FRONT,
        "observed_first": q(5, "min"),
        "observed_full": q(6, "min"),
        "still_clear_after": q(4, "min"),
    },
    "changeover.diagnose_seconds": {
        "expected_first": 460.0,
        "expected_full": 500.0,
        "transit": 480.0,
        "seen": (470.0, 500.0, None),
        "rules": {"deviation": 0.25, "at_once": 0.1, "no_colour": 1.5, "blur": 3, "blur_floor": 30, "sharp": 1.0},
    },
    "changeover.dispersion": {"bore": q(32.6, "mm"), "velocity": q(0.6, "m/s"), "reynolds": 14980.0},
    "changeover.effective_length": {"observed": q(8, "min"), "flow": q(20, "L/min"), "bore": q(26, "mm")},
    "changeover.expected": {"length": q(200, "m"), "bore": q(32.6, "mm"), "flow": q(30, "L/min"), **WATER},
    "changeover.laminar_turnovers": {"fraction": 0.9},
    "changeover.mixed_length": {"dispersion": q(0.0059, "m^2/s"), "length": q(200, "m"), "velocity": q(0.6, "m/s")},
    "changeover.mixing_of": {"reynolds": 9000.0},
    "changeover.spread_factor": {"fraction": 0.01},
    "changeover.taylor_dispersion": {"bore": q(32.6, "mm"), "velocity": q(0.6, "m/s"), "reynolds": 14980.0},
    "deaeration.deaeration_rows": {},
    "deaeration.judge": {"visits": VISITS, "volume": q(400, "L"), "resolution": q(0.02, "bar")},
    "deaeration.trend": {"visits": VISITS, "volume": q(400, "L")},
    "elastic.compliance": {"bore_to_wall": 8.8, "wall_modulus": q(900, "MPa"), "water_modulus": q(2092, "MPa")},
    "elastic.creep_volume": {
        "volume": q(400, "L"),
        "pressure": q(1.5, "bar"),
        "bore_to_wall": 8.8,
        "early_modulus": q(700, "MPa"),
        "late_modulus": q(470, "MPa"),
    },
    "elastic.elastic_volume": {"volume": q(167, "L"), "pressure_change": q(1, "bar"), "compliance": GIVE},
    "elastic.leak_to_pressure": {"leak": q(0.1, "L/hour"), "volume": q(167, "L"), "compliance": GIVE},
    "elastic.pressure_per_kelvin": {
        "water_expansion": q(0.9e-4, "1/K"),
        "wall_expansion": q(1.3e-4, "1/K"),
        "compliance": GIVE,
    },
    "elastic.sealed_pressure": {"start": q(4, "bar"), "time": q(100, "hour"), "since": q(0.5, "hour")},
    "elastic.wall_modulus": {"time": q(1, "hour"), "temperature": q(10, "degC")},
    "elastic.water_expansion": {"temperature": q(10, "degC")},
    "elastic.water_modulus": {"temperature": q(10, "degC")},
    "fluid.ashrae_properties": {"base": EG, "volume_fraction": q(30, "percent"), "temperature": q(0, "degC")},
    "fluid.freezing_point": {"base": EG, "mass_fraction": q(30, "percent")},
    "fluid.highest_mass_fraction": {"base": EG},
    "fluid.mass_fraction_for": {"base": EG, "freezing_point": q(-15, "degC")},
    "fluid.mix_density": {"base": EG, "mass_fraction": q(30, "percent"), "temperature": q(5, "degC")},
    "fluid.properties": {"base": EG, "mass_fraction": q(30, "percent"), "temperature": q(5, "degC")},
    "fluid.strength_table": {"base": EG, "step": q(10, "percent"), "highest": q(50, "percent")},
    "friction.check_relative_roughness": {"relative": np.array([0.001])},
    "friction.default_roughness": {"material": "PE"},
    "friction.friction_factor": {"reynolds": 1e5, "relative_roughness": 1e-4},
    "friction.kinematic_viscosity": {"viscosity": q(1.3, "mPa*s"), "density": q(1000, "kg/m^3")},
    "friction.pressure_drop": {
        "flow": q(0.4, "L/s"),
        "length": q(200, "m"),
        "bore": q(26, "mm"),
        "fittings_k": 4.0,
        "roughness": q(7, "um"),
        **WATER,
    },
    "friction.regime": {"re": 3000.0},
    "friction.reynolds": {"flow": q(0.3, "L/s"), "bore": q(26, "mm"), **WATER},
    "friction.roughness_source": {"material": "PE"},
    "hazard.flash_point": {"base": Base.ETHANOL, "volume_fraction": q(30, "percent")},
    "hazard.oxygen_demand": {"base": PG},
    "heat.convective_resistance": {"flow": q(0.2, "L/s"), "bore": q(32.6, "mm"), "properties": PG25, "legs": 2},
    "heat.flow_for": {"duty": q(9, "kW"), "spread": q(3, "kelvin"), "properties": PG25},
    "heat.heat_balance": {"measured": MEASURED, "expected": q(9391, "W"), "expanded_expected": q(939, "W")},
    "heat.heat_from_flow": {
        "flow": q(0.788, "L/s"),
        "t_in": q(0, "degC"),
        "t_out": q(-3, "degC"),
        "properties": PG25,
        "u_flow": q(1.2, "percent"),
        "u_pair": q(0.12, "kelvin"),
        "u_heat_capacity": q(1.2, "percent"),
    },
    "heat.pair_uncertainty": {"limit_each": q(0.15, "kelvin")},
    "heat.source_duty": {"heating": q(12, "kW"), "cop": 4.6},
    "heat.spread_for": {"duty": q(9, "kW"), "flow": q(0.7, "L/s"), "properties": PG25},
    "heat.standard_uncertainty": {"limit": q(0.3, "bar")},
    "mixing.blend": {"parts": [Part(q(180, "L"), THIRD), Part(q(60, "L"), MIX)], "temperature": q(15, "degC")},
    "mixing.correction": {
        "base": EG,
        "system_volume": q(600, "L"),
        "measured": MIX,
        "target": THIRD,
        "concentrate": pure(base=EG),
        "temperature": q(15, "degC"),
    },
    "mixing.correction_by_volume": {
        "system_volume": q(600, "L"),
        "measured": q(23, "percent"),
        "target": q(28, "percent"),
        "concentrate": q(100, "percent"),
    },
    "mixing.first_fill": {
        "base": EG,
        "system_volume": q(600, "L"),
        "target": THIRD,
        "concentrate": pure(base=EG),
        "bin_volume": q(180, "L"),
        "residual_water": q(20, "L"),
        "temperature": q(15, "degC"),
    },
    "mixing.strength_after": {
        "system_volume": q(600, "L"),
        "poured": THIRD,
        "residual_water": q(60, "L"),
        "temperature": q(15, "degC"),
    },
    "mixing.strength_to_aim_for": {
        "system_volume": q(600, "L"),
        "target": MIX,
        "residual_water": q(60, "L"),
        "temperature": q(15, "degC"),
    },
    "network.solve": {
        "branches": LOOPS,
        "total_flow": q(1.5, "L/s"),
        "header": HEADER,
        "evaporator": (q(18, "kPa"), q(45, "L/min")),
        **WATER,
    },
    "network.solve_with_pump": {
        "branches": LOOPS,
        "pump": PUMP,
        "header": HEADER,
        "evaporator": (q(18, "kPa"), q(45, "L/min")),
        **WATER,
    },
    "network.star": {
        "loops": Branches.of(LOOPS).pipes(**WATER),
        "total": 1.5e-3,
        "law": Law.COLEBROOK,
    },
    "pipe.metric_pipes": {},
    "pipe.pipe": {"od": q(40, "mm"), "wall": q(3.7, "mm")},
    "pipe.system_volume": {"segments": [Segment(PROBE, q(200, "m"), 4)], "other": q(15, "L")},
    "pipe.volume": {"pipe": PROBE, "length": q(200, "m")},
    "pressure_methods.closed_form": {
        "start": q(6.6, "bar"),
        "slope": 0.09,
        "loading": q(5, "min"),
        "times": (1.0, 7.0, 15.0),
    },
    "pressure_test.allowable_volume": {
        "volume": q(167, "L"),
        "let_down": q(100, "kPa"),
        "bore_to_wall": 8.8,
        "wall_modulus": q(1200, "MPa"),
        "water_modulus": q(2090, "MPa"),
    },
    "pressure_test.creep_curve": {
        "start": q(6, "bar"),
        "until": q(60, "min"),
        "restraint": Restraint.FREE,
        "loading": q(10, "min"),
        "hold": q(60, "min"),
    },
    "pressure_test.method_limits": {"method": "type_ii"},
    "purge.clearing_velocity": {"bore": q(32.6, "mm"), "slope": q(90, "degree")},
    "purge.flow_for": {"bore": q(26, "mm"), "velocity": q(0.6, "m/s")},
    "purge.judge_run": {"velocity": q(0.65, "m/s"), "after_last_bubble": q(16, "min"), "turnovers": 4.0},
    "purge.plan": {"loops": LOOPS, "header": HEADER, **WATER},
    "purge.purge_rows": {},
    "purge.velocity_of": {"flow": q(20, "L/min"), "bore": q(26, "mm")},
    "refractometer.brix_correction": {"brix": 20.0, "sample_temperature": q(10, "degC")},
    "refractometer.brix_from_index": {"index": 1.36},
    "refractometer.frost_verdict": {
        "freezing_point": q(-16.2, "degC"),
        "required": q(-15, "degC"),
        "u": q(0.2, "kelvin"),
    },
    "refractometer.index_from_brix": {"brix": 20.0},
    "refractometer.index_of": {"base": EG, "mass_fraction": q(28, "percent")},
    "refractometer.read": {
        "scale": Scale.BRIX,
        "value": q(18, ""),
        "base": EG,
        "sample_temperature": q(18, "degC"),
        "resolution": q(0.2, ""),
        "accuracy": q(0.2, ""),
    },
    "refractometer.read_density": {
        "density": q(1035, "kg/m^3"),
        "base": EG,
        "sample_temperature": q(18, "degC"),
        "resolution": q(0.5, "kg/m^3"),
        "accuracy": q(1, "kg/m^3"),
    },
    "refractometer.repeat_of": {"readings": [READING]},
    "refractometer.shown_on": {"base": PG, "mass_fraction": q(30, "percent"), "scale_base": EG},
    "residual_air.from_bin_level": {"squeeze": SQUEEZE, "diameter": q(25, "cm"), "level_drop": q(5, "cm")},
    "residual_air.from_litres_in": {"squeeze": SQUEEZE, "litres_in": q(1.3, "L")},
    "residual_air.judge": {"air": residual_air.from_litres_in(squeeze=SQUEEZE, litres_in=q(1.3, "L"))},
    "residual_air.residual_rows": {},
    "strength.by_mass": {"base": EG, "value": q(30, "percent")},
    "strength.convert": {"strength": THIRD, "basis": Basis.VOLUME_FINAL},
    "strength.product_strength": {"product": pure(base=EG), "value": q(30, "percent")},
    "strength.pure": {"base": EG},
    "stress.derating": {"temperature": q(25, "degC")},
    "stress.gauge_classes": {},
    "stress.pressure_at_depth": {"pressure": q(7.5, "bar"), "depth": q(100, "m"), "density": q(1000, "kg/m^3")},
    "stress.required_test_pressure": {"rule": "w400_2", "working": q(10, "bar")},
    "stress.stored_energy": {"volume": q(167, "L"), "pressure": q(7.5, "bar"), "compliance": GIVE},
    "stress.stored_gas_energy": {"volume": q(167, "L"), "pressure": q(7.5, "bar")},
    "stress.stress_check": {
        "pressure": q(4, "bar"),
        "depth": q(100, "m"),
        "density": q(1000, "kg/m^3"),
        "ratings": {"pipe PN 16": q(16, "bar"), "valve PN 10": q(10, "bar")},
        "temperature": q(25, "degC"),
    },
    "supplier.freezing_point": {"table": SHEET, "strength": by_mass(base=EG, value=q(30, "percent"))},
    "supplier.strength_for": {"table": SHEET, "freezing_point": q(-13.5, "degC")},
    "supplier.strength_from_brix": {"table": SHEET, "brix": 20.0},
    "supplier.strength_from_protection": {"table": SHEET, "protection": q(-16.5, "degC")},
    "supplier.supplier_table": {"base": EG, "basis": Basis.MASS, "rows": SHEET.rows},
    "target.judge": {"strength": THIRD, "required": q(-14, "degC"), "table": SHEET},
    "target.strength_to_mix": {"base": EG, "required": q(-14, "degC"), "product": pure(base=EG)},
}


def modules() -> list[ModuleType]:
    """The public modules that compute."""
    names = [found.name for found in pkgutil.iter_modules(calcs.__path__)]
    return [importlib.import_module(f"calcs.{name}") for name in names if name[0] != "_" and name not in PLUMBING]


def functions() -> dict[str, Callable[..., Any]]:
    """Every public function where it is defined, by module and name."""
    return {
        f"{module.__name__.removeprefix('calcs.')}.{name}": inspect.unwrap(thing)
        for module in modules()
        for name, thing in vars(module).items()
        if name[0] != "_" and inspect.isroutine(inspect.unwrap(thing)) and thing.__module__ == module.__name__
    }


def quantities_of(name: str) -> list[str]:
    """The arguments of one case that are a quantity."""
    return [key for key, value in CASES[name].items() if isinstance(value, pint.Quantity)]


def numbers(result: object) -> Iterator[float]:
    """Every number in a result, in base units, in order."""
    if isinstance(result, pint.Quantity):
        result = result.to_root_units().magnitude
    if isinstance(result, int | float | np.ndarray) and not isinstance(result, bool):
        yield from np.ravel(result).astype(float).tolist()
    for part in _parts(result):
        yield from numbers(part)


def _parts(result: object) -> list[object]:
    if is_dataclass(result):
        return [getattr(result, each.name) for each in fields(result)]
    if isinstance(result, dict):
        return list(result.values())
    return list(result) if isinstance(result, list | tuple) else []
