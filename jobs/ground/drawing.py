"""The array and its manifold as a survey drawing: every loop out and back to one scale, with its state.

One drawing for page, phone and paper. Lengths are to scale, directions are not: it is a schedule that can be looked at.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from django.utils.safestring import SafeString, mark_safe

from jobs.ground.pen import Mark, Pen
from jobs.ground.trade import HeaderPlan, LoopPlan, Plan, SectionPlan

__all__ = ["Mark", "array_svg"]

WIDTH: Final = 360.0
EDGE: Final = 8.0
BAR_LEFT, BAR_WIDTH = 20.0, 30.0
PORT_X: Final = BAR_LEFT + BAR_WIDTH
PIPE_X: Final = PORT_X + 13.0
PIPE_END: Final = WIDTH - 20.0
ROW: Final = 72.0
SPARE_ROW: Final = 30.0
APART: Final = 5.0
NONE: Final[Mapping[str, Mark]] = {}
STEPS_M: Final = (0.5, 1, 2, 5, 10, 20, 25, 50, 100, 200, 500)


def array_svg(plan: Plan, states: Mapping[str, Mark] = NONE, *, ident: str = "array") -> SafeString:
    """The drawing as SVG text. `states`: code of a loop, section or H -> its mark. `ident` keeps ids apart on a page."""
    sheet = _Sheet(plan, states)
    sheet.draw()
    name = f"Ground array of job {plan.number}"
    svg = sheet.pen.finished(width=WIDTH, height=sheet.y, ident=ident, title=name, desc=_described(plan, states))
    return mark_safe(svg)  # noqa: S308 - every piece of text is escaped by the pen


@dataclass
class _Sheet:
    """One drawing in the making; `y` is how far down it has come."""

    plan: Plan
    states: Mapping[str, Mark]
    pen: Pen = field(default_factory=Pen)
    y: float = 10.0

    @property
    def scale(self) -> float:
        """Drawing units per metre: the longest loop fills the sheet."""
        longest = max((loop.length_m / 2 for loop in self.plan.loops), default=50.0)
        return (PIPE_END - PIPE_X) / max(longest, 1.0)

    def draw(self) -> None:
        self.plant_room()
        self.manifold()
        self.scale_bar()
        self.sections()
        self.y += 4

    def plant_room(self) -> None:
        """The house with the plant room, and the header down to the manifold."""
        pen, top = self.pen, self.y
        pen.path(f"M{EDGE:g} {top + 22:g}L{BAR_LEFT + 13:g} {top + 4:g}L{EDGE + 54:g} {top + 22:g}", width=1.8)
        pen.path(f"M{EDGE + 4:g} {top + 20:g}v30h46v-30", width=1.8)
        pen.text(EDGE + 64, top + 22, "Plant room", size=16, bold=True)
        if self.plan.design:
            pen.text(EDGE + 64, top + 41, f"{self.plan.design.heating_kw:g} kW heat pump", soft=True)
        self.ground_line(top + 50)
        header = self.plan.header
        down = top + 50 + (64 if header else 16)
        left = PORT_X - BAR_WIDTH / 2 - 4
        pen.path(f"M{left:g} {top + 40:g}V{down:g}", "accent", 1.8)
        pen.path(f"M{left + 8:g} {top + 40:g}V{down:g}", width=1.8)
        self.arrow(left, down - 8, down=True)
        self.arrow(left + 8, top + 60, down=False)
        if header:
            self.header_words(header, top + 72)
        self.y = down

    def ground_line(self, y: float) -> None:
        """The surface, hatched as on a section."""
        self.pen.path(f"M{EDGE:g} {y:g}H{WIDTH - EDGE:g}", width=1.2)
        ticks = "".join(f"M{x:g} {y:g}l-5 6" for x in range(int(EDGE) + 90, int(WIDTH - EDGE), 14))
        self.pen.path(ticks, "thin", 1.2)

    def header_words(self, header: HeaderPlan, y: float) -> None:
        pen = self.pen
        pen.text(EDGE + 64, y + 8, "Main header", size=16, bold=True)
        size = f"2 × {header.length_each_way_m:g} m, {header.od_mm:g} × {header.wall_mm:g} mm"
        pen.text(EDGE + 64, y + 27, size + (f" · {header.section}" if header.section else ""), soft=True)
        self.state_of("H", y + 8)

    def manifold(self) -> None:
        """The bar with its ports from one on, a row for each."""
        by_port = {loop.port: loop for loop in self.plan.loops}
        ports = max([*by_port, self.plan.manifold.ports if self.plan.manifold else 1])
        top = self.y
        for port in range(1, ports + 1):
            loop = by_port.get(port)
            if loop:
                self.loop_row(loop)
            else:
                self.spare_row(port)
        self.pen.box(BAR_LEFT, top, BAR_WIDTH, self.y - top + 4, 1.8)
        if self.y - top > 100:
            self.pen.upright(BAR_LEFT + 14, (top + self.y) / 2, "Manifold")
        self.ports_over_bar(top, ports, by_port)
        self.y += 8

    def ports_over_bar(self, top: float, ports: int, by_port: Mapping[int, LoopPlan]) -> None:
        """Numbered rings on the rim of the bar, drawn last so that they lie over it."""
        y = top
        for port in range(1, ports + 1):
            used = port in by_port
            centre = y + (36 if used else 17)
            self.pen.paper(PORT_X, centre, 11 if used else 8)
            self.pen.text(
                PORT_X, centre + (5 if used else 4), str(port), size=14 if used else 11, bold=used, anchor="middle"
            )
            y += ROW if used else SPARE_ROW

    def loop_row(self, loop: LoopPlan) -> None:
        pen, top = self.pen, self.y
        centre = top + 36
        pen.text(PIPE_X + 6, top + 21, loop.code, size=17, bold=True)
        pen.text(PIPE_X + 14 + 10 * len(loop.code), top + 21, f"{loop.length_m:g} m", size=14)
        self.state_of(loop.code, top + 21)
        bend = PIPE_X + self.scale * loop.lateral_m / 2
        end = bend + self.scale * loop.array_m / 2
        self.ground_around(loop, bend, end, centre)
        pen.path(f"M{PIPE_X - 3:g} {centre - APART:g}H{end - APART:g}", "accent", 1.8)
        pen.path(
            f"M{end - APART:g} {centre - APART:g}a{APART:g} {APART:g} 0 0 1 0 {2 * APART:g}H{PIPE_X - 3:g}", width=1.8
        )
        if loop.kind == "borehole":
            self.borehole_head(bend, centre)
        pen.text(PIPE_X + 6, top + 63, self.lateral_words(loop), soft=True)
        pen.text(WIDTH - EDGE, top + 63, self.array_words(loop), anchor="end", soft=True)
        self.y += ROW

    def ground_around(self, loop: LoopPlan, bend: float, end: float, centre: float) -> None:
        """A borehole is a smooth shaft, a trench an open box with a hatched foot."""
        pen, width = self.pen, end - bend
        pen.soft(bend, centre - 11, width + 6, 22, 11 if loop.kind == "borehole" else 0)
        if loop.kind == "borehole":
            pen.path(f"M{bend:g} {centre - 11:g}H{end - 5:g}a11 11 0 0 1 0 22H{bend:g}", "thin", 1.2)
        else:
            pen.path(f"M{bend:g} {centre + 11:g}H{end + 6:g}", "thin", 1.2)
            count = int((width + 6) // 12)
            pen.path(
                "".join(f"M{bend + 12 * n + 10:g} {centre + 11:g}l-5 5" for n in range(count)) or "M0 0", "thin", 1.2
            )

    def borehole_head(self, x: float, y: float) -> None:
        """The sign of a borehole on a site plan: a ring with a cross."""
        self.pen.paper(x, y, 8)
        self.pen.path(f"M{x - 11:g} {y:g}h22M{x:g} {y - 11:g}v22", width=1.2)

    def lateral_words(self, loop: LoopPlan) -> str:
        if not loop.lateral_m:
            return ""
        return f"lateral {loop.lateral_m:g} m" + (f" · {loop.section}" if loop.section else "")

    def array_words(self, loop: LoopPlan) -> str:
        depth = next((hole.depth_m for hole in self.plan.boreholes if hole.code == loop.borehole), None)
        if depth is not None:
            return f"{loop.borehole}, {depth:g} m deep"
        return f"trench, {loop.array_m:g} m of pipe" if loop.kind == "trench" else f"{loop.array_m:g} m of pipe"

    def spare_row(self, port: int) -> None:
        centre = self.y + 17
        self.pen.path(f"M{PORT_X:g} {centre:g}h22m0 -5v10", width=1.8)
        words = f"Port {port} capped" if self.plan.loops else "No loops entered yet"
        self.pen.text(PIPE_X + 20, centre + 5, words, soft=True)
        self.y += SPARE_ROW

    def state_of(self, code: str, y: float) -> None:
        if code in self.states:
            self.pen.mark(WIDTH - EDGE, y, self.states[code])

    def arrow(self, x: float, y: float, *, down: bool) -> None:
        """Which way the fluid goes: the accent leads to ground."""
        tip = 6 if down else -6
        self.pen.path(f"M{x - 3.5:g} {y:g}L{x:g} {y + tip:g}L{x + 3.5:g} {y:g}", "accent" if down else "ink", 1.6)

    def scale_bar(self) -> None:
        """A bar of a round length, and what the two lines are."""
        if not self.plan.loops:
            return
        room = (PIPE_END - PIPE_X) / 2
        metres = max((step for step in STEPS_M if step * self.scale <= room), default=STEPS_M[0])
        pen, y, length = self.pen, self.y + 12, metres * self.scale
        pen.path(f"M{PIPE_X:g} {y - 4:g}v8M{PIPE_X:g} {y:g}h{length:g}m0 -4v8", width=1.2)
        pen.path(f"M{PIPE_X:g} {y:g}h{length / 2:g}", width=3.4)
        pen.text(PIPE_X + length + 8, y + 4.5, f"{metres:g} m", size=12, soft=True)
        key = self.y + 34
        pen.path(f"M{PIPE_X:g} {key - 4:g}h20", "accent", 1.8)
        pen.text(PIPE_X + 26, key, "to ground", size=12, soft=True)
        pen.path(f"M{PIPE_X + 98:g} {key - 4:g}h20", width=1.8)
        pen.text(PIPE_X + 124, key, "from ground", size=12, soft=True)
        self.y += 44

    def sections(self) -> None:
        """The trench sections that are opened, tested and covered as one."""
        if not self.plan.sections:
            return
        self.pen.path(f"M{EDGE:g} {self.y:g}H{WIDTH - EDGE:g}", width=1.2)
        self.y += 22
        for section in self.plan.sections:
            self.section_row(section)

    def section_row(self, section: SectionPlan) -> None:
        pen, y = self.pen, self.y
        pen.text(EDGE, y, section.code, size=15, bold=True)
        pen.text(EDGE + 28, y, _cut(section.title, 36))
        pen.text(EDGE + 28, y + 17, f"{section.length_m:g} m, {section.depth_mm:g} mm deep", soft=True)
        self.state_of(section.code, y + 17)
        self.y += 42


def _cut(words: str, most: int) -> str:
    return words if len(words) <= most else f"{words[: most - 1].rstrip()}…"


def _described(plan: Plan, states: Mapping[str, Mark]) -> str:
    """The drawing in words."""

    def state(code: str) -> str:
        return f", {states[code].word.lower()}" if code in states else ""

    said = []
    if plan.header:
        said.append(f"Main header of 2 times {plan.header.length_each_way_m:g} m{state('H')}.")
    said.append(f"{len(plan.loops)} loops on one manifold." if plan.loops else "No loops entered yet.")
    said += [
        f"Port {loop.port}: loop {loop.code}, {loop.length_m:g} m, of these {loop.lateral_m:g} m lateral"
        f"{f', in borehole {loop.borehole}' if loop.borehole else ''}{state(loop.code)}."
        for loop in plan.loops
    ]
    said += [f"Section {row.code}, {row.title}, {row.length_m:g} m{state(row.code)}." for row in plan.sections]
    return " ".join(said)
