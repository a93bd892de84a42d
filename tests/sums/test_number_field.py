"""The number field itself: edges, sentences, and that what it shows can be sent back unchanged."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django import forms
from hypothesis import given
from hypothesis import strategies as st

from jobs.sums.parse import NotANumber, NumberField, decimals, parse_number, shown
from tests.sums import field_cases


@pytest.mark.parametrize(
    "field",
    [
        NumberField(unit="m", low=0, high=4, required=False),
        NumberField(unit="°C", low=-60, high=0),
        NumberField(whole=True, low=1, high=60),
        NumberField(low=1e-6, high=1e4),
    ],
    ids=["optional", "below zero", "whole", "fine"],
)
def test_one_sentence_for_every_wrong_text_and_none_for_a_right_one(field: NumberField) -> None:
    form = forms.Form()
    form.fields["one"] = field
    assert field_cases.complaints(form) == {}


@given(st.floats(min_value=-1e12, max_value=1e12, allow_nan=False))
def test_what_is_shown_is_read_again_however_small_or_large(value: float) -> None:
    """An instrument that divides to 0.00001 must not be refused when its page is saved unchanged."""
    text = shown(value)
    assert re.fullmatch(r"-?\d+(\.\d+)?", text)
    assert parse_number(text) == pytest.approx(value, rel=1e-9, abs=1e-15)
    assert text not in {"-0", "-0.0"}


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.00001, "0.00001"),
        (1e-6, "0.000001"),
        (1e10, "10000000000"),
        (-0.0, "0"),
        (2.50, "2.5"),
        (1e15, "1" + "0" * 15),
    ],
)
def test_no_power_of_ten_is_shown_to_people(value: float, text: str) -> None:
    assert shown(value) == text
    assert NumberField().prepare_value(value) == text


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (-60.0, 0.0, "Give a value from −60 to 0 °C."),
        (1e-6, 1e4, "Give a value from 0.000001 to 10000 °C."),
        (None, 5.0, "Give a value of at most 5 °C."),
        (2.5, None, "Give a value of at least 2.5 °C."),
    ],
)
def test_a_range_is_told_in_words_and_true_minus(low: float | None, high: float | None, said: str) -> None:
    field = NumberField(unit="°C", low=low, high=high)
    assert field_cases.errors_of(field, "-99999" if low is not None else "99999") == [said]


def test_the_refused_text_stays_in_the_field_as_it_was_typed() -> None:
    class Depth(forms.Form):
        depth = NumberField(unit="m", low=1, high=9)

    page = str(Depth({"depth": 'two "and" <half>'})["depth"])
    assert 'value="two &quot;and&quot; &lt;half&gt;"' in page
    assert 'inputmode="decimal"' in page


@pytest.mark.parametrize("whole", [True, False])
def test_a_phone_opens_the_right_keys(whole: bool) -> None:
    assert NumberField(whole=whole).widget.attrs["inputmode"] == ("numeric" if whole else "decimal")


@given(
    st.integers(1, 999),
    st.lists(st.integers(0, 999), min_size=1, max_size=3),
    st.sampled_from([" ", "'", "’", "\u00a0", "\u202f"]),
)
def test_thousands_in_groups(first: int, rest: list[int], gap: str) -> None:
    """Groups of three with a gap between, as ISO 80000-1 writes them; only ’ of these is no ASCII and is not read."""
    text = gap.join([str(first), *(f"{group:03d}" for group in rest)])
    expected = float("".join([str(first), *(f"{group:03d}" for group in rest)]))
    if gap == "’":
        with pytest.raises(NotANumber):
            parse_number(text)
        return
    assert parse_number(text) == expected


@pytest.mark.parametrize("text", ["1 2 3", "12 34", "1 2345", "1 234'567", "1 234 56", " ,5 5"])
def test_a_slip_of_the_thumb_between_digits_is_not_read_as_thousands(text: str) -> None:
    with pytest.raises(NotANumber):
        parse_number(text)


@pytest.mark.parametrize(
    ("text", "places"), [("2", 0), ("2,0", 1), ("2.50", 2), (" −3,125 ", 3), ("5,", 0), (",75", 2)]
)
def test_the_digits_read_off_an_instrument_are_counted(text: str, places: int) -> None:
    assert decimals(text) == places


@given(st.text(max_size=80))
def test_the_field_gives_a_number_or_one_sentence(text: str) -> None:
    field: Any = NumberField(low=-5, high=5)
    said = field_cases.errors_of(field, text)
    assert len(said) <= 1
    if said:
        assert said[0].rstrip().endswith((".", "2,5."))
    else:
        assert -5 <= field.clean(text) <= 5
