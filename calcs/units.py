"""The one unit registry of the project, and the door through which quantities become SI floats and come back."""

from __future__ import annotations

from functools import cache
from math import isfinite
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
import pint

from calcs.errors import OutOfRange, WrongUnit

ureg: pint.UnitRegistry[Any] = pint.UnitRegistry(autoconvert_offset_to_baseunit=False)
ureg.define("gpm = gallon / minute")
pint.set_application_registry(ureg)  # type: ignore[no-untyped-call]

# The plain class at run time, for isinstance.
if TYPE_CHECKING:
    Quantity: TypeAlias = pint.Quantity[Any]
else:
    Quantity = pint.Quantity
Array: TypeAlias = np.ndarray[Any, np.dtype[np.float64]]


@cache
def _unit(text: str) -> Any:
    """The unit of this text, parsed once: parsing costs more than all the arithmetic behind it."""
    return ureg.Unit(text)


def quantity(magnitude: float | Array, unit: str) -> Quantity:
    """A number with its unit. The unit is one written in our own code, never text that a person typed.

    >>> quantity(2.5, "bar").to("kPa")
    <Quantity(250.0, 'kilopascal')>
    """
    return ureg.Quantity(magnitude, _unit(unit))


def si(value: Quantity, unit: str, name: str) -> float:
    """The magnitude of one quantity in `unit`, as a float.

    Raises `WrongUnit` (naming the argument) when `value` is a bare number or has another dimension, `OutOfRange` when it
    is not finite: a nan passes every comparison that it should fail.

    >>> si(quantity(2.5, "bar"), "Pa", "pressure")
    250000.0
    """
    try:
        found = float(value.m_as(_unit(unit)))
    except AttributeError:
        raise WrongUnit(what=name, value=repr(value), needed=unit) from None
    except pint.DimensionalityError:
        raise WrongUnit(what=name, value=str(value), needed=unit) from None
    if not isfinite(found):
        raise OutOfRange(
            what=name, value=str(found), low="the lowest", high="the highest finite value", source="a reading"
        )
    return found


def si_array(value: Quantity, unit: str, name: str) -> Array:
    """As `si`, for a quantity that wraps a whole array once. Shape is kept; a scalar becomes shape (1,).

    >>> si_array(quantity(np.array([1.0, 2.0]), "kPa"), "Pa", "drop").tolist()
    [1000.0, 2000.0]
    """
    try:
        return np.atleast_1d(np.asarray(value.m_as(_unit(unit)), dtype=np.float64))
    except AttributeError:
        raise WrongUnit(what=name, value=repr(value), needed=unit) from None
    except pint.DimensionalityError:
        raise WrongUnit(what=name, value=str(value), needed=unit) from None
