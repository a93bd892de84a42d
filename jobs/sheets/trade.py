"""Words of the review: how grave a finding is, and what may follow a state of a sheet."""

from __future__ import annotations

from enum import StrEnum
from typing import Final


class Severity(StrEnum):
    """How grave a finding is. `WARN` wants an answer, `BLOCK` stops the approval until it is mended or waived."""

    BLOCK = "block"
    WARN = "warn"
    NOTE = "note"

    @property
    def label(self) -> str:
        return {"block": "Blocks approval", "warn": "Needs an answer", "note": "Note"}[self.value]


LEAST_REASON: Final = 10  # characters of an answer, a waiver or a reopening
PDF: Final = "sheet_pdf"
