"""One usable call of every public function on balancing, circuits, plants, vessels, trenches and joints, for the contract of them all."""

from __future__ import annotations

from typing import Any

import numpy as np

from calcs import balance, changeover, heat, joint, leak_rate, plant, stress, vessel
from calcs.base import Base
from calcs.circuit import Run, Split
from calcs.deaeration import Visit
from calcs.fluid import properties
from calcs.network import Branch, ParabolicPump
from calcs.pressure_test import PressureReading, Restraint
from calcs.purge_header import TakeOff
from calcs.trench import Section
from calcs.units import Quantity, quantity


def q(value: float, unit: str) -> Quantity:
    """A short name, since this file is made of quantities."""
    return quantity(value, unit)


def many(unit: str, *values: float) -> Quantity:
    """A quantity that wraps a whole array once."""
    return quantity(np.array(values), unit)


WATER: dict[str, Any] = {"density": q(999.7, "kg/m^3"), "viscosity": q(1.306, "mm^2/s")}
BRINE: dict[str, Any] = {"density": q(1025.81, "kg/m^3"), "viscosity": q(5.376295, "mm^2/s")}
LOOPS = [Branch(q(metres, "m"), q(26, "mm"), fittings_k=4) for metres in (160, 180, 200)]
FLOWS = many("L/s", 0.35, 0.35, 0.35)
SETTING = balance.settings(loops=LOOPS, flows=FLOWS, **BRINE)
NEAR_AND_FAR = [
    balance.Manifold(name, LOOPS, FLOWS, [Branch(q(metres, "m"), q(40.8, "mm"))])
    for name, metres in (("A", 20), ("B", 80))
]
LEG, TAIL = Branch(q(200, "m"), q(26, "mm")), Branch(q(20, "m"), q(32.6, "mm"))
DOUBLE = Run([TAIL, Split([LEG, LEG]), TAIL])
PLANT = [plant.Manifold(LOOPS), plant.Manifold(LOOPS)]
TRUNK = plant.Bar([Branch(q(40, "m"), q(40.8, "mm"))])
PUMP = ParabolicPump(q(8, "m"), q(4, "m"), q(3.6, "m^3/hour"))
NONE = q(0, "L")
VISITS = [Visit(day, q(bar, "bar"), q(bar, "bar"), NONE) for day, bar in ((1, 2.0), (3, 1.6), (5, 1.4))]
DUTY = heat.Duty(q(400, "gpm"), q(126, "ft"), q(17.5, "hp"))
PUMPING_GIVEN: dict[str, Any] = {
    "flow": q(0.788, "L/s"), "pressure_drop": q(57.7, "kPa"), "efficiency": 0.3, "heating": q(12, "kW"),
    "run_time": q(2400, "hour"),
}  # fmt: skip
SHUT = leak_rate.Shut(Restraint.FREE, q(166.9, "L"), q(10, "min"), q(60, "min"), q(0.01, "bar"))
SEEN = PressureReading(many("min", 0, 60), many("bar", 6.0, 5.3))
PARTS = [
    stress.Part("pipe", q(16, "bar"), below=q(10, "m"), plastic=True, stays=True),
    stress.Part("relief valve", q(3, "bar")),
]
FRONT = changeover.expected(length=q(300, "m"), bore=q(26, "mm"), flow=q(20, "L/min"), **WATER)
TAKE_OFFS = [TakeOff(Branch(q(20, "m"), q(bore, "mm")), [LEG]) for bore in (32.6, 26.0)]
CHARGE = vessel.Charge(q(12, "L"), q(0.7, "bar"))
PG25: dict[str, Any] = {"base": Base.PROPYLENE_GLYCOL, "mass_fraction": q(25, "percent")}
BORES: dict[str, Any] = {
    "main_bore": q(51.4, "mm"), "branch_bore": q(26, "mm"), "main_flow": q(0.75, "L/s"), "branch_flow": q(0.25, "L/s"),
}  # fmt: skip

