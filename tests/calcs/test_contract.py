"""What every public calculation keeps to: units asked for, named errors, the same answer in any unit, never a nan.

And what stands in its text: test_contract_text.py.
"""

from __future__ import annotations

import math
import pickle
import re
from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from typing import Any

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs.errors import CalcError, WrongUnit
from calcs.units import Quantity, quantity, ureg
from tests.calcs.contract_cases import CASES, functions, numbers, quantities_of

FUNCTIONS = functions()
WITH_UNITS = [(name, argument) for name in CASES for argument in quantities_of(name)]

# The other unit that an installer may meet, one for each dimension.
OTHER = (
    "ft", "hour", "psi", "gpm", "gallon", "ft/s", "lb/ft^3", "ft^2/s", "centipoise", "BTU/hour", "1/psi", "1/delta_degF",
    "ppm", "BTU", "BTU/lb/delta_degF", "BTU/hour/ft/delta_degF", "lb", "delta_degF",
)  # fmt: skip
BY_DIMENSION = {ureg.Unit(unit).dimensionality: unit for unit in OTHER}


# Arguments whose name says little; people are told the thing.
CALLED = {
    ("refractometer.read", "value"): "reading",
    ("strength.by_mass", "value"): "strength",
    ("strength.product_strength", "value"): "strength",
    ("vessel.expansion", "filled_at"): "start",
    ("vessel.expansion", "warmest"): "end",
    ("vessel.settled_pressure", "since"): "time",
}


def elsewhere(value: Quantity) -> Quantity:
    """The same amount in another unit."""
    own = {"degree_Celsius": "degF", "degree": "radian"}
    return value.to(own.get(str(value.units)) or BY_DIMENSION[value.dimensionality])


def test_every_public_function_has_its_case() -> None:
    assert set(FUNCTIONS) == set(CASES)
    assert len(FUNCTIONS) > 75


@pytest.mark.parametrize("name", CASES)
def test_the_case_is_answered_with_finite_numbers(name: str) -> None:
    assert all(math.isfinite(value) for value in numbers(FUNCTIONS[name](**CASES[name])))


# What may be in any unit: an error limit has that of its instrument, a mean that of its readings.
OF_ANY_UNIT = {("heat.standard_uncertainty", "limit"), ("heat.mean_of", "readings")}
WRONG = [
    (name, argument, wrong)
    for name, argument in WITH_UNITS
    for wrong in ("bare", "other dimension", "text")
    if wrong != "other dimension" or (name, argument) not in OF_ANY_UNIT
]


@pytest.mark.parametrize(("name", "argument", "wrong"), WRONG)
def test_a_wrong_unit_is_refused_and_the_argument_named(name: str, argument: str, wrong: str) -> None:
    good = CASES[name][argument]
    bad = {"bare": good.magnitude, "other dimension": quantity(1.0, "candela"), "text": "3 m"}[wrong]
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


def moved(value: Any) -> Any:
    """The same thing with every quantity in it, however deep, in another unit."""
    if isinstance(value, pint.Quantity):
        return elsewhere(value)
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{each.name: moved(getattr(value, each.name)) for each in fields(value) if each.init})
    if isinstance(value, dict):
        return {key: moved(part) for key, part in value.items()}
    if isinstance(value, tuple) and hasattr(value, "_fields"):
        return type(value)(*map(moved, value))
    return type(value)(map(moved, value)) if isinstance(value, list | tuple) else value


@pytest.mark.parametrize("name", CASES)
def test_all_units_at_once(name: str) -> None:
    call, case = FUNCTIONS[name], CASES[name]
    assert list(numbers(call(**moved(case)))) == pytest.approx(list(numbers(call(**case))), rel=1e-9, abs=1e-12)


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
        case[key] = quantity(value.magnitude * data.draw(FACTORS), str(value.units))
    error = answer_or_error(FUNCTIONS[name], case)
    if error is not None:
        pickled(error)


@pytest.mark.parametrize(("name", "argument"), WITH_UNITS)
@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_what_is_not_a_number_is_refused_by_name(name: str, argument: str, bad: float) -> None:
    good = CASES[name][argument]
    spoilt = quantity(good.magnitude * 0 + bad, str(good.units))
    error = answer_or_error(FUNCTIONS[name], {**CASES[name], argument: spoilt})
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
