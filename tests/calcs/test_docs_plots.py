"""What the docs say of the calculations does not drift from them: pictures are redrawn, figures reckoned anew, modules named."""

from __future__ import annotations

import re
from importlib import import_module
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from calcs import elastic, friction, heat, purge, stress
from calcs._curves import polynomial_freezing
from calcs.base import Base
from calcs.plant import Return
from calcs.pressure_test import Restraint
from calcs.sources import table
from calcs.units import quantity
from tests.calcs import test_outside_stated as stated

ROOT = Path(__file__).parents[2]
PICTURES = ROOT / "docs" / "pictures"
PAGE = (ROOT / "docs" / "calculations.md").read_text(encoding="utf-8")
PLOTS: Any = import_module("docs.plots")
DRAWN: dict[str, str] = PLOTS.pictures()
MODULES = sorted(path.stem for path in (ROOT / "calcs").glob("*.py") if path.stem != "__init__")
LINKS = re.findall(r"\]\(([^)#]+)\)", PAGE)
WATER: dict[str, Any] = {"density": quantity(999.7, "kg/m^3"), "viscosity": quantity(1.306, "mm^2/s")}
SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("name", sorted(DRAWN))
def test_picture_is_what_the_code_draws_today(name: str) -> None:
    kept = (PICTURES / name).read_text(encoding="utf-8")
    assert kept == DRAWN[name], "the calculation has changed: run python3 -m docs.plots and look at the pictures"


@pytest.mark.parametrize("name", sorted(DRAWN))
def test_picture_is_whole_and_on_the_page(name: str) -> None:
    drawing = ET.fromstring(DRAWN[name])  # noqa: S314 - our own text
    lines = drawing.findall(f"{SVG}polyline")
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


def test_no_picture_is_left_over() -> None:
    assert {path.name for path in PICTURES.glob("*.svg")} == set(DRAWN)


@pytest.mark.parametrize("name", sorted(DRAWN))
def test_words_stay_on_the_paper(name: str) -> None:
    """Half of the size for each letter: what a wide face takes on average (DejaVu Sans, measured on these titles)."""
    drawing = ET.fromstring(DRAWN[name])  # noqa: S314 - our own text
    for words in drawing.iter(f"{SVG}text"):
        x, wide = float(words.attrib["x"]), 0.5 * float(words.attrib["font-size"]) * len(words.text or "")
        left = x - {"start": 0.0, "middle": wide / 2, "end": wide}[words.attrib["text-anchor"]]
        assert left >= 0.0, words.text
        assert left + wide <= float(drawing.attrib["width"]), words.text


def anchor(heading: str) -> str:
    return re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-")


def test_every_section_is_in_the_contents_and_every_link_meets_one() -> None:
    sections = [anchor(heading) for heading in re.findall(r"(?m)^## (.+)$", PAGE)]
    contents = PAGE[PAGE.index("**Contents**") : PAGE.index("## Pipes")]
    assert re.findall(r"\(#([\w-]+)\)", contents) == sections[1:]
    headings = {anchor(heading) for heading in re.findall(r"(?m)^#+ (.+)$", PAGE)}
    assert set(re.findall(r"\(#([\w-]+)\)", PAGE)) <= headings


def rows_of(name: str) -> int:
    return len((ROOT / "tests" / "calcs" / "golden" / f"{name}.csv").read_text(encoding="utf-8").splitlines()) - 1


def from_crc(base: Base) -> float:
    """Largest distance of the polynomial from the CRC table up to 44 % by mass, K."""
    rows = [row for row in table("crc_aqueous_solutions") if row["fluid"] == base.value and row["T_freeze_C"]]
    return max(
        abs(polynomial_freezing(base, float(row["mass_pct"]) / 100) - float(row["T_freeze_C"]))
        for row in rows
        if 1 <= float(row["mass_pct"]) <= 44
    )


def of_leaks() -> str:
    quarter, one, four = (PLOTS.smallest_leak(Restraint.FREE, 0.1, hours) for hours in (0.25, 1, 4))
    return f"{quarter:.2f} L/h shows in a quarter of an hour, {one:.2f} L/h in one hour, {four:.2f} L/h in four"


