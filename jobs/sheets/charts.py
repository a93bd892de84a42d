"""Charts as SVG text: the pressure curve, the fill runs, the trend of the de-aeration run.

Drawn like a survey: thin ink, one accent, numbers at the marks. Presentation attributes only, so that the same drawing
stands on a page with a strict policy and in the PDF.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from math import ceil, floor, log10

INK, SOFT, LINE, ACCENT, WARN, FAIL = "#16201d", "#45504b", "#c9cfc8", "#1b4b82", "#694600", "#8f1d0c"
FONT = "Source Sans 3, Source Sans Pro, sans-serif"
WIDTH = 680.0
LEFT, RIGHT, TOP, BOTTOM = 52.0, 16.0, 26.0, 40.0

Point = tuple[float, float]


@dataclass(frozen=True)
class Series:
    """A line or a row of marks. `dash` for what is computed, not measured."""

    name: str
    points: Sequence[Point]
    colour: str = ACCENT
    dash: str = ""
    marks: bool = False
    width: float = 1.6


@dataclass(frozen=True)
class Level:
    """A horizontal line: a limit or a target."""

    name: str
    value: float
    colour: str = FAIL


@dataclass(frozen=True)
class Axes:
    """The plane a chart is drawn on, from values to places on the paper."""

    x: tuple[float, float]
    y: tuple[float, float]
    height: float

    def at(self, x: float, y: float) -> Point:
        wide, high = WIDTH - LEFT - RIGHT, self.height - TOP - BOTTOM
        return (
            LEFT + wide * (x - self.x[0]) / (self.x[1] - self.x[0]),
            TOP + high * (1 - (y - self.y[0]) / (self.y[1] - self.y[0])),
        )


def steps(low: float, high: float, about: int = 5) -> list[float]:
    """Round marks that span both ends.

    >>> steps(0, 60), steps(5.71, 6.02, 4)
    ([0.0, 20.0, 40.0, 60.0], [5.7, 5.8, 5.9, 6.0, 6.1])
    """
    # A flat line still gets an axis that can be read.
    span = max(high - low, 0.02 * max(abs(low), abs(high)), 1e-3)
    raw = span / about
    power = 10.0 ** floor(log10(raw))
    step = next(factor * power for factor in (1, 2, 5, 10) if factor * power >= raw * 0.999)
    first, last = floor(low / step + 1e-9), ceil(high / step - 1e-9)
    return [round(index * step, 10) for index in range(first, max(last, first + 1) + 1)]


def tell(value: float) -> str:
    """A mark's number, without trailing noughts."""
    return f"{value:.6g}".replace("-", "−")


def text(x: float, y: float, words: str, *, anchor: str = "start", colour: str = INK, size: float = 12) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-family="{FONT}" font-size="{size:g}" '
        f'fill="{colour}">{escape(words)}</text>'
    )


def line(a: Point, b: Point, *, colour: str = INK, width: float = 1.0, dash: str = "") -> str:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line x1="{a[0]:.1f}" y1="{a[1]:.1f}" x2="{b[0]:.1f}" y2="{b[1]:.1f}" stroke="{colour}" '
        f'stroke-width="{width:g}"{dashed}/>'
    )


def _path(places: Sequence[Point], series: Series) -> str:
    d = "M" + " L".join(f"{x:.1f} {y:.1f}" for x, y in places)
    dashed = f' stroke-dasharray="{series.dash}"' if series.dash else ""
    return f'<path d="{d}" fill="none" stroke="{series.colour}" stroke-width="{series.width:g}"{dashed}/>'


def _whole(parts: Iterable[str], *, height: float, title: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}" role="img" '
        f'aria-label="{escape(title, quote=True)}">{"".join(parts)}</svg>'
    )


