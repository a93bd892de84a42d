"""One look through the refractometer."""

from __future__ import annotations

from calcs import refractometer
from calcs.base import Base
from calcs.refractometer import Reading, Scale
from calcs.sources import Limit
from calcs.units import quantity, si
from calcs.verdict import Cause, Figure, Outcome, Verdict
from jobs.visits.kinds import cautions
from jobs.visits.kinds.base import Facts, Kind, Logged, Of, Target
from jobs.visits.kinds.fields import CELSIUS, choice, number, yes
from jobs.visits.kinds.said import attempt, bad, cannot, look, ok

SCALES = {
    "brix": "Brix",
    "propylene_glycol": "Freezing point, propylene glycol",
    "ethylene_glycol": "Freezing point, ethylene glycol",
}
TWICE = "Read it again from another depth, or {minutes:.0f} minutes later."


def read(facts: Facts, entry: Logged) -> Reading | None:
    """The strength that this reading stands for; None when something needed is missing. Raises `CalcError`."""
    scale = entry.choice("scale")
    value, at = entry.number("value", "°Bx" if scale == "brix" else "°C"), entry.number("sample_temperature", "°C")
    if facts.fluid is None or value is None or at is None or scale not in SCALES:
        return None
    used = facts.instrument(entry)
    step = quantity(used.resolution, "") if used and used.resolution else None
    limit = quantity(used.accuracy, "") if used and used.accuracy else None
    if scale == "brix":
        return refractometer.read(
            scale=Scale.BRIX,
            value=quantity(value, ""),
            base=Base(facts.fluid.base),
            sample_temperature=quantity(at, "degC"),
            resolution=step,
            accuracy=limit,
        )
    return refractometer.read(
        scale=Scale.FREEZING_POINT,
        value=quantity(value, "degC"),
        base=Base(facts.fluid.base),
        sample_temperature=quantity(at, "degC"),
        scale_base=Base(scale),
        resolution=None if step is None else quantity(float(step.magnitude), "delta_degC"),
        accuracy=None if limit is None else quantity(float(limit.magnitude), "delta_degC"),
    )


def mass_pct(reading: Reading) -> float:
    return 100 * si(reading.mass_fraction, "", "strength")


def judge(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    return (attempt(lambda: _band(facts, entry)),)


def _band(facts: Facts, entry: Logged) -> Verdict:
    """One reading against the target band, with its own uncertainty to spare."""
    target, band = facts.number("fluid", "target_mass_pct"), facts.limit("strength_band_pct")
    reading = read(facts, entry)
    if reading is None or target is None or band is None:
        return cannot("The strength cannot be worked out.", "Complete the reading and the job's design data.")
    if entry.value("zeroed") is False:
        return cannot("The refractometer was not zeroed.", "Zero it with clean water and read again.")
    return _in_band(reading, target, band)


def _in_band(reading: Reading, target: float, band: Limit) -> Verdict:
    strength, u = mass_pct(reading), 100 * si(reading.u_mass_fraction, "", "u")
    figures = (
        Figure("strength", strength, "mass %", u=u, limit=target),
        Figure("freezing point", si(reading.freezing_point, "degC", "freezing point"), "°C"),
        Figure("may be off by", band.value, "%-points"),
    )
    short = target - strength
    if abs(short) + 2 * u <= band.value:
        return ok("Inside the band.", *figures, source=band.source)
    if abs(short) - 2 * u <= band.value:
        reason = "Too near the edge of the band for this instrument."
        return cannot(reason, "Correct the batch towards the target and read again.", *figures, source=band.source)
    if short > 0:
        way_out = "Add concentrate, stir and read again."
        return bad("Too weak.", Cause.STRENGTH, *figures, source=band.source, way_out=way_out)
    reason = "Stronger than needed: costs pumping power and concentrate."
    return look(reason, Cause.STRENGTH, *figures, source=band.source, way_out="Add water, stir and read again.")


def judge_subject(facts: Facts, subject: str) -> Verdict:
    """A batch needs two readings that agree, of different depth or time; any other sample its latest one."""
    readings = facts.of("strength_reading", subject)
    if not readings:
        return cannot("There is no reading.", "Read the strength.")
    if not subject.startswith("M"):
        return attempt(lambda: _band(facts, readings[-1]))
    return attempt(lambda: _pair(facts, readings))


def _pair(facts: Facts, readings: list[Logged]) -> Verdict:
    gap, agree = facts.limit("reading_gap_min"), facts.limit("strength_agree_pct")
    last = readings[-1]
    before = [one for one in readings[:-1] if _is_second(one, last, gap.value if gap else 0.0)]
    if not before or agree is None:
        return cannot("One reading of a batch is not enough.", TWICE.format(minutes=gap.value if gap else 5))
    verdicts = [_band(facts, one) for one in (before[-1], last)]
    worst = max(verdicts, key=lambda verdict: WORSE.index(verdict.outcome))
    first, second = read(facts, before[-1]), read(facts, last)
    if first is None or second is None or worst.outcome in {Outcome.FAIL, Outcome.CANNOT_TELL}:
        return worst
    figure = Figure(
        "difference of the two readings", abs(mass_pct(first) - mass_pct(second)), "%-points", limit=agree.value
    )
    if figure.value > agree.value:
        return bad(
            "The two readings do not agree.",
            Cause.READINGS,
            figure,
            source=agree.source,
            way_out="Stir and read twice again.",
        )
    return Verdict(
        worst.outcome,
        worst.reason,
        worst.cause,
        figures=(*worst.figures, figure),
        source=agree.source,
        way_out=worst.way_out,
    )


WORSE = (Outcome.PASS, Outcome.WARN, Outcome.CANNOT_TELL, Outcome.FAIL)


def _is_second(first: Logged, last: Logged, gap_min: float) -> bool:
    places = {first.choice("place"), last.choice("place")}
    apart = abs((last.observed_at - first.observed_at).total_seconds()) / 60
    return apart >= gap_min or (len(places) == 2 and "" not in places)


def targets(facts: Facts, subject: str) -> tuple[Target, ...]:  # noqa: ARG001 - one target for all samples
    target, band = facts.number("fluid", "target_mass_pct"), facts.limit("strength_band_pct")
    if target is None or band is None:
        return ()
    freezing = facts.number("fluid", "freezing_point_c")
    words = f"{target:.1f} mass %, freezing at {freezing:.1f} °C" if freezing is not None else f"{target:.1f} mass %"
    return (Target("value", words, source=band.source.label),)


KIND = Kind(
    code="strength_reading",
    label="Strength reading",
    of=Of.SAMPLE,
    instrument="refractometer",
    repeats=True,
    fields=(
        yes("zeroed", "Zeroed with clean water"),
        choice("scale", "Scale that was read", *SCALES.items()),
        number("value", "Reading", ("°Bx", "°C"), soft=(-40, 45), hard=(-60, 95)),
        number("sample_temperature", "Sample temperature", CELSIUS, soft=(5, 35), hard=(-20, 80)),
        choice(
            "place",
            "Taken from",
            ("top", "Top of the bin"),
            ("bottom", "Bottom of the bin"),
            ("hose", "Return hose"),
            ("system", "Drain of the filled system"),
            required=False,
        ),
    ),
    help="Zero it first. The scale of the other glycol gives a wrong freezing point.",
    cautions=cautions.FLUID[:1],
    calc="refractometer",
    judge=judge,
    targets=targets,
)
