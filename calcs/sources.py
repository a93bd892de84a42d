"""Where a number comes from, and how sure we may be of it."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import Any

from calcs.errors import NotKnown

DATA = Path(__file__).parent / "data"


class Status(StrEnum):
    """How a figure was come by. A `MEMORY` figure is never shown as a standard's requirement."""

    READ = "read"
    MEMORY = "memory"
    COMPUTED = "computed"
    COMMON_PRACTICE = "common practice"
    HOUSE_DEFAULT = "house default"
    EXACT = "exact"


@dataclass(frozen=True)
class Source:
    """The text printed beside a figure (title, edition, clause) and the status of that figure."""

    text: str
    status: Status

    @property
    def label(self) -> str:
        """What a user sees: a figure from memory is told as unconfirmed, never as a requirement."""
        if self.status is Status.MEMORY:
            return f"{self.text} (unconfirmed figure, not a requirement)"
        if self.status in {Status.COMMON_PRACTICE, Status.HOUSE_DEFAULT}:
            return f"{self.text} ({self.status.value})" if self.text else self.status.value
        return self.text


@dataclass(frozen=True)
class Limit:
    """One limit of a method, in its own unit, with where it comes from."""

    value: float
    unit: str
    source: Source


@cache
def table(name: str) -> tuple[dict[str, str], ...]:
    """The rows of `calcs/data/<name>.csv`, read once; lines that start with `#` tell the file's source.

    >>> table("roughness")[0].keys() >= {"source", "status"}
    True
    """
    lines = (DATA / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    return tuple(csv.DictReader(line for line in lines if not line.startswith("#")))


@cache
def document(name: str) -> Any:
    """The content of `calcs/data/<name>.json`, read once; callers do not change it.

    >>> isinstance(document("water_polynomials"), dict)
    True
    """
    return json.loads((DATA / f"{name}.json").read_text(encoding="utf-8"))


@cache
def limits(name: str, area: str) -> dict[str, Limit]:
    """The limits of one method or area: rows `area,key,value,unit,source,status` of `calcs/data/<name>.csv`.

    >>> limits("house_limits", "no such area")
    Traceback (most recent call last):
    ...
    calcs.errors.NotKnown: ...
    """
    found = {
        row["key"]: Limit(float(row["value"]), row["unit"], Source(row["source"], Status(row["status"])))
        for row in table(name)
        if row["area"] == area
    }
    if not found:
        raise NotKnown(what=f"{name} of", value=area, known=", ".join(sorted({row["area"] for row in table(name)})))
    return found
