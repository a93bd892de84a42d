"""How numbers stand on pages: a reader must never see a wrong sign, a power of ten or a computer's word for nothing."""

from __future__ import annotations

import re

import pytest
from django.template import Context, Template
from hypothesis import given
from hypothesis import strategies as st

from jobs.sums.templatetags.numbers import DASH, figure, minutes, plain, signed

finite = st.floats(min_value=-1e9, max_value=1e9, allow_nan=False)


def written(text: str) -> float:
    return float(text.replace("−", "-"))


@given(finite, st.integers(0, 4))
def test_a_figure_is_right_to_half_its_last_place(value: float, places: int) -> None:
    text = figure(value, places)
    assert abs(written(text) - value) <= 0.5 * 10**-places + 1e-6 * abs(value)
    assert len(text.partition(".")[2]) == places
    assert "-" not in text


@given(st.floats(min_value=-0.0499, max_value=0.0499))
def test_what_rounds_to_nothing_has_no_minus(value: float) -> None:
    """“−0.0 °C” reads as a fault of the program."""
    assert figure(value, 1) == "0.0"
    assert signed(value, 0) == "+0"


@given(finite)
def test_a_deviation_always_has_its_sign(value: float) -> None:
    text = signed(value)
    assert text[0] in "+−"
    assert text[0] == ("−" if round(value) < 0 else "+")


@given(st.floats(min_value=0, max_value=86_400))
def test_a_time_is_as_a_stopwatch_shows_it(seconds: float) -> None:
    text = minutes(seconds)
    found = re.fullmatch(r"(\d+):([0-5]\d)", text)
    assert found
    assert abs(int(found[1]) * 60 + int(found[2]) - seconds) <= 0.5


@pytest.mark.parametrize(
    ("seconds", "text"), [(59.6, "1:00"), (0, "0:00"), (61, "1:01"), (3600, "60:00"), (349.4, "5:49")]
)
def test_seconds_carry_over(seconds: float, text: str) -> None:
    assert minutes(seconds) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (40.0, "40"),
        (3.7, "3.7"),
        (-15.0, "−15"),
        (0.00005, "0.00005"),
        (1234567.0, "1234567"),
        (-0.0, "0"),
        (0.1 + 0.2, "0.3"),
    ],
)
def test_a_size_stands_as_it_was_entered(value: float, text: str) -> None:
    assert plain(value) == text


@pytest.mark.parametrize("name", ["figure", "signed", "minutes", "plain"])
@pytest.mark.parametrize("there", [{"x": None}, {}], ids=["none", "not there"])
def test_what_could_not_be_computed_is_a_dash(name: str, there: dict[str, None]) -> None:
    """A template that looks behind a missing part gets empty text; neither “None” nor an error may come of it."""
    page = Template("{% load numbers %}{{ n.x|" + name + " }}").render(Context({"n": there}))
    assert page == DASH
