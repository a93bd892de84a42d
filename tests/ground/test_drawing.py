from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from jobs.firms.scope import scope
from jobs.ground.drawing import WIDTH, Mark, array_svg
from jobs.ground.pen import SHAPES
from jobs.ground.queries import plan_of
from jobs.ground.trade import Plan
from tests import build
from tests.people import a_firm

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def plan(db: None) -> Plan:
    firm = a_firm()
    job = build.a_job(firm)
    with scope(firm.pk):
        return plan_of(job)


def drawn(plan: Plan, **states: Mark) -> ET.Element:
    return ET.fromstring(array_svg(plan, states))  # noqa: S314 - our own drawing


def words(drawing: ET.Element) -> list[str]:
    return [text.text or "" for text in drawing.iter(f"{SVG}text")]


def test_everything_buried_is_on_it(plan: Plan) -> None:
    said = " ".join(words(drawn(plan)))
    for part in ("Plant room", "Main header", "2 × 15 m, 63 × 5.8 mm", "Manifold", "L1", "L4", "216 m", "240 m"):
        assert part in said
    for part in ("B4, 100 m deep", "lateral 40 m · S2", "S3", "to ground", "from ground"):
        assert part in said


def test_it_is_named_and_described(plan: Plan) -> None:
    drawing = drawn(plan, L1=Mark("pass", "Filled"))
    title, desc = drawing.find(f"{SVG}title"), drawing.find(f"{SVG}desc")
    assert title is not None
    assert desc is not None
    assert drawing.attrib["aria-labelledby"] == f"{title.attrib['id']} {desc.attrib['id']}"
    assert "Port 1: loop L1, 216 m, of these 16 m lateral, in borehole B1, filled." in (desc.text or "")


def test_no_inline_style_and_nothing_from_outside(plan: Plan) -> None:
    text = array_svg(plan, {"L1": Mark("warn", "Look")})
    assert not re.search(r"style=|<style|<script|href|url\(|on\w+=", text)


@pytest.mark.parametrize("kind", sorted(SHAPES))
def test_a_state_is_a_word_and_a_shape(plan: Plan, kind: str) -> None:
    bare, marked = drawn(plan), drawn(plan, L2=Mark(kind, "A word"))
    assert words(marked).count("A word") == 1
    group = next(group for group in marked.iter(f"{SVG}g") if f"state--{kind}" in group.get("class", ""))
    assert list(group.iter(f"{SVG}path")) or list(group.iter(f"{SVG}circle"))
    assert not [group for group in bare.iter(f"{SVG}g") if "state" in group.get("class", "")]


def test_shapes_differ_but_for_pass_and_done() -> None:
    assert len(set(SHAPES.values())) == len(SHAPES) - 1


def test_what_people_typed_is_escaped(plan: Plan) -> None:
    section = replace(plan.sections[0], title='<b onload="x">&')
    drawing = drawn(replace(plan, sections=(section,), number=7))
    assert '<b onload="x">&' in words(drawing)
    assert drawing.find(f".//{SVG}b") is None


def test_lengths_are_to_scale(plan: Plan) -> None:
    """The accent line of a loop, from port to foot, is as long as half the loop."""
    drawing = drawn(plan)
    lines = [path.attrib["d"] for path in drawing.iter(f"{SVG}path") if path.get("class") == "accent"]
    runs = [re.fullmatch(r"M([\d.]+) [\d.]+H([\d.]+)", line) for line in lines]
    lengths = [float(run[2]) - float(run[1]) for run in runs if run]
    assert len(lengths) == 4
    for drawn_length, metres in zip(lengths, (216, 224, 232, 240), strict=True):
        assert drawn_length / lengths[-1] == pytest.approx(metres / 240, abs=0.01)


@pytest.mark.parametrize("count", [1, 4, 12, 40])
def test_any_number_of_loops_fits_the_sheet(plan: Plan, count: int) -> None:
    loops = tuple(
        replace(plan.loops[n % 4], code=f"L{n + 1}", port=n + 1, kind="trench" if n % 2 else "borehole", borehole="")
        for n in range(count)
    )
    drawing = drawn(replace(plan, loops=loops), **{f"L{count}": Mark("fail", "Too slow")})
    height = float(drawing.attrib["viewBox"].split()[3])
    for text in drawing.iter(f"{SVG}text"):
        if text.get("x"):
            assert 0 <= float(text.attrib["x"]) <= WIDTH
            assert 0 <= float(text.attrib["y"]) <= height
    assert sum(1 for word in words(drawing) if re.fullmatch(r"L\d+", word)) == count


def test_spare_ports_and_an_empty_job(plan: Plan) -> None:
    assert plan.manifold is not None
    spare = replace(plan, loops=plan.loops[:2])
    assert [word for word in words(drawn(spare)) if "capped" in word] == ["Port 3 capped", "Port 4 capped"]
    empty = replace(plan, loops=(), boreholes=(), sections=(), header=None, manifold=None, design=None)
    assert "No loops entered yet" in words(drawn(empty))