def _frame(axes: Axes, x_marks: Sequence[float], y_marks: Sequence[float], x_name: str, y_name: str) -> list[str]:
    parts = []
    for value in y_marks:
        start, end = axes.at(axes.x[0], value), axes.at(axes.x[1], value)
        parts += [
            line(start, end, colour=LINE, width=0.5),
            text(LEFT - 8, start[1] + 4, tell(value), anchor="end", colour=SOFT),
        ]
    for value in x_marks:
        x, y = axes.at(value, axes.y[0])
        parts += [line((x, y), (x, y + 4)), text(x, y + 17, tell(value), anchor="middle", colour=SOFT)]
    parts += [line(axes.at(axes.x[0], axes.y[0]), axes.at(axes.x[1], axes.y[0]), width=1.2)]
    parts += [
        text(LEFT - 8, 14, y_name, anchor="end", colour=SOFT),
        text(WIDTH - RIGHT, axes.height - 6, x_name, anchor="end", colour=SOFT),
    ]
    return parts


def _legend(names: Sequence[tuple[str, str, str]]) -> list[str]:
    """Name, colour, dash; in a row at the top."""
    parts, x = [], LEFT + 8
    for name, colour, dash in names:
        parts += [line((x, 10), (x + 22, 10), colour=colour, width=2, dash=dash), text(x + 27, 14, name, colour=INK)]
        x += 45 + 6.1 * len(name)
    return parts


def curve(
    series: Sequence[Series], *, levels: Sequence[Level] = (), x_name: str, y_name: str, title: str, height: float = 260
) -> str:
    """Lines over a common axis. Empty text when nothing was measured."""
    points = [point for one in series for point in one.points]
    if not points:
        return ""
    ys = [y for _, y in points] + [level.value for level in levels]
    x_marks, y_marks = steps(min(x for x, _ in points), max(x for x, _ in points), 8), steps(min(ys), max(ys), 5)
    axes = Axes((x_marks[0], x_marks[-1]), (y_marks[0], y_marks[-1]), height)
    parts = _frame(axes, x_marks, y_marks, x_name, y_name)
    for level in levels:
        parts.append(
            line(axes.at(axes.x[0], level.value), axes.at(axes.x[1], level.value), colour=level.colour, dash="7 4")
        )
    for one in series:
        parts += _drawn(one, axes)
    names = [(one.name, one.colour, one.dash) for one in series if one.points]
    return _whole(
        [*parts, *_legend([*names, *((one.name, one.colour, "7 4") for one in levels)])], height=height, title=title
    )


def _drawn(series: Series, axes: Axes) -> list[str]:
    places = [axes.at(x, y) for x, y in series.points]
    parts = [_path(places, series)] if len(places) > 1 and series.width else []
    if series.marks:
        parts += [
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.8" fill="#ffffff" stroke="{series.colour}" stroke-width="1.6"/>'
            for x, y in places
        ]
    return parts


@dataclass(frozen=True)
class FillRun:
    """One loop: minutes from the start to the first and to the full colour, and what was expected."""

    code: str
    seen_first: float | None
    seen_full: float | None
    expected_first: float | None
    expected_full: float | None


def fill_runs(runs: Sequence[FillRun]) -> str:
    """A bar per loop: expected band above, seen below."""
    told = [
        value
        for run in runs
        for value in (run.seen_full, run.expected_full, run.seen_first, run.expected_first)
        if value
    ]
    if not told:
        return ""
    row, height = 46.0, TOP + BOTTOM + 46.0 * len(runs)
    marks = steps(0, max(told), 6)
    axes = Axes((0.0, marks[-1]), (0.0, 1.0), height)
    parts = []
    for value in marks:
        x, y = axes.at(value, 0)
        parts += [
            line((x, TOP), (x, y), colour=LINE, width=0.5),
            text(x, y + 17, tell(value), anchor="middle", colour=SOFT),
        ]
    for index, run in enumerate(runs):
        y = TOP + row * index + 12
        parts += [text(LEFT - 10, y + 17, run.code, anchor="end", size=14)]
        parts += _bar(axes, y, run.expected_first, run.expected_full, SOFT, filled=False)
        parts += _bar(axes, y + 15, run.seen_first, run.seen_full, ACCENT, filled=True)
    parts += [text(WIDTH - RIGHT, height - 6, "minutes from the start", anchor="end", colour=SOFT)]
    return _whole(
        [*parts, *_legend([("expected: first to full colour", SOFT, ""), ("seen", ACCENT, "")])],
        height=height,
        title="Changeover of each loop",
    )


