"""Can this instrument decide the step it is picked for: asked before anything is read, answered with the way out.

A sound pipe, a mix on target and a heat pump at its planned duty stand for what will be read. Instruments are known by
their step and error limit. An answer of *pass* means that the instrument can decide, not that the work is in order.
"""

from __future__ import annotations

import math
from typing import Final

from calcs import _deciding as ahead
from calcs import _tightness as kernel
from calcs._ranges import between, not_negative, positive
from calcs.base import Base
from calcs.errors import OutOfRange, Unsuitable
from calcs.fluid import Properties, freezing_point
from calcs.heat import heat_from_flow
from calcs.pressure_test import WALL_ONE_HOUR, WATER_MODULUS, Restraint, method_limits
from calcs.refractometer import Reading, Scale, brix_from_index, index_of, read
from calcs.sources import Source, Status, limits
from calcs.units import Quantity, quantity, si
from calcs.verdict import Cause, Figure, Outcome, Verdict

FINER: Final = (0.1, 0.05, 0.02, 0.01)
AHEAD: Final = Source("A sound pipe's creep, rounded to the steps of the gauge", Status.HOUSE_DEFAULT)
KNOWN: Final = Source("Doubt of one reading against the band", Status.HOUSE_DEFAULT)
UNSAID: Final = "Whether a gauge can decide depends on how the pipe lies."
LUCKY: Final = "Its steps are coarse for this test: it may end in 'cannot tell'."
NEVER: Final = "Its steps are too coarse: it can never pass a sound pipe in this test."
MPA: Final = 10.0  # bar


def short_check(  # noqa: PLR0913 - pressure, gauge, pipe, and the three times of the method
    *,
    pressure: Quantity,
    resolution: Quantity,
    restraint: Restraint,
    bore_to_wall: float = 9.0,
    loading: Quantity | None = None,
    hold: Quantity | None = None,
    isolated: Quantity | None = None,
) -> Verdict:
    """Whether a gauge can decide the short tightness check, and after how long shut.

    Falls p (1 - creep share) of a sound pipe (middle half of the band), each shown as the multiple of the step below or
    above it. Pass: the method passes the pipe whichever is shown, from `isolated` minutes to a day. Cannot tell: it passes
    none. Warn: between. Units: bar, min; 10 min of loading, hold and time shut of the method unless given.
    Range: pressure above 0; bore over wall 5 to 30. Source: rules of `pressure_test.ShortTightness` (house default).

    >>> for step in (0.1, 0.5):
    ...     found = short_check(pressure=quantity(6, "bar"), resolution=quantity(step, "bar"), restraint=Restraint.FREE)
    ...     print(found.outcome.value, found.reason)
    pass A sound pipe is sure to pass after 4 h shut.
    warn Its steps are coarse for this test: it may end in 'cannot tell'.
    """
    rules = {key: row.value for key, row in method_limits("short_tightness").items()}
    p, step = _pressure(pressure), _step(resolution)
    if restraint is Restraint.UNKNOWN:
        return _restraint_unsaid()
    shut = rules["isolated"] if isolated is None else positive("time isolated", si(isolated, "min", "isolated"))
    band, up = kernel.band_of(rules, restraint.value), 10.0 if loading is None else si(loading, "min", "loading")
    held = rules["hold"] if hold is None else not_negative("hold", si(hold, "min", "hold"))

    def found(r: float) -> ahead.Short:
        run = kernel.Run(positive("loading", up), held, r, _water_share(bore_to_wall))
        return ahead.short_check(p, shut, run, band, rules["resolution_multiple"])

    this = found(step)
    figures: tuple[Figure, ...] = (Figure("steps", step, "bar"), Figure("pressure", p, "bar"))
    finer = next((f"{r:g} bar" for r in FINER if r < step and found(r).hours is not None), "")
    if this.hours is None:
        return _in_doubt(this.word, finer, "", figures)
    figures += (Figure("time shut", this.hours, "h"),)
    if 60.0 * this.hours <= shut:
        return Verdict(Outcome.PASS, "A sound pipe is sure to pass.", figures=figures, source=AHEAD)
    reason = f"A sound pipe is sure to pass after {this.hours:g} h shut."
    way_out = f"Steps of {finer} decide sooner." if finer else ""
    return Verdict(Outcome.PASS, reason, figures=figures, source=AHEAD, way_out=way_out)


