"""What holds for every sum: names are unique, ranges and units fit, and no typing breaks it."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calcs.units import quantity
from jobs.sums.curve import Curve, marks
from jobs.sums.errors import Mistake, about, minus, sentence
from jobs.sums.forms import ON_PAGE, SumForm
from jobs.sums.questions import QUESTIONS, by_moment
from jobs.sums.questions.base import Field, Kind, Question
from jobs.sums.questions.common import pipe_sizes
from jobs.sums.serializers import as_json
from jobs.sums.units import named

each_question = pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.slug)
ROUGH = st.sampled_from(["", "0", "-1", "0,5", "1", "7.5", "20", "100", "300", "99999", "1e5", "−3", "1 200", "٣", "x"])


@each_question
def test_names_units_and_choices_are_each_there_once(question: Question) -> None:
    assert len(question.by_name) == len(question.fields)
    for each in question.fields:
        assert re.fullmatch(r"[a-z_]+", each.name)
        assert each.name not in {"sum", "show"}
        assert not each.name.endswith("_unit")
        assert len({unit.code for unit in each.units}) == len(each.units)
        assert len(dict(each.choices)) == len(each.choices)
        if each.kind is Kind.CHOICE:
            assert each.default in dict(each.choices)


@each_question
def test_units_of_one_field_convert_into_each_other(question: Question) -> None:
    for each in question.fields:
        if len({unit.pint for unit in each.units}) > 1 and each.name not in {"reading", "second_reading"}:
            usual = quantity(1.0, each.units[0].pint)
            for unit in each.units:
                assert unit.of(1.0).is_compatible_with(usual), (each.name, unit)
                assert named(each.units, unit.code) is unit
        if each.low is not None and each.high is not None:
            assert each.low < each.high


@each_question
def test_each_choice_of_the_switch_has_an_example_and_the_sum_its_words(question: Question) -> None:
    codes = [code for code, _ in question.by_name[question.switch].choices] if question.switch else [""]
    assert [each.given.get(question.switch, "") for each in question.examples] == codes
    for code in codes:
        assert question.example_for(code).given.get(question.switch, "") == code
    assert question.says.endswith(".")
    assert question.title


def test_every_sum_stands_under_one_moment_of_the_work() -> None:
    assert [question for _, questions in by_moment() for question in questions] == list(QUESTIONS)


@each_question
def test_an_answer_names_each_line_once_and_tells_its_sources(question: Question) -> None:
    for example in question.examples:
        form = SumForm(question, example.given, initial={}, at_most=ON_PAGE)
        answer = form.work_out()
        assert answer is not None, form.errors
        names = [line.name for line in answer.lines]
        assert len(names) == len(set(names))
        assert any(line.is_main for line in answer.lines)
        assert answer.sources


def test_every_size_of_the_tables_has_an_address() -> None:
    for code in pipe_sizes():
        assert re.fullmatch(r"[A-Za-z0-9.-]+x[0-9.]+", code)


def _typed(each: Field) -> st.SearchStrategy[dict[str, str]]:
    if each.kind is Kind.CHOICE:
        return st.sampled_from([code for code, _ in each.choices]).map(lambda code: {each.name: code})
    if each.kind is Kind.READINGS:
        line = st.tuples(st.integers(0, 90), st.sampled_from(["6", "5,9", "0", "-1", "5.5", "x"]))
        text = st.lists(line, max_size=7).map(lambda rows: "\n".join(f"{at} {value}" for at, value in rows))
        return text.map(lambda lines: {each.name: lines})
    inside = st.floats(each.low if each.low is not None else -50, each.high if each.high is not None else 1500)
    edges = st.sampled_from([f"{limit:g}" for limit in (each.low, each.high) if limit is not None] or ["0"])
    number = st.one_of(inside.map(lambda value: f"{value:.4f}"), edges, ROUGH)
    unit = st.sampled_from([one.code for one in each.units])
    return st.tuples(number, unit).map(lambda pair: {each.name: pair[0], f"{each.name}_unit": pair[1]})


@each_question
@given(data=st.data())
@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow], deadline=None)
def test_whatever_is_typed_gets_an_answer_or_a_sentence(question: Question, data: st.DataObject) -> None:
    """Starting from a worked example, so that most fields are right and what is odd reaches the calculation."""
    typed = dict(data.draw(st.sampled_from(question.examples)).given)
    for each in data.draw(st.lists(st.sampled_from(question.fields), max_size=6)):
        typed |= data.draw(_typed(each))
    form = SumForm(question, typed, initial={}, at_most=ON_PAGE)
    answer = form.work_out()
    if answer is None:
        for told in form.errors.values():
            assert re.fullmatch(r"[A-Z“].*[.”]", str(told[0]), re.DOTALL), told
    else:
        json.dumps(as_json(answer, question.cautions), allow_nan=False)
        if answer.curve:
            ET.fromstring(answer.curve.svg or "<svg/>")  # noqa: S314 - our own drawing


class TestCurve:
    SEEN = ((0.0, 6.0), (30.0, 5.8), (60.0, 5.7))

    def test_every_reading_lies_inside_the_drawing(self) -> None:
        svg = Curve(self.SEEN, leak_line=((0, 6.0), (60, 5.4))).svg
        for x, y in re.findall(r'cx="([\d.]+)" cy="([\d.]+)"', svg):
            assert 0 < float(x) < 320
            assert 0 < float(y) < 240

    def test_time_runs_to_the_right_and_pressure_up(self) -> None:
        places = [(float(x), float(y)) for x, y in re.findall(r'cx="([\d.]+)" cy="([\d.]+)"', Curve(self.SEEN).svg)]
        for (x, y), (later_x, lower_y) in pairwise(places):
            assert x < later_x
            assert y < lower_y

    def test_it_is_told_in_words_and_has_no_style_of_its_own(self) -> None:
        svg = Curve(self.SEEN).svg
        root = ET.fromstring(svg)  # noqa: S314 - our own drawing
        assert "5.70 bar at 60 min" in "".join(root.itertext())
        assert "style=" not in svg

    def test_one_reading_is_no_curve(self) -> None:
        assert Curve(self.SEEN[:1]).svg == ""

    @given(st.floats(0, 1e4), st.floats(0, 1e4))
    def test_marks_span_both_ends_with_round_steps(self, one: float, two: float) -> None:
        low, high = min(one, two), max(one, two)
        found = marks(low, high)
        assert found[0] <= low + 1e-6
        assert found[-1] >= high - 1e-6
        assert 2 <= len(found) <= 9


class TestSentences:
    @pytest.mark.parametrize(
        ("text", "shown"),
        [
            ("at -15 °C", "at −15 °C"),
            ("W 400-2:2022", "W 400-2:2022"),
            ("0.08-0.10", "0.08-0.10"),
            ("-1 to -2", "−1 to −2"),
        ],
    )
    def test_minus_signs_are_true_ones_and_ranges_stay(self, text: str, shown: str) -> None:
        assert minus(text) == shown

    def test_what_a_calculation_refuses_is_told_at_its_field(self) -> None:
        with pytest.raises(Mistake) as told, about("length"):
            raise _out_of_range()
        assert told.value.field == "length"
        assert str(told.value) == "Length is −3.333, outside 0 to 10 (geometry). Give a value inside."
        assert sentence(_out_of_range()) == str(told.value)


def _out_of_range() -> Any:
    from calcs.errors import OutOfRange  # noqa: PLC0415

    return OutOfRange(what="length", value=-10 / 3, low=0, high=10, source="geometry")
