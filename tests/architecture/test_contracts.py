"""The import contracts, run as they stand; and once with a forbidden import planted in a copy of the house."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.architecture.house import ROOT

LINT = "import sys; from importlinter.cli import lint_imports_command; sys.exit(lint_imports_command())"


def lint(folder: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", LINT, "--no-cache"]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False, timeout=120)


def test_the_contracts_hold() -> None:
    done = lint(ROOT)
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-1000:]
    assert "0 broken" in done.stdout


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("house")
    for part in ("groundloop", "jobs", "calcs"):
        shutil.copytree(ROOT / part, folder / part, ignore=shutil.ignore_patterns("__pycache__", "static", "data"))
    shutil.copy(ROOT / ".importlinter", folder / ".importlinter")
    return folder


@pytest.mark.parametrize(
    ("path", "line", "contract"),
    [
        ("calcs/planted.py", "import django", "calcs knows no Django"),
        ("calcs/planted.py", "import jobs.firms.clock", "groundloop -> jobs -> calcs"),
        ("jobs/firms/planted.py", "import jobs.work.models", "Rooms look down"),
        ("jobs/field/planted.py", "import jobs.office.views", "Rooms look down"),
        ("jobs/office/planted.py", "import weasyprint", "sheets.render"),
        ("jobs/sheets/planted.py", "import PIL", "files.images"),
    ],
)
def test_a_planted_import_breaks_its_contract(copy: Path, path: str, line: str, contract: str) -> None:
    planted = copy / path
    planted.write_text(f"{line}\n", encoding="utf-8")
    try:
        done = lint(copy)
    finally:
        planted.unlink()
    assert done.returncode == 1, done.stdout[-2000:] + done.stderr[-1000:]
    broken = [text for text in done.stdout.splitlines() if "BROKEN" in text]
    assert any(contract in text for text in broken), broken


def test_a_room_without_a_place_in_the_order_is_found(copy: Path) -> None:
    room = copy / "jobs" / "attic"
    room.mkdir()
    (room / "__init__.py").touch()
    try:
        done = lint(copy)
    finally:
        shutil.rmtree(room)
    assert done.returncode == 1
    assert "attic" in done.stdout + done.stderr
