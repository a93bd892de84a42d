"""From clear to coloured: when new fluid pumped in behind the water should show at the return hose, and what a
different time means.

The front spreads on its way. Three regimes: no mixing across the bore below Re 3000 (pure convection), the measured
correlation of Hart and others to 20 000, Taylor's dispersion above.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import exp, pi, sqrt
from statistics import NormalDist
from typing import TypeAlias

from calcs._ranges import between, kinematic_si, positive
from calcs.sources import Limit, Source, Status, limits
from calcs.units import Quantity, quantity, si
from calcs.verdict import Cause, Figure, Outcome, Verdict

NO_MIXING_BELOW = 3000.0
TAYLOR_FROM = 20000.0


class Mixing(StrEnum):
    """Which description of the front holds."""

    CONVECTION = "no mixing across the bore"
    WEAK = "weakly turbulent"
    TURBULENT = "turbulent"
    UNLIKE_LEGS = "parallel legs of unlike time"


@dataclass(frozen=True)
class Changeover:
    """What to expect at the return hose, timed from the moment the new fluid enters the loop.

    `transit_time` is volume over flow. `first_colour` and `full_colour` are 1 % and 99 % of new fluid; `mixed_volume` is
    what passes between them. `band` is the accepted deviation (0.25 is 25 %), `mixed_doubt` that of the mixed length.
    """

    transit_time: Quantity
    first_colour: Quantity
    full_colour: Quantity
    loop_volume: Quantity
    mixed_volume: Quantity
    reynolds: float
    mixing: Mixing
    band: float
    mixed_doubt: float

    @property
    def is_sharp(self) -> bool:
        """True when one front passes; below Re 3000, or through unlike legs, the colour comes slowly or in steps."""
        return self.mixing in {Mixing.WEAK, Mixing.TURBULENT}


def expected(
    *,
    length: Quantity,
    bore: Quantity,
    flow: Quantity,
    density: Quantity,
    viscosity: Quantity,
    band: float | None = None,
) -> Changeover:
    """Transit t = L A / Q; first and full colour t -/+ 3.29 sqrt(K t) / U, or t/2 and 5 t without mixing.

    Units: s, L. Give the properties of the 50:50 interface where known. Range: all above 0. Source: Taylor 1954, Hart et
    al. 2016 and the laminar residence time curve as in `dispersion`; doubt of the mixed length 40 % at best.

    >>> seen = expected(length=quantity(200, "m"), bore=quantity(32.6, "mm"), flow=quantity(30.05, "L/min"),
    ...     density=quantity(999.7, "kg/m^3"), viscosity=quantity(1.306, "mm^2/s"))
    >>> round(seen.transit_time.magnitude), round(seen.mixed_volume.magnitude, 1), seen.mixing.value
    (333, 9.4, 'weakly turbulent')
    """
    run, d = positive("length", si(length, "m", "length")), positive("bore", si(bore, "m", "bore"))
    q = positive("flow", si(flow, "m^3/s", "flow"))
    nu = kinematic_si(viscosity, density)
    area = pi / 4.0 * d**2
    speed = q / area
    transit, re = run / speed, speed * d / nu
    rows = changeover_rows()
    first, full = _fractions(rows)
    if re < NO_MIXING_BELOW:
        start, end = transit * laminar_turnovers(first), transit * laminar_turnovers(full)
    else:
        spread = sqrt(dispersion(bore=bore, velocity=quantity(speed, "m/s"), reynolds=re).magnitude * transit) / speed
        start = max(transit + sqrt(2.0) * spread * NormalDist().inv_cdf(first), 0.0)
        end = transit + sqrt(2.0) * spread * NormalDist().inv_cdf(full)
    return Changeover(
        transit_time=quantity(transit, "s"),
        first_colour=quantity(start, "s"),
        full_colour=quantity(end, "s"),
        loop_volume=quantity(run * area, "m^3").to("L"),
        mixed_volume=quantity((end - start) * q, "m^3").to("L"),
        reynolds=re,
        mixing=mixing_of(re),
        band=rows["deviation"].value if band is None else between("band", band, 0.0, 1.0),
        mixed_doubt=rows["length_doubt"].value,
    )


def mixing_of(reynolds: float) -> Mixing:
    """Regime of the front: no mixing below Re 3000, weakly turbulent to 20 000, turbulent above (dimensionless, > 0).

    Source: ranges stated by Hart, Guymer, Sonnenwald & Stovin 2016 (abstract).

    >>> [mixing_of(re).name for re in (2500, 9000, 30000)]
    ['CONVECTION', 'WEAK', 'TURBULENT']
    """
    if positive("Reynolds number", reynolds) < NO_MIXING_BELOW:
        return Mixing.CONVECTION
    return Mixing.WEAK if reynolds < TAYLOR_FROM else Mixing.TURBULENT


def dispersion(*, bore: Quantity, velocity: Quantity, reynolds: float) -> Quantity:
    """K in m2/s: Hart K = D U (1.17e9 Re^-2.5 + 0.41) for Re 3000 to 20 000, `taylor_dispersion` above.

    Range: Re 3000 and more (below there is no dispersion coefficient, `OutOfRange`). Source: Hart et al., J. Hydraul.
    Eng. 142(9), 2016; coefficients from memory, unconfirmed.

    >>> round(dispersion(bore=quantity(32.6, "mm"), velocity=quantity(0.6, "m/s"), reynolds=14980).magnitude, 5)
    0.00885
    """
    re = between("Reynolds number", reynolds, NO_MIXING_BELOW, 1e7, HART.text)
    if re >= TAYLOR_FROM:
        return taylor_dispersion(bore=bore, velocity=velocity, reynolds=re)
    d, u = positive("bore", si(bore, "m", "bore")), positive("velocity", si(velocity, "m/s", "velocity"))
    return quantity(d * u * (1.17e9 * re**-2.5 + 0.41), "m^2/s")


HART = Source("Hart, Guymer, Sonnenwald & Stovin, J. Hydraul. Eng. 142(9), 2016", Status.MEMORY)


def taylor_dispersion(*, bore: Quantity, velocity: Quantity, reynolds: float) -> Quantity:
    """K = 10.1 a u*, u* = U sqrt(f/8), a = D/2, f by Blasius 0.3164 Re^-0.25; m2/s.

    Range: Re 4000 to 1e5 (Blasius); experiments deviate below 20 000. Source: Taylor 1954 (constant from memory).

    >>> round(taylor_dispersion(bore=quantity(32.6, "mm"), velocity=quantity(0.6, "m/s"), reynolds=14980).magnitude, 5)
    0.00591
    """
    re = between("Reynolds number", reynolds, 4000.0, 1e6, "Taylor 1954 with Blasius")
    d, u = positive("bore", si(bore, "m", "bore")), positive("velocity", si(velocity, "m/s", "velocity"))
    return quantity(10.1 * d / 2.0 * u * sqrt(0.3164 * re**-0.25 / 8.0), "m^2/s")


def mixed_length(*, dispersion: Quantity, length: Quantity, velocity: Quantity, fraction: float = 0.01) -> Quantity:
    """Length between `fraction` and 1 - `fraction` of new fluid: 4 erfc^-1(2 fraction) sqrt(K L / U), in m.

    Range: fraction above 0 and below 0.5. Source: C/C0 = erfc((L - U t) / (2 sqrt(K t))) / 2.

    >>> run = {"dispersion": quantity(0.00591, "m^2/s"), "length": quantity(200, "m"), "velocity": quantity(0.6, "m/s")}
    >>> round(mixed_length(**run).magnitude, 1)
    9.2
    """
    k = positive("dispersion", si(dispersion, "m^2/s", "dispersion"))
    run, u = positive("length", si(length, "m", "length")), positive("velocity", si(velocity, "m/s", "velocity"))
    return quantity(spread_factor(fraction) * sqrt(k * run / u), "m")


def spread_factor(fraction: float) -> float:
    """4 erfc^-1(2 fraction): 6.58 for 1 to 99 %, 4.65 for 5 to 95 %, 3.62 for 10 to 90 % (dimensionless).

    Range: above 0, below 0.5. Source: the error function.

    >>> round(spread_factor(0.01), 3)
    6.58
    """
    between("fraction", fraction, 1e-12, 0.5 - 1e-12)
    return -4.0 / sqrt(2.0) * NormalDist().inv_cdf(fraction)


def austin_palfrey(*, bore: Quantity, length: Quantity, reynolds: float) -> Quantity:
    """Mixed length C = 11.75 sqrt(D L) Re^-0.1 above Re_c, 18384 sqrt(D L) Re^-0.9 exp(2.18 sqrt D) below; m.

    Re_c = 10000 exp(2.75 sqrt D), D in m. Range: Re above 4000, constant bore and Re; pessimistic below Re_c. Source:
    Austin & Palfrey, Proc. IMechE 178, 1963-64 (constants from memory; they meet at Re_c).

    >>> round(austin_palfrey(bore=quantity(32.6, "mm"), length=quantity(200, "m"), reynolds=14980).magnitude, 1)
    12.1
    """
    d, run = positive("bore", si(bore, "m", "bore")), positive("length", si(length, "m", "length"))
    re = between("Reynolds number", reynolds, 4000.0, 1e8, "Austin & Palfrey 1963-64")
    if re >= critical_reynolds(bore=bore):
        return quantity(11.75 * sqrt(d * run) * re**-0.1, "m")
    return quantity(18384.0 * sqrt(d * run) * re**-0.9 * exp(2.18 * sqrt(d)), "m")


def critical_reynolds(*, bore: Quantity) -> float:
    """Re_c = 10000 exp(2.75 sqrt D), D in m: below it mixing grows fast (dimensionless). Range: bore above 0 to 5 m.

    Source: Austin & Palfrey 1963-64 (constants from memory).

    >>> round(critical_reynolds(bore=quantity(32.6, "mm")))
    16430
    """
    d = positive("bore", si(bore, "m", "bore"))
    return 10000.0 * exp(2.75 * sqrt(between("bore", d, 0.0, 5.0, "Austin & Palfrey 1963-64")))


def laminar_turnovers(fraction: float) -> float:
    """theta = 1 / sqrt(4 (1 - F)): loop volumes until the share F of new fluid leaves a pipe without cross-mixing.

    Range: 0 to below 1; F = 0 is first arrival at half a volume. Source: F = 1 - 1/(4 theta^2), pure convection.

    >>> [round(laminar_turnovers(share), 3) for share in (0.90, 0.95, 0.99)]
    [1.581, 2.236, 5.0]
    """
    between("fraction", fraction, 0.0, 1.0 - 1e-9)
    return sqrt(1.0 / (4.0 * (1.0 - fraction)))


def effective_length(*, observed: Quantity, flow: Quantity, bore: Quantity) -> Quantity:
    """L = Q t / A in m: the length of pipe that this changeover time stands for. All above 0. Source: geometry.

    >>> seen = effective_length(observed=quantity(8, "min"), flow=quantity(20, "L/min"), bore=quantity(26, "mm"))
    >>> round(seen.magnitude, 1)
    301.4
    """
    t, q = positive("observed time", si(observed, "s", "observed time")), positive("flow", si(flow, "m^3/s", "flow"))
    return quantity(q * t / (pi / 4.0 * positive("bore", si(bore, "m", "bore")) ** 2), "m")


def diagnose(
    *,
    expected: Changeover,
    observed_first: Quantity | None = None,
    observed_full: Quantity | None = None,
    still_clear_after: Quantity | None = None,
    band: float | None = None,
) -> Verdict:
    """What the observed times say, against the expected ones and the accepted deviation.

    Formula: the front's passage is the middle of first and full colour where both were seen, compared with the transit
    time. Units: any of time. Range: times 0 or more, first before full. Source: house defaults in `house_limits`.

    >>> plan = expected(length=quantity(300, "m"), bore=quantity(26, "mm"), flow=quantity(20, "L/min"),
    ...     density=quantity(999.7, "kg/m^3"), viscosity=quantity(1.306, "mm^2/s"))
    >>> diagnose(expected=plan, observed_first=quantity(5.0, "min"), observed_full=quantity(5.4, "min")).outcome.value
    'fail'
    """
    seen = _seen(observed_first, observed_full, still_clear_after)
    first, full, clear = seen
    outcome, code = _judged(expected, seen, band)
    reason, way_out = SAYINGS[code]
    cause = Cause.READINGS if outcome is Outcome.CANNOT_TELL else Cause.NONE if code == "as expected" else Cause.FLOW
    figures = [Figure("expected time", si(expected.transit_time, "s", "transit"), "s")]
    figures += [
        Figure(name, value, "s")
        for name, value in (("first colour", first), ("full colour", full), ("still clear", clear))
        if value is not None
    ]
    source = changeover_rows()["deviation"].source
    return Verdict(outcome, reason, cause, figures=tuple(figures), source=source, way_out=way_out)


class Suspect(StrEnum):
    """What may lie behind a changeover time that does not fit."""

    FILLED = "already filled"
    SHORTER = "shorter loop than drawn"
    LONGER = "longer loop than drawn"
    CROSSED = "crossed with another loop"
    SECOND_VALVE = "a second valve passing"
    KINK = "a kink or a shut valve"
    FLOW = "flow misread"


@dataclass(frozen=True)
class Suspicion:
    """One suspect, in one sentence, with the other loops that it names."""

    suspect: Suspect
    sentence: str
    loops: tuple[str, ...] = ()


def suspects(  # noqa: PLR0913
    *,
    expected: Changeover,
    observed_first: Quantity | None = None,
    observed_full: Quantity | None = None,
    still_clear_after: Quantity | None = None,
    others: Mapping[str, Quantity] | None = None,
    coloured_too: Sequence[str] = (),
    band: float | None = None,
) -> tuple[Suspicion, ...]:
    """What may be wrong, likeliest first; empty when the time fits or nothing can be said.

    Formula: V = Q t, the volume that the time stands for, against what the `others` of the manifold hold alone (crossed) and
    together with this loop (second valve); named are those that fit better than this loop's own. Units: times, volumes.
    Range: times 0 or more, volumes above 0. Source: geometry; common practice, no source for what each pattern means.

    >>> plan = expected(length=quantity(300, "m"), bore=quantity(26, "mm"), flow=quantity(20, "L/min"),
    ...     density=quantity(999.7, "kg/m^3"), viscosity=quantity(1.306, "mm^2/s"))
    >>> found = suspects(expected=plan, observed_first=quantity(5, "min"), observed_full=quantity(5.4, "min"),
    ...     others={"L2": quantity(105, "L"), "L3": quantity(160, "L")})
    >>> [(each.suspect.value, each.loops) for each in found][0]
    ('crossed with another loop', ('L2',))
    """
    seen = _seen(observed_first, observed_full, still_clear_after)
    _, code = _judged(expected, seen, band)
    found = [_coloured_too(tuple(coloured_too))] if coloured_too else []
    if code in {"too fast", "too slow"}:
        litres = si(expected.loop_volume, "L", "volume")
        transit = si(expected.transit_time, "s", "transit")
        rules = _rules(expected, band)
        due = (si(expected.first_colour, "s", "first"), transit, si(expected.full_colour, "s", "full"))
        swept = litres * _passage(seen[0], seen[1], due, rules)[0] / transit
        found += _fitting(code, swept, litres, others or {})
    return tuple(found + [Suspicion(suspect, sentence) for suspect, sentence in _USUAL.get(code, ())])


def _coloured_too(loops: tuple[str, ...]) -> Suspicion:
    names = " and ".join(loops)
    return Suspicion(
        Suspect.SECOND_VALVE, f"{names} coloured as well: its valve passes, or the tails are joined.", loops
    )


def _fitting(code: str, swept: float, own: float, others: Mapping[str, Quantity]) -> list[Suspicion]:
    """Crossed with a loop that holds what was swept, or open together with one that holds the rest of it."""
    held = {name: positive(f"volume of {name}", si(value, "L", "volume")) for name, value in others.items()}
    miss = abs(swept - own)
    alone = {name: abs(volume - swept) for name, volume in held.items()}
    together = {name: abs(volume + own - swept) for name, volume in held.items()} if code == "too slow" else {}
    found = []
    for suspect, misses, words in (
        (Suspect.CROSSED, alone, "The time fits {0} ({1:.0f} L) better than this loop: their tails may be crossed."),
        (
            Suspect.SECOND_VALVE,
            together,
            "The time fits this loop and {0} ({1:.0f} L) open together: its valve may pass.",
        ),
    ):
        if misses and min(misses.values()) < miss / 2.0:
            name = min(misses, key=lambda each: misses[each])
            found.append((misses[name], Suspicion(suspect, words.format(name, held[name]), (name,))))
    return [suspicion for _, suspicion in sorted(found, key=lambda each: each[0])]


_USUAL: dict[str, tuple[tuple[Suspect, str], ...]] = {
    "at once": ((Suspect.FILLED, "The colour was in this loop before: it was filled already, or logged twice."),),
    "too fast": (
        (Suspect.SHORTER, "The loop may be shorter than drawn: compare the effective length with the pipe laid."),
        (Suspect.CROSSED, "Out and back of two loops may be crossed: check the port map."),
        (Suspect.FLOW, "More flow than was read would look the same: read it again."),
    ),
    "too slow": (
        (Suspect.SECOND_VALVE, "Another valve may pass: its loop takes a part of the flow."),
        (Suspect.LONGER, "The loop may be longer than drawn, or crossed with a longer one."),
        (Suspect.FLOW, "Less flow than was read would look the same: read it again."),
    ),
    "no colour": (
        (Suspect.KINK, "A kink or a shut valve keeps the flow out of this loop: compare the pressure with the plan."),
        (Suspect.SECOND_VALVE, "The fluid may go through another valve: look which hose colours."),
    ),
    "blurred": ((Suspect.SECOND_VALVE, "Colour in two steps comes from two loops open at once."),),
}

_Seen: TypeAlias = tuple[float | None, float | None, float | None]


def _seen(first: Quantity | None, full: Quantity | None, clear: Quantity | None) -> _Seen:
    return _seconds(first, "first colour"), _seconds(full, "full colour"), _seconds(clear, "time still clear")


def _rules(expected: Changeover, band: float | None) -> dict[str, float]:
    return {key: row.value for key, row in changeover_rows().items()} | {
        "deviation": expected.band if band is None else band,
        "sharp": float(expected.is_sharp),
    }


def _judged(expected: Changeover, seen: _Seen, band: float | None) -> tuple[Outcome, str]:
    return diagnose_seconds(
        expected_first=si(expected.first_colour, "s", "first"),
        expected_full=si(expected.full_colour, "s", "full"),
        transit=si(expected.transit_time, "s", "transit"),
        seen=seen,
        rules=_rules(expected, band),
    )


SAYINGS: dict[str, tuple[str, str]] = {
    "as expected": ("The colour came when it should.", ""),
    "nothing seen": ("No colour time was logged.", "Note when colour first shows and when it is full."),
    "order": ("Full colour is logged before first colour.", "Correct the two times."),
    "too soon to say": ("No colour yet, and none is due.", "Keep pumping until the expected time has passed."),
    "no colour": (
        "Still clear long after the colour was due: wrong valve open, a kink, or the pump draws air.",
        "Check the open valve, the suction and the flow.",
    ),
    "at once": (
        "Coloured almost at once: this loop was already filled, or its time belongs to another loop.",
        "Check which loop is open and whether it was logged twice.",
    ),
    "too fast": (
        "Too fast: a shorter or crossed loop, or more flow than was read.",
        "Check the port map and the flow; shut all other valves.",
    ),
    "too slow": (
        "Too slow: a longer loop than drawn, another valve passing, or less flow than was read.",
        "Check that all other valves are shut, then read the flow again.",
    ),
    "blurred": (
        "The colour came slowly: another loop may be open, or the filling tank was still mixing.",
        "Keep pumping until the strength at the return equals that of the bin.",
    ),
}


def diagnose_seconds(
    *,
    expected_first: float,
    expected_full: float,
    transit: float,
    seen: tuple[float | None, float | None, float | None],
    rules: dict[str, float],
) -> tuple[Outcome, str]:
    """The same on plain seconds: (first, full, still clear) against the rules; gives the outcome and a key of `SAYINGS`.

    Range: transit above 0. Source: rows `changeover` of `house_limits` (house defaults).

    >>> rules = {"deviation": .25, "at_once": .1, "no_colour": 1.5, "blur": 3, "blur_floor": 30, "sharp": 1.0}
    >>> diagnose_seconds(expected_first=460, expected_full=500, transit=480, seen=(470, 500, None), rules=rules)[1]
    'as expected'
    """
    first, full, clear = seen
    if first is None and full is None:
        return _nothing(clear, transit, rules)
    if first is not None and full is not None and full < first:
        return Outcome.CANNOT_TELL, "order"
    when, low, high = _passage(first, full, (expected_first, transit, expected_full), rules)
    if when <= rules["at_once"] * transit:
        return Outcome.FAIL, "at once"
    if not low <= when <= high:
        return Outcome.FAIL, "too fast" if when < low else "too slow"
    if first is not None and full is not None and full - first > _longest_blur(expected_full - expected_first, rules):
        return Outcome.WARN, "blurred"
    return Outcome.PASS, "as expected"


def _nothing(clear: float | None, transit: float, rules: dict[str, float]) -> tuple[Outcome, str]:
    if clear is None:
        return Outcome.CANNOT_TELL, "nothing seen"
    if clear >= rules["no_colour"] * transit:
        return Outcome.FAIL, "no colour"
    return Outcome.CANNOT_TELL, "too soon to say"


def _passage(
    first: float | None, full: float | None, due: tuple[float, float, float], rules: dict[str, float]
) -> tuple[float, float, float]:
    """The observed time that decides, and the earliest and latest it may be.

    Without a sharp front bends still mix somewhat: first colour may come from the laminar time up to one volume.
    """
    early, transit, late = due
    sharp, less, more = rules["sharp"] > 0.0, 1.0 - rules["deviation"], 1.0 + rules["deviation"]
    if first is not None and full is not None and sharp:
        return (first + full) / 2.0, transit * less, transit * more
    if first is not None:
        return first, early * less, (early if sharp else transit) * more
    return full or 0.0, (late if sharp else transit) * less, late * more


def _longest_blur(usual: float, rules: dict[str, float]) -> float:
    return max(rules["blur"] * usual, rules["blur_floor"])


def _seconds(value: Quantity | None, name: str) -> float | None:
    return None if value is None else between(name, si(value, "s", name), 0.0, 1e7)


def changeover_rows() -> dict[str, Limit]:
    """The changeover limits with their sources (units in the rows; range: keys of the table).

    Source: `calcs/data/house_limits.csv`.

    >>> changeover_rows()["deviation"].value
    0.25
    """
    return limits("house_limits", "changeover")


def _fractions(rows: dict[str, Limit]) -> tuple[float, float]:
    return rows["first_fraction"].value, rows["full_fraction"].value
