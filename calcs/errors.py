"""Named errors of the calculations. Each carries what, value, limits and source, and survives pickling."""

from __future__ import annotations

from typing import Any, Self


class CalcError(Exception):
    """A calculation cannot be made from what was given; `str()` is one sentence for people."""

    def __init__(self, **facts: Any) -> None:
        self.facts = facts
        super().__init__(self.sentence())

    def sentence(self) -> str:
        """The message shown to people: what is wrong and what to do."""
        return ", ".join(f"{name}: {value}" for name, value in self.facts.items())

    def __reduce__(self) -> tuple[Any, ...]:
        return _rebuild, (type(self), self.facts)

    @classmethod
    def rebuilt(cls, facts: dict[str, Any]) -> Self:
        """The same error from its facts (for unpickling)."""
        return cls(**facts)


def _rebuild(cls: type[CalcError], facts: dict[str, Any]) -> CalcError:
    return cls.rebuilt(facts)


class OutOfRange(CalcError):
    """A value lies outside the range for which the formula or table is valid. Facts: what, value, low, high, source."""

    def sentence(self) -> str:
        f = self.facts
        return f"{f['what']} is {f['value']}, outside {f['low']} to {f['high']} ({f['source']})."


class WrongUnit(CalcError):
    """An argument has no unit or one of another dimension. Facts: what, value, needed."""

    def sentence(self) -> str:
        f = self.facts
        return f"{f['what']} must be a quantity in a unit like {f['needed']}, not {f['value']}."


class NotKnown(CalcError):
    """A table has no row for what was asked. Facts: what, value, known."""

    def sentence(self) -> str:
        f = self.facts
        return f"{f['what']} {f['value']} is not in the table; known are {f['known']}."


class Unsuitable(CalcError):
    """An instrument, scale or fluid does not fit the question. Facts: what, reason, instead."""

    def sentence(self) -> str:
        f = self.facts
        return f"{f['what']} cannot be used: {f['reason']} {f['instead']}".strip()


class Frozen(CalcError):
    """The fluid is at or below its freezing point. Facts: what, value, freezing_point."""

    def sentence(self) -> str:
        f = self.facts
        return f"{f['what']} at {f['value']} is at or below its freezing point of {f['freezing_point']}."


class NoSolution(CalcError):
    """The equations have no solution for this input. Facts: what, reason."""

    def sentence(self) -> str:
        f = self.facts
        return f"No solution for {f['what']}: {f['reason']}"