def sequence(*, pressure: Quantity, resolution: Quantity, restraint: Restraint, bore_to_wall: float = 9.0) -> Verdict:
    """Whether a gauge can decide the sequence after EN 805:2000 A.27, and how far to let down for it.

    A sound pipe through raising, hold, rest, let-down and 90 min of main phase, wall compliance t^n; rest fall, main fall
    and water let out, each shown as the multiple of the step below or above it, against the method's limits with 2u. Pass:
    passed whichever is shown from this let-down on, to half of the test pressure. Cannot tell: never. Warn: between.
    Units: bar. Range: pressure above 0; bore over wall 5 to 30. Source: limits of `en805_a27_2000` (their status there).

    >>> for step in (0.1, 0.05):
    ...     found = sequence(pressure=quantity(7.5, "bar"), resolution=quantity(step, "bar"), restraint=Restraint.FREE)
    ...     print(found.outcome.value, found.reason)
    pass A sound pipe is sure to pass when let down by 2.5 bar or more before the main phase.
    pass A sound pipe is sure to pass when let down by 1.5 bar or more before the main phase.
    """
    rules = {key: row.value for key, row in method_limits("en805_a27_2000").items()}
    bands = {key: row.value for key, row in method_limits("short_tightness").items()}
    p, step = _pressure(pressure), _step(resolution)
    if restraint is Restraint.UNKNOWN:
        return _restraint_unsaid()
    band, share = kernel.band_of(bands, restraint.value), _water_share(bore_to_wall)
    give = (1.0 / rules["water_modulus"] + bore_to_wall / rules["wall_modulus"]) / MPA

    def found(r: float) -> tuple[str, float | None]:
        elastic = bore_to_wall / (MPA * WALL_ONE_HOUR)
        run = ahead.Sequence(p, r, share, elastic, rules["volume_factor"] * give)
        return ahead.least_let_down(run, band, rules)

    word, down = found(step)
    figures = (Figure("steps", step, "bar"), Figure("pressure", p, "bar"))
    if down is None:
        finer = next((f"{r:g} bar" for r in FINER if r < step and found(r)[1] is not None), "")
        return _in_doubt(word, finer, " and let the pressure down as far as half", figures)
    reason = f"A sound pipe is sure to pass when let down by {down:g} bar or more before the main phase."
    return Verdict(Outcome.PASS, reason, figures=(*figures, Figure("let-down", down, "bar")), source=AHEAD)


def fall(*, limit: Quantity, resolution: Quantity) -> Verdict:
    """Whether a gauge can show a fall of the size of a limit between two of its readings.

    limit >= 3 u, u = 0.408 r. Units: bar. Range: both above 0. Source: rule of the pressure methods (house default).

    >>> [fall(limit=quantity(0.3, "bar"), resolution=quantity(step, "bar")).outcome.value for step in (0.1, 0.5)]
    ['pass', 'cannot tell']
    """
    most, step = positive("limit", si(limit, "bar", "limit")), _step(resolution)
    row = method_limits("short_tightness")["resolution_multiple"]
    doubt = kernel.TWO_READINGS * step
    figures = (Figure("fall to be seen", most, "bar", u=doubt), Figure("steps", step, "bar"))
    if most >= row.value * doubt:
        return Verdict(Outcome.PASS, f"It shows a fall of {most:.2g} bar.", figures=figures, source=row.source)
    reason = f"Its steps are too coarse to show a fall of {most:.2g} bar."
    finer = f"Use a gauge with steps of {most / (row.value * kernel.TWO_READINGS):.1g} bar or finer."
    return Verdict(Outcome.CANNOT_TELL, reason, Cause.RESOLUTION, figures=figures, source=row.source, way_out=finer)


