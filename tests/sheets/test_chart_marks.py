"""Charts against places worked out here: points inside the paper, lines at the height of their value, words beside them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.sheets import charts, facts
from jobs.sheets.charts import FillRun, Level, RunCheck, Series
from jobs.sheets.evidence import Evidence
from jobs.sheets.page import whole
from jobs.sheets.page.base import Section
from jobs.visits.kinds import Logged
from tests.sheets import main_job
from tests.sheets.test_charts import SVG, drawn
from tests.sheets.test_facts import APPROVAL

PRESSURES = st.floats(0, 20, allow_nan=False)
MINUTES = st.floats(0, 600, allow_nan=False)


def words(root: ET.Element) -> list[str]:
    return [one.text or "" for one in root.iter(f"{SVG}text")]


def number(text: str) -> float:
    return float(text.replace("−", "-"))


def y_scale(root: ET.Element) -> list[tuple[float, float]]:
    """Value and height of each mark of the upright axis, read off the drawing: its words stand 4 below their line."""
    return sorted(
        (number(one.text or ""), float(one.get("y", 0)) - 4)
        for one in root.iter(f"{SVG}text")
        if one.get("text-anchor") == "end"
        and float(one.get("x", 0)) < 52
        and re.fullmatch(r"−?[\d.e+-]+", one.text or "")
    )


def height_of(root: ET.Element, value: float) -> float:
    """Where a value must lie: in proportion between the lowest and the highest mark."""
    scale = y_scale(root)
    (low, low_y), (high, high_y) = scale[0], scale[-1]
    return low_y + (value - low) / (high - low) * (high_y - low_y)


def inside(root: ET.Element) -> None:
    _, _, wide, high = (float(one) for one in (root.get("viewBox") or "").split())
    for one in root.iter():
        for name in ("x", "x1", "x2", "cx"):
            if name in one.attrib:
                assert -0.05 <= float(one.attrib[name]) <= wide + 0.05, (one.tag, one.attrib)
        for name in ("y", "y1", "y2", "cy"):
            if name in one.attrib:
                assert -0.05 <= float(one.attrib[name]) <= high + 0.05, (one.tag, one.attrib)
        places = re.findall(r"(-?\d+\.\d) (-?\d+\.\d)", one.get("d", ""))
        for x, y in places:
            assert 0 <= float(x) <= wide
            assert 0 <= float(y) <= high


def chart(points: Sequence[tuple[float, float]], *levels: Level) -> ET.Element:
    svg = charts.curve(
        [Series("measured", points, marks=True)], levels=levels, x_name="minutes", y_name="bar", title="Pressure"
    )
    return drawn(svg)


@pytest.mark.parametrize("limit", [5.0, 5.37, 5.9, 6.4, 0.0])
def test_a_limit_line_lies_at_its_height(limit: float) -> None:
    root = chart([(0, 6.0), (30, 5.6), (60, 5.5)], Level("limit", limit))
    dashed = [
        one for one in root.iter(f"{SVG}line") if one.get("stroke-dasharray") == "7 4" and float(one.get("y1", 0)) > 20
    ]
    assert len(dashed) == 1
    assert dashed[0].get("y1") == dashed[0].get("y2"), "level"
    assert float(dashed[0].get("y1", 0)) == pytest.approx(height_of(root, limit), abs=0.11)
    assert float(dashed[0].get("x2", 0)) - float(dashed[0].get("x1", 0)) > 600, "all across"
    assert "limit" in words(root)
    inside(root)


@pytest.mark.parametrize(
    "values", [(6.0, 5.8, 5.7), (0.0, 0.5, 1.0), (6.0, 6.0, 6.0), (-1.0, 0.0, 1.0), (12.5, 3.1, 0.2)]
)
def test_marks_lie_at_the_height_of_their_value(values: tuple[float, ...]) -> None:
    root = chart(list(zip((0.0, 30.0, 60.0), values, strict=True)))
    circles = [float(one.get("cy", 0)) for one in root.iter(f"{SVG}circle")]
    for seen, value in zip(circles, values, strict=True):
        assert seen == pytest.approx(height_of(root, value), abs=0.11)
    inside(root)


@given(st.lists(st.tuples(MINUTES, PRESSURES), min_size=1, max_size=20), PRESSURES)
def test_whatever_was_read_stays_on_the_paper(points: list[tuple[float, float]], limit: float) -> None:
    inside(chart(points, Level("limit", limit)))


@given(st.lists(st.tuples(MINUTES, PRESSURES), min_size=2, max_size=12))
def test_more_pressure_is_never_lower(points: list[tuple[float, float]]) -> None:
    circles = [float(one.get("cy", 0)) for one in chart(points).iter(f"{SVG}circle")]
    for (_, one), here in zip(points, circles, strict=True):
        for (_, other), there in zip(points, circles, strict=True):
            assert one <= other or here <= there + 0.11


@pytest.mark.parametrize("count", [1, 2, 200, 2000])
def test_one_reading_or_thousands(count: int) -> None:
    root = chart([(at, 6 - at / 10_000) for at in range(count)])
    assert len(list(root.iter(f"{SVG}circle"))) == count
    assert len(words(root)) < 40
    inside(root)


@given(
    st.lists(
        st.builds(
            FillRun, st.just("L1"), st.none() | MINUTES, st.none() | MINUTES, st.none() | MINUTES, st.none() | MINUTES
        ),
        max_size=8,
    )
)
def test_any_fill_runs(runs: list[FillRun]) -> None:
    svg = charts.fill_runs(runs)
    if svg:
        root = drawn(svg)
        for one in root.iter(f"{SVG}rect"):
            assert float(one.get("width", 0)) >= 2
        assert words(root).count("L1") == len(runs)


def test_sixty_loops_make_a_tall_chart_and_no_overlap() -> None:
    root = drawn(charts.fill_runs([FillRun(f"L{at}", 8, 10, 7.5, 9.5) for at in range(1, 61)]))
    inside(root)
    names = [float(one.get("y", 0)) for one in root.iter(f"{SVG}text") if (one.text or "").startswith("L")]
    assert min(after - before for before, after in pairwise(names)) >= 40


CHECKS = st.lists(st.builds(RunCheck, st.floats(0, 60), st.none() | st.floats(-0.5, 6), st.floats(0, 500)), max_size=8)


@given(CHECKS, st.none() | st.floats(1, 60))
def test_any_run(checks: list[RunCheck], ends: float | None) -> None:
    svg = charts.deaeration(checks, ends_day=ends)
    if svg:
        root = drawn(svg)
        for one in root.iter(f"{SVG}rect"):
            assert float(one.get("height", 0)) >= 0
        assert ("planned end" in words(root)) is bool(ends)


def test_bars_are_as_tall_as_their_litres() -> None:
    root = drawn(charts.deaeration([RunCheck(0, 1.6, 0), RunCheck(3, 1.4, 2.0), RunCheck(9, 1.5, 0.5)], ends_day=10))
    tall = [float(one.get("height", 0)) for one in root.iter(f"{SVG}rect")]
    assert tall[0] == pytest.approx(4 * tall[1], rel=0.01)
    assert {"2 L", "0.5 L"} <= set(words(root))


@pytest.mark.parametrize(
    "lines",
    [
        [],
        [[]],
        [[[]]],
        [[[1]]],
        [[[5, 5]]],
        [[[0, 0], [0, 0]]],
        [[[-1e6, 3], [1e6, 4]]],
        [[[0, 0], [300, 0]], [], [[1, 2]]],
    ],
    ids=str,
)
def test_strokes_of_any_kind(lines: list[list[list[float]]]) -> None:
    svg = charts.strokes(lines)
    if svg:
        inside(drawn(svg))


class TestOnTheSheet:
    def section(self, code: str, seen: Evidence | None = None) -> Section:
        made = facts.snapshot(seen or main_job.evidence(), APPROVAL)
        sheet = whole.sheet(made.facts, made.personal, hash=made.hash, link="", photos={})
        return next(one for one in sheet.sections if one.code == code)

    def test_the_creep_curve_is_named_as_computed(self) -> None:
        section = self.section("test-T1")
        told = words(drawn(section.svg))
        assert {"creep alone", "leak called below", "measured", "minutes from the start of the test", "bar"} <= set(
            told
        )
        assert "what creep alone would do" in section.svg_note

    def test_what_is_computed_is_dashed_and_what_is_measured_is_not(self) -> None:
        root = drawn(self.section("test-T1").svg)
        dashes = [one.get("stroke-dasharray") for one in root.iter(f"{SVG}path")]
        assert dashes == ["5 3", "2 3", None]

    def test_measured_points_are_as_many_as_readings(self) -> None:
        root = drawn(self.section("test-T1").svg)
        assert len(list(root.iter(f"{SVG}circle"))) == len(main_job.evidence().of("pressure_reading"))

    def test_each_reading_lies_where_it_was_read(self) -> None:
        root = drawn(self.section("test-T1").svg)
        circles = [float(one.get("cy", 0)) for one in root.iter(f"{SVG}circle")]
        for seen, item in zip(circles, main_job.evidence().of("pressure_reading"), strict=True):
            bar = item.entry.number("pressure", "bar")
            assert bar is not None
            assert seen == pytest.approx(height_of(root, bar), abs=0.11)

    def test_without_a_known_restraint_no_curve_is_claimed(self) -> None:
        def unknown(entry: Logged) -> Logged:

            if entry.kind != "pressure_test":
                return entry
            return replace(entry, payload={**entry.payload, "restraint": {"value": "unknown"}})

        section = self.section("test-T1", main_job.evidence(unknown))
        assert section.svg_note == ""
        told = words(drawn(section.svg))
        assert "creep alone" not in told
        assert {"measured", "test pressure"} <= set(told)

    @pytest.mark.parametrize("code", ["test-T1", "fill", "run"])
    def test_everything_is_on_the_paper(self, code: str) -> None:
        inside(drawn(self.section(code).svg))
