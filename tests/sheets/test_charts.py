from __future__ import annotations

import re
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.sheets import charts
from jobs.sheets.charts import Axes, FillRun, Level, RunCheck, Series

SVG = "{http://www.w3.org/2000/svg}"
NUMBERS = st.floats(-1e4, 1e4, allow_nan=False)


def drawn(svg: str) -> ET.Element:
    """It is well-formed, and a strict policy lets it stand: no style, no script, nothing from elsewhere."""
    root = ET.fromstring(svg)  # noqa: S314 - our own drawing
    for element in root.iter():
        assert element.tag.removeprefix(SVG) in {"svg", "path", "line", "text", "circle", "rect"}
        assert not {name for name in element.attrib if name == "style" or name.startswith("on") or "href" in name}
    return root


def test_a_point_lies_where_its_values_say() -> None:
    svg = charts.curve(
        [Series("measured", [(0, 6.0), (30, 5.0), (60, 4.0)], marks=True)], x_name="min", y_name="bar", title="t"
    )
    marks = [(float(one.get("cx", 0)), float(one.get("cy", 0))) for one in drawn(svg).iter(f"{SVG}circle")]
    assert marks[1][0] == pytest.approx((marks[0][0] + marks[2][0]) / 2, abs=0.1)
    assert marks[1][1] == pytest.approx((marks[0][1] + marks[2][1]) / 2, abs=0.1)
    assert marks[0][1] < marks[2][1], "more pressure is higher up"


def test_limits_and_legend_are_drawn() -> None:
    svg = charts.curve(
        [Series("measured", [(0, 6), (10, 5.9)])], levels=[Level("limit", 5.5)], x_name="min", y_name="bar", title="t"
    )
    words = [one.text for one in drawn(svg).iter(f"{SVG}text")]
    assert {"measured", "limit", "min", "bar"} <= set(words)
    assert "5.5" in words


def test_words_are_escaped() -> None:
    svg = charts.curve([Series("<script>", [(0, 1), (1, 2)])], x_name="&", y_name='"', title='"><script>')
    assert "<script" not in svg
    drawn(svg)


def test_nothing_measured_is_no_chart() -> None:
    assert charts.curve([], x_name="", y_name="", title="") == ""
    assert charts.fill_runs([FillRun("L1", None, None, None, None)]) == ""
    assert charts.deaeration([]) == ""
    assert charts.strokes([]) == ""


def test_a_fill_run_is_as_long_as_its_minutes() -> None:
    root = drawn(charts.fill_runs([FillRun("L1", 8.0, 10.0, 4.0, 5.0)]))
    expected, seen = [(float(one.get("x", 0)), float(one.get("width", 0))) for one in root.iter(f"{SVG}rect")]
    left = charts.LEFT
    assert seen[0] - left == pytest.approx(2 * (expected[0] - left), abs=0.2)
    assert seen[1] == pytest.approx(2 * expected[1], abs=0.2)


def test_the_run_shows_litres_and_the_planned_end() -> None:
    words = [
        one.text
        for one in drawn(charts.deaeration([RunCheck(0, 1.8, 0), RunCheck(3, 1.6, 0.8)], ends_day=10)).iter(
            f"{SVG}text"
        )
    ]
    assert "0.8 L" in words
    assert "planned end" in words


def test_a_signature_stays_in_its_box() -> None:
    svg = charts.strokes([[[0, 0], [900, 20]], [[10, 300], [20, 310]]])
    drawn(svg)
    numbers = re.findall(r"-?\d+\.\d", svg.split(' d="')[1].split('"')[0])
    xs, ys = [float(x) for x in numbers[::2]], [float(y) for y in numbers[1::2]]
    assert 0 <= min(xs) <= max(xs) <= 300
    assert 0 <= min(ys) <= max(ys) <= 90


@given(st.lists(st.tuples(NUMBERS, NUMBERS), min_size=1, max_size=12))
def test_any_readings_can_be_drawn(points: list[tuple[float, float]]) -> None:
    svg = charts.curve([Series("measured", points, marks=True)], x_name="x", y_name="y", title="t")
    for one in drawn(svg).iter(f"{SVG}circle"):
        assert charts.LEFT - 0.1 <= float(one.get("cx", 0)) <= charts.WIDTH - charts.RIGHT + 0.1
        assert charts.TOP - 0.1 <= float(one.get("cy", 0)) <= 260 - charts.BOTTOM + 0.1


@given(NUMBERS, NUMBERS)
def test_marks_span_both_ends(one: float, other: float) -> None:
    low, high = sorted((one, other))
    marks = charts.steps(low, high)
    assert marks[0] <= low + 1e-6
    assert marks[-1] >= high - 1e-6
    assert 2 <= len(marks) <= 12


def test_axes_map_corners() -> None:
    axes = Axes((0, 10), (0, 5), 200)
    assert axes.at(0, 5) == (charts.LEFT, charts.TOP)
    assert axes.at(10, 0) == (charts.WIDTH - charts.RIGHT, 200 - charts.BOTTOM)