def strength_scale(
    *,
    base: Base,
    mass_fraction: Quantity,
    band: Quantity,
    scale_base: Base | None = None,
    resolution: Quantity | None = None,
    accuracy: Quantity | None = None,
) -> Verdict:
    """Whether a refractometer scale can tell that a mix on target is inside its band: Brix, or degrees for `scale_base`.

    Known to 2u at 20 degC (`refractometer.read`); one step is off by half of it. Pass: 2u and half a step fit into the band;
    cannot tell: 2u alone does not; warn: between. A scale of another fluid fails, with its reason.
    Units: mass fraction and band in percent by mass; step and error limit in Brix or kelvin. Range: as `refractometer.read`.
    Source: as there; the rule is the guard band of the strength reading (JCGM 106).

    >>> for base, step in ((Base.PROPYLENE_GLYCOL, 0.2), (Base.PROPYLENE_GLYCOL, 2), (Base.METHANOL, 0.2)):
    ...     found = strength_scale(base=base, mass_fraction=quantity(33, "percent"), band=quantity(1.5, "percent"),
    ...         resolution=quantity(step, ""))
    ...     print(found.outcome.value)
    pass
    cannot tell
    fail
    """
    most = positive("band", si(band, "percent", "band"))
    kelvin = "delta_degC" if scale_base is not None else ""
    try:
        seen = _on_target(base, mass_fraction, scale_base, resolution, accuracy)
    except Unsuitable as error:
        reason = f"{error.facts['what']} cannot be used: {error.facts['reason']}"
        return Verdict(Outcome.FAIL, reason, Cause.CONDITIONS, source=KNOWN, way_out=error.facts["instead"])
    except OutOfRange as error:
        way_out = "Measure the density instead."
        return Verdict(Outcome.CANNOT_TELL, str(error), Cause.CONDITIONS, source=KNOWN, way_out=way_out)
    doubt = 2.0 * si(seen.u_mass_fraction, "percent", "u")
    step = 0.0 if resolution is None else si(resolution, kelvin, "resolution")
    half = _mass_step(base, seen, scale_base, step) / 2.0
    figures = (Figure("strength", si(seen.mass_fraction, "percent", "strength"), "mass %", u=doubt / 2.0, limit=most),)
    told = f"It knows the strength to ±{doubt:.1f} %; the band is ±{most:g} %"
    way_out = "Use a refractometer with finer steps, or measure the density."
    if doubt > most:
        reason = f"{told}: it can never say 'inside'."
        return Verdict(Outcome.CANNOT_TELL, reason, Cause.RESOLUTION, figures=figures, source=KNOWN, way_out=way_out)
    if doubt + half > most:
        reason = f"{told}: only just enough."
        return Verdict(Outcome.WARN, reason, Cause.RESOLUTION, figures=figures, source=KNOWN, way_out=way_out)
    return Verdict(Outcome.PASS, f"{told}.", figures=figures, source=seen.source)


def duty(
    *, flow: Quantity, spread: Quantity, properties: Properties, flow_limit: Quantity, pair_limit: Quantity
) -> Verdict:
    """Whether thermometers and flow meter can judge the heat at the planned flow and spread.

    U = 2 u of `heat.heat_from_flow`, with u = a / sqrt 3 of both error limits; cannot tell above the limit at which the heat
    is not judged. The way out: the error limit of the pair with which it is, else a better flow meter. Reading again does
    not help: the error of an instrument stays. Units: L/s; K; `flow_limit` ± of the flow, `pair_limit` ± of the difference.
    Range: flow and spread above 0, to 50 K. Source: JCGM 100:2008 (memory); the limit is a house default.

    >>> from calcs.fluid import properties as of
    >>> mix = of(base=Base.PROPYLENE_GLYCOL, mass_fraction=quantity(25, "percent"), temperature=quantity(0, "degC"))
    >>> for each in (0.1, 0.8):
    ...     found = duty(flow=quantity(47, "L/min"), spread=quantity(3, "K"), properties=mix,
    ...         flow_limit=quantity(1, "L/min"), pair_limit=quantity(each, "K"))
    ...     print(found.outcome.value, found.reason)
    pass The heat will be known to ±5 %.
    cannot tell They would know the heat only to ±31 %; above ±20 % it is not judged.
    """
    row = limits("fluid_limits", "heat")["inconclusive_above"]
    litres = positive("flow", si(flow, "L/min", "flow"))
    kelvins = positive("spread", si(spread, "K", "spread"))
    third = 1.0 / math.sqrt(3.0)
    u_flow = positive("limit of the flow meter", si(flow_limit, "L/min", "flow_limit")) * third / litres
    pair = positive("limit of the pair", si(pair_limit, "K", "pair_limit"))

    def doubt(limit: float) -> float:
        found = heat_from_flow(
            flow=flow,
            t_in=quantity(kelvins / 2.0, "degC"),
            t_out=quantity(-kelvins / 2.0, "degC"),
            properties=properties,
            u_flow=quantity(u_flow, ""),
            u_pair=quantity(limit * third, "K"),
        )
        return 100.0 * found.relative

    known, most = doubt(pair), row.value
    figures = (Figure("doubt of the heat", known, "%", limit=most),)
    if known <= most:
        reason = f"The heat will be known to ±{known:.0f} %."
        return Verdict(Outcome.PASS, reason, figures=figures, source=row.source)
    reason = f"They would know the heat only to ±{known:.0f} %; above ±{most:g} % it is not judged."
    enough = next((limit for limit in (1.0, 0.5, 0.2, 0.1, 0.05) if limit < pair and doubt(limit) <= most), None)
    way_out = "Use a flow meter with a smaller error as well as a matched pair."
    if enough is not None:
        way_out = f"Use a pair matched to ±{enough:g} K or better, or read when the temperatures differ more."
    return Verdict(Outcome.CANNOT_TELL, reason, Cause.READINGS, figures=figures, source=row.source, way_out=way_out)


