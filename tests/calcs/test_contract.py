"""What every public calculation keeps to: units asked for, named errors, the same answer in any unit, never a nan."""

from __future__ import annotations

import inspect
import math
import pickle
import re
from collections.abc import Callable
from typing import Any

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs.errors import CalcError, WrongUnit
from calcs.units import Quantity, quantity
from tests.calcs.contract_cases import CASES, functions, numbers, quantities_of

FUNCTIONS = functions()
WITH_UNITS = [(name, argument) for name in CASES for argument in quantities_of(name)]

# The other unit that an installer may meet, by dimension.
OTHER = {
    "[length]": "ft",
    "[time]": "hour",
    "[mass] / [length] / [time] ** 2": "psi",
    "[length] ** 3 / [time]": "gpm",
    "[length] ** 3": "gallon",
    "[length] / [time]": "ft/s",
    "[mass] / [length] ** 3": "lb/ft^3",
    "[length] ** 2 / [time]": "ft^2/s",
    "[mass] / [length] / [time]": "centipoise",
    "[mass] * [length] ** 2 / [time] ** 3": "BTU/hour",
    "[length] * [time] ** 2 / [mass]": "1/psi",
    "1 / [temperature]": "1/delta_degF",
    "dimensionless": "ppm",
}


# Arguments whose name says little; people are told the thing.
CALLED = {
    ("refractometer.read", "value"): "reading",
    ("strength.by_mass", "value"): "strength",
    ("strength.product_strength", "value"): "strength",
}


def elsewhere(value: Quantity) -> Quantity:
    """The same amount in another unit."""
    if str(value.units) == "degree_Celsius":
        return value.to("degF")
    if str(value.dimensionality) == "[temperature]":
        return value.to("delta_degF")
    if str(value.units) == "degree":
        return value.to("radian")
    return value.to(OTHER[str(value.dimensionality)])


def test_every_public_function_has_its_case() -> None:
    assert set(FUNCTIONS) == set(CASES)
    assert len(FUNCTIONS) > 75


@pytest.mark.parametrize("name", CASES)
def test_the_case_is_answered_with_finite_numbers(name: str) -> None:
    assert all(math.isfinite(value) for value in numbers(FUNCTIONS[name](**CASES[name])))


@pytest.mark.parametrize("name", CASES)
def test_quantities_are_given_by_name(name: str) -> None:
    """Two lengths side by side are mistaken for each other; their names are not."""
    given_by = inspect.signature(FUNCTIONS[name]).parameters
    assert all(given_by[each].kind is inspect.Parameter.KEYWORD_ONLY for each in quantities_of(name))
    positional = [each for each in given_by.values() if each.kind is not inspect.Parameter.KEYWORD_ONLY]
    assert len(positional) <= 1 or name == "network.star", "only the solver's core, in floats, is called by place"


@pytest.mark.parametrize(("name", "argument"), WITH_UNITS)
@pytest.mark.parametrize("wrong", ["bare", "other dimension", "text"])
def test_a_wrong_unit_is_refused_and_the_argument_named(name: str, argument: str, wrong: str) -> None:
    if name == "heat.standard_uncertainty" and wrong == "other dimension":
        pytest.skip("an error limit has the unit of its instrument, whatever that is")
    good = CASES[name][argument]
    bad = {"bare": float(good.magnitude), "other dimension": quantity(1.0, "candela"), "text": "3 m"}[wrong]
    with pytest.raises(WrongUnit) as caught:
        FUNCTIONS[name](**{**CASES[name], argument: bad})
    told = re.findall("[a-z]+", str(caught.value.facts["what"]).lower())
    asked = re.findall("[a-z]+", CALLED.get((name, argument), argument))
    assert set(told) & set(asked), f"{argument} is called {told}"
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize(("name", "argument"), WITH_UNITS)
def test_any_unit_gives_the_same_answer(name: str, argument: str) -> None:
    call, case = FUNCTIONS[name], CASES[name]
    here = list(numbers(call(**case)))
    there = list(numbers(call(**{**case, argument: elsewhere(case[argument])})))
    assert there == pytest.approx(here, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("name", [name for name in CASES if quantities_of(name)])
def test_all_units_at_once(name: str) -> None:
    call, case = FUNCTIONS[name], CASES[name]
    moved = {key: elsewhere(value) if isinstance(value, pint.Quantity) else value for key, value in case.items()}
    assert list(numbers(call(**moved))) == pytest.approx(list(numbers(call(**case))), rel=1e-9, abs=1e-12)


def answer_or_error(call: Callable[..., Any], case: dict[str, Any]) -> CalcError | None:
    """The named error of a call; an answer must be finite throughout."""
    try:
        found = list(numbers(call(**case)))
    except CalcError as error:
        return error
    assert all(math.isfinite(value) for value in found), (case, found)
    return None


def pickled(error: CalcError) -> None:
    """The error comes back from a worker as it went in."""
    back = pickle.loads(pickle.dumps(error))  # noqa: S301 - our own bytes
    assert type(back) is type(error)
    assert str(back) == str(error)
    assert back.facts.keys() == error.facts.keys()


FACTORS = st.one_of(
    st.sampled_from([0.0, -1.0, 1.0]),
    st.floats(-3.0, 3.0).map(lambda factor: round(factor, 6)),
    st.tuples(st.floats(1.0, 9.99), st.integers(-9, 9), st.sampled_from([1.0, -1.0])).map(
        lambda parts: parts[0] * 10.0 ** parts[1] * parts[2]
    ),
)


@pytest.mark.parametrize("name", [name for name in CASES if quantities_of(name)])
@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_an_answer_or_a_named_error_never_a_nan(name: str, data: st.DataObject) -> None:
    """Some arguments inside, some far outside their range."""
    case = dict(CASES[name])
    for key in data.draw(st.lists(st.sampled_from(quantities_of(name)), unique=True, min_size=1)):
        value = case[key]
        case[key] = quantity(float(value.magnitude) * data.draw(FACTORS), str(value.units))
    error = answer_or_error(FUNCTIONS[name], case)
    if error is not None:
        pickled(error)


@pytest.mark.parametrize(("name", "argument"), WITH_UNITS)
@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_what_is_not_a_number_is_refused_by_name(name: str, argument: str, bad: float) -> None:
    unit = str(CASES[name][argument].units)
    error = answer_or_error(FUNCTIONS[name], {**CASES[name], argument: quantity(bad, unit)})
    if error is not None:
        pickled(error)


PLAIN = [
    (name, key)
    for name, case in CASES.items()
    for key, value in case.items()
    if isinstance(value, float) and name not in {"changeover.diagnose_seconds", "network.star"}
]


@pytest.mark.parametrize(("name", "argument"), PLAIN)
@pytest.mark.parametrize("value", [-1e9, -1.0, 0.0, 1e-9, 1.0, 1e9, math.nan, math.inf])
def test_plain_numbers_out_of_range_are_named(name: str, argument: str, value: float) -> None:
    error = answer_or_error(FUNCTIONS[name], {**CASES[name], argument: value})
    if error is not None:
        pickled(error)
        assert not math.isnan(len(str(error)))
