"""The figures of the sums against handbooks, standards and worked examples; the source stands beside each."""

from __future__ import annotations

from math import pi

import pytest
from django.test import Client

from tests.people import a_team, signed_in
from tests.sums.asking import Typed, ask, page, value

pytestmark = pytest.mark.django_db
GLYCOL, PROPYLENE = "ethylene_glycol", "propylene_glycol"
BIN: Typed = {"bin": "200", "drum": "25"}
CRC = "CRC Handbook of Chemistry and Physics, 102nd ed., concentrative properties"
ASHRAE = "ASHRAE Handbook Fundamentals 2001, freezing points of inhibited glycols"

# sum, what is typed, name of the line, figure, tolerance, source
FIGURES = [
    ("mix", {"base": GLYCOL, "volume": "600", "freezing_point": "-15", **BIN}, "strength_mass", 31.33, 0.1, ASHRAE),
    ("mix", {"base": GLYCOL, "volume": "600", "strength": "30", "basis": "mass", **BIN}, "freezing_point", -14.1, 0.05, ASHRAE),
    ("mix", {"base": "ethanol", "volume": "600", "freezing_point": "-15", **BIN}, "strength_mass", 24.554, 0.05, CRC),
    ("mix", {"base": "ethanol", "volume": "1", "volume_unit": "m³", "strength": "25", **BIN}, "strength_volume", 30.461, 0.05,
     f"{CRC}: density of the mix times mass fraction over density of ethanol"),
    ("mix", {"base": "ethanol", "volume": "600", "strength": "30", "basis": "volume_final", **BIN}, "strength_mass", 24.606, 0.05,
     f"{CRC}: the same turned round"),
    ("mix", {"base": "ethanol", "volume": "600", "strength": "30", "basis": "volume_final", **BIN}, "flash_point", 29, 1.0,
     "GESTIS substance database, closed cup, 30 volume %"),
    ("mix", {"base": "methanol", "volume": "310", "strength": "18", **BIN}, "concentrate", 68.33, 0.1, f"mass balance, {CRC}"),
    ("mix", {"base": "methanol", "volume": "310", "strength": "18", **BIN}, "water", 246.89, 0.1, f"mass balance, {CRC}"),
    ("mix", {"base": "glycerol", "volume": "250", "strength": "32", **BIN}, "contraction", 1.74, 0.15, f"mass balance, {CRC}"),
    ("mix", {"base": GLYCOL, "volume": "660", "strength": "30", "bin": "165", "drum": "25"}, "bins", 4, 0, "660 / 165, exact"),
    ("correction", {"base": "methanol", "volume": "600", "measured": "15", "strength": "20"}, "drain", 39.58, 0.15,
     f"mass balance at constant volume, {CRC}"),
    ("correction", {"base": "methanol", "volume": "600", "measured": "15", "strength": "20"}, "add", 43.09, 0.15,
     f"mass balance at constant volume, {CRC}"),
    ("correction", {"base": "methanol", "volume": "600", "measured": "15", "strength": "20"}, "freezing_point", -15.02, 0.25, CRC),
    ("refractometer", {"base": GLYCOL, "reading": "18", "reading_unit": "°Bx"}, "mass", 28.04, 0.1,
     f"ICUMSA 1974 sucrose scale, then refractive index of {CRC}"),
    ("refractometer", {"base": GLYCOL, "reading": "18", "reading_unit": "°Bx"}, "freezing_point", -12.72, 0.1, ASHRAE),
    ("refractometer", {"base": PROPYLENE, "reading": "18", "reading_unit": "°Bx"}, "mass", 24.6, 0.1,
     "ICUMSA 1974, then MacBeth and Thompson 1951 brought to 20 °C"),
    ("refractometer", {"base": GLYCOL, "reading": "1.3728", "reading_unit": "nD"}, "mass", 40, 0.1, CRC),
    ("refractometer", {"base": "ethanol", "reading": "963.2", "reading_unit": "kg/m³"}, "mass", 24, 0.2, CRC),
    ("refractometer", {"base": "ethanol", "reading": "0.9632", "reading_unit": "g/cm³"}, "freezing_point", -14.47, 0.2, CRC),
    ("pipe-volume", {"pipe": "PE100-32x3", "length": "200"}, "total", 106.19, 0.011, "ISO 4427-2 wall; geometry"),
    ("pipe-volume", {"pipe": "PE100-32x3", "length": "200"}, "bore", 26.0, 1e-6, "ISO 4427-2 wall; geometry"),
    ("pipe-volume", {"pipe": "own", "od": "40", "wall": "3.7", "length": "1"}, "per_metre", 0.83469, 0.0005, "pi D²/4, exact"),
    ("pipe-volume", {"pipe": "own", "od": "1.660", "od_unit": "in", "wall": "0.151", "wall_unit": "in", "length": "1"},
     "per_metre", 0.934, 0.001, "ASTM D3035, 1 1/4 in DR 11: bore 34.49 mm"),
    ("purge", {"pipe": "PE100-32x3", "length": "200"}, "flow", 19.1, 0.1, "0.6 m/s of UFGS-15741N times the bore's area"),
    ("purge", {"pipe": "PE100-63x5.8", "length": "200"}, "flow", 74.7, 0.4, "0.6 m/s of UFGS-15741N times the bore's area"),
    ("purge", {"pipe": "PE100-40x3.7", "length": "200"}, "clearing", 0.608, 0.002,
     "pumping-station handbook: (0.825 + 0.25) sqrt(g D) in a vertical leg"),
    ("purge", {"pipe": "PE100-32x3", "length": "200", "count": "4", "header_pipe": "PE100-63x5.8", "header_length": "60"},
     "header_velocity", 0.154, 0.002, "continuity: 0.6 m/s times (26.0 / 51.4)²"),
    ("air-check", {"volume": "333.9", "pipe": "PE100-40x3.7", "start": "0", "end": "345", "end_unit": "kPa",
                   "bin_diameter": "25", "bin_fall": "5"}, "litres_in", 2.454, 0.01, "geometry: pi/4 25² × 5 cm³"),
    ("air-check", {"volume": "333.9", "pipe": "PE100-40x3.7", "start": "0", "end": "345", "end_unit": "kPa",
                   "bin_diameter": "25", "bin_fall": "5"}, "air", 1.65, 0.02, "Boyle, less compliance of water and wall of 900 MPa"),
    ("heat", {"base": PROPYLENE, "strength": "25", "flow": "0.788", "flow_unit": "L/s", "t_in": "0", "t_out": "-3",
              "heating": "12", "cop": "4.6"}, "expected", 9.391, 0.001, "energy balance: 12 (1 - 1 / 4.6)"),
    ("heat", {"base": PROPYLENE, "strength": "25", "flow": "0.788", "flow_unit": "L/s", "t_in": "0", "t_out": "-3"},
     "doubt", 8.8, 0.1, "JCGM 100:2008: 2 %, 2 × 0.15 K on 3 K, 2 %, coverage 2"),
    ("heat", {"base": "water", "flow": "40", "t_in": "6.5", "t_out": "3.5", "heating": "12", "cop": "4", "spread": "3"},
     "flow_wanted", 60 * 0.7135, 0.12, "9 kW at 3 K with water at 5 °C, IAPWS-95 at 3 bar"),
]  # fmt: skip


