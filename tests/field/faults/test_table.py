"""docs/field-faults.md names a test for every fault case, and each of them exists."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

from tests.running.server import ROOT, environment

PAGE = ROOT / "docs" / "field-faults.md"
CASES = 64
MOST_WITHOUT = 6


def rows() -> dict[int, list[str]]:
    """Cells of each row by the number of its case."""
    found: dict[int, list[str]] = {}
    for line in PAGE.read_text(encoding="utf-8").splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if cells[0].isdigit():
            assert int(cells[0]) not in found, f"case {cells[0]} stands twice"
            found[int(cells[0])] = cells
    return found


def named_in(cells: list[str]) -> list[str]:
    return re.findall(r"`(tests/[^`]+::[^`]+)`", cells[-1])


def test_every_case_has_a_row_that_says_what_is_seen_and_kept() -> None:
    table = rows()
    assert sorted(table) == list(range(1, CASES + 1))
    assert {number: cells for number, cells in table.items() if len(cells) != 5 or not all(cells)} == {}


def test_hardly_a_case_is_without_a_test() -> None:
    without = [number for number, cells in rows().items() if not named_in(cells)]
    assert len(without) <= MOST_WITHOUT
    reasons = PAGE.read_text(encoding="utf-8").partition("## Not shown by a test")[2]
    assert [number for number in without if f"Case {number}:" not in reasons] == []


def test_every_test_that_is_named_exists(tmp_path: Path) -> None:
    named = {test for cells in rows().values() for test in named_in(cells)}
    env = {name: value for name, value in environment(tmp_path).items() if not name.startswith("PYTEST_")}
    files = sorted({test.partition("::")[0] for test in named})
    assert [file for file in files if not (ROOT / file).is_file()] == []
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "-p", "no:randomly", "--collect-only"]
    done = subprocess.run([*command, *files], cwd=ROOT, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-3000:]

    there = set(done.stdout.splitlines())
    there |= {test.partition("[")[0] for test in there}  # a name without its case stands for all of them
    assert named - there == set()
