"""How much air is left after purging: pump against a shut return, and see how much fluid goes in.

What goes in fills the squeezed air and the stretched pipe; only what is beyond the stretch is air. A fixed drop of the tank
is fair for one size of loop only. Dissolved air is not seen by this.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

from calcs._ranges import between, not_negative, positive
from calcs.elastic import compliance, elastic_volume
from calcs.errors import OutOfRange
from calcs.sources import Limit, limits
from calcs.units import Quantity, quantity, si
from calcs.verdict import Cause, Figure, Outcome, Verdict

ATMOSPHERE = 101.325


@dataclass(frozen=True)
class Squeeze:
    """One dead-head event: loop volume and shape, gauge pressures before and at the end, hose give, wall modulus.

    `wall_modulus` None takes the default for an event of 1 to 2 min; `hose` is litres taken by the hoses alone.
    """

    volume: Quantity
    bore_to_wall: float
    start_pressure: Quantity
    end_pressure: Quantity
    hose: Quantity | None = None
    wall_modulus: Quantity | None = None
    water_modulus: Quantity | None = None
    atmosphere: Quantity | None = None


@dataclass(frozen=True)
class ResidualAir:
    """Air left, as volume at atmospheric pressure, with the band that the doubt of the wall modulus leaves.

    Negative means that less went in than the pipe's own stretch: `low_share` tells a shut valve from plain doubt.
    """

    volume: Quantity
    share: float
    low: Quantity
    high: Quantity
    litres_in: Quantity
    elastic: Quantity
    loop_volume: Quantity


def residual_rows() -> dict[str, Limit]:
    """The limits of residual air with their sources (units in the rows; range: keys of the table).

    Source: `calcs/data/house_limits.csv`.

    >>> residual_rows()["good_share"].value
    0.002
    """
    return limits("house_limits", "residual_air")


def from_bin_level(*, squeeze: Squeeze, diameter: Quantity, level_drop: Quantity) -> ResidualAir:
    """As `from_litres_in`, litres from the fall of level in a round bin: dV = pi D^2 / 4 dh.

    Range: diameter above 0, fall 0 or more. Source: geometry.

    >>> loop = Squeeze(quantity(333.9, "L"), 8.811, quantity(0, "kPa"), quantity(345, "kPa"),
    ...     wall_modulus=quantity(900, "MPa"))
    >>> found = from_bin_level(squeeze=loop, diameter=quantity(25, "cm"), level_drop=quantity(5, "cm"))
    >>> round(found.litres_in.magnitude, 3), round(100 * found.share, 2)
    (2.454, 0.49)
    """
    d = positive("diameter of the bin", si(diameter, "m", "diameter"))
    fall = not_negative("fall of level", si(level_drop, "m", "fall of level"))
    return from_litres_in(squeeze=squeeze, litres_in=quantity(pi / 4.0 * d**2 * fall, "m^3").to("L"))


def from_litres_in(*, squeeze: Squeeze, litres_in: Quantity) -> ResidualAir:
    """V_0 = (dV_in - V dp C - hose) / (1 - P_0/P_1), absolute pressures; volume at 1 atm = V_0 P_0 / P_atm, in L.

    Range: end pressure above start pressure, both gauge and not below vacuum; litres 0 or more. Source: Boyle and the
    compliance of EN 805:2000 A.27.4; wall modulus 900 MPa with 25 % of doubt (house default).

    >>> loop = Squeeze(quantity(166.9, "L"), 8.811, quantity(1.5, "bar"), quantity(4.5, "bar"),
    ...     wall_modulus=quantity(900, "MPa"))
    >>> found = from_litres_in(squeeze=loop, litres_in=quantity(1.25, "L"))
    >>> round(found.volume.magnitude, 2), round(100 * found.share, 1)
    (3.35, 2.0)
    """
    rows = residual_rows()
    went_in = not_negative("litres in", si(litres_in, "L", "litres in"))
    volume = positive("loop volume", si(squeeze.volume, "L", "loop volume"))
    hose = 0.0 if squeeze.hose is None else not_negative("hose", si(squeeze.hose, "L", "hose"))
    modulus = squeeze.wall_modulus or quantity(rows["wall_modulus"].value, rows["wall_modulus"].unit)
    wall = positive("wall modulus", si(modulus, "MPa", "wall modulus"))
    doubt = rows["modulus_doubt"].value
    stretch, most, least = (_stretch(squeeze, value) for value in (wall, wall * (1.0 - doubt), wall * (1.0 + doubt)))
    air, low, high = (_at_atmosphere(squeeze, went_in - part - hose) for part in (stretch, most, least))
    return ResidualAir(
        volume=quantity(air, "L"),
        share=air / volume,
        low=quantity(low, "L"),
        high=quantity(high, "L"),
        litres_in=quantity(went_in, "L"),
        elastic=quantity(stretch, "L"),
        loop_volume=quantity(volume, "L"),
    )


def judge(air: ResidualAir, *, rules: dict[str, Limit] | None = None) -> Verdict:
    """Good up to 0.2 % of the loop (0.3 L at least), fail above 1 %, between: purge on; doubt of the stretch kept. Units: L.

    Fluid that went in must be at least half the pipe's own stretch, else a valve is shut. Range: any result. Source: house
    defaults in `house_limits`.

    >>> loop = Squeeze(quantity(334, "L"), 8.811, quantity(0, "bar"), quantity(3.45, "bar"))
    >>> [judge(from_litres_in(squeeze=loop, litres_in=quantity(x, "L"))).outcome.value for x in (0.2, 1.3, 3.0, 9.0)]
    ['cannot tell', 'pass', 'warn', 'fail']
    """
    rows = rules or residual_rows()
    volume = si(air.loop_volume, "L", "loop volume")
    found, low, high = (si(value, "L", "air") for value in (air.volume, air.low, air.high))
    good = max(rows["good_share"].value * volume, rows["good_floor"].value)
    bad = max(rows["fail_share"].value * volume, good)
    figures = (
        Figure("air at atmospheric pressure", found, "L", u=(high - low) / 4.0, limit=good),
        Figure("share of the loop", 100.0 * air.share, "%", limit=100.0 * rows["good_share"].value),
        Figure("pipe's own stretch", si(air.elastic, "L", "stretch"), "L"),
    )
    source = rows["good_share"].source
    if si(air.litres_in, "L", "litres in") < rows["low_share_of_elastic"].value * si(air.elastic, "L", "stretch"):
        reason = "Less fluid went in than the pipe itself must take: a valve is shut or the gauge is not on this loop."
        way_out = "Open the loop to pump and gauge, let the pressure down and do it again."
        return Verdict(Outcome.CANNOT_TELL, reason, Cause.READINGS, figures=figures, source=source, way_out=way_out)
    if high <= good:
        return Verdict(Outcome.PASS, "Hardly any air is left.", figures=figures, source=source)
    if found <= good:
        reason = "Little air is left, but the pipe's own stretch is not known well enough to be sure."
        way_out = "Purge for another 15 min and do it again, or measure at a lower pressure too."
        return Verdict(Outcome.CANNOT_TELL, reason, Cause.AIR, figures=figures, source=source, way_out=way_out)
    reason = f"About {found:.1f} L of air is left: keep purging and do it again."
    outcome = Outcome.FAIL if low > bad else Outcome.WARN
    return Verdict(outcome, reason, Cause.AIR, figures=figures, source=source)


def _stretch(squeeze: Squeeze, wall: float) -> float:
    """Litres taken by pipe and water alone."""
    give = compliance(
        bore_to_wall=squeeze.bore_to_wall,
        wall_modulus=quantity(wall, "MPa"),
        water_modulus=squeeze.water_modulus or quantity(2092.0, "MPa"),
    )
    change = squeeze.end_pressure - squeeze.start_pressure
    return si(elastic_volume(volume=squeeze.volume, pressure_change=change, compliance=give), "L", "stretch")


def _at_atmosphere(squeeze: Squeeze, taken: float) -> float:
    """Litres at atmospheric pressure of the air that gave way by `taken` litres."""
    atmosphere = ATMOSPHERE if squeeze.atmosphere is None else si(squeeze.atmosphere, "kPa", "air pressure")
    between("air pressure", atmosphere, 50.0, 110.0, "weather and altitude")
    start = positive("start pressure", si(squeeze.start_pressure, "kPa", "start pressure") + atmosphere)
    end = si(squeeze.end_pressure, "kPa", "end pressure") + atmosphere
    if not end > start:
        low = squeeze.start_pressure
        raise OutOfRange(what="end pressure", value=squeeze.end_pressure, low=low, high="any", source="Boyle")
    return taken / (1.0 - start / end) * start / atmosphere
