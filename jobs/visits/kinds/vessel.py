"""Is the cold fill pressure between what the height needs and what the relief valve bears."""

from __future__ import annotations

from calcs.pressure_test import pressure_at_depth
from calcs.units import quantity, si
from calcs.verdict import Cause, Figure, Verdict
from jobs.visits.kinds.base import Facts, Logged, Target
from jobs.visits.kinds.said import EXACT, attempt, bad, look, ok

TYPES = (("sealed", "Sealed vessel"), ("open", "Open level vessel"), ("none", "Nothing"))
WATER = quantity(1000.0, "kg/m^3")


def least(facts: Facts, height_m: float) -> float | None:
    """The weight of the water column to the highest point and the margin of the rule set, bar."""
    over = facts.limit("fill_over_height_bar")
    if over is None:
        return None
    column = pressure_at_depth(pressure=quantity(0.0, "bar"), depth=quantity(height_m, "m"), density=WATER)
    return si(column, "bar", "pressure") + over.value


def _height(facts: Facts, entry: Logged) -> float | None:
    read = entry.number("height", "m")
    return facts.design.get("static_height_m") if read is None else read


def judge(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    """Only of a sealed vessel: in an open one the level tells, and without one the pressure is what it is."""
    if entry.choice("type") != "sealed" or (fill := entry.number("pressure", "bar")) is None:
        return ()
    found: list[Verdict] = []
    height = _height(facts, entry)
    if height is not None:
        found.append(attempt(lambda: _above_the_top(facts, fill, height)))
    found += _below_the_relief(facts, entry, fill)
    gas = entry.number("precharge", "bar")
    if gas is not None and gas > fill + EXACT:
        figure = Figure("gas side", gas, "bar", limit=fill)
        way_out = "Let gas out with the water side empty: the vessel takes nothing in as it is."
        found.append(bad("The gas side is above the fill pressure.", Cause.CONDITIONS, figure, way_out=way_out))
    return tuple(found)


def _above_the_top(facts: Facts, fill: float, height: float) -> Verdict:
    wanted, over = least(facts, height), facts.limit("fill_over_height_bar")
    if wanted is None or over is None:
        return ok("There is no limit for the fill pressure.")
    figure = Figure("fill pressure", fill, "bar", limit=wanted)
    if fill >= wanted - EXACT:
        return ok("Enough pressure at the highest point.", figure, source=over.source)
    reason = "Too little pressure at the highest point: air is drawn in there."
    return look(
        reason, Cause.CONDITIONS, figure, source=over.source, way_out="Fill to more, with mix of the same strength."
    )


def _below_the_relief(facts: Facts, entry: Logged, fill: float) -> list[Verdict]:
    relief, margin = entry.number("relief", "bar"), facts.limit("relief_margin_bar")
    if relief is None or margin is None:
        return []
    figure = Figure("below the relief valve", relief - fill, "bar", limit=margin.value)
    if relief - fill >= margin.value - EXACT:
        return []
    reason = "The fill pressure is close to the relief valve: it will drip when the fluid warms."
    return [look(reason, Cause.CONDITIONS, figure, source=margin.source, way_out="Let a little out.")]


def targets(facts: Facts, subject: str) -> tuple[Target, ...]:  # noqa: ARG001 - one system
    height, over = facts.design.get("static_height_m"), facts.limit("fill_over_height_bar")
    if height is None or over is None:
        return ()
    low = least(facts, height)
    return (
        Target(
            "pressure", "at least", low=None if low is None else round(low, 1), unit="bar", source=over.source.label
        ),
    )
