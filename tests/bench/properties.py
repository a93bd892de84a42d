"""Properties of a mix per second, ours against CoolProp's, in one run. For the record: there is no bar.

    python -m tests.bench.properties

Density, heat capacity, conductivity and viscosity of 30 % propylene glycol: one state at a time, and a column of a thousand
temperatures. Ours are measured with quantities (`fluid.properties`) and in floats, as the other calculations use them.
"""

from __future__ import annotations

import sys

import numpy as np
from CoolProp.CoolProp import PT_INPUTS, AbstractState, PropsSI

from calcs._curves import state
from calcs.base import Base
from calcs.fluid import properties
from calcs.units import quantity
from tests.bench.network import milliseconds, say

NAME, FRACTION, PASCAL = "INCOMP::MPG[0.3]", 0.3, 3e5
LETTERS = ("D", "C", "L", "V")
COLUMN = np.linspace(-5.0, 35.0, 1000)
PG, STRENGTH = Base.PROPYLENE_GLYCOL, quantity(30, "percent")


def quantities(celsius: float) -> tuple[float, ...]:
    found = properties(base=PG, mass_fraction=STRENGTH, temperature=quantity(celsius, "degC"))
    return (
        found.density.magnitude,
        found.heat_capacity.magnitude,
        found.conductivity.magnitude,
        found.viscosity.magnitude,
    )


def floats(celsius: float) -> tuple[float, ...]:
    found = state(PG, FRACTION, celsius)
    return found.rho, found.cp, found.k, found.mu


def by_name(celsius: float) -> tuple[float, ...]:
    return tuple(PropsSI(letter, "T", celsius + 273.15, "P", PASCAL, NAME) for letter in LETTERS)


def by_state(held: AbstractState, celsius: float) -> tuple[float, ...]:
    held.update(PT_INPUTS, PASCAL, celsius + 273.15)
    return held.rhomass(), held.cpmass(), held.conductivity(), held.viscosity()


def column_by_name() -> list[np.ndarray]:
    return [PropsSI(letter, "T", COLUMN + 273.15, "P", PASCAL, NAME) for letter in LETTERS]


def main() -> int:
    held = AbstractState("INCOMP", "MPG")
    held.set_mass_fractions([FRACTION])
    for other in (floats(10.0), by_state(held, 10.0), by_name(10.0)):
        np.testing.assert_allclose(quantities(10.0), other, rtol=1e-9)
    one = milliseconds(
        lambda: quantities(10.0), lambda: floats(10.0), lambda: by_name(10.0), lambda: by_state(held, 10.0)
    )
    many = milliseconds(
        lambda: [quantities(t) for t in COLUMN.tolist()],
        lambda: [floats(t) for t in COLUMN.tolist()],
        column_by_name,
        lambda: [by_state(held, t) for t in COLUMN.tolist()],
    )
    names = ("ours, quantities", "ours, floats", "theirs, by name", "theirs, one state kept")
    say("states a second (four properties each)    one at a time    column of 1000   ratio to ours (quantities)")
    for name, single, column in zip(names, one, many, strict=True):
        each = column / len(COLUMN)
        say(f"{name:<38} {1e3 / single:>16,.0f} {1e3 / each:>17,.0f}   x{one[0] / single:.2f} x{many[0] / column:.2f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
