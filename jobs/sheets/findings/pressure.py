"""Does the pressure test look like water in PE: what went in, and whether it gave way at all."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import pi
from typing import Any

from calcs.elastic import compliance, elastic_volume, wall_modulus, water_modulus
from calcs.units import quantity
from jobs.sheets.evidence import Evidence, Item
from jobs.sheets.findings.base import Found, Severity, check, found, shown

# Inside these the thin-wall formula and the table of moduli hold.
COLD, WARM = 1.0, 30.0
FILL_MINUTES = 10.0


def pipe_litres(od_mm: float, wall_mm: float, length_m: float) -> float:
    """Contents of a length of pipe.

    >>> round(pipe_litres(40, 3.7, 100), 1)
    83.5
    """
    return pi / 4 * ((od_mm - 2 * wall_mm) / 100) ** 2 * length_m * 10


def tested_pipes(seen: Evidence, start: Item) -> list[Mapping[str, Any]]:
    """The loops and the header that this test covers."""
    covered = set(start.entry.many("covers"))
    pipes = [loop for loop in seen.array.loops if loop["code"] in covered]
    return [*pipes, *([seen.array.header] if "H" in covered and seen.array.header else [])]


def elastic_litres(seen: Evidence, start: Item) -> float | None:
    """Water that goes in to raise what is under test to its pressure, no air; none when it cannot be told."""
    pressure, temperature = start.entry.number("test_pressure", "bar"), start.entry.number("pipe_temperature", "°C")
    if pressure is None or temperature is None or not COLD <= temperature <= WARM:
        return None
    total = 0.0
    heat = quantity(temperature, "degC")
    wall = wall_modulus(time=quantity(FILL_MINUTES, "minute"), temperature=heat)
    for pipe in tested_pipes(seen, start):
        od, thick = float(pipe["od_mm"]), float(pipe["wall_mm"])
        give = compliance(
            bore_to_wall=(od - 2 * thick) / thick, wall_modulus=wall, water_modulus=water_modulus(temperature=heat)
        )
        volume = quantity(pipe_litres(od, thick, float(pipe["length_m"])), "L")
        total += elastic_volume(volume=volume, pressure_change=quantity(pressure, "bar"), compliance=give).m_as("L")
    return total or None


@check("F6", "Water that went in against the pipe's give")
def elastic_plausibility(seen: Evidence) -> Iterator[Found]:
    for start in seen.of("pressure_test"):
        readings = [one for one in seen.of("pressure_reading", start.subject) if one.entry.choice("phase") == "hold"]
        litres = [one.entry.number("litres", "L") for one in readings]
        told = [value for value in litres if value is not None] or _at_the_end(seen, start)
        expected = elastic_litres(seen, start)
        if not told or not expected:
            continue
        # What is pumped in after the pressure was reached feeds the creep: only the first litres tell of air.
        went_in = sum(told)
        said = f"{shown(went_in)} L went in for test {start.subject}; the pipe alone takes about {shown(expected)} L."
        if went_in < expected / 2:
            yield found(
                "F6", Severity.BLOCK, f"{said} Was a valve shut, so that part was not tested?", start, *readings
            )
        elif told[0] > 2 * expected:
            yield found("F6", Severity.WARN, f"{said} Was there air in it?", start, *readings)


def _at_the_end(seen: Evidence, start: Item) -> list[float]:
    """The litres as told in one sum when the test was over."""
    end = seen.last("pressure_end", start.subject)
    told = end.entry.number("litres_in", "L") if end else None
    return [] if told is None else [told]


@check("F7", "A test without any creep")
def no_creep(seen: Evidence) -> Iterator[Found]:
    """PE under 6 bar gives way; a gauge fine enough shows it within half an hour."""
    for start in seen.of("pressure_test"):
        readings = [
            one for one in seen.of("pressure_reading", start.subject) if one.entry.choice("phase") == "isolated"
        ]
        values = [one.entry.number("pressure", "bar") for one in readings]
        if len(readings) < 3 or any(value is None or value < 5.5 for value in values):
            continue
        lasted = (readings[-1].at - readings[0].at).total_seconds() / 60
        gauge = seen.kit.get(readings[-1].entry.instrument)
        coarse = gauge is not None and (gauge.resolution or 0) > 0.05
        if lasted >= 30 and len(set(values)) == 1 and not coarse:
            yield found(
                "F7",
                Severity.WARN,
                f"The pressure of {start.subject} stands at exactly the same value for {shown(lasted)} min. "
                f"Was the gauge shut off from the pipe?",
                *readings,
            )
