"""Air and heat: velocities, topping up, the readings at the end."""

from __future__ import annotations

from collections.abc import Iterator
from math import pi

from jobs.sheets.evidence import Evidence, Item
from jobs.sheets.findings.base import Found, Severity, check, found, shown
from jobs.sheets.findings.fluid import figure


def velocity_m_s(flow_l_min: float, od_mm: float, wall_mm: float) -> float:
    """Mean velocity in a pipe.

    >>> round(velocity_m_s(20, 40, 3.7), 2)
    0.4
    """
    bore_m = (od_mm - 2 * wall_mm) / 1000
    return flow_l_min / 60000 / (pi / 4 * bore_m**2)


@check("F12", "Velocity when flushing and purging")
def too_slow(seen: Evidence) -> Iterator[Found]:
    least = seen.limit("flush_velocity_m_s")
    pipes = {str(row["code"]): row for row in (*seen.array.loops, *([seen.array.header] if seen.array.header else []))}
    for item in seen.of("flush") if least else ():
        flow, pipe = item.entry.number("flow", "L/min"), pipes.get(item.subject)
        if flow is None or pipe is None or least is None:
            continue
        velocity = velocity_m_s(flow, float(pipe["od_mm"]), float(pipe["wall_mm"]))
        if velocity < least * 0.995:
            yield found(
                "F12",
                Severity.BLOCK,
                f"{item.subject} was flushed at {shown(velocity)} m/s; {shown(least)} m/s are wanted. Was it done again?",
                item,
                field="flow",
            )


@check("F9", "Litres topped up")
def topped_up(seen: Evidence) -> Iterator[Found]:
    checks = [item for item in seen.of("follow_up") if item.entry.number("top_up", "L")]
    total = sum(item.entry.number("top_up", "L") or 0 for item in checks)
    amber, red, volume = seen.limit("top_up_amber_pct"), seen.limit("top_up_red_pct"), seen.volume_l
    if not checks or not volume or amber is None or red is None:
        return
    share = 100 * total / volume
    if share > amber:
        said = f"{shown(total)} L were topped up, {shown(share)} % of the volume."
        asks = (
            "Where does it go: is a search for a leak planned?" if share > red else "Is that air that left, or a leak?"
        )
        severity = Severity.BLOCK if share > red else Severity.WARN
        yield found("F9", severity, f"{said} {asks}", *checks, subject="", field="top_up")


def spread_k(item: Item) -> float | None:
    """How much the fluid cools down in the heat pump."""
    warm, cold = item.entry.number("t_in", "°C"), item.entry.number("t_out", "°C")
    return None if warm is None or cold is None else warm - cold


@check("V8", "Temperatures swapped")
def swapped(seen: Evidence) -> Iterator[Found]:
    for item in seen.of("final_reading"):
        spread = spread_k(item)
        if spread is not None and spread < 0:
            yield found(
                "V8",
                Severity.WARN,
                f"In {item.subject} the fluid comes back warmer than it went in. Are the two temperatures swapped?",
                item,
                field="t_in",
            )


@check("F10", "Temperature difference and flow at the heat pump")
def spread_and_flow(seen: Evidence) -> Iterator[Found]:
    low, high = seen.limit("spread_low_k"), seen.limit("spread_high_k")
    least = seen.ordered.design.get("minimum_flow_l_min")
    for item in seen.of("final_reading"):
        spread, flow = spread_k(item), item.entry.number("flow", "L/min")
        if spread is not None and low is not None and high is not None and not low <= spread <= high and spread >= 0:
            yield found(
                "F10",
                Severity.WARN,
                f"In {item.subject} the difference is {shown(spread)} K; {shown(low)} to {shown(high)} K are usual. "
                f"Was the heat pump at full power?",
                item,
                field="t_out",
            )
        if flow is not None and least and flow < float(least):
            yield found(
                "F10",
                Severity.BLOCK,
                f"In {item.subject} the flow is {shown(flow)} L/min; the heat pump wants {shown(float(least))} L/min. "
                f"Is the strainer clean and the air out?",
                item,
                field="flow",
            )


@check("F5", "Heat from the ground against what the heat pump gives")
def heat_balance(seen: Evidence) -> Iterator[Found]:
    """Source heat plus electrical power against the heating output it was designed for."""
    band, heating = seen.limit("heat_balance_pct"), seen.ordered.design.get("heating_kw")
    for item in seen.of("final_reading"):
        source, power = figure(item, "heat", "kW"), item.entry.number("power", "kW")
        if source is None or power is None or not heating or band is None:
            continue
        off = 100 * (source.value + power - float(heating)) / float(heating)
        unsure = 100 * 2 * (source.u or 0) / float(heating)
        if abs(off) > band + unsure:
            yield found(
                "F5",
                Severity.WARN,
                f"In {item.subject} ground and power together give {shown(source.value + power)} kW; the heat pump is "
                f"rated at {shown(float(heating))} kW. Was it at part load, or is a reading off?",
                item,
                field="power",
            )