@pytest.fixture
def client() -> Client:
    return signed_in(a_team().crew)


@pytest.mark.parametrize("row", FIGURES, ids=lambda row: f"{row[0]} {row[2]}")
def test_figure(client: Client, row: tuple[str, Typed, str, float, float, str]) -> None:
    slug, typed, name, figure, tolerance, source = row
    assert value(ask(client, slug, typed), name) == pytest.approx(figure, abs=max(tolerance, 1e-9)), source


def test_bins_and_drums_hold_what_is_poured(client: Client) -> None:
    """Mass and volume are kept: bins add up to the recipe, the drums to the concentrate and what is left over."""
    answer = ask(client, "mix", {"base": GLYCOL, "volume": "600", "strength": "31.4", "bin": "180", "drum": "25"})
    rows = answer["tables"][0]["rows"]
    assert rows[0][0] == "1 to 3, each"
    poured = 3 * float(rows[0][2]) + float(rows[1][2])
    assert poured == pytest.approx(value(answer, "concentrate"), abs=0.2)
    assert 25 * value(answer, "drums") - value(answer, "left_over") == pytest.approx(value(answer, "concentrate"))


def test_water_left_in_the_pipes_is_mixed_against(client: Client) -> None:
    """Own mass balance: what is poured and the water left give the target. Densities of the handbook named in `CRC`."""
    typed = {"base": "methanol", "volume": "600", "strength": "20", "residual_water": "60", **BIN}
    answer = ask(client, "mix", typed)
    density_poured, water, methanol = 963.15, 998.2, 791.4  # at 22.3 mass % (between its rows), 0, and pure, 20 °C
    poured = value(answer, "poured_mass") / 100
    mass = 540 * density_poured
    assert mass * poured / (mass + 60 * water) == pytest.approx(0.20, abs=2e-5)
    assert value(answer, "concentrate") * methanol == pytest.approx(mass * poured, rel=5e-4)


