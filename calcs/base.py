"""The antifreezes that a loop fluid is made with."""

from __future__ import annotations

from enum import StrEnum


class Base(StrEnum):
    """What is dissolved in the water. Values are the names used in the data files."""

    WATER = "water"
    ETHYLENE_GLYCOL = "ethylene_glycol"
    PROPYLENE_GLYCOL = "propylene_glycol"
    ETHANOL = "ethanol"
    METHANOL = "methanol"
    GLYCEROL = "glycerol"
    POTASSIUM_ACETATE = "potassium_acetate"
    POTASSIUM_FORMATE = "potassium_formate"
    POTASSIUM_CARBONATE = "potassium_carbonate"

    @property
    def label(self) -> str:
        """The name shown to people."""
        return self.value.replace("_", " ")

    @property
    def is_glycol(self) -> bool:
        """Ethylene or propylene glycol: the two that refractometer scales in degrees are made for."""
        return self in {Base.ETHYLENE_GLYCOL, Base.PROPYLENE_GLYCOL}

    @property
    def is_alcohol(self) -> bool:
        """Ethanol or methanol: flammable, with a refractive index that turns back."""
        return self in {Base.ETHANOL, Base.METHANOL}

    @property
    def is_salt(self) -> bool:
        """A potassium salt: no liquid pure form, so no volume percent of pure substance."""
        return self.value.startswith("potassium")
