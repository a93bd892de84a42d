"""The paper that the pictures of docs/ are drawn on: two axes, thin lines, and words written where they are meant."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from math import log10
from typing import Final
from xml.sax.saxutils import escape

PAPER, INK, ACCENT, GRID = "#ffffff", "#16201d", "#1b4b82", "#d9dedb"
WIDTH, HEIGHT = 800, 500
LEFT, RIGHT, TOP, BOTTOM = 92, 24, 74, 76
FONT: Final = "Source Sans Pro, Arial, Helvetica, sans-serif"
DASHES: Final = "8 6"

Points = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Axis:
    """What is drawn along one edge: label, ends and the numbers written, or `names` in their stead; `is_log` by powers of ten."""

    label: str
    low: float
    high: float
    ticks: tuple[float, ...]
    names: tuple[str, ...] = ()
    is_log: bool = False

    def share(self, value: float) -> float:
        """Where a value lies, 0 to 1."""
        if self.is_log:
            return log10(value / self.low) / log10(self.high / self.low)
        return (value - self.low) / (self.high - self.low)

    def marks(self) -> list[tuple[float, str]]:
        """Where a thin line is ruled, and what is written beside it."""
        return list(zip(self.ticks, self.names or map(_number, self.ticks), strict=True))


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

    def dot(self, x: float, y: float, *, ink: str = INK) -> None:
        """A small open circle."""
        across, down = self.at(x, y)
        self.parts.append(
            f'<circle cx="{across:.1f}" cy="{down:.1f}" r="5" fill="{PAPER}" stroke="{ink}" stroke-width="2"/>'
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
        for tick, name in self.x.marks():
            across, down = self.at(tick, self.y.low)
            yield _rule(across, TOP, across, down, GRID)
            yield _words(across, down + 26, name, anchor="middle")
        for tick, name in self.y.marks():
            across, down = self.at(self.x.low, tick)
            yield _rule(across, down, WIDTH - RIGHT, down, GRID)
            yield _words(across - 10, down + 6, name, anchor="end")
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


def steps(low: float, high: float, count: int) -> list[float]:
    """Even steps from one end to the other, both with it."""
    return [low + (high - low) * i / count for i in range(count + 1)]
