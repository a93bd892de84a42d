"""Range checks shared by the calculations: a value comes back as given, or a named error goes up."""

from __future__ import annotations

from math import inf, isfinite

from calcs.errors import OutOfRange, WrongUnit
from calcs.units import Quantity, si

FORMULA = "range of the formula"


def positive(what: str, value: float, source: str = FORMULA) -> float:
    """The value, if it is finite and above 0."""
    if not (value > 0.0 and isfinite(value)):
        raise OutOfRange(what=what, value=value, low="above 0", high="any finite value", source=source)
    return value


def not_negative(what: str, value: float, source: str = FORMULA) -> float:
    """The value, if it is finite and 0 or more."""
    return between(what, value, 0.0, inf, source)


def between(what: str, value: float, low: float, high: float, source: str = FORMULA) -> float:
    """The value, if it is finite and inside low to high, ends included."""
    if not (low <= value <= high and isfinite(value)):
        shown = "any finite value" if high == inf else high
        raise OutOfRange(what=what, value=value, low=low, high=shown, source=source)
    return value


def kinematic_si(viscosity: Quantity, density: Quantity) -> float:
    """Kinematic viscosity in m2/s from a dynamic or kinematic one."""
    rho = positive("density", si(density, "kg/m^3", "density"))
    try:
        nu = si(viscosity, "m^2/s", "viscosity")
    except WrongUnit:
        nu = si(viscosity, "Pa*s", "viscosity") / rho
    return positive("viscosity", nu)
