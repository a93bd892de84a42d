from __future__ import annotations

import math

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from jobs.sums.parse import NotANumber, NumberField, decimals, parse_number, shown


@pytest.mark.parametrize(
    ("text", "number"),
    [("2,5", 2.5), ("2.5", 2.5), (" 12 ", 12), ("−15", -15), ("-0,5", -0.5), ("+3", 3), (".5", 0.5), ("5,", 5),
     ("1 200", 1200), ("1'200,5", 1200.5), ("12 000 000", 12e6), ("007", 7)],
)  # fmt: skip
def test_comma_and_point(text: str, number: float) -> None:
    assert parse_number(text) == number


@pytest.mark.parametrize(
    "text",
    ["", " ", "1,200.5", "1.200,5", "1,2,3", "two", "2 bar", "1e5", "nan", "inf", "0x10", "1_000", "--1", "٣", "½",
     "1 20", "-", ",", "import os", "9" * 41, "1\n2"],
)  # fmt: skip
def test_what_is_no_number_is_refused_in_one_sentence(text: str) -> None:
    with pytest.raises(NotANumber) as refused:
        parse_number(text)
    assert str(refused.value).strip().endswith((".", "2,5."))


@given(st.floats(min_value=-1e9, max_value=1e9, allow_nan=False), st.integers(0, 6), st.sampled_from(".,"))
def test_any_number_with_any_mark(value: float, places: int, mark: str) -> None:
    text = f"{value:.{places}f}"
    assert parse_number(text.replace(".", mark)) == float(text)
    assert decimals(text.replace(".", mark)) == places


@given(st.text(max_size=60))
def test_any_text_is_a_number_or_a_sentence(text: str) -> None:
    try:
        found = parse_number(text)
    except NotANumber:
        return
    assert math.isfinite(found)
    assert any(letter.isdigit() for letter in text)


@given(st.floats(min_value=-1e6, max_value=1e6, allow_nan=False))
def test_what_a_field_shows_it_reads_again(value: float) -> None:
    text = shown(value)
    if "e" not in text:
        assert parse_number(text) == pytest.approx(value, rel=1e-9, abs=1e-9)


def test_a_field_tells_its_range_and_unit() -> None:
    field = NumberField(unit="mm", low=100, high=6000)
    assert field.clean("800,5") == 800.5
    assert field.unit == "mm"
    with pytest.raises(ValidationError, match="Give a value from 100 to 6000 mm"):
        field.clean("20")
    with pytest.raises(ValidationError, match="is not a number"):
        field.clean("deep")
    with pytest.raises(ValidationError):
        field.clean("")
    assert NumberField(required=False).clean("  ") is None


def test_whole_numbers_stay_whole() -> None:
    field = NumberField(whole=True, low=1)
    assert field.clean("4") == 4
    assert isinstance(field.clean("4"), int)
    with pytest.raises(ValidationError, match="whole number"):
        field.clean("4,5")
    with pytest.raises(ValidationError, match="at least 1"):
        field.clean("0")
