"""Whether what is kept of an approved sheet still is what was approved."""

from __future__ import annotations

import hashlib
import json

from jobs.files import store
from jobs.sheets import facts
from jobs.sheets.models import Sheet

FACTS, NAMES, FILE = "facts", "names and words", "PDF"


def broken(sheet: Sheet) -> tuple[str, ...]:
    """The parts that were changed afterwards. What was erased, and a PDF that has to be made again, are not broken."""
    found = []
    if facts.digest(sheet.facts) != sheet.facts_hash:
        # Commitments that stand in changed facts prove nothing.
        found.append(FACTS)
    elif facts.broken_commitments(json.loads(sheet.facts), sheet.personal):
        found.append(NAMES)
    if sheet.pdf and store.is_here(sheet.pdf):
        digest = hashlib.sha256(store.read(sheet.pdf)).hexdigest()
        found += [FILE] if digest != sheet.pdf.stored_sha256 else []
    return tuple(found)
