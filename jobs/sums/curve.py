"""The pressure curve as SVG text: readings over what creep alone would do. Presentation attributes only."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10
from typing import Final

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

INK, SOFT, LINE, ACCENT, WARN, FAIL = "#16201d", "#45504b", "#c9cfc8", "#1b4b82", "#694600", "#8f1d0c"
FONT: Final = "Source Sans 3, Source Sans Pro, Segoe UI, Noto Sans, Arial, sans-serif"
WIDTH, HEIGHT = 320.0, 240.0
LEFT, RIGHT, TOP, BOTTOM = 40.0, 12.0, 46.0, 34.0

Point = tuple[float, float]


@dataclass(frozen=True)
class Curve:
    """Readings, and where it can be told the lines of a tight pipe; minutes and bar."""

    seen: tuple[Point, ...]
    expected: tuple[Point, ...] = ()
    leak_line: tuple[Point, ...] = ()
    air_line: tuple[Point, ...] = ()
    names: tuple[str, str] = ("leak below this", "air above this")

    @property
    def svg(self) -> SafeString:
        """The drawing; empty with fewer than two readings."""
        if len(self.seen) < 2:
            return mark_safe("")
        # Every word on it is our own, and escaped all the same.
        return mark_safe("".join(_Sheet(self).parts()))  # noqa: S308


class _Sheet:
    """One drawing: the axes span readings and lines."""

    def __init__(self, curve: Curve) -> None:
        self.curve = curve
        points = [*curve.seen, *curve.expected, *curve.leak_line, *curve.air_line]
        self.x_marks = marks(min(0.0, *(x for x, _ in points)), max(x for x, _ in points))
        self.y_marks = marks(min(y for _, y in points), max(y for _, y in points))

    def parts(self) -> Iterator[str]:
        yield (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" '
            f'aria-labelledby="curve-title curve-desc"><title id="curve-title">Pressure after shutting</title>'
            f'<desc id="curve-desc">{escape(self.described())}</desc>'
        )
        yield from self.frame()
        yield from self.drawn(self.curve.leak_line, FAIL, "6 4")
        yield from self.drawn(self.curve.air_line, WARN, "1 4")
        yield from self.drawn(self.curve.expected, SOFT, "")
        yield from self.drawn(self.curve.seen, ACCENT, "", width=2.0)
        yield from (
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.8" fill="#ffffff" stroke="{ACCENT}" stroke-width="1.6"/>'
            for x, y in map(self.at, self.curve.seen)
        )
        yield from self.legend()
        yield "</svg>"

    def at(self, point: Point) -> Point:
        (left, right), (low, high) = (self.x_marks[0], self.x_marks[-1]), (self.y_marks[0], self.y_marks[-1])
        return (
            LEFT + (WIDTH - LEFT - RIGHT) * (point[0] - left) / (right - left),
            HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * (point[1] - low) / (high - low),
        )

    def frame(self) -> Iterator[str]:
        for value in self.y_marks:
            x, y = self.at((self.x_marks[0], value))
            yield _line((x, y), (WIDTH - RIGHT, y), LINE, 0.6)
            yield _text(x - 6, y + 4, mark_text(value), "end")
        for value in self.x_marks:
            x, y = self.at((value, self.y_marks[0]))
            yield _line((x, y), (x, y + 4), INK, 1.0) + _text(x, y + 16, mark_text(value), "middle")
        foot = self.at((self.x_marks[0], self.y_marks[0]))
        yield _line(foot, (WIDTH - RIGHT, foot[1]), INK, 1.2)
        yield _text(LEFT - 6, TOP - 12, "bar", "end") + _text(
            WIDTH - RIGHT, HEIGHT - 4, "minutes since shutting", "end"
        )

    def drawn(self, points: Sequence[Point], colour: str, dash: str, width: float = 1.5) -> Iterator[str]:
        if len(points) < 2:
            return
        places = " L".join(f"{x:.1f} {y:.1f}" for x, y in map(self.at, points))
        dashed = f' stroke-dasharray="{dash}" stroke-linecap="round"' if dash else ""
        yield f'<path d="M{places}" fill="none" stroke="{colour}" stroke-width="{width:g}"{dashed}/>'

    def legend(self) -> Iterator[str]:
        rows = (
            ("readings", ACCENT, "", bool(self.curve.seen)),
            ("a tight pipe", SOFT, "", bool(self.curve.expected)),
            (self.curve.names[0], FAIL, "6 4", bool(self.curve.leak_line)),
            (self.curve.names[1], WARN, "1 4", bool(self.curve.air_line)),
        )
        for index, (name, colour, dash, _) in enumerate(row for row in rows if row[3]):
            x, y = LEFT + 145 * (index % 2), 10 + 16 * (index // 2)
            dashed = f' stroke-dasharray="{dash}" stroke-linecap="round"' if dash else ""
            yield f'<path d="M{x:g} {y:g}h24" fill="none" stroke="{colour}" stroke-width="2"{dashed}/>'
            yield _text(x + 30, y + 4, name, "start", INK)

    def described(self) -> str:
        first, last = self.curve.seen[0], self.curve.seen[-1]
        words = f"{first[1]:.2f} bar at {first[0]:g} min, {last[1]:.2f} bar at {last[0]:g} min."
        if self.curve.expected:
            words += f" A tight pipe would be at about {_near(self.curve.expected, last[0]):.2f} bar then."
        for name, line in zip(self.curve.names, (self.curve.leak_line, self.curve.air_line), strict=True):
            words += f" {name.capitalize()}: {_near(line, last[0]):.2f} bar." if line else ""
        return words


def _near(points: Sequence[Point], when: float) -> float:
    return min(points, key=lambda point: abs(point[0] - when))[1]


def marks(low: float, high: float, about: int = 5) -> list[float]:
    """Round marks that span both ends; a flat line still gets an axis that can be read.

    >>> marks(0, 60), marks(5.63, 6.02)
    ([0.0, 20.0, 40.0, 60.0], [5.6, 5.7, 5.8, 5.9, 6.0, 6.1])
    """
    raw = max(high - low, 0.02 * max(abs(low), abs(high)), 1e-3) / about
    power = 10.0 ** floor(log10(raw))
    step = next(factor * power for factor in (1, 2, 5, 10) if factor * power >= raw * 0.999)
    first, last = floor(low / step + 1e-9), ceil(high / step - 1e-9)
    return [round(index * step, 10) for index in range(first, max(last, first + 1) + 1)]


def mark_text(value: float) -> str:
    return f"{value:.6g}".replace("-", "−")


def _line(a: Point, b: Point, colour: str, width: float) -> str:
    return f'<line x1="{a[0]:.1f}" y1="{a[1]:.1f}" x2="{b[0]:.1f}" y2="{b[1]:.1f}" stroke="{colour}" stroke-width="{width:g}"/>'


def _text(x: float, y: float, words: str, anchor: str, colour: str = SOFT) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-family="{FONT}" font-size="12.5" '
        f'fill="{colour}">{escape(words)}</text>'
    )
