"""What a finding is, and the register of checks."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from jobs.sheets.evidence import Evidence, Item
from jobs.sheets.trade import Severity

__all__ = ["CHECKS", "LONGEST", "Check", "Found", "Severity", "asked", "check", "found", "shown"]

LONGEST = 500  # characters of a finding


@dataclass(frozen=True)
class Found:
    """One question: about what, how grave, in one friendly sentence, with the entries that raise it."""

    code: str
    severity: Severity
    text: str
    subject: str = ""
    entries: tuple[str, ...] = ()
    field: str = ""


Run = Callable[[Evidence], Iterable[Found]]


@dataclass(frozen=True)
class Check:
    code: str
    label: str
    run: Run


CHECKS: dict[str, Check] = {}


def check(code: str, label: str) -> Callable[[Run], Run]:
    """Enters a check in the register; two under one code is a mistake."""

    def enter(run: Run) -> Run:
        if code in CHECKS:
            raise ValueError(f"two checks are called {code}")
        CHECKS[code] = Check(code, label, run)
        return run

    return enter


def found(code: str, severity: Severity, text: str, *items: Item, subject: str | None = None, field: str = "") -> Found:
    """`subject` defaults to that of the first entry."""
    about = subject if subject is not None else (items[0].subject if items else "")
    return Found(code, severity, text, about, tuple(item.id for item in items), field)


def asked(said: str, question: str) -> str:
    """What was seen, cut when it is too long to be kept, and the question whole.

    >>> asked("Nothing is logged.", "Was it done?")
    'Nothing is logged. Was it done?'
    """
    room = LONGEST - len(question) - 1
    kept = said if len(said) <= room else f"{said[: room - 1].rstrip()}…"
    return f"{kept} {question}"


def shown(value: float, digits: int = 3) -> str:
    """A number as people write it, to so many significant digits.

    >>> shown(0.30000000000000004), shown(1234.5), shown(12.0)
    ('0.3', '1234', '12')
    """
    if abs(value) >= 10**digits:
        return f"{value:.0f}"
    return f"{float(f'{value:.{digits}g}'):.10g}"
