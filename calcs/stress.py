"""What a test puts on pipe and fittings: test pressure by rule, pressure at depth, the weakest part, stored energy, gauge."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from calcs._ranges import between, not_negative, positive
from calcs.errors import NotKnown
from calcs.sources import Source, Status, table
from calcs.units import Quantity, quantity, si
from calcs.verdict import Cause, Figure, Outcome, Verdict

GRAVITY = 9.80665
AIR_GAMMA = 1.4
ATMOSPHERE = 101325.0
RATING = Source("Nominal pressure of the lowest-rated part, de-rated for wall temperature", Status.COMMON_PRACTICE)


@dataclass(frozen=True)
class Gauge:
    """A pressure gauge: span, smallest step that can be read, accuracy class in % of span (None when unmarked)."""

    span: Quantity
    resolution: Quantity
    accuracy_class: float | None = None

    @property
    def limit_of_error(self) -> Quantity:
        """Class times span: the greatest error anywhere on the scale. Cancels mostly between two readings."""
        allowed = gauge_classes()
        if self.accuracy_class is None or self.accuracy_class not in allowed:
            raise NotKnown(what="Gauge class", value=self.accuracy_class, known=", ".join(f"{c:g}" for c in allowed))
        return quantity(si(self.span, "bar", "span") * self.accuracy_class / 100.0, "bar")


def gauge_classes() -> tuple[float, ...]:
    """Accuracy classes in % of span. Source: EN 837-1 (read). Range: the table.

    >>> gauge_classes()
    (0.1, 0.25, 0.6, 1.0, 1.6, 2.5, 4.0)
    """
    return tuple(float(row["class_percent"]) for row in table("gauge_classes"))


def required_test_pressure(*, rule: str, working: Quantity) -> Quantity:
    """Test pressure of a rule: the smaller or larger of factor x working and the rule's second figure.

    Units: those of the rule. Range: working pressure above 0, gauge. Source: each row of `calcs/data/test_pressures.csv`.

    >>> required_test_pressure(rule="w400_2", working=quantity(10, "bar")).magnitude
    15.0
    """
    rows = {row["rule"]: row for row in table("test_pressures")}
    if rule not in rows:
        raise NotKnown(what="Rule for the test pressure", value=rule, known=", ".join(rows))
    row = rows[rule]
    base = positive("working pressure", si(working, row["unit"], "working pressure"))
    second = float(row["second"]) + (base if row["second_is"] == "added" else 0.0)
    choose = min if row["choose"] == "smaller" else max
    return quantity(choose(float(row["factor"]) * base, second), row["unit"])


def pressure_at_depth(*, pressure: Quantity, depth: Quantity, density: Quantity) -> Quantity:
    """p = p_gauge + rho g z in bar: pressure at a point `depth` below the gauge (negative depth: above it).

    No support by outside water or grout is counted. Range: density above 0. Source: hydrostatics.

    >>> low = pressure_at_depth(pressure=quantity(7.5, "bar"), depth=quantity(100, "m"), density=quantity(1000, "kg/m^3"))
    >>> round(low.magnitude, 1)
    17.3
    """
    rho = positive("density", si(density, "kg/m^3", "density"))
    return quantity(si(pressure, "Pa", "pressure") + rho * GRAVITY * si(depth, "m", "depth"), "Pa").to("bar")


def derating(*, temperature: Quantity) -> float:
    """Share of the nominal pressure of PE 100 left at a wall temperature; 1 up to 20 degC (dimensionless).

    Range: above 0 to 40 degC. Source: EN 12201-1 / ISO 4427 annex (memory, unconfirmed).

    >>> round(derating(temperature=quantity(25, "degC")), 3)
    0.935
    """
    heat = between("wall temperature", si(temperature, "degC", "temperature"), -20.0, 40.0, "EN 12201-1 annex")
    rows = table("pe_derating")
    return float(np.interp(heat, [float(r["t_c"]) for r in rows], [float(r["factor"]) for r in rows]))


def stress_check(
    *, pressure: Quantity, depth: Quantity, density: Quantity, ratings: Mapping[str, Quantity], temperature: Quantity
) -> Verdict:
    """Is the pressure at the lowest point within the lowest-rated part: p + rho g z <= f_T PN.

    Units: bar. Range: depth of dry or unsupported bore below the gauge; one rating or more; wall to 40 degC. Source:
    lowest-rated component governs (common practice, safe side); f_T as `derating`.

    >>> found = stress_check(pressure=quantity(7.5, "bar"), depth=quantity(100, "m"), density=quantity(1000, "kg/m^3"),
    ...     ratings={"pipe PN 16": quantity(16, "bar")}, temperature=quantity(10, "degC"))
    >>> found.outcome.value, found.cause.value
    ('fail', 'strength')
    """
    if not ratings:
        raise NotKnown(what="Pressure rating", value="(none)", known="none: give the rating of each part under test")
    low = si(pressure_at_depth(pressure=pressure, depth=depth, density=density), "bar", "pressure")
    weakest = min(ratings, key=lambda part: si(ratings[part], "bar", part))
    allowed = si(ratings[weakest], "bar", weakest) * derating(temperature=temperature)
    figures = (Figure("pressure at the lowest point", low, "bar", limit=allowed),)
    if low > allowed:
        reason = (
            f"{low:.1f} bar at the lowest point is more than {weakest} may take ({allowed:.1f} bar): do not test so."
        )
        return Verdict(Outcome.FAIL, reason, Cause.STRENGTH, figures=figures, source=RATING)
    reason = f"{low:.1f} bar at the lowest point is within {allowed:.1f} bar of {weakest}."
    return Verdict(Outcome.PASS, reason, figures=figures, source=RATING)


def stored_energy(*, volume: Quantity, pressure: Quantity, compliance: Quantity) -> Quantity:
    """Energy in kJ let loose when water-filled pipe bursts: p^2 V C / 2. Range: gauge pressure 0 or more, volume above 0.

    Source: elastic work.

    >>> held = stored_energy(volume=quantity(167, "L"), pressure=quantity(7.5, "bar"),
    ...     compliance=quantity(1.027e-8, "1/Pa"))
    >>> round(held.magnitude, 2)
    0.48
    """
    v, p = positive("volume", si(volume, "m^3", "volume")), not_negative("pressure", si(pressure, "Pa", "pressure"))
    return quantity(p**2 * v * si(compliance, "1/Pa", "compliance") / 2.0, "J").to("kJ")


def stored_gas_energy(*, volume: Quantity, pressure: Quantity) -> Quantity:
    """Energy in kJ of the same pipe full of air: P V / (g - 1) (1 - (P0/P)^((g-1)/g)), absolute P, g = 1.4.

    Range: gauge pressure 0 or more. Source: isentropic expansion. Why a loop is never tested with air.

    >>> round(stored_gas_energy(volume=quantity(167, "L"), pressure=quantity(7.5, "bar")).magnitude)
    162
    """
    v, p = positive("volume", si(volume, "m^3", "volume")), not_negative("pressure", si(pressure, "Pa", "pressure"))
    left = (ATMOSPHERE / (p + ATMOSPHERE)) ** ((AIR_GAMMA - 1.0) / AIR_GAMMA)
    return quantity((p + ATMOSPHERE) * v / (AIR_GAMMA - 1.0) * (1.0 - left), "J").to("kJ")
