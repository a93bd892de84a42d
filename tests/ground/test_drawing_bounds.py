"""The drawing stays on its sheet, is sound XML whatever people typed, and says in words what it shows."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.ground.drawing import Mark, array_svg
from jobs.ground.pen import COLOURS, SHAPES, Pen
from jobs.ground.trade import BoreholePlan, HeaderPlan, LoopPlan, ManifoldPlan, Plan, SectionPlan
from tests.ground.test_properties import LIMITS, plans

SVG = "{http://www.w3.org/2000/svg}"
NUMBER = r"-?\d+(?:\.\d+)?(?:e-?\d+)?"


def loop(port: int, array_m: float = 200, lateral_m: float = 20, **changes: Any) -> LoopPlan:
    fields: dict[str, Any] = {
        "code": f"L{port}", "port": port, "kind": "borehole", "borehole": f"B{port}", "section": "S1", "od_mm": 40.0,
        "wall_mm": 3.7, "material": "PE 100", "array_m": array_m, "lateral_m": lateral_m, "fittings_k": 6.0,
    }  # fmt: skip
    return LoopPlan(**fields | changes)


def plan(*loops: LoopPlan, **changes: Any) -> Plan:
    fields: dict[str, Any] = {
        "number": 7, "title": "Any", "loops": loops, "boreholes": tuple(BoreholePlan(row.borehole, 100) for row in loops),
        "sections": (SectionPlan("S1", "Manifold to B1", 12, 900, 450),),
        "header": HeaderPlan(63, 5.8, "PE 100", 15, 6, "S1"), "manifold": ManifoldPlan(len(loops), "Chamber"), "design": None,
        "product": None, "limits": LIMITS,
    }  # fmt: skip
    return Plan(**fields | changes)


def drawn(of: Plan, states: dict[str, Mark] | None = None, ident: str = "array") -> ET.Element:
    return ET.fromstring(array_svg(of, states or {}, ident=ident))  # noqa: S314 - our own drawing


def words(drawing: ET.Element) -> list[str]:
    return [text.text or "" for text in drawing.iter(f"{SVG}text")]


ARGUMENTS = {"M": 2, "L": 2, "H": 1, "V": 1, "A": 7, "Z": 0}


def points(d: str) -> Iterator[tuple[float, float]]:
    """Every point a path goes through (SVG 1.1, 8.3): capital letters are absolute, small ones from the last point."""
    x = y = 0.0
    for letter, rest in re.findall(r"([MLHVAZ])([^MLHVAZ]*)", d, re.IGNORECASE):
        count, given_, kind = ARGUMENTS[letter.upper()], [float(n) for n in re.findall(NUMBER, rest)], letter.upper()
        for start in range(0, len(given_), max(count, 1)):
            part = given_[start : start + count]
            from_x, from_y = (x, y) if letter.islower() else (0.0, 0.0)
            x = from_x + part[-1 if kind == "H" else -2 if count > 1 else 0] if kind != "V" else x
            y = from_y + part[-1] if kind != "H" else y
            yield x, y


def strays(drawing: ET.Element) -> list[str]:
    """What leaves the viewBox: points of paths, corners of boxes, rims of circles, ends of short words."""
    _, _, width, height = (float(part) for part in drawing.attrib["viewBox"].split())
    edges: list[tuple[str, float, float]] = []
    for element in drawing:
        get = {name: float(value) for name, value in element.attrib.items() if re.fullmatch(NUMBER, value)}
        if element.tag == f"{SVG}path":
            edges += [(element.attrib["d"][:40], x, y) for x, y in points(element.attrib["d"])]
        elif element.tag == f"{SVG}rect":
            edges += [("rect", get["x"], get["y"]), ("rect", get["x"] + get["width"], get["y"] + get["height"])]
        elif element.tag == f"{SVG}circle":
            edges += [("circle", get["cx"] + s * get["r"], get["cy"] + s * get["r"]) for s in (-1, 1)]
        elif element.tag == f"{SVG}text" and "x" in get:
            edges.append((f"text {element.text}", get["x"], get["y"]))
    slack = 1e-6
    return [what for what, x, y in edges if not (-slack <= x <= width + slack and -slack <= y <= height + slack)]


def test_the_reader_of_paths_reads() -> None:
    assert list(points("M1 2h3v4L0 0l-5 6H9V8a5 5 0 0 1 0 10")) == [
        (1, 2), (4, 2), (4, 6), (0, 0), (-5, 6), (9, 6), (9, 8), (9, 18)
    ]  # fmt: skip


@pytest.mark.parametrize("length", [1, 5, 12, 19, 20, 50, 300, 1500])
@pytest.mark.parametrize("kind", ["borehole", "trench"])
def test_short_and_long_loops_stay_on_the_sheet(length: float, kind: str) -> None:
    """The scale bar too: a bar of 5 m would leave the sheet of a loop of 12 m."""
    drawing = drawn(plan(loop(1, length, 0, kind=kind), loop(2, length / 2, length / 4, kind=kind)))
    assert strays(drawing) == []


@settings(max_examples=80, deadline=None)
@given(plans())
def test_any_plan_stays_on_the_sheet(any_plan: Plan) -> None:
    assert strays(drawn(any_plan)) == []


@pytest.mark.parametrize("length", [1, 5, 12, 20, 50, 300, 1500])
def test_the_scale_bar_is_as_long_as_it_says(length: float) -> None:
    """Bar and loop have one scale; a loop is drawn out only, half of its pipe."""
    drawing = drawn(plan(loop(1, length, 0)))
    said = next(re.fullmatch(r"([\d.]+) m", word) for word in words(drawing)[::-1] if re.fullmatch(r"[\d.]+ m", word))
    assert said is not None
    bar = next(
        re.search(r"v8M[\d.]+ [\d.]+h([\d.]+)m0 -4v8", path.get("d", "")) for path in drawing.iter(f"{SVG}path")
        if "m0 -4v8" in path.get("d", "")
    )  # fmt: skip
    run = next(
        re.fullmatch(r"M([\d.]+) [\d.]+H([\d.]+)", path.get("d", "")) for path in drawing.iter(f"{SVG}path")
        if path.get("class") == "accent" and "H" in path.get("d", "")
    )  # fmt: skip
    assert bar is not None
    assert run is not None
    per_metre = float(bar[1]) / float(said[1])
    drawn_half = float(run[2]) - float(run[1])
    assert drawn_half <= per_metre * max(length / 2, 1.0) + 1
    assert 20 <= float(bar[1]) <= 140


NASTY = (
    '<script>alert("x")</script>', "A & B", "“quoted” 'single'", "]]>", "&lt;already&gt;", "井戸からマニホールド", "عربي",
    "x" * 400, "",
)  # fmt: skip


@pytest.mark.parametrize("typed", NASTY)
def test_whatever_was_typed_stays_text(typed: str) -> None:
    of = plan(loop(1), sections=(SectionPlan("S1", typed, 12, 900, 450),))
    drawing = drawn(of, {"L1": Mark("warn", typed), "S1": Mark(typed, "Look")}, ident='a"b')
    assert {element.tag for element in drawing.iter()} <= {
        f"{SVG}{name}" for name in ("svg", "title", "desc", "path", "rect", "circle", "text", "g")
    }
    shown = [word for word in words(drawing) if word]
    assert typed[:30].rstrip() in " ".join(shown)
    described = drawing.find(f"{SVG}desc")
    assert described is not None
    assert typed in (described.text or "")


@settings(max_examples=60, deadline=None)
@given(st.text(st.characters(blacklist_categories=("Cs", "Cc"), blacklist_characters="\ufffe\uffff"), max_size=80))
def test_any_title_gives_sound_xml(typed: str) -> None:
    assert drawn(plan(loop(1), sections=(SectionPlan("S1", typed, 12, 900, 450),))).tag == f"{SVG}svg"


@pytest.mark.parametrize("kind", sorted(COLOURS))
@pytest.mark.parametrize("code", ["L2", "S1", "H"])
def test_each_part_shows_its_own_state_once(kind: str, code: str) -> None:
    drawing = drawn(plan(loop(1), loop(2)), {code: Mark(kind, "As it is")})
    groups = [group for group in drawing.iter(f"{SVG}g") if "state" in group.get("class", "")]
    assert [group.get("class") for group in groups] == [f"state state--{kind}"]
    assert words(drawing).count("As it is") == 1
    described = drawing.find(f"{SVG}desc")
    assert described is not None
    assert (described.text or "").count("as it is") == 1


def test_a_state_of_a_part_that_is_not_there_is_not_drawn() -> None:
    drawing = drawn(plan(loop(1), header=None), {"L9": Mark("fail", "Lost"), "H": Mark("pass", "Flushed")})
    assert "Lost" not in words(drawing)
    assert "Flushed" not in words(drawing)


def test_an_unknown_state_is_drawn_as_open_not_dropped() -> None:
    drawing = drawn(plan(loop(1)), {"L1": Mark("brand new", "Somehow")})
    group = next(group for group in drawing.iter(f"{SVG}g") if "state" in group.get("class", ""))
    assert "Somehow" in words(drawing)
    assert group.find(f".//{SVG}circle") is not None
    assert SHAPES["open"].format(c="") != SHAPES["pass"].format(c="")


def test_two_drawings_on_one_page_have_ids_of_their_own() -> None:
    one, two = array_svg(plan(loop(1)), ident="one"), array_svg(plan(loop(1)), ident="two")
    ids = [re.findall(r' id="([^"]+)"', svg) for svg in (one, two)]
    assert not set(ids[0]) & set(ids[1])
    assert all(len(found) == len(set(found)) for found in ids)


@pytest.mark.parametrize(
    ("change", "present", "absent"),
    [
        ({"header": None}, ["Plant room", "Manifold"], ["Main header"]),
        ({"sections": ()}, ["Plant room"], ["12 m, 900 mm deep"]),
        ({"manifold": ManifoldPlan(6, "")}, ["Port 5 capped", "Port 6 capped"], ["Port 2 capped"]),
        ({"boreholes": ()}, ["200 m of pipe"], ["B1, 100 m deep"]),
    ],
)
def test_the_drawing_says_only_what_is_there(change: dict[str, Any], present: list[str], absent: list[str]) -> None:
    said = " | ".join(words(drawn(plan(*(loop(n) for n in range(1, 5)), **change))))
    assert all(part in said for part in present)
    assert not any(part in said for part in absent)


@pytest.mark.parametrize("gap", [(1, 3), (2, 5), (4, 60)])
def test_ports_are_numbered_through_though_some_are_empty(gap: tuple[int, int]) -> None:
    first, last = gap
    drawing = drawn(plan(loop(first), loop(last), manifold=ManifoldPlan(2, "")))
    assert [word for word in words(drawing) if word.isdigit()] == [str(n) for n in range(1, last + 1)]
    assert strays(drawing) == []


def test_loops_are_drawn_in_proportion() -> None:
    drawing = drawn(plan(loop(1, 100, 0), loop(2, 200, 0), loop(3, 400, 0)))
    runs = [
        re.fullmatch(r"M([\d.]+) [\d.]+H([\d.]+)", path.get("d", "")) for path in drawing.iter(f"{SVG}path")
        if path.get("class") == "accent"
    ]  # fmt: skip
    ends = [float(run[2]) for run in runs if run]
    steps = (ends[1] - ends[0], ends[2] - ends[1])
    assert steps[1] / steps[0] == pytest.approx(2, rel=1e-2)


def test_the_pen_keeps_markup_out_of_every_text() -> None:
    pen = Pen()
    pen.text(1, 2, "<b>")
    pen.upright(1, 2, "&")
    pen.mark(1, 2, Mark('"><x', "<i>"))
    done = pen.finished(width=9, height=9, ident="<", title="<t>", desc="<d>")
    assert not re.search(
        r"<(b|i|x|t|d)\b(?!esc|itle)", done.replace("<desc", "").replace("<title", "").replace("<text", "")
    )
    ET.fromstring(done)  # noqa: S314 - our own drawing


def test_a_plan_drawn_twice_is_the_same_text() -> None:
    of = plan(loop(1), loop(2))
    assert array_svg(of) == array_svg(replace(of))
