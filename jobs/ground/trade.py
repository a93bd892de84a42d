"""What is in the ground as plain frozen facts: no rows, no units but those in the names."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

LOOP_CODE: Final = re.compile(r"L[1-9][0-9]{0,2}")
BOREHOLE_CODE: Final = re.compile(r"B[1-9][0-9]{0,2}")
SECTION_CODE: Final = re.compile(r"S[1-9][0-9]{0,2}")


@dataclass(frozen=True)
class LoopPlan:
    """One parallel path, port to port."""

    code: str
    port: int
    kind: str
    borehole: str
    section: str
    od_mm: float
    wall_mm: float
    material: str
    array_m: float
    lateral_m: float
    fittings_k: float

    @property
    def length_m(self) -> float:
        return self.array_m + self.lateral_m


@dataclass(frozen=True)
class BoreholePlan:
    code: str
    depth_m: float


@dataclass(frozen=True)
class SectionPlan:
    code: str
    title: str
    length_m: float
    depth_mm: float
    width_mm: float


@dataclass(frozen=True)
class HeaderPlan:
    """The pipe pair from manifold to plant room."""

    od_mm: float
    wall_mm: float
    material: str
    length_each_way_m: float
    fittings_k: float
    section: str


@dataclass(frozen=True)
class ManifoldPlan:
    ports: int
    place: str


@dataclass(frozen=True)
class ProductPlan:
    """The concentrate of the design."""

    name: str
    base: str
    concentrate_mass_pct: float
    density_kg_m3: float | None
    minimum_mass_pct: float | None
    colour: str
    drum_l: float


@dataclass(frozen=True)
class DesignPlan:
    """Heat pump, fluid and purge unit of the design."""

    revision: str
    freezing_point_c: float
    cold_fluid_c: float
    heating_kw: float
    cop: float
    rating_point: str
    spread_k: float
    minimum_flow_l_min: float | None
    evaporator_drop_kpa: float | None
    evaporator_flow_l_min: float | None
    frost_alarm_c: float | None
    plant_volume_l: float
    bin_l: float
    purge_pump_l_min: float | None
    purge_pump_kpa: float | None
    static_height_m: float | None = None


@dataclass(frozen=True)
class LimitPlan:
    """The limits of the job's rule set that the numbers rest on."""

    purge_velocity_m_s: float
    purge_minutes: float
    purge_turnovers: float
    changeover_band_pct: float
    freeze_margin_k: float
    freeze_margin_block_k: float
    balance_spread_pct: float
    purge_source: str
    changeover_source: str


@dataclass(frozen=True)
class Plan:
    """The whole array as designed; the numbers and the drawing are made from this alone."""

    number: int
    title: str
    loops: tuple[LoopPlan, ...]
    boreholes: tuple[BoreholePlan, ...]
    sections: tuple[SectionPlan, ...]
    header: HeaderPlan | None
    manifold: ManifoldPlan | None
    design: DesignPlan | None
    product: ProductPlan | None
    limits: LimitPlan


def next_code(letter: str, taken: set[str]) -> str:
    """The first free code of this letter: L1, L2 …"""
    number = 1
    while f"{letter}{number}" in taken:
        number += 1
    return f"{letter}{number}"


def next_port(taken: set[int]) -> int:
    port = 1
    while port in taken:
        port += 1
    return port
