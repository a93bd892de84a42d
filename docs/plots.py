"""The curves of docs/calculations.md, drawn from the calculations: `python3 -m docs.plots` writes docs/pictures/*.svg."""

from __future__ import annotations

from math import exp
from pathlib import Path
from typing import Final

from calcs import deaeration, fluid, heat, leak_rate, pressure_test, refractometer, vessel
from calcs.base import Base
from calcs.pressure_test import Restraint
from calcs.refractometer import Scale
from calcs.units import Quantity, quantity
from docs.chart import ACCENT, INK, Axis, Chart, steps
from docs.plots_flow import clearing, cold_glycol, ladder, legs, outlet, percent, pressure_drop

PICTURES: Final = Path(__file__).parent / "pictures"
VISITS: Final = (1.0, 3.0, 5.0, 7.0, 9.0)


def freezing_point() -> str:
    """Freezing point of both glycols: the curve worked with, and the coldest published one."""
    chart = Chart(
        "Freezing point of the two glycols",
        Axis("antifreeze, % by mass", 10, 45, (10, 15, 20, 25, 30, 35, 40, 45)),
        Axis("first ice crystals, °C", -30, 0, (-30, -25, -20, -15, -10, -5, 0)),
    )
    for base, ink in ((Base.ETHYLENE_GLYCOL, ACCENT), (Base.PROPYLENE_GLYCOL, INK)):
        found = [(w, fluid.freezing_point(base=base, mass_fraction=percent(w))) for w in steps(10, 45, 140)]
        chart.curve([(w, float(f.low.m_as("degC"))) for w, f in found], ink=ink, dashed=True)
        chart.curve([(w, float(f.value.m_as("degC"))) for w, f in found], ink=ink)
    chart.say(34.2, -14, "propylene glycol")
    chart.say(32, -17.8, "ethylene glycol", ink=ACCENT, anchor="end")
    chart.say(11, -25.5, "solid: the one worked with")
    chart.say(11, -28, "dashed: coldest published")
    return chart.svg()


def creep() -> str:
    """A short tightness check of free pipe: creep alone, the line of a leak and the line of air."""
    chart = Chart(
        "Short tightness check: 6 bar, held 60 min, then shut",
        Axis("minutes after shutting", 0, 175, (0, 30, 60, 90, 120)),
        Axis("pressure, bar", 5.2, 6.0, (5.2, 5.4, 5.6, 5.8, 6.0)),
    )
    free, buried = (
        pressure_test.creep_curve(
            start=quantity(6, "bar"),
            until=quantity(120, "min"),
            restraint=kind,
            loading=quantity(10, "min"),
            hold=quantity(60, "min"),
        )
        for kind in (Restraint.FREE, Restraint.BACKFILLED)
    )
    minutes = free.minutes.magnitude.tolist()

    def line(values: Quantity | None) -> list[tuple[float, float]]:
        return [] if values is None else list(zip(minutes, values.m_as("bar").tolist(), strict=True))

    chart.band(line(free.air_line), line(free.leak_line))
    chart.curve(line(free.air_line), dashed=True)
    chart.curve(line(free.leak_line), dashed=True)
    chart.curve(line(free.expected), ink=ACCENT)
    chart.curve(line(buried.leak_line))
    chart.say(122, 5.62, "leak line, backfilled")
    chart.say(122, 5.55, "air line, free")
    chart.say(122, 5.42, "creep alone, free", ink=ACCENT)
    chart.say(122, 5.22, "leak line, free")
    return chart.svg()


def brix() -> str:
    """Strength behind a Brix reading at 20 degC: three fluids, three curves."""
    chart = Chart(
        "What a Brix reading means",
        Axis("reading at 20 °C, °Bx", 0, 30, (0, 5, 10, 15, 20, 25, 30)),
        Axis("antifreeze, % by mass", 0, 50, (0, 10, 20, 30, 40, 50)),
    )
    lines = ((Base.ETHYLENE_GLYCOL, 30.0, ACCENT), (Base.PROPYLENE_GLYCOL, 30.0, INK), (Base.ETHANOL, 15.0, INK))
    for base, top, ink in lines:
        points = [(b, _strength(base, b)) for b in steps(0.5, top, 59)]
        chart.curve(points, ink=ink, dashed=base is Base.ETHANOL)
    chart.dot(15, _strength(Base.ETHANOL, 15))
    chart.say(23.4, 40, "ethylene glycol", ink=ACCENT, anchor="end")
    chart.say(24, 31, "propylene glycol")
    chart.say(14, 40, "ethanol: above 15 °Bx refused,", anchor="end")
    chart.say(14, 36.4, "the index hardly rises and turns back", anchor="end")
    return chart.svg()