def _pressure(pressure: Quantity) -> float:
    return positive("pressure", si(pressure, "bar", "pressure"))


def _step(resolution: Quantity) -> float:
    return positive("resolution", si(resolution, "bar", "resolution"))


def _water_share(bore_to_wall: float) -> float:
    return WALL_ONE_HOUR / (WATER_MODULUS * between("bore over wall", bore_to_wall, 5.0, 30.0, "thin-wall formula"))


def _restraint_unsaid() -> Verdict:
    way_out = "Say how the pipe under test is held."
    return Verdict(Outcome.CANNOT_TELL, UNSAID, Cause.RESTRAINT, source=AHEAD, way_out=way_out)


def _in_doubt(word: str, finer: str, more: str, figures: tuple[Figure, ...]) -> Verdict:
    """A gauge that needs luck, or cannot pass a sound pipe at all; `finer` are steps that surely do."""
    use = f"Use a gauge with steps of {finer} or finer{more}." if finer else "Use another method, or a higher pressure."
    if word == ahead.NEVER:
        return Verdict(Outcome.CANNOT_TELL, NEVER, Cause.RESOLUTION, figures=figures, source=AHEAD, way_out=use)
    return Verdict(Outcome.WARN, LUCKY, Cause.RESOLUTION, figures=figures, source=AHEAD, way_out=use)


def _on_target(
    base: Base, mass_fraction: Quantity, scale_base: Base | None, resolution: Quantity | None, accuracy: Quantity | None
) -> Reading:
    """What the scale says of a mix on target."""
    at, degrees = quantity(20.0, "degC"), scale_base is not None
    value = quantity(0.0, "degC" if degrees else "")
    if degrees:
        value = freezing_point(base=base, mass_fraction=mass_fraction).value
    elif base not in {Base.METHANOL, Base.POTASSIUM_ACETATE, Base.POTASSIUM_FORMATE, Base.WATER}:
        value = quantity(brix_from_index(index=index_of(base=base, mass_fraction=mass_fraction)), "")
    return read(
        scale=Scale.FREEZING_POINT if degrees else Scale.BRIX,
        value=value,
        base=base,
        sample_temperature=at,
        scale_base=scale_base,
        resolution=resolution,
        accuracy=accuracy,
    )


def _mass_step(base: Base, seen: Reading, scale_base: Base | None, step: float) -> float:
    """What one step of the scale is in percent by mass, at the target."""
    if step == 0.0:
        return 0.0
    if scale_base is not None:
        u, kelvin = si(seen.u_mass_fraction, "percent", "u"), si(seen.u_freezing_point, "K", "u")
        return step * u / kelvin
    mass = si(seen.mass_fraction, "", "strength")
    shown = [brix_from_index(index=index_of(base=base, mass_fraction=quantity(w, ""))) for w in (mass - 0.01, mass)]
    return step / (shown[1] - shown[0])