def _bar(axes: Axes, y: float, first: float | None, full: float | None, colour: str, *, filled: bool) -> list[str]:
    """A line from the start to the first colour, a bar from there to the full one."""
    ends = [value for value in (first, full) if value is not None]
    if not ends:
        return []
    x0, x1, x2 = axes.at(0, 0)[0], axes.at(ends[0], 0)[0], axes.at(ends[-1], 0)[0]
    fill = colour if filled else "#ffffff"
    return [
        line((x0, y + 5), (x1, y + 5), colour=colour, width=1),
        f'<rect x="{x1:.1f}" y="{y:.1f}" width="{max(x2 - x1, 2):.1f}" height="10" fill="{fill}" stroke="{colour}" stroke-width="1.2"/>',
    ]


@dataclass(frozen=True)
class RunCheck:
    """One visit in the run: days since the start, pressure found, litres added."""

    day: float
    pressure: float | None
    top_up: float


def deaeration(checks: Sequence[RunCheck], *, ends_day: float | None = None) -> str:
    """Pressure over days, with the litres added as bars from the foot."""
    points = [(one.day, one.pressure) for one in checks if one.pressure is not None]
    if not points:
        return ""
    days = [one.day for one in checks] + ([ends_day] if ends_day else [])
    x_marks = steps(0, max([*days, 1.0]), 8)
    y_marks = steps(min(0.0, *(p for _, p in points)), max(p for _, p in points), 4)
    axes = Axes((0.0, x_marks[-1]), (y_marks[0], y_marks[-1]), 230.0)
    parts = _frame(axes, x_marks, y_marks, "days since the start", "bar")
    most = max((one.top_up for one in checks), default=0.0)
    for one in checks:
        if one.top_up > 0:
            x, foot = axes.at(one.day, axes.y[0])
            tall = 60 * one.top_up / most
            parts.append(
                f'<rect x="{x - 7:.1f}" y="{foot - tall:.1f}" width="14" height="{tall:.1f}" fill="#e8eef6" stroke="{ACCENT}" stroke-width="1"/>'
            )
            parts.append(text(x, foot - tall - 5, f"{tell(one.top_up)} L", anchor="middle", colour=ACCENT))
    if ends_day:
        x = axes.at(ends_day, axes.y[0])[0]
        parts += [
            line((x, TOP), (x, axes.at(0, axes.y[0])[1]), colour=SOFT, dash="3 3"),
            text(x - 5, TOP + 11, "planned end", anchor="end", colour=SOFT),
        ]
    parts += _drawn(Series("pressure", points, colour=INK, marks=True), axes)
    return _whole(
        [*parts, *_legend([("pressure on arrival", INK, ""), ("topped up", ACCENT, "")])],
        height=230.0,
        title="De-aeration run",
    )


def strokes(lines: Sequence[Sequence[Sequence[float]]], *, width: float = 300, height: float = 90) -> str:
    """A signature from its strokes: lists of points, scaled into the box. Empty text when there are none."""
    points = [(float(point[0]), float(point[1])) for one in lines for point in one if len(point) >= 2]
    if not points:
        return ""
    xs, ys = [x for x, _ in points], [y for _, y in points]
    scale = min((width - 8) / (max(xs) - min(xs) or 1), (height - 8) / (max(ys) - min(ys) or 1))
    paths = []
    for one in lines:
        places = [
            ((float(p[0]) - min(xs)) * scale + 4, (float(p[1]) - min(ys)) * scale + 4) for p in one if len(p) >= 2
        ]
        if places:
            paths.append("M" + " L".join(f"{x:.1f} {y:.1f}" for x, y in [*places, places[-1]]))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" role="img" aria-label="Signature">'
        f'<path d="{" ".join(paths)}" fill="none" stroke="{INK}" stroke-width="1.8" stroke-linecap="round" stroke-linejoin="round"/></svg>'
    )