def _strength(base: Base, reading: float) -> float:
    twenty = quantity(20, "degC")
    got = refractometer.read(scale=Scale.BRIX, value=quantity(reading, ""), base=base, sample_temperature=twenty)
    return float(got.mass_fraction.m_as("percent"))


def heat_doubt() -> str:
    """Expanded uncertainty of measured heat over the temperature difference, for two pairs of thermometers."""
    chart = Chart(
        "How well heat is known: flow ±2 %",
        Axis("difference between in and out, K", 0, 6, (0, 1, 2, 3, 4, 5, 6)),
        Axis("uncertainty of the heat (2u), ± %", 0, 50, (0, 10, 20, 30, 40, 50)),
    )
    for limit, ink in ((0.5, INK), (0.15, ACCENT), (0.05, INK)):
        chart.curve([(d, _doubt(limit, d)) for d in steps(0.2, 6, 290)], ink=ink, dashed=limit == 0.05)
    chart.curve([(0, 20), (6, 20)], wide=1)
    chart.say(5.95, 21, "above: cannot tell", anchor="end")
    chart.say(2.25, 40, "each thermometer ±0.5 K")
    chart.say(1.2, 26, "±0.15 K", ink=ACCENT)
    chart.say(0.08, 6.2, "±0.05 K")
    return chart.svg()


def _doubt(limit: float, difference: float) -> float:
    cold = quantity(-difference, "degC")
    found = heat.heat_from_flow(
        flow=quantity(0.788, "L/s"),
        t_in=quantity(0, "degC"),
        t_out=cold,
        properties=cold_glycol(),
        u_flow=heat.standard_uncertainty(limit=percent(2)),
        u_pair=heat.pair_uncertainty(limit_each=quantity(limit, "K")),
    )
    return 100 * found.relative


def leak() -> str:
    """The smallest leak that a short check is sure to show over the time shut, by gauge and by how the pipe is held."""
    chart = Chart(
        "The smallest leak that shows: 167 L at 6 bar, held 60 min",
        Axis("hours shut", 0.25, 150, (0.25, 0.5, 1, 2, 4, 8, 24), ("¼", "½", "1", "2", "4", "8", "24"), is_log=True),
        Axis("leak, L/h", 0.002, 0.3, (0.003, 0.01, 0.03, 0.1, 0.3), is_log=True),
    )
    hours = [0.25 * 96.0**share for share in steps(0, 1, 60)]
    chart.curve([(time, smallest_leak(Restraint.FREE, 0.1, time)) for time in hours], ink=ACCENT)
    chart.curve([(time, smallest_leak(Restraint.FREE, 0.01, time)) for time in hours])
    chart.curve([(time, smallest_leak(Restraint.BACKFILLED, 0.01, time)) for time in hours], dashed=True)
    chart.say(26, 0.0092, "free, 0.1 bar", ink=ACCENT)
    chart.say(26, 0.0064, "free, 0.01 bar")
    chart.say(26, 0.0033, "backfilled, 0.01 bar")
    chart.say(140, 0.22, "by the step of the gauge and how the pipe is held", anchor="end")
    return chart.svg()


def smallest_leak(restraint: Restraint, step: float, hours: float) -> float:
    shut = leak_rate.Shut(
        restraint, quantity(166.9, "L"), quantity(10, "min"), quantity(60, "min"), quantity(step, "bar")
    )
    found = leak_rate.smallest_leak(shut=shut, start=quantity(6, "bar"), minutes=quantity(hours, "hour"))
    return float(found.m_as("L/hour"))