CASES: dict[str, dict[str, Any]] = {
    "balance.balance_rows": {},
    "balance.carried_to": {"loops": LOOPS, "setting": SETTING, "total": q(1.05, "L/s"), **WATER},
    "balance.corrected": {
        "kind": balance.Indicator.FLOAT,
        "reading": q(20, "L/min"),
        "float_density": q(7900, "kg/m^3"),
        "limit": q(2, "percent"),
        **BRINE,
    },
    "balance.equal_flows": {"total": q(2.1, "L/s"), "loops": 6},
    "balance.flow_coefficient": {
        "flow": q(2.5, "m^3/hour"),
        "pressure_drop": q(25, "kPa"),
        "density": q(1000, "kg/m^3"),
    },
    "balance.judge": {
        "flows": many("L/min", 20.4, 19.8, 18.9),
        "targets": many("L/min", 20.0, 20.0, 20.0),
        "u": q(1.2, "percent"),
    },
    "balance.settings": {"loops": LOOPS, "flows": FLOWS, "least_drop": q(1, "kPa"), **BRINE},
    "balance.two_levels": {"manifolds": NEAR_AND_FAR, "least_drop": q(1, "kPa"), **BRINE},
    "balance.valve_drop": {
        "flow": q(2.5, "m^3/hour"),
        "flow_coefficient": q(5, "m^3/hour"),
        "density": q(1000, "kg/m^3"),
    },
    "changeover.suspects": {
        "expected": FRONT,
        "observed_first": q(5, "min"),
        "observed_full": q(5.4, "min"),
        "still_clear_after": q(4, "min"),
        "others": {"L2": q(105, "L"), "L3": q(160, "L")},
    },
    "circuit.flows": {"run": DOUBLE, "flow": q(0.6, "L/s"), **WATER},
    "circuit.longest_path": {"run": DOUBLE},
    "circuit.sections": {"run": DOUBLE},
    "circuit.shortest_path": {"run": DOUBLE},
    "circuit.volume": {"run": DOUBLE},
    "deaeration.outlook": {"visits": VISITS, "resolution": q(0.02, "bar")},
    "deaeration.run_end": {"planned": q(10, "day"), "lost": q(36, "hour")},
    "fittings.cv_from_kv": {"kv": q(1, "m^3/hour")},
    "fittings.equivalent_length": {"k": 1.0, "bore": q(26, "mm"), "friction_factor": 0.035},
    "fittings.fitting": {"name": "borehole foot (U-bend)"},
    "fittings.fittings": {},
    "fittings.k_from_kv": {"kv": q(500, "m^3/hour"), "bore": q(154, "mm")},
    "fittings.k_on": {"k": 0.55, "from_bore": q(26, "mm"), "to_bore": q(51.4, "mm")},
    "fittings.kv_from_cv": {"cv": q(1, "gpm")},
    "fittings.kv_from_k": {"k": 3.6, "bore": q(154, "mm")},
    "fittings.sum_of_k": {"counts": {"borehole foot (U-bend)": 1, "electrofusion coupler": 4}},
    "fittings.tee_converging": BORES,
    "fittings.tee_diverging": BORES,
    "front.effective_length": {"run": DOUBLE, "observed": q(388, "s"), "flow": q(38, "L/min")},
    "front.expected": {"run": DOUBLE, "flow": q(38, "L/min"), **WATER},
    "front.share_of_new": {"run": DOUBLE, "flow": q(38, "L/min"), "after": q(388, "s"), **WATER},
    "heat.at_speed": {"duty": DUTY, "ratio": 0.5},
    "heat.efficiency_of_penalty": {"power": q(0.8, "W"), "flow": q(1, "gpm"), "head": q(1, "ft")},
    "heat.judge_pumping": {"pumping": heat.pumping_power(**PUMPING_GIVEN), "u": q(5, "percent")},
    "heat.mean_of": {"readings": many("L/s", 3.0, 3.2, 3.1, 2.9), "u": q(0.05, "L/s")},
    "heat.pump_efficiencies": {},
    "heat.pumping_power": PUMPING_GIVEN,
    "heat.steadiness": {
        "times": many("min", 0, 5, 10, 15, 20),
        "temperatures": many("degC", -1.0, -1.1, -1.0, -1.0, -1.1),
        "resolution": q(0.1, "kelvin"),
        "limit": q(0.5, "kelvin"),
    },
    "joint.check_socket": {"od": q(40, "mm"), "heated": q(20, "s"), "held": q(60, "s")},
    "joint.check_tool": {"method": joint.Method.SOCKET, "temperature": q(260, "degC"), "u": q(1, "kelvin")},
    "joint.cooling": {"method": joint.Method.SOCKET, "od": q(40, "mm")},
    "joint.joint_rows": {"method": joint.Method.SOCKET},
    "joint.socket_times": {"od": q(40, "mm")},
    "joint.tool_temperature": {"method": joint.Method.SOCKET},
    "joint.waiting": {
        "cooling": joint.cooling(method=joint.Method.SOCKET, od=q(40, "mm")),
        "elapsed": q(2, "min"),
    },
    "leak_rate.leak_rate": {"shut": SHUT, "readings": SEEN},
    "leak_rate.smallest_leak": {"shut": SHUT, "start": q(6, "bar"), "minutes": q(60, "min")},
    "network.regimes_of": {"reynolds": np.array([1999.0, 4000.0])},
    "plant.solve": {
        "manifolds": PLANT,
        "trunk": TRUNK,
        "total_flow": q(2.4, "L/s"),
        "evaporator": (q(18, "kPa"), q(45, "L/min")),
        **WATER,
    },
    "plant.solve_with_pump": {
        "manifolds": PLANT,
        "trunk": TRUNK,
        "pump": PUMP,
        "evaporator": (q(18, "kPa"), q(45, "L/min")),
        **WATER,
    },
    "deciding.duty": {
        "flow": q(47, "L/min"),
        "spread": q(3, "K"),
        "properties": properties(base=Base.PROPYLENE_GLYCOL, mass_fraction=q(25, "percent"), temperature=q(0, "degC")),
        "flow_limit": q(1, "L/min"),
        "pair_limit": q(0.1, "K"),
    },
    "deciding.fall": {"limit": q(0.3, "bar"), "resolution": q(0.1, "bar")},
    "deciding.sequence": {"pressure": q(6, "bar"), "resolution": q(0.1, "bar"), "restraint": Restraint.FREE},
    "deciding.short_check": {
        "pressure": q(6, "bar"),
        "resolution": q(0.1, "bar"),
        "restraint": Restraint.FREE,
        "loading": q(10, "min"),
        "hold": q(60, "min"),
        "isolated": q(60, "min"),
    },
    "deciding.strength_scale": {
        "base": Base.PROPYLENE_GLYCOL,
        "mass_fraction": q(33, "percent"),
        "band": q(1.5, "percent"),
        "resolution": q(0.2, ""),
        "accuracy": q(0.2, ""),
    },
    "pressure_holds.hold_rules": {},
    "purge.lift_pressure": {"lift": q(1.5, "m"), "density": q(999.7, "kg/m^3")},
    "purge.worst_fall": {"falling": LOOPS, "velocity": q(0.6, "m/s"), "slope": q(45, "degree")},
    "purge_header.duties": {"take_offs": TAKE_OFFS, "lift": q(1.5, "m"), "highest": q(2, "bar"), "home": TAIL, **WATER},
    "stress.gauge_range": {"span": q(16, "bar"), "pressure": q(6, "bar")},
    "stress.gauge_suits": {"gauge": stress.Gauge(q(10, "bar"), q(0.1, "bar"), 1.6), "pressure": q(6, "bar")},
    "stress.isolate_first": {
        "pressure": q(5, "bar"),
        "density": q(1000, "kg/m^3"),
        "parts": PARTS,
        "temperature": q(10, "degC"),
    },
    "stress.pipe_rating": {"od": q(40, "mm"), "wall": q(3.7, "mm")},
    "trench.check": {
        "section": Section(q(1.6, "m"), bed=q(100, "mm"), supported=False, inspected=True),
        "u": q(10, "mm"),
    },
    "trench.sand": {
        "length": q(50, "m"),
        "width": q(600, "mm"),
        "bed": q(100, "mm"),
        "cover": q(150, "mm"),
        "od": q(40, "mm"),
    },
    "trench.spoil": {
        "length": q(50, "m"),
        "width": q(600, "mm"),
        "depth": q(1, "m"),
        "replaced": q(3, "m^3"),
        "slope": 0.5,
    },
    "trench.tape": {"length": q(120, "m"), "pipe_top": q(0.9, "m"), "roll": q(100, "m")},
    "trench.trench_rows": {"area": "section"},
    "vessel.end_pressure": {"relief": q(3, "bar")},
    "vessel.expansion": {"volume": q(400, "L"), "filled_at": q(15, "degC"), "warmest": q(25, "degC"), **PG25},
    "vessel.fill_window": {
        "vessel": CHARGE,
        "expansion": q(1.585, "L"),
        "reserve": q(3, "L"),
        "end": q(2.5, "bar"),
    },
    "vessel.judge_fill": {
        "pressure": q(1.5, "bar"),
        "window": vessel.FillWindow(q(1.27, "bar"), q(1.75, "bar")),
        "resolution": q(0.1, "bar"),
    },
    "vessel.precharge": {"height": q(8, "m"), "density": q(1020, "kg/m^3"), "margin": q(0.3, "bar")},
    "vessel.reserve": {"volume": q(400, "L")},
    "vessel.settled_pressure": {
        "start": q(1.5, "bar"),
        "since": q(0.5, "hour"),
        "time": q(24, "hour"),
        "volume": q(400, "L"),
        "bore_to_wall": 8.81,
        "temperature": q(10, "degC"),
        "vessel": CHARGE,
        "added": q(0.1, "L"),
    },
    "vessel.size": {"expansion": q(1.585, "L"), "reserve": q(3, "L"), "precharge": q(0.7, "bar"), "end": q(2.5, "bar")},
    "vessel.size_without_reserve": {"expansion": q(0.779, "L"), "precharge": q(0.5, "bar"), "end": q(1.5, "bar")},
    "vessel.thermal_change": {
        "volume": q(400, "L"),
        "start": q(15, "degC"),
        "end": q(-5, "degC"),
        "share": 0.5,
        **PG25,
    },
    "vessel.vessel_rows": {},
}
