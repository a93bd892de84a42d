"""What the codes of the calculations mean for people, for the phone: the same words as at the desk."""

from __future__ import annotations

from typing import Any

from calcs._tightness_words import SAYINGS as TIGHTNESS
from calcs.changeover import SAYINGS as CHANGEOVER


def words_json() -> dict[str, Any]:
    """By calculation and code: outcome, reason and way out."""
    return {
        "tightness": {code: [said.outcome.value, said.reason, said.way_out] for code, said in TIGHTNESS.items()},
        "changeover": {code: list(said) for code, said in CHANGEOVER.items()},
    }