def settling() -> str:
    """Pressure of a sealed loop from an hour to two years after filling, with and without a vessel: no leak, no air."""
    names = {1: "1 h", 4: "4 h", 24: "1 day", 72: "3 days", 240: "10 days", 1000: "6 weeks", 8766: "1 year"}
    chart = Chart(
        "A sealed loop settles: 400 L of free pipe, no leak, no air",
        Axis("since filling", 1, 2 * 8766, tuple(names), tuple(names.values()), is_log=True),
        Axis("pressure, bar", 0.6, 1.6, (0.6, 0.8, 1.0, 1.2, 1.4, 1.6)),
    )
    hours = [(2 * 8766.0) ** share for share in steps(0, 1, 80)]
    chart.curve([(time, settled(25, time)) for time in hours], dashed=True)
    chart.curve([(time, settled(12, time)) for time in hours], ink=ACCENT)
    chart.curve([(time, settled(None, time)) for time in hours])
    chart.say(24, 1.505, "vessel of 25 L (dashed)")
    chart.say(24, 1.37, "vessel of 12 L", ink=ACCENT)
    chart.say(30, 1.12, "no vessel")
    return chart.svg()


def settled(litres: float | None, hours: float) -> float:
    """Filled to 1.5 bar half an hour after pressurising, 40 x 3.7 mm at 10 degC, vessel charged to 0.7 bar."""
    found = vessel.settled_pressure(
        start=quantity(1.5, "bar"),
        since=quantity(0.5, "hour"),
        time=quantity(hours, "hour"),
        volume=quantity(400, "L"),
        bore_to_wall=32.6 / 3.7,
        temperature=quantity(10, "degC"),
        vessel=None if litres is None else vessel.Charge(quantity(litres, "L"), quantity(0.7, "bar")),
    )
    return float(found.m_as("bar"))


def outlook() -> str:
    """A run of visits, and the day on which the loop is likely to be stable as it is told after three and after five."""
    chart = Chart(
        "De-aeration: when will it be stable? Gauge of 0.02 bar",
        Axis("day of the run", 0, 20, (0, 2, 4, 6, 8, 10, 12, 14, 16, 18, 20)),
        Axis("pressure, top-ups taken out, bar", 0.8, 2.6, (0.8, 1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.4, 2.6)),
    )
    for visits, ink in ((3, INK), (5, ACCENT)):
        low, likely, high = told(visits)
        chart.band([(low, 2.6), (high, 2.6)], [(low, 0.8), (high, 0.8)])
        chart.curve([(likely, 0.8), (likely, 2.6)], ink=ink, wide=1.5)
    chart.curve([(day, _net(day)) for day in steps(0, 20, 100)], dashed=True)
    for day in VISITS:
        chart.dot(day, _read(day))
    for down, (visits, ink) in enumerate(((3, INK), (5, ACCENT))):
        low, likely, high = told(visits)
        said = f"after {visits} visits: day {likely:.0f} ({low:.0f} to {high:.0f})"
        chart.say(10.4, 2.47 - 0.11 * down, said, ink=ink, anchor="end")
    return chart.svg()


def _net(day: float) -> float:
    """An invented run: 0.25 bar a day at first, slowing by 15 % a day."""
    return 2.5 - 0.25 * (1.0 - exp(-0.15 * day)) / 0.15


def _read(day: float) -> float:
    return round(_net(day) / 0.02) * 0.02


def told(count: int) -> tuple[float, float, float]:
    """First, likely and last day of the outlook after so many visits without a top-up."""
    none = quantity(0, "L")
    visits = [deaeration.Visit(day, bar, bar, none) for day in VISITS[:count] for bar in [quantity(_read(day), "bar")]]
    found = deaeration.outlook(visits=visits, resolution=quantity(0.02, "bar"))
    if found.low is None or found.day is None or found.high is None:
        raise ValueError(found.reason)
    return float(found.low.m_as("day")), float(found.day.m_as("day")), float(found.high.m_as("day"))


def pictures() -> dict[str, str]:
    """Every picture by its file name."""
    return {
        "freezing-point.svg": freezing_point(),
        "creep.svg": creep(),
        "pressure-drop.svg": pressure_drop(),
        "changeover.svg": outlet(),
        "brix.svg": brix(),
        "heat-doubt.svg": heat_doubt(),
        "ladder.svg": ladder(),
        "clearing.svg": clearing(),
        "legs.svg": legs(),
        "smallest-leak.svg": leak(),
        "settling.svg": settling(),
        "outlook.svg": outlook(),
    }


def main() -> None:
    """Write them all."""
    for name, text in pictures().items():
        (PICTURES / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
