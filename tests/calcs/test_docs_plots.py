"""What the docs say of the calculations does not drift from them: pictures are redrawn, every module is named."""

from __future__ import annotations

import re
from importlib import import_module
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

ROOT = Path(__file__).parents[2]
PICTURES = ROOT / "docs" / "pictures"
PAGE = (ROOT / "docs" / "calculations.md").read_text(encoding="utf-8")
DRAWN: dict[str, str] = import_module("docs.plots").pictures()
MODULES = sorted(path.stem for path in (ROOT / "calcs").glob("*.py") if path.stem != "__init__")
LINKS = re.findall(r"\]\(([^)#]+)\)", PAGE)


@pytest.mark.parametrize("name", sorted(DRAWN))
def test_picture_is_what_the_code_draws_today(name: str) -> None:
    kept = (PICTURES / name).read_text(encoding="utf-8")
    assert kept == DRAWN[name], "the calculation has changed: run python3 -m docs.plots and look at the pictures"


@pytest.mark.parametrize("name", sorted(DRAWN))
def test_picture_is_whole_and_on_the_page(name: str) -> None:
    drawing = ET.fromstring(DRAWN[name])  # noqa: S314 - our own text
    lines = drawing.findall("{http://www.w3.org/2000/svg}polyline")
    assert len(lines) >= 3
    assert all(len(line.attrib["points"].split()) >= 2 for line in lines)
    assert f"pictures/{name}" in LINKS


@pytest.mark.parametrize("module", MODULES)
def test_every_module_is_named(module: str) -> None:
    assert f"`{module}`" in PAGE


def test_every_named_test_and_file_is_there() -> None:
    tests = set(re.findall(r"`(test_\w+)`", PAGE))
    assert tests
    assert {name for name in tests if not (ROOT / "tests" / "calcs" / f"{name}.py").exists()} == set()
    assert {link for link in LINKS if "://" not in link and not (ROOT / "docs" / link).exists()} == set()


def test_every_data_file_is_named() -> None:
    files = {path.name for path in (ROOT / "calcs" / "data").iterdir() if path.is_file()}
    assert {name for name in files if f"`{name}`" not in PAGE} == set()
