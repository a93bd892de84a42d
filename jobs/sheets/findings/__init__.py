"""What the checks say about a sheet: small pure functions, each a question to whoever did the work."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from jobs.sheets.evidence import Evidence
from jobs.sheets.findings import arrival, fluid, kit, order, photos, pressure, results, running, scope, values
from jobs.sheets.findings.base import CHECKS, Found, Severity

__all__ = ["CHECKS", "FAMILIES", "Found", "Severity", "run"]

FAMILIES = (order, results, pressure, fluid, running, values, kit, photos, arrival, scope)
SPECIFIC = frozenset({"F4", "F10", "F12", "T9"})
WEIGHT = {Severity.BLOCK: 0, Severity.WARN: 1, Severity.NOTE: 2}


def run(seen: Evidence) -> list[Found]:
    """Every finding, the gravest first; one per check, subject and field."""
    found: dict[tuple[str, str, str], Found] = {}
    for check in CHECKS.values():
        for one in check.run(seen):
            key = (one.code, one.subject, one.field)
            found[key] = _joined(found[key], one) if key in found else one
    kept = [one for one in found.values() if one.code != results.CODE or not _told_better(one, found.values())]
    return sorted(kept, key=lambda one: (WEIGHT[one.severity], one.code, one.subject, one.field))


def _joined(first: Found, other: Found) -> Found:
    """One question about all that raises it, so that an answer to the first does not pass for those that come later."""
    gravest = min(first, other, key=lambda one: WEIGHT[one.severity])
    return replace(gravest, entries=tuple(dict.fromkeys((*first.entries, *other.entries))))


def _told_better(one: Found, others: Iterable[Found]) -> bool:
    """True when another finding shows the same entries at least as gravely as the bare verdict: it asks about the same
    subject, or its check knows more. What is about the whole job lists entries for other reasons and silences nothing."""
    return any(
        other.code != one.code
        and (other.code in SPECIFIC or one.subject == other.subject != "")
        and WEIGHT[other.severity] <= WEIGHT[one.severity]
        and set(one.entries) <= set(other.entries)
        for other in others
    )
