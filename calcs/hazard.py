"""What a loop fluid does near a spark and in the ground: flash point, and the oxygen its breakdown takes up.

Figures for planning only: the safety data sheet of the product and the local authority decide.
"""

from __future__ import annotations

from typing import Final

from calcs._curves import Curve
from calcs.base import Base
from calcs.errors import NotKnown
from calcs.sources import Source, Status, table
from calcs.units import Quantity, quantity, si

GESTIS: Final = Source("GESTIS substance database, closed cup", Status.READ)
MOLAR: Final = {"C": 12.011, "H": 1.008, "O": 15.999, "K": 39.098}


def flash_point(*, base: Base, volume_fraction: Quantity) -> Quantity:
    """The temperature from which vapour over an ethanol mix can be lit.

    Straight lines between table rows. Units: volume percent of ethanol in, degC out. Range: ethanol, 5 to 100 volume %;
    other bases are `NotKnown` (methanol mixes are flammable too; glycols and salts in water are not known to flash).
    Source: GESTIS substance database, closed cup.

    >>> print(f"{flash_point(base=Base.ETHANOL, volume_fraction=quantity(30, 'percent')):.0f~P}")
    29 °C
    """
    if base is not Base.ETHANOL:
        raise NotKnown(what="flash point of", value=base.label, known="ethanol")
    rows = table("ethanol_flash_points")
    xs = [0.01 * float(r["ethanol_vol_pct"]) for r in rows]
    curve = Curve("volume fraction of ethanol", xs, [float(r["flash_point_C"]) for r in rows], GESTIS, "%")
    return quantity(curve(si(volume_fraction, "", "volume_fraction")), "degC")


def oxygen_demand(*, base: Base) -> Quantity:
    """The oxygen that full breakdown of a spilt antifreeze takes from water, per kg of it.

    C_a H_b O_c K_d + (a + b/4 + d/4 - c/2) O2; a salt ends as potassium carbonate. Units: kg/kg.
    Range: organic bases; water and carbonate take none (`NotKnown`). Source: stoichiometry, IUPAC molar masses.

    >>> print(f"{oxygen_demand(base=Base.PROPYLENE_GLYCOL).magnitude:.3f}")
    1.682
    """
    for row in table("antifreeze_formulas"):
        if row["base"] == base.value:
            c, h, o, k = (int(row[atom]) for atom in "CHOK")
            mass = c * MOLAR["C"] + h * MOLAR["H"] + o * MOLAR["O"] + k * MOLAR["K"]
            return quantity((c + h / 4 + k / 4 - o / 2) * 2 * MOLAR["O"] / mass, "kg/kg")
    raise NotKnown(what="oxygen demand of", value=base.label, known="the organic antifreezes")
