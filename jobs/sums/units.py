"""The closed lists of units a sum may be asked in. Pint sees only what stands here, never what a person typed."""

from __future__ import annotations

from typing import Final, NamedTuple

from calcs.units import Quantity, quantity


class Unit(NamedTuple):
    """`code` is sent and kept in the address, `pint` is our name for it, `label` is shown (the code, where empty)."""

    code: str
    pint: str
    label: str = ""

    @property
    def shown(self) -> str:
        return self.label or self.code

    def of(self, value: float) -> Quantity:
        return quantity(value, self.pint)


Units = tuple[Unit, ...]

# The first of each list is the usual one; ranges of fields are told in it.
VOLUME: Final[Units] = (Unit("L", "L"), Unit("m³", "m^3"), Unit("gal", "gallon", "US gal"))
LENGTH: Final[Units] = (Unit("m", "m"), Unit("ft", "ft"))
SIZE: Final[Units] = (Unit("mm", "mm"), Unit("in", "inch"))
WIDTH: Final[Units] = (Unit("cm", "cm"), Unit("mm", "mm"), Unit("in", "inch"))
PRESSURE: Final[Units] = (Unit("bar", "bar"), Unit("kPa", "kPa"), Unit("psi", "psi"))
FLOW: Final[Units] = (
    Unit("L/min", "L/min"),
    Unit("L/s", "L/s"),
    Unit("m³/h", "m^3/hour"),
    Unit("gpm", "gpm", "US gpm"),
)
TEMPERATURE: Final[Units] = (Unit("°C", "degC"), Unit("°F", "degF"))
DIFFERENCE: Final[Units] = (Unit("K", "K"), Unit("°F", "delta_degF"))
POWER: Final[Units] = (Unit("kW", "kW"), Unit("W", "W"), Unit("Btu/h", "Btu/hour"))
TIME: Final[Units] = (Unit("min", "min"), Unit("h", "hour"))
DENSITY: Final[Units] = (Unit("kg/m³", "kg/m^3"), Unit("g/cm³", "g/cm^3"))
PERCENT: Final[Units] = (Unit("%", "percent"),)
HEAD: Final[Units] = (Unit("kPa", "kPa"), Unit("bar", "bar"), Unit("psi", "psi"))
# The scale of the instrument is told by the unit it reads in.
SCALES: Final[Units] = (
    Unit("°Bx", "dimensionless"),
    Unit("°C", "degC"),
    Unit("°F", "degF"),
    Unit("nD", "dimensionless", "index nD"),
    Unit("kg/m³", "kg/m^3"),
    Unit("g/cm³", "g/cm^3"),
)
NONE: Final[Units] = (Unit("", "dimensionless"),)


def named(units: Units, code: str) -> Unit | None:
    """The unit of this code; None when the list has none such."""
    return next((unit for unit in units if unit.code == code), None)
