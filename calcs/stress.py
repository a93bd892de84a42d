"""What a test puts on pipe and fittings: test pressure by rule, pressure at depth, the weakest part, what to isolate first.

Also stored energy (why never with air) and whether a gauge suits. The lowest-rated part governs, at its own height.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from calcs._ranges import between, not_negative, positive
from calcs.errors import NotKnown
from calcs.sources import Source, Status, limits, table
from calcs.units import Quantity, quantity, si
from calcs.verdict import Cause, Figure, Outcome, Verdict

GRAVITY = 9.80665
COLDEST_WALL = -20.0
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


@dataclass(frozen=True)
class Part:
    """Something that sees the pressure of a test or of dead-heading: pipe, manifold, valve, indicator, vessel, heat pump.

    `rating` is its nominal pressure (of a relief valve: the pressure at which it opens), `below` how far it lies under the
    gauge (negative: above). Pipe is `plastic`: warm wall takes less. What `stays` cannot be shut off from the test.
    """

    name: str
    rating: Quantity
    below: Quantity | None = None
    plastic: bool = False
    stays: bool = False


@dataclass(frozen=True)
class Isolation:
    """What must be shut off first, worst first; then the part that governs, and the most that the gauge may show."""

    isolate: tuple[str, ...]
    governing: str
    allowed: Quantity
    verdict: Verdict


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
    rows = table("pe_derating")
    warmest, source = rows[-1], Source(rows[-1]["source"], Status(rows[-1]["status"]))
    celsius = si(temperature, "degC", "temperature")
    heat = between("wall temperature", celsius, COLDEST_WALL, float(warmest["t_c"]), source.label)
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


def pipe_rating(*, od: Quantity, wall: Quantity, grade: str = "pe100") -> Quantity:
    """p = 2 sigma e / (d - e) in bar: nominal pressure of PE pipe at 20 degC by outside diameter and wall.

    Range: wall under half of the diameter; grades of the table. The pressure printed on the pipe comes first. Source:
    ISO 161-1 form; design stress of `calcs/data/pe_strength.csv` (memory, unconfirmed).

    >>> round(pipe_rating(od=quantity(40, "mm"), wall=quantity(3.7, "mm")).magnitude, 1)
    16.3
    """
    rows = {row["grade"]: row for row in table("pe_strength")}
    if grade not in rows:
        raise NotKnown(what="PE grade", value=grade, known=", ".join(rows))
    d = positive("outside diameter (od)", si(od, "mm", "od"))
    e = between("wall", si(wall, "mm", "wall"), 1e-3, d / 2.0, "geometry")
    return quantity(20.0 * float(rows[grade]["design_stress_mpa"]) * e / (d - e), "bar")


def isolate_first(*, pressure: Quantity, density: Quantity, parts: Sequence[Part], temperature: Quantity) -> Isolation:
    """Every part against the pressure at its own height: p + rho g z <= rating (plastic: f_T rating).

    What is rated too low and can be shut off is named to be shut off first; too low and part of the test fails. `allowed`
    is the most that the gauge may show with those shut off: the least of rating less rho g z over the rest.
    Units: bar; `temperature` that of the pipe wall. Range: one part or more that is not shut off, names told apart; wall to
    40 degC. Source: lowest-rated part governs (common practice, safe side); f_T as `derating` (memory).

    >>> parts = [Part("pipe", quantity(16, "bar"), below=quantity(10, "m"), plastic=True, stays=True),
    ...     Part("manifold", quantity(6, "bar"), stays=True), Part("relief valve", quantity(3, "bar"))]
    >>> found = isolate_first(pressure=quantity(5, "bar"), density=quantity(1000, "kg/m^3"), parts=parts,
    ...     temperature=quantity(10, "degC"))
    >>> found.isolate, found.governing, found.allowed.magnitude, found.verdict.outcome.value
    (('relief valve',), 'manifold', 6.0, 'warn')
    """
    p = not_negative("pressure", si(pressure, "bar", "pressure"))
    rho = positive("density", si(density, "kg/m^3", "density"))
    # Each part's rating as the gauge would show it: what it takes, less the column down to it.
    rooms = {part.name: _allowed(part, temperature) - rho * GRAVITY * _below(part) / 1e5 for part in parts}
    too_low = sorted((part for part in parts if p > rooms[part.name]), key=lambda part: rooms[part.name])
    shut = tuple(part.name for part in too_low if not part.stays)
    left = [part for part in parts if part.name not in shut]
    if len(rooms) < len(parts) or not left:
        raise NotKnown(
            what="Pressure rating", value="(none)", known="none: give each part under test once, with its own name"
        )
    weakest = min(left, key=lambda part: rooms[part.name])
    verdict = _isolation(p, weakest.name, rooms[weakest.name], shut)
    return Isolation(shut, weakest.name, quantity(rooms[weakest.name], "bar"), verdict)


def _below(part: Part) -> float:
    return 0.0 if part.below is None else si(part.below, "m", part.name)


def _allowed(part: Part, temperature: Quantity) -> float:
    factor = derating(temperature=temperature) if part.plastic else 1.0
    return positive(f"rating of {part.name}", si(part.rating, "bar", part.name)) * factor


def _isolation(p: float, weakest: str, allowed: float, shut: tuple[str, ...]) -> Verdict:
    figures = (Figure("pressure at the gauge", p, "bar", limit=allowed),)
    if p > allowed:
        reason = f"{weakest} may not see more than {allowed:.1f} bar at the gauge: do not go to {p:.1f} bar."
        return Verdict(Outcome.FAIL, reason, Cause.STRENGTH, figures=figures, source=RATING)
    if shut:
        reason = (
            f"Shut off first: {', '.join(shut)}. After that {weakest} governs, with {allowed:.1f} bar at the gauge."
        )
        return Verdict(Outcome.WARN, reason, Cause.STRENGTH, figures=figures, source=RATING)
    reason = f"{p:.1f} bar at the gauge is within what {weakest} may see ({allowed:.1f} bar)."
    return Verdict(Outcome.PASS, reason, figures=figures, source=RATING)


def gauge_suits(*, gauge: Gauge, pressure: Quantity) -> Verdict:
    """Whether a gauge suits a test: the pressure between 25 and 75 % of its span, steps of 0.1 bar or finer.

    Its class only moves the level of the test, not the fall, which is the difference of two readings of one gauge.
    Units: bar. Range: span and steps above 0. Source: trade advice and instrument text (read, memory); steps house default.

    >>> gauge_suits(gauge=Gauge(quantity(10, "bar"), quantity(0.1, "bar"), 1.6), pressure=quantity(6, "bar")).outcome.value
    'pass'
    """
    rows = limits("house_limits", "gauge")
    span, step = (
        positive(name, si(value, "bar", name)) for name, value in (("span", gauge.span), ("steps", gauge.resolution))
    )
    p = positive("pressure", si(pressure, "bar", "pressure"))
    low, high = rows["span_low"].value / 100.0 * span, rows["span_high"].value / 100.0 * span
    known = gauge.accuracy_class in gauge_classes()
    doubt = si(gauge.limit_of_error, "bar", "limit of error") if known else None
    figures = (
        Figure("pressure", p, "bar", u=None if doubt is None else doubt / 3.0**0.5, limit=high if p > high else low),
        Figure("steps", step, "bar", limit=rows["steps"].value),
    )
    ranged = gauge_range(span=gauge.span, pressure=pressure)
    if ranged.outcome is Outcome.FAIL or step <= rows["steps"].value:
        return replace(ranged, figures=figures)
    reason = "Its steps are too coarse: the fall of a sound pipe would hide between them."
    finer = f"Use a gauge with steps of {rows['steps'].value:g} bar or finer."
    return _unsuited(Outcome.FAIL, reason, finer, figures, rows["steps"].source)


def gauge_range(*, span: Quantity, pressure: Quantity) -> Verdict:
    """Whether a pressure lies where a gauge is best read, between 25 and 75 % of its span, and never beyond its scale.

    Units: bar. Range: both above 0. Source: trade advice (read).

    >>> gauge_range(span=quantity(16, "bar"), pressure=quantity(1, "bar")).way_out
    'Use a gauge with a shorter scale.'
    """
    rows = limits("house_limits", "gauge")
    end, p = positive("span", si(span, "bar", "span")), positive("pressure", si(pressure, "bar", "pressure"))
    low, high = rows["span_low"].value / 100.0 * end, rows["span_high"].value / 100.0 * end
    figures = (Figure("pressure", p, "bar", limit=high if p > high else low),)
    source = rows["span_high"].source
    way_out = f"Use a gauge with a {'shorter' if p < low else 'longer'} scale."
    if p > end:
        reason = f"The pressure is beyond the {end:.3g} bar of this gauge: it may burst."
        return _unsuited(Outcome.FAIL, reason, way_out, figures, source)
    if not low <= p <= high:
        reason = f"A gauge is best between {low:.3g} and {high:.3g} bar of its {end:.3g} bar."
        return _unsuited(Outcome.WARN, reason, way_out, figures, source)
    return Verdict(Outcome.PASS, "The gauge suits this pressure.", figures=figures, source=source)


def _unsuited(outcome: Outcome, reason: str, way_out: str, figures: tuple[Figure, ...], source: Source) -> Verdict:
    return Verdict(outcome, reason, Cause.RESOLUTION, figures=figures, source=source, way_out=way_out)


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
