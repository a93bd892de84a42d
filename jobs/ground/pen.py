"""A pen for survey drawings: SVG by presentation attributes and classes, so that it looks the same on page and paper."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import Final

INK: Final = "#16201d"
SOFT: Final = "#45504b"
LINE: Final = "#c9cfc8"
SOIL: Final = "#e9ede6"
ACCENT: Final = "#1b4b82"
FONT: Final = "Source Sans 3, Source Sans Pro, Segoe UI, Noto Sans, Arial, sans-serif"
COLOURS: Final = {
    "pass": "#14532d",
    "done": "#14532d",
    "warn": "#694600",
    "due": "#694600",
    "fail": "#8f1d0c",
    "held": "#47424f",
    "unknown": "#47424f",
    "open": SOFT,
}
# The same shapes as beside the words on pages, centred on 0, 0; {c} is the colour.
SHAPES: Final = {
    "pass": '<circle r="5" fill="{c}"/>',
    "done": '<circle r="5" fill="{c}"/>',
    "warn": '<path d="M0 -6l6 6l-6 6l-6-6z" fill="{c}"/>',
    "fail": '<path d="M0 -6l6 11h-12z" fill="{c}"/>',
    "held": '<path d="M-2.6 -5v10m5.2 -10v10" fill="none" stroke="{c}" stroke-width="2.8"/>',
    "due": '<circle r="5" fill="none" stroke="{c}" stroke-width="1.6"/><path d="M0 0v-5a5 5 0 0 1 5 5z" fill="{c}"/>',
    "unknown": '<circle r="5" fill="none" stroke="{c}" stroke-width="1.6" stroke-dasharray="2.2 2"/>',
    "open": '<circle r="5" fill="none" stroke="{c}" stroke-width="1.6"/>',
}


@dataclass(frozen=True)
class Mark:
    """The state of a part of the array: how it stands (`pass warn fail held unknown open due done`) and the word for it."""

    kind: str
    word: str


class Pen:
    """Gathers the elements of one drawing; coordinates in drawing units."""

    def __init__(self) -> None:
        self.parts: list[str] = []

    def path(self, d: str, kind: str = "ink", width: float = 1.4, dash: str = "") -> None:
        stroke = {"ink": INK, "thin": LINE, "accent": ACCENT}[kind]
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(
            f'<path class="{kind}" d="{d}" fill="none" stroke="{stroke}" stroke-width="{width:g}" '
            f'stroke-linecap="round" stroke-linejoin="round"{dashes}/>'
        )

    def soft(self, x: float, y: float, w: float, h: float, radius: float = 0) -> None:
        """An area of made or dug ground."""
        self.parts.append(
            f'<rect class="soil" x="{x:g}" y="{y:g}" width="{w:g}" height="{h:g}" rx="{radius:g}" fill="{SOIL}"/>'
        )

    def box(self, x: float, y: float, w: float, h: float, width: float = 1.4) -> None:
        self.parts.append(
            f'<rect class="ink" x="{x:g}" y="{y:g}" width="{w:g}" height="{h:g}" fill="none" stroke="{INK}" '
            f'stroke-width="{width:g}"/>'
        )

    def paper(self, x: float, y: float, radius: float) -> None:
        """A circle of paper with an ink rim, to write a number in."""
        self.parts.append(
            f'<circle class="port" cx="{x:g}" cy="{y:g}" r="{radius:g}" fill="#ffffff" stroke="{INK}" stroke-width="1.4"/>'
        )

    def text(  # noqa: PLR0913 - a piece of lettering has a place, a size and a look
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: float = 13,
        bold: bool = False,
        anchor: str = "start",
        soft: bool = False,
    ) -> None:
        weight = ' font-weight="650"' if bold else ""
        self.parts.append(
            f'<text class="{"label--soft" if soft else "label"}" x="{x:g}" y="{y:g}" font-family="{FONT}" '
            f'font-size="{size:g}"{weight} text-anchor="{anchor}" fill="{SOFT if soft else INK}">{escape(words)}</text>'
        )

    def mark(self, x: float, y: float, mark: Mark, size: float = 14) -> None:
        """The word of a state and its shape; `x` is the right end, `y` the base line. Shapes stand in one column."""
        colour = COLOURS.get(mark.kind, SOFT)
        shape = SHAPES.get(mark.kind, SHAPES["open"]).format(c=colour)
        self.parts.append(
            f'<g class="state state--{escape(mark.kind)}" color="{colour}">'
            f'<text x="{x - 16:g}" y="{y:g}" font-family="{FONT}" font-size="{size:g}" font-weight="600" text-anchor="end" '
            f'fill="{colour}">{escape(mark.word)}</text><g transform="translate({x - 6:g} {y - 0.36 * size:g})">{shape}</g></g>'
        )

    def upright(self, x: float, y: float, words: str, size: float = 13) -> None:
        """Lettering that reads upwards, centred on x, y."""
        self.parts.append(
            f'<text class="label--soft" transform="translate({x:g} {y:g}) rotate(-90)" font-family="{FONT}" '
            f'font-size="{size:g}" text-anchor="middle" fill="{SOFT}">{escape(words)}</text>'
        )

    def finished(self, *, width: float, height: float, ident: str, title: str, desc: str) -> str:
        """The whole drawing, named and described for those who do not see it."""
        name = escape(ident)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" role="img" '
            f'aria-labelledby="{name}-title {name}-desc"><title id="{name}-title">{escape(title)}</title>'
            f'<desc id="{name}-desc">{escape(desc)}</desc>{"".join(self.parts)}</svg>'
        )
