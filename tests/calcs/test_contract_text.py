"""What every public calculation says of itself: names, types, source and example; and no number of a standard in the code."""

from __future__ import annotations

import ast
import inspect
import io
import pickle
import re
import tokenize
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

import calcs
from calcs import errors
from calcs.errors import CalcError
from tests.calcs.contract_cases import functions, quantities_of

FUNCTIONS = functions()
FILES = sorted(Path(next(iter(calcs.__path__))).glob("*.py"))

# The one thing that the function is about, never a quantity, so that it cannot be mistaken for another; and the solver's
# core, in floats.
BY_PLACE = {
    "changeover.laminar_turnovers": ["fraction"],
    "changeover.mixing_of": ["reynolds"],
    "changeover.spread_factor": ["fraction"],
    "friction.check_relative_roughness": ["relative"],
    "friction.default_roughness": ["material"],
    "friction.regime": ["re"],
    "friction.roughness_source": ["material"],
    "network.regimes_of": ["reynolds"],
    "network.star": ["loops", "total", "law"],
    "pressure_test.method_limits": ["method"],
    "residual_air.judge": ["air"],
}


def by_place(function: Callable[..., Any]) -> list[str]:
    given = inspect.signature(function).parameters.values()
    return [each.name for each in given if each.kind is not inspect.Parameter.KEYWORD_ONLY]


def test_arguments_are_given_by_name() -> None:
    """Two lengths side by side are mistaken for each other; their names are not."""
    found = {name: by_place(function) for name, function in FUNCTIONS.items() if by_place(function)}
    assert found == BY_PLACE
    assert not [name for name in found if set(quantities_of(name)) & set(found[name])]


@pytest.mark.parametrize("name", FUNCTIONS)
def test_every_argument_and_answer_has_its_type(name: str) -> None:
    signature = inspect.signature(FUNCTIONS[name])
    assert signature.return_annotation is not inspect.Signature.empty
    assert [each.name for each in signature.parameters.values() if each.annotation is inspect.Parameter.empty] == []


def lacking(text: str) -> list[str]:
    """What a docstring of a calculation does not tell."""
    first = text.partition("\n")[0]
    parts = {"a first line": bool(first.strip()), "Source": "Source:" in text, "an example": ">>> " in text}
    return [part for part, stands in parts.items() if not stands]


@pytest.mark.parametrize("name", FUNCTIONS)
def test_the_docstring_tells_source_and_example(name: str) -> None:
    assert lacking(inspect.getdoc(FUNCTIONS[name]) or "") == []


def test_a_docstring_that_lacks_something_is_seen() -> None:
    assert lacking("") == ["a first line", "Source", "an example"]
    assert lacking("Adds.\n\nSource: geometry.\n\n>>> 1\n1") == []


STANDARD = re.compile(
    r"\b(?:EN|ISO|DIN|VDI|ASTM|ASHRAE|IGN|DVS|ÖNORM|SIA|UFGS|CSA|GOST|OIML|OIV|NFPA|ICUMSA|CRC|MCS|PPI|DVGW|W 400)\b[ -]?"
)
# Counting, halves, powers of ten and squares: arithmetic, not a requirement.
PLAIN = {0.0, 0.5, 1.0, 2.0, 3.0, 4.0, 10.0, 100.0, 1000.0, 0.1, 0.01, 0.001}


def numbers_of_standards(source: str) -> list[str]:
    """Lines where a number that is not plain stands beside the name of a standard: in the line, or in the comment above it.

    Docstrings are the record and may name both. A figure of a standard belongs in calcs/data/ or a rule set.
    """
    documented = _docstring_lines(source)
    told: dict[int, str] = {}
    numbers: dict[int, list[str]] = {}
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        line = token.start[0]
        if line in documented:
            continue
        if token.type in {tokenize.COMMENT, tokenize.STRING}:
            told[line] = told.get(line, "") + token.string
        elif token.type == tokenize.NUMBER and _value(token.string) not in PLAIN:
            numbers.setdefault(line, []).append(token.string)
    return [
        f"{line}: {', '.join(found)}"
        for line, found in numbers.items()
        if STANDARD.search(" ".join([told.get(line, ""), *_comments_above(source, line)]))
    ]


def _value(text: str) -> float:
    return float(text) if not re.match(r"0[xXbBoO]", text) else float(int(text, 0))


def _docstring_lines(source: str) -> set[int]:
    nodes = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Expr)]
    texts = [node for node in nodes if isinstance(node.value, ast.Constant) and isinstance(node.value.value, str)]
    return {line for node in texts for line in range(node.lineno, (node.end_lineno or node.lineno) + 1)}


def _comments_above(source: str, line: int) -> Iterator[str]:
    lines = source.splitlines()
    while line > 1 and lines[line - 2].lstrip().startswith("#"):
        line -= 1
        yield lines[line - 1]


@pytest.mark.parametrize("file", FILES, ids=lambda file: str(file.name))
def test_no_number_of_a_standard_stands_in_the_code(file: Path) -> None:
    assert numbers_of_standards(file.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("planted", [
    "LIMIT = 0.05  # ASTM F2164\n",
    "# EN 805 A.27: at most 25 kPa\nLIMIT = 25.0\n",
    'def f(x):\n    return check("fall", x, 0.3, "EN 805")\n',
])  # fmt: skip
def test_a_planted_number_is_seen(planted: str) -> None:
    assert numbers_of_standards(planted)


@pytest.mark.parametrize("clean", [
    "HALF = 0.5  # EN 805\n",
    'def f():\n    """At most 25 kPa (EN 805)."""\n',
    "# Iterations until still.\nMOST = 60\n",
])  # fmt: skip
def test_arithmetic_is_let_be(clean: str) -> None:
    assert numbers_of_standards(clean) == []


def every_error(base: type[CalcError] = CalcError) -> list[type[CalcError]]:
    return [base, *(found for sub in base.__subclasses__() for found in every_error(sub))]


# Every fact that any sentence needs; an error keeps what it is given.
FACTS: dict[str, Any] = {
    "what": "pipe wall", "value": "3 mm", "low": "1 mm", "high": 2.5, "source": "geometry", "needed": "mm",
    "known": "PE 100", "reason": "it is wet.", "instead": "Dry it.", "freezing_point": "-5 °C",
}  # fmt: skip


@pytest.mark.parametrize("kind", every_error(), ids=lambda kind: str(kind.__name__))
@pytest.mark.parametrize("protocol", range(pickle.HIGHEST_PROTOCOL + 1))
def test_an_error_comes_back_from_a_worker_as_it_went_in(kind: type[CalcError], protocol: int) -> None:
    error = kind(**FACTS)
    back = pickle.loads(pickle.dumps(error, protocol))  # noqa: S301 - our own bytes
    assert type(back) is kind
    assert (str(back), back.facts, back.args) == (str(error), error.facts, error.args)
    assert str(back).strip()


def test_there_are_no_other_errors() -> None:
    named = {thing for thing in vars(errors).values() if isinstance(thing, type) and issubclass(thing, CalcError)}
    ours = {kind for kind in every_error() if kind.__module__.startswith("calcs")}
    assert ours == named
    assert len(named) >= 7
