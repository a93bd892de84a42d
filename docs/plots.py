"""The curves of docs/calculations.md, drawn from the calculations: `python3 -m docs.plots` writes docs/pictures/*.svg."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final
from xml.sax.saxutils import escape

from calcs import changeover, fluid, friction, heat, pressure_test, refractometer
from calcs.base import Base
from calcs.pipe import pipe
from calcs.pressure_test import Restraint
from calcs.refractometer import Scale
from calcs.units import Quantity, quantity

PICTURES: Final = Path(__file__).parent / "pictures"
PAPER, INK, ACCENT, GRID = "#ffffff", "#16201d", "#1b4b82", "#d9dedb"
WIDTH, HEIGHT = 800, 500
LEFT, RIGHT, TOP, BOTTOM = 92, 24, 74, 76
FONT: Final = "Source Sans Pro, Arial, Helvetica, sans-serif"
DASHES: Final = "8 6"

BORE: Final = pipe(od=quantity(40, "mm"), wall=quantity(3.7, "mm")).bore
RUN: Final = quantity(200, "m")

Points = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Axis:
    """What is drawn along one edge: label, ends and the numbers written."""

    label: str
    low: float
    high: float
    ticks: tuple[float, ...]

    def share(self, value: float) -> float:
        """Where a value lies, 0 to 1."""
        return (value - self.low) / (self.high - self.low)


@dataclass
class Chart:
    """One picture: a title, two axes, thin lines and words written where they are meant."""

    title: str
    x: Axis
    y: Axis
    parts: list[str] = field(default_factory=list)

    def at(self, x: float, y: float) -> tuple[float, float]:
        """The place on the paper."""
        wide, high = WIDTH - LEFT - RIGHT, HEIGHT - TOP - BOTTOM
        return LEFT + wide * self.x.share(x), TOP + high * (1.0 - self.y.share(y))

    def curve(
        self, points: Iterable[tuple[float, float]], *, ink: str = INK, dashed: bool = False, wide: float = 2.5
    ) -> None:
        """A line through the points that lie on the paper."""
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in (self.at(*p) for p in points if self._holds(p)))
        dash = f' stroke-dasharray="{DASHES}"' if dashed else ""
        wide = 1.5 if dashed else wide
        self.parts.append(f'<polyline points="{path}" fill="none" stroke="{ink}" stroke-width="{wide:g}"{dash}/>')

    def band(self, upper: Points, lower: Points) -> None:
        """A pale area between two lines."""
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in (self.at(*p) for p in [*upper, *reversed(lower)]))
        self.parts.append(f'<polygon points="{path}" fill="{ACCENT}" fill-opacity="0.09"/>')

    def dot(self, x: float, y: float) -> None:
        """A small open circle."""
        across, down = self.at(x, y)
        self.parts.append(
            f'<circle cx="{across:.1f}" cy="{down:.1f}" r="5" fill="{PAPER}" stroke="{INK}" stroke-width="2"/>'
        )

    def say(self, x: float, y: float, text: str, *, ink: str = INK, anchor: str = "start") -> None:
        """Words with their foot at a place of the axes."""
        self.parts.append(_words(*self.at(x, y), text, ink=ink, anchor=anchor))

    def svg(self) -> str:
        """The whole picture."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}"'
            f' role="img" aria-label="{escape(self.title)}" font-family="{FONT}">'
        )
        lines = [
            head,
            f'<rect width="{WIDTH}" height="{HEIGHT}" fill="{PAPER}"/>',
            _words(LEFT, 32, self.title, size=23),
            *self._frame(),
            *self.parts,
            "</svg>",
        ]
        return "\n".join(lines) + "\n"

    def _holds(self, point: tuple[float, float]) -> bool:
        return all(-1e-9 <= axis.share(v) <= 1 + 1e-9 for axis, v in zip((self.x, self.y), point, strict=True))

    def _frame(self) -> Iterable[str]:
        for tick in self.x.ticks:
            across, down = self.at(tick, self.y.low)
            yield _rule(across, TOP, across, down, GRID)
            yield _words(across, down + 26, _number(tick), anchor="middle")
        for tick in self.y.ticks:
            across, down = self.at(self.x.low, tick)
            yield _rule(across, down, WIDTH - RIGHT, down, GRID)
            yield _words(across - 10, down + 6, _number(tick), anchor="end")
        foot, top = self.at(self.x.low, self.y.low), self.at(self.x.low, self.y.high)
        yield _rule(*foot, WIDTH - RIGHT, foot[1], INK)
        yield _rule(*foot, *top, INK)
        yield _words(LEFT, TOP - 14, self.y.label, size=17)
        yield _words(WIDTH - RIGHT, HEIGHT - 18, self.x.label, size=17, anchor="end")