def test_mean_wall_lies_between_least_and_greatest(client: Client) -> None:
    """ISO 4427-2 for 63 SDR 11: wall 5.8 to 6.5 mm."""
    answer = ask(client, "pipe-volume", {"pipe": "PE100-63x5.8", "length": "100"})
    line = next(each for each in answer["lines"] if each["name"] == "mean_wall")
    least, greatest = (1e5 * pi / 4 * (0.063 - 2 * wall / 1e3) ** 2 for wall in (6.5, 5.8))
    assert line["value"] + line["band"] == pytest.approx(greatest)
    assert line["value"] - line["band"] == pytest.approx(least, rel=0.001)


def test_two_sizes_and_what_else_is_filled_add_up(client: Client) -> None:
    """Geometry: 4 × 160 m of 32.6 mm, 2 × 20 m of 40.8 mm and 13 L are 599.5 L."""
    typed = {
        "pipe": "PE100-40x3.7", "length": "160", "count": "4", "other": "13", "second_pipe": "PE100-50x4.6",
        "second_length": "20", "second_count": "2",
    }  # fmt: skip
    expected = 1e3 * pi / 4 * (4 * 160 * 0.0326**2 + 2 * 20 * 0.0408**2) + 13
    assert value(ask(client, "pipe-volume", typed), "total") == pytest.approx(expected)


@pytest.mark.parametrize("text", ["2.5", "2,5"])
def test_comma_and_point_are_one(client: Client, text: str) -> None:
    """At 2.5 m of 26.0 mm: 1.327 L."""
    line = page(client, "pipe-volume", {"pipe": "PE100-32x3", "length": text}).context["answer"].lines[0]
    assert line.value == pytest.approx(2500 * pi / 4 * 0.026**2)


@pytest.mark.parametrize(
    ("slug", "metric", "other"),
    [
        ("pipe-volume", {"length": "100"}, {"length": "328.0839895", "length_unit": "ft"}),
        ("mix", {"volume": "600", "strength": "30"}, {"volume": "158.50323", "volume_unit": "gal", "strength": "30"}),
        ("mix", {"volume": "600", "freezing_point": "-15"}, {"volume": "0,6", "volume_unit": "m³", "freezing_point": "5", "freezing_point_unit": "°F"}),
        (
            "heat",
            {"base": "water", "flow": "60", "t_in": "10", "t_out": "5"},
            {"base": "water", "flow": "15.850323", "flow_unit": "gpm", "t_in": "50", "t_in_unit": "°F", "t_out": "41", "t_out_unit": "°F",
             "thermometer_accuracy": "0.27", "thermometer_accuracy_unit": "°F"},
        ),
        (
            "air-check",
            {"volume": "334", "start": "1", "end": "4", "litres_in": "2"},
            {"volume": "334", "start": "14.5037738", "start_unit": "psi", "end": "400", "end_unit": "kPa", "litres_in": "2"},
        ),
    ],
)  # fmt: skip
def test_units_are_only_another_way_to_say_it(client: Client, slug: str, metric: Typed, other: Typed) -> None:
    """Factors of the units themselves: 0.3048 m, 3.785411784 L, 6.894757 kPa, 5/9 K (exact definitions)."""
    first, second = ask(client, slug, metric), ask(client, slug, other)
    for one, two in zip(first["lines"], second["lines"], strict=True):
        assert one["value"] == pytest.approx(two["value"], rel=1e-6, abs=1e-6), one["name"]
