"""What a sum says when it cannot be worked out from what was given."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager

from calcs.errors import CalcError, OutOfRange
from jobs.firms.errors import Refused


class Mistake(Refused):
    """One sentence about one field; about the whole sum when `field` is empty."""

    def __init__(self, sentence: str, field: str = "") -> None:
        super().__init__(sentence)
        self.field = field


@contextmanager
def about(field: str) -> Iterator[None]:
    """Whatever the calculation refuses in here is told at this field."""
    try:
        yield
    except CalcError as error:
        raise Mistake(sentence(error), field) from error


def sentence(error: CalcError) -> str:
    """What a calculation refuses, as people read it: a capital, true minus signs, numbers cut short, and what to do."""
    said = str(error)
    if isinstance(error, OutOfRange):
        facts = {name: _short(value) for name, value in error.facts.items()}
        said = "{what} is {value}, outside {low} to {high} ({source}). Give a value inside.".format(**facts)
    said = re.sub(r"(?<![\w.])-(?=0(?:\.0+)?(?![\d.]))", "", said)
    return minus(said[:1].upper() + said[1:])


def minus(text: str) -> str:
    """True minus signs before the numbers of a sentence."""
    return re.sub(r"(?<![\w.])-(?=\d)", "−", text)


def _short(value: object) -> str:
    return f"{value:.4g}" if isinstance(value, float) else str(value)