def _words(x: float, y: float, text: str, *, size: int = 18, ink: str = INK, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" fill="{ink}" text-anchor="{anchor}">{escape(text)}</text>'


def _rule(x1: float, y1: float, x2: float, y2: float, ink: str) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{ink}" stroke-width="1"/>'


def _number(value: float) -> str:
    return f"{value:g}".replace("-", "−")


def _steps(low: float, high: float, count: int) -> list[float]:
    return [low + (high - low) * i / count for i in range(count + 1)]


def _percent(value: float) -> Quantity:
    return quantity(value, "percent")


def freezing_point() -> str:
    """Freezing point of both glycols: the curve worked with, and the coldest published one."""
    chart = Chart(
        "Freezing point of the two glycols",
        Axis("antifreeze, % by mass", 10, 45, (10, 15, 20, 25, 30, 35, 40, 45)),
        Axis("first ice crystals, °C", -30, 0, (-30, -25, -20, -15, -10, -5, 0)),
    )
    for base, ink in ((Base.ETHYLENE_GLYCOL, ACCENT), (Base.PROPYLENE_GLYCOL, INK)):
        found = [(w, fluid.freezing_point(base=base, mass_fraction=_percent(w))) for w in _steps(10, 45, 140)]
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


def pressure_drop() -> str:
    """Drop per metre of 40 x 3.7 mm over flow, water and cold propylene glycol, with the conservative law."""
    chart = Chart(
        "Pressure drop of 40 × 3.7 mm pipe",
        Axis("flow, L/min", 0, 50, (0, 10, 20, 30, 40, 50)),
        Axis("Pa per metre", 0, 600, (0, 100, 200, 300, 400, 500, 600)),
    )
    mixes = ((Base.WATER, 0.0, 10.0, INK), (Base.PROPYLENE_GLYCOL, 25.0, 0.0, ACCENT))
    for base, w, t, ink in mixes:
        found = [(flow, _drop(base, w, t, flow)) for flow in _steps(0, 50, 200)]
        chart.curve([(q, float(d.conservative_pressure_drop.m_as("Pa"))) for q, d in found], ink=ink, dashed=True)
        chart.curve([(q, float(d.pressure_drop.m_as("Pa"))) for q, d in found], ink=ink)
        for end in (friction.Regime.LAMINAR, friction.Regime.TRANSITION):
            q, d = next(pair for pair in reversed(found) if pair[1].regime is end)
            chart.dot(q, float(d.pressure_drop.m_as("Pa")))
    chart.say(39.5, 430, "25 % propylene glycol, 0 °C", ink=ACCENT, anchor="end")
    chart.say(39, 205, "water, 10 °C")
    chart.say(1, 560, "circles: Re 2000 and 4000")
    chart.say(1, 520, "dashed: conservative (Churchill)")
    return chart.svg()


def _drop(base: Base, w: float, t: float, flow: float) -> friction.Drop:
    mix = fluid.properties(base=base, mass_fraction=_percent(w), temperature=quantity(t, "degC"))
    return friction.pressure_drop(
        flow=quantity(flow, "L/min"),
        length=quantity(1, "m"),
        bore=BORE,
        density=mix.density,
        viscosity=mix.viscosity,
    )


def outlet() -> str:
    """Share of new fluid at the return hose over volumes pumped, with and without a front."""
    chart = Chart(
        "Changeover at the return hose, 200 m of 40 × 3.7 mm",
        Axis("loop volumes pumped", 0, 3, (0, 0.5, 1, 1.5, 2, 2.5, 3)),
        Axis("new fluid, %", 0, 100, (0, 20, 40, 60, 80, 100)),
    )
    water, brisk, slow = (
        _expected(Base.WATER, 30),
        _expected(Base.PROPYLENE_GLYCOL, 30),
        _expected(Base.PROPYLENE_GLYCOL, 15),
    )
    chart.curve(_front(water), dashed=True)
    chart.curve(_front(brisk))
    shares = [share / 1000 for share in range(1000)]
    chart.curve([(0, 0), *((changeover.laminar_turnovers(f), 100 * f) for f in shares)], ink=ACCENT)
    chart.say(1.12, 56, f"water at 10 °C, 30 L/min: Re {round(water.reynolds, -2):.0f} (dashed)")
    chart.say(1.12, 44, "25 % propylene glycol at 0 °C")
    chart.say(1.12, 36, f"at 30 L/min: Re {round(brisk.reynolds, -2):.0f}")
    chart.say(1.12, 24, "the same mix, without a front", ink=ACCENT)
    chart.say(1.12, 16, f"at 15 L/min: Re {round(slow.reynolds, -2):.0f}", ink=ACCENT)
    return chart.svg()


def _expected(base: Base, flow: float) -> changeover.Changeover:
    w, t = (0.0, 10.0) if base is Base.WATER else (25.0, 0.0)
    mix = fluid.properties(base=base, mass_fraction=_percent(w), temperature=quantity(t, "degC"))
    return changeover.expected(
        length=RUN, bore=BORE, flow=quantity(flow, "L/min"), density=mix.density, viscosity=mix.viscosity
    )


def _front(seen: changeover.Changeover) -> list[tuple[float, float]]:
    """Loop volumes and percent of new fluid, from the mixed length of each share."""
    speed = RUN / seen.transit_time
    spread = changeover.dispersion(bore=BORE, velocity=speed, reynolds=seen.reynolds)
    half = []
    for share in _steps(0.002, 0.498, 60):
        run = changeover.mixed_length(dispersion=spread, length=RUN, velocity=speed, fraction=share)
        half.append((float((run / RUN).m_as("")) / 2, share))
    early = [(1 - away, 100 * share) for away, share in half]
    late = [(1 + away, 100 * (1 - share)) for away, share in reversed(half)]
    return [(0, 0), (early[0][0], 0), *early, *late, (3, 100)]


def brix() -> str:
    """Strength behind a Brix reading at 20 degC: three fluids, three curves."""
    chart = Chart(
        "What a Brix reading means",
        Axis("reading at 20 °C, °Bx", 0, 30, (0, 5, 10, 15, 20, 25, 30)),
        Axis("antifreeze, % by mass", 0, 50, (0, 10, 20, 30, 40, 50)),
    )
    lines = ((Base.ETHYLENE_GLYCOL, 30.0, ACCENT), (Base.PROPYLENE_GLYCOL, 30.0, INK), (Base.ETHANOL, 15.0, INK))
    for base, top, ink in lines:
        points = [(b, _strength(base, b)) for b in _steps(0.5, top, 59)]
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
        chart.curve([(d, _doubt(limit, d)) for d in _steps(0.2, 6, 290)], ink=ink, dashed=limit == 0.05)
    chart.curve([(0, 20), (6, 20)], wide=1)
    chart.say(5.95, 21, "above: cannot tell", anchor="end")
    chart.say(2.25, 40, "each thermometer ±0.5 K")
    chart.say(1.2, 26, "±0.15 K", ink=ACCENT)
    chart.say(0.08, 6.2, "±0.05 K")
    return chart.svg()


def _doubt(limit: float, difference: float) -> float:
    cold = quantity(-difference, "degC")
    mix = fluid.properties(base=Base.PROPYLENE_GLYCOL, mass_fraction=_percent(25), temperature=quantity(0, "degC"))
    found = heat.heat_from_flow(
        flow=quantity(0.788, "L/s"),
        t_in=quantity(0, "degC"),
        t_out=cold,
        properties=mix,
        u_flow=heat.standard_uncertainty(limit=_percent(2)),
        u_pair=heat.pair_uncertainty(limit_each=quantity(limit, "K")),
    )
    return 100 * found.relative


def pictures() -> dict[str, str]:
    """Every picture by its file name."""
    return {
        "freezing-point.svg": freezing_point(),
        "creep.svg": creep(),
        "pressure-drop.svg": pressure_drop(),
        "changeover.svg": outlet(),
        "brix.svg": brix(),
        "heat-doubt.svg": heat_doubt(),
    }


def main() -> None:
    """Write them all."""
    for name, text in pictures().items():
        (PICTURES / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