def of_settling() -> str:
    (ten, year), (bare_ten, bare_year) = (
        [PLOTS.settled(litres, hours) for hours in (240, 8766)] for litres in (12, None)
    )
    held = f"{ten:.2f} bar in ten days and {year:.2f} bar in a year, with no leak and no air; without a vessel to "
    return held + f"{bare_ten:.2f} and {bare_year:.2f} bar"


def of_the_ladder() -> str:
    direct, reverse = (import_module("docs.plots_flow").ladder_shares(each) for each in (Return.DIRECT, Return.REVERSE))
    return (
        f"{min(direct):.1f} to {max(direct):.1f} % of the mean with direct return, "
        f"{min(reverse):.1f} to {max(reverse):.1f} % with reverse return"
    )


def of_the_outlook() -> str:
    (low, day, high), (low_5, day_5, high_5) = (PLOTS.told(count) for count in (3, 5))
    return (
        f"on day {day:.0f}, somewhere from {low:.0f} to {high:.0f}; "
        f"after five on day {day_5:.0f}, from {low_5:.0f} to {high_5:.0f}"
    )


def of_the_bypass() -> str:
    asked = purge.flow_for(bore=quantity(51.4, "mm"), velocity=quantity(0.6, "m/s"))
    loop: dict[str, Any] = {"length": quantity(200, "m"), "bore": quantity(26.0, "mm"), "fittings_k": 4.0}
    found = friction.pressure_drop(flow=asked, **loop, **WATER)
    velocity, drop = found.velocity.m_as("m/s"), found.pressure_drop.m_as("kPa")
    return f"asks for {asked.m_as('L/s'):.2f} L/s, which is {velocity:.1f} m/s and {drop:.0f} kPa"


def of_the_pump() -> str:
    found = heat.pumping_power(
        flow=quantity(0.788, "L/s"),
        pressure_drop=quantity(57.7, "kPa"),
        efficiency=0.3,
        heating=quantity(12, "kW"),
        run_time=quantity(2400, "hour"),
    )
    power, energy = found.electric.m_as("W"), found.energy.m_as("kWh")
    return f"take {power:.0f} W: {100 * found.share:.1f} % of 12 kW, {energy:.0f} kWh in 2400 h"


def of_the_energy() -> str:
    held, full = quantity(167, "L"), quantity(7.5, "bar")
    give = elastic.compliance(bore_to_wall=8.81, wall_modulus=quantity(900, "MPa"), water_modulus=quantity(2092, "MPa"))
    water = stress.stored_energy(volume=held, pressure=full, compliance=give).m_as("kJ")
    air = stress.stored_gas_energy(volume=held, pressure=full).m_as("kJ")
    return f"hold {water:.1f} kJ full of water and {air:.0f} kJ full of air"


def of_the_curves() -> str:
    near, far = from_crc(Base.ETHYLENE_GLYCOL), from_crc(Base.ETHANOL)
    return f"within {near:.2f} K (ethylene glycol) to {far:.2f} K (ethanol) of the CRC table"


def of_the_distances() -> str:
    """Those of the tables, and the two points of the heat atlas that are stated in the test itself."""
    count = len(stated.FROST) + len(stated.PERCENT) + len(stated.VOLUME) + 2
    return f"{count} distances between curve and printed table"


@pytest.mark.parametrize("said", [
    of_leaks, of_settling, of_the_ladder, of_the_outlook, of_the_bypass, of_the_pump, of_the_energy, of_the_curves, of_the_distances,
    lambda: f"({rows_of('antifreeze')} check values",
    lambda: f"({rows_of('hydraulics')} check values)",
    lambda: f"({rows_of('pressure')} check values)",
])  # fmt: skip
def test_the_figures_of_the_text_are_those_of_the_code(said: Any) -> None:
    text, page = said(), " ".join(PAGE.split())
    assert " ".join(text.split()) in page
