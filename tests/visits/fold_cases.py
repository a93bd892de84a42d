"""Cases of the fold, each with what a person of the trade expects of it.

`python -m tests.visits.fold_cases` writes `tests/vectors/fold.json`: the inputs with the whole output, run by the phone's
port too. What is expected here is written by hand and checked against the output.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from jobs.visits.fold import fold
from jobs.visits.procedure import TABLE
from tests.visits.fold_build import Case
from tests.visits.fold_cases_fill import FILL
from tests.visits.fold_cases_ground import GROUND
from tests.visits.fold_cases_ledger import LEDGER
from tests.visits.fold_cases_scope import SCOPE

VECTORS = Path(__file__).parent.parent / "vectors" / "fold.json"
CASES: list[Case] = [*GROUND, *FILL, *LEDGER, *SCOPE]


def vectors() -> list[dict[str, Any]]:
    return [{"name": name, "case": given, "out": fold(given, TABLE)} for name, given, _ in CASES]


def main() -> None:
    text = json.dumps({"table": TABLE, "cases": vectors()}, ensure_ascii=False, indent=None, separators=(",", ":"))
    VECTORS.write_text(text.replace('{"name":', '\n{"name":') + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
