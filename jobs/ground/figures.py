"""The numbers of a job as frozen quantities, and the same as plain floats whose names end in their unit."""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from typing import Annotated, Any, Final, TypeAlias, get_args, get_origin, get_type_hints

from calcs.units import Quantity

SUFFIX: Final = {
    "L": "l", "L/min": "l_min", "m": "m", "mm": "mm", "m/s": "m_s", "kPa": "kpa", "percent": "pct", "degC": "c",
    "kg/m^3": "kg_m3", "J/kg/K": "j_kg_k", "mPa*s": "mpa_s", "mm^2/s": "mm2_s", "kW": "kw", "K": "k", "s": "s",
    "min": "min",
}  # fmt: skip
# Given to the phone and to pages as floats in these units.
Litres: TypeAlias = Annotated[Quantity, "L"]
LitresPerMinute: TypeAlias = Annotated[Quantity, "L/min"]
Metres: TypeAlias = Annotated[Quantity, "m"]
Millimetres: TypeAlias = Annotated[Quantity, "mm"]
MetresPerSecond: TypeAlias = Annotated[Quantity, "m/s"]
Kilopascals: TypeAlias = Annotated[Quantity, "kPa"]
Percent: TypeAlias = Annotated[Quantity, "percent"]
Celsius: TypeAlias = Annotated[Quantity, "degC"]
KgPerCubicMetre: TypeAlias = Annotated[Quantity, "kg/m^3"]
JoulesPerKgKelvin: TypeAlias = Annotated[Quantity, "J/kg/K"]
MilliPascalSeconds: TypeAlias = Annotated[Quantity, "mPa*s"]
SquareMmPerSecond: TypeAlias = Annotated[Quantity, "mm^2/s"]
Kilowatts: TypeAlias = Annotated[Quantity, "kW"]
Kelvins: TypeAlias = Annotated[Quantity, "K"]
Seconds: TypeAlias = Annotated[Quantity, "s"]
Minutes: TypeAlias = Annotated[Quantity, "min"]


@dataclass(frozen=True)
class Volumes:
    """What the circuit holds."""

    system: Litres
    loops: Litres
    header: Litres
    plant: Litres


@dataclass(frozen=True)
class Fluid:
    """The target mix and what it is like at the cold design temperature."""

    base: str
    base_label: str
    product: str
    colour: str
    target_mass: Percent
    target_volume: Percent | None
    freezing_point: Celsius
    freezing_point_low: Celsius
    temperature: Celsius
    density: KgPerCubicMetre
    heat_capacity: JoulesPerKgKelvin
    viscosity: MilliPascalSeconds
    kinematic_viscosity: SquareMmPerSecond
    frost_margin: Kelvins | None


@dataclass(frozen=True)
class Flow:
    """The operating point: what the ground gives, what must flow, and what the pump must overcome."""

    is_transition: bool
    source_duty: Kilowatts
    flow_for_spread: LitresPerMinute
    design_flow: LitresPerMinute
    spread: Kelvins
    manifold_drop: Kilopascals
    header_drop: Kilopascals
    header_velocity: MetresPerSecond | None
    evaporator_drop: Kilopascals | None
    total_drop: Kilopascals
    conservative_drop: Kilopascals
    lowest_loop: Percent
    highest_loop: Percent


@dataclass(frozen=True)
class Batch:
    volume: Litres
    concentrate: Litres
    water: Litres


@dataclass(frozen=True)
class Fill:
    """The recipe of the first fill."""

    drums: int
    drum: Litres
    left_over: Litres
    mixed: Litres
    concentrate: Litres
    water: Litres
    contraction: Litres
    batches: tuple[Batch, ...] = ()


@dataclass(frozen=True)
class LoopFlow:
    """One loop at the operating point. `deviation` is from the mean of the loops."""

    reynolds: float
    regime: str
    flow: LitresPerMinute
    velocity: MetresPerSecond
    share: Percent
    deviation: Percent
    drop: Kilopascals


@dataclass(frozen=True)
class LoopPurge:
    """What purging this loop alone takes."""

    turnovers: float
    pump_suffices: bool | None
    flow: LitresPerMinute
    velocity: MetresPerSecond
    pressure: Kilopascals
    time: Minutes


@dataclass(frozen=True)
class LoopChangeover:
    """When colour should show at the return hose, counted from the moment fluid enters the loop."""

    reynolds: float
    is_sharp: bool
    flow: LitresPerMinute
    transit: Seconds
    first_colour: Seconds
    full_colour: Seconds
    mixed: Litres
    band: Percent


@dataclass(frozen=True)
class LoopNumbers:
    code: str
    port: int
    pipe: str
    length: Metres
    bore: Millimetres
    volume: Litres
    running: LoopFlow | None = None
    purge: LoopPurge | None = None
    changeover: LoopChangeover | None = None


@dataclass(frozen=True)
class HeaderPurge:
    """What purging the header takes. `loops_open` is None when the purge unit cannot do it."""

    loops_open: int | None
    flow: LitresPerMinute
    velocity_one_loop: MetresPerSecond
    pressure: Kilopascals | None


@dataclass(frozen=True)
class Purge:
    """Both duties of the purge unit. `pump_suffices` is None when no purge unit is entered."""

    pump_suffices: bool | None
    time: Minutes
    header: HeaderPurge | None = None


@dataclass(frozen=True)
class Caution:
    """One thing to know before the work; `code` is stable, `text` is for people."""

    code: str
    text: str


@dataclass(frozen=True)
class SourceLine:
    """Where a group of figures comes from."""

    what: str
    text: str


@dataclass(frozen=True)
class Numbers:
    """All numbers of a job. What cannot be computed yet is None and told in `missing` or `problems`."""

    loops: tuple[LoopNumbers, ...]
    volumes: Volumes | None
    fluid: Fluid | None
    flow: Flow | None
    fill: Fill | None
    purge: Purge | None
    cautions: tuple[Caution, ...]
    missing: tuple[str, ...]
    problems: tuple[str, ...]
    sources: tuple[SourceLine, ...]

    @property
    def is_complete(self) -> bool:
        return not self.missing and not self.problems

    def loop(self, code: str) -> LoopNumbers | None:
        return next((loop for loop in self.loops if loop.code == code), None)


def as_json(value: Any) -> Any:
    """Dataclasses as dicts; a quantity `x` in L/min becomes the float `x_l_min`."""
    if is_dataclass(value) and not isinstance(value, type):
        units = _units(type(value))
        return dict(_pair(spec.name, getattr(value, spec.name), units[spec.name]) for spec in fields(value))
    if isinstance(value, tuple):
        return [as_json(item) for item in value]
    return value


def _pair(name: str, value: Any, unit: str) -> tuple[str, Any]:
    if not unit:
        return name, as_json(value)
    return f"{name}_{SUFFIX[unit]}", None if value is None else float(value.m_as(unit))


@cache
def _units(kind: type) -> dict[str, str]:
    """The unit of every field; empty for those that are no quantity."""
    return {name: _unit(hint) for name, hint in get_type_hints(kind, include_extras=True).items()}


def _unit(hint: Any) -> str:
    for part in (hint, *get_args(hint)):
        if get_origin(part) is Annotated:
            return str(part.__metadata__[0])
    return ""
