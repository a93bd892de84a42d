"""The closed list of units a field may offer. What was typed is kept; this turns it into the field's usual unit."""

from __future__ import annotations

from typing import NamedTuple


class Unit(NamedTuple):
    """`base value = factor * value + offset`; units of one base convert into each other."""

    base: str
    factor: float = 1.0
    offset: float = 0.0


UNITS: dict[str, Unit] = {
    "bar": Unit("bar"),
    "kPa": Unit("bar", 0.01),
    "psi": Unit("bar", 0.0689475729),
    "°C": Unit("°C"),
    "°F": Unit("°C", 5 / 9, -160 / 9),
    "L/min": Unit("L/min"),
    "m³/h": Unit("L/min", 1000 / 60),
    "gpm": Unit("L/min", 3.785411784),
    "L": Unit("L"),
    "m³": Unit("L", 1000.0),
    "gal": Unit("L", 3.785411784),
    "mm": Unit("mm"),
    "cm": Unit("mm", 10.0),
    "in": Unit("mm", 25.4),
    "m": Unit("m"),
    "ft": Unit("m", 0.3048),
    "min": Unit("min"),
    "s": Unit("min", 1 / 60),
    "h": Unit("min", 60.0),
    "d": Unit("d"),
    "kW": Unit("kW"),
    "W": Unit("kW", 0.001),
    "°Bx": Unit("°Bx"),
    "nD": Unit("nD"),
    "mass %": Unit("mass %"),
    "vol %": Unit("vol %"),
    "kg/L": Unit("kg/L"),
    "pcs": Unit("pcs"),
}


def convert(value: float, unit: str, to: str) -> float | None:
    """The value in another unit of the same base; None when the two do not belong together or are not known.

    >>> convert(100, "kPa", "bar"), convert(5, "°C", "bar")
    (1.0, None)
    """
    old, new = UNITS.get(unit), UNITS.get(to)
    if old is None or new is None or old.base != new.base:
        return None
    return (old.factor * value + old.offset - new.offset) / new.factor


def units_json() -> dict[str, dict[str, object]]:
    """The same table for the phone."""
    return {code: {"base": unit.base, "factor": unit.factor, "offset": unit.offset} for code, unit in UNITS.items()}
