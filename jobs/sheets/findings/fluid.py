"""Do litres, minutes and strengths agree with each other and with the plan."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import pi

from calcs.base import Base
from calcs.errors import CalcError
from calcs.mixing import Part, blend
from calcs.strength import Product, by_mass, product_strength
from calcs.units import quantity, si
from calcs.verdict import Figure, Outcome
from jobs.sheets.evidence import Evidence, Item
from jobs.sheets.findings.base import Found, Severity, check, found, shown

STRENGTH_GAP = 2.0  # percentage points between litres and refractometer
VOLUME_BAND = 0.10
# Units of figures that are one and the same, with the factor between them.
SAME = {("degC", "°C"): 1.0, ("W", "kW"): 0.001, ("%", "mass %"): 1.0}


def figure(item: Item | None, word: str, unit: str) -> Figure | None:
    """The first figure of its verdicts with this word in its name, in `unit`."""
    for verdict in item.verdicts if item else ():
        for one in verdict.figures:
            factor = SAME.get((one.unit, unit), 1.0 if one.unit == unit else 0.0)
            if word in one.name.lower() and factor:
                return replace(one, value=one.value * factor, unit=unit, u=None if one.u is None else one.u * factor)
    return None


def freezing_point(seen: Evidence) -> tuple[Item, float] | None:
    """The last judged reading that says at what the fluid freezes; of the filled system when there is one."""
    readings = [item for item in seen.of("strength_reading") if figure(item, "freezing", "°C")]
    system = [item for item in readings if item.subject == "system" or item.entry.choice("place") == "system"]
    chosen = (system or readings)[-1:]
    told = figure(chosen[0], "freezing", "°C") if chosen else None
    return (chosen[0], told.value) if told else None


@check("F1", "Mix made against the volume")
def volume_balance(seen: Evidence) -> Iterator[Found]:
    batches = seen.of("mix_batch")
    made = sum((one.entry.number("water", "L") or 0) + (one.entry.number("concentrate", "L") or 0) for one in batches)
    planned = seen.volume_l
    if not batches or not planned:
        return
    spare = float(seen.ordered.design.get("bin_l") or 0)
    said = f"{shown(made)} L were mixed; the system holds about {shown(planned)} L by plan."
    if made < planned * (1 - VOLUME_BAND):
        yield found("F1", Severity.WARN, f"{said} What fills the rest?", *batches, subject="")
    elif made > planned * (1 + VOLUME_BAND) + spare:
        yield found("F1", Severity.WARN, f"{said} Where did the rest go?", *batches, subject="")


def swept_length_m(seen: Evidence, item: Item) -> float | None:
    """The length of pipe that the flow filled until the colour came: Q t / A, t to the middle of the front."""
    loop = next((row for row in seen.array.loops if row["code"] == item.subject), None)
    flow, start = item.entry.number("flow", "L/min"), item.entry.time("started")
    first, full = item.entry.time("first_colour"), item.entry.time("full_colour")
    times = [time for time in (first, full) if time]
    if loop is None or flow is None or start is None or not times:
        return None
    minutes = sum((time - start).total_seconds() / 60 for time in times) / len(times)
    bore_dm = (float(loop["od_mm"]) - 2 * float(loop["wall_mm"])) / 100
    return flow * minutes / (pi / 4 * bore_dm**2) / 10


@check("F2", "Length that the fill says")
def effective_length(seen: Evidence) -> Iterator[Found]:
    band = (seen.limit("changeover_band_pct") or 25) / 100
    for item in seen.of("loop_fill"):
        swept = swept_length_m(seen, item)
        laid = next((float(row["length_m"]) for row in seen.array.loops if row["code"] == item.subject), None)
        if swept is None or not laid or item.outcome is Outcome.FAIL:
            continue
        if abs(swept / laid - 1) > band:
            guess = "Did another valve stand open?" if swept > laid else "Was the loop crossed, or filled before?"
            yield found(
                "F2",
                Severity.WARN,
                f"Flow and time say {item.subject} is {shown(swept)} m long; {shown(laid)} m were laid. {guess}",
                item,
                field="full_colour",
            )


def mixed_mass_pct(seen: Evidence, batch: Item) -> float | None:
    """The strength of a batch from its litres, % by mass."""
    water, concentrate = batch.entry.number("water", "L"), batch.entry.number("concentrate", "L")
    design = seen.ordered.design
    if not water or not concentrate or "product_base" not in design:
        return None
    base = Base(design["product_base"])
    neat = quantity(float(design["concentrate_mass_pct"]), "percent")
    try:
        if design.get("density_kg_m3"):
            product = Product(base, neat, quantity(float(design["density_kg_m3"]), "kg/m^3"))
            share = quantity(100 * concentrate / (water + concentrate), "percent")
            return 100 * si(product_strength(product=product, value=share).mass_fraction, "", "strength")
        parts = [
            Part(quantity(concentrate, "L"), by_mass(base=base, value=neat)),
            Part(quantity(water, "L"), by_mass(base=base, value=quantity(0, "percent"))),
        ]
        return 100 * si(blend(parts=parts).mass_fraction, "", "strength")
    except CalcError:
        return None


@check("F3", "Strength by litres against strength by reading")
def concentration_balance(seen: Evidence) -> Iterator[Found]:
    for batch in seen.of("mix_batch"):
        by_litres = mixed_mass_pct(seen, batch)
        readings = seen.of("strength_reading", batch.subject)
        read = figure(readings[-1], "strength", "mass %") if readings else None
        if by_litres is None or read is None:
            continue
        gap = abs(by_litres - read.value)
        if gap > STRENGTH_GAP + 2 * (read.u or 0):
            yield found(
                "F3",
                Severity.WARN,
                f"By its litres {batch.subject} has {shown(by_litres)} % by mass, by the reading {shown(read.value)} %. "
                f"Is a drum missing, or was another scale read?",
                batch,
                readings[-1],
                field="concentrate",
            )


@check("F4", "Frost alarm against freezing point")
def freeze_margin(seen: Evidence) -> Iterator[Found]:
    settings, freezes = seen.last("source_settings"), freezing_point(seen)
    alarm = settings.entry.number("frost_alarm", "°C") if settings else None
    good, least = seen.limit("freeze_margin_k"), seen.limit("freeze_margin_block_k")
    if settings is None or alarm is None or freezes is None or good is None or least is None:
        return
    reading, point = freezes
    margin = alarm - point
    if margin < good:
        yield found(
            "F4",
            Severity.BLOCK if margin < least else Severity.WARN,
            f"The frost alarm stands at {shown(alarm)} °C and the fluid freezes at {shown(point)} °C: {shown(margin)} K "
            f"between them, {shown(good)} K are wanted. Raise the alarm, or strengthen the fluid?",
            settings,
            reading,
            subject="",
            field="frost_alarm",
        )
