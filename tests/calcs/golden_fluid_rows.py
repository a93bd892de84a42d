"""Readers of the golden rows on loop fluids: what the text of a row says, as quantities, strengths and products."""

from __future__ import annotations

import re
from typing import TypeAlias

from calcs.base import Base
from calcs.strength import Product, Strength, by_mass, pure
from calcs.units import Quantity, quantity

MASS_PERCENT = r"([\d.]+) mass %"
Row: TypeAlias = dict[str, str]


def number(pattern: str, text: str) -> float:
    """The first group of the pattern. A text without it is an error, never a default."""
    found = re.search(pattern, text)
    assert found is not None, (pattern, text)
    return float(found[1])


def percent(value: float) -> Quantity:
    return quantity(value, "percent")


def degrees(value: float) -> Quantity:
    return quantity(value, "degC")


def base_of(text: str) -> Base:
    """The one antifreeze named in the text; water only where no antifreeze is named."""
    # Whole words: ethanol also stands inside methanol.
    named = {base for base in Base if re.search(rf"\b{base.label}\b", text)}
    antifreezes = named - {Base.WATER} or named
    assert len(antifreezes) == 1, text
    return antifreezes.pop()


def mass_percent(text: str) -> Quantity:
    return percent(number(MASS_PERCENT, text))


def mix(base: Base, mass_percent_number: float) -> Strength:
    return by_mass(base=base, value=percent(mass_percent_number))


def product_of(base: Base, text: str) -> Product:
    """The concentrate described: its mass % and its own density, or pure where no strength is given."""
    if not re.search(MASS_PERCENT, text):
        return pure(base=base)
    return Product(base, mass_percent(text), quantity(number(r"([\d.]+) kg/m3", text), "kg/m^3"))
