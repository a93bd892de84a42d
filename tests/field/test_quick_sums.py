"""What the work pack carries for quick sums: small, the same for everybody, with its sources and a word for every code."""

from __future__ import annotations

import json
import re
from itertools import pairwise
from pathlib import Path

import pytest
from django.urls import reverse

from calcs.base import Base
from calcs.fluid import freezing_point, mix_density
from calcs.joint import Method, cooling
from calcs.sources import Status, limits
from calcs.units import quantity, si
from jobs.field.quick_sums import QUESTIONS, quick_sums_json
from jobs.field.words import words_json
from jobs.sums.tables import METHODS, fluid_rows, sums_json
from tests.people import Team, signed_in

SCRIPTS = Path("jobs/field/static/field")


@pytest.mark.django_db
def test_everybody_gets_the_same_whether_or_not_a_visit_is_booked(team: Team) -> None:
    packs = [signed_in(who).get(reverse("field:api-pack")).json() for who in (team.crew, team.manager, team.outsider)]

    assert packs[0]["sums"] == packs[1]["sums"] == packs[2]["sums"] == json.loads(json.dumps(quick_sums_json()))
    assert len(json.dumps(packs[0]["sums"])) < 60_000


def between(rows: list[list[float | None]], column: int, mass: float) -> float:
    """As the phone reads it: a straight line between two rows."""
    for low, high in pairwise(rows):
        (a, b), (x, y) = (low[0], high[0]), (low[column], high[column])
        assert None not in (a, b, x, y)
        if a <= mass <= b:  # type: ignore[operator]  # neither is None
            return x + (mass - a) / (b - a) * (y - x)  # type: ignore[operator]  # nor are these
    raise AssertionError(mass)


@pytest.mark.parametrize("base", [base for base in Base if base is not Base.WATER])
def test_straight_lines_between_the_rows_are_near_enough(base: Base) -> None:
    """To a fiftieth of a kelvin, far less than any instrument tells, and a tenth of a kg/m3."""
    rows = fluid_rows(base.value)
    for step in range(2, int(2 * (rows[-1][0] or 0))):
        share = quantity(step / 2, "percent")
        point = freezing_point(base=base, mass_fraction=share).value
        rho = mix_density(base=base, mass_fraction=share, temperature=quantity(20, "degC"))

        assert between(rows, 2, step / 2) == pytest.approx(si(point, "degC", "freezing point"), abs=0.02)
        assert between(rows, 4, step / 2) == pytest.approx(si(rho, "kg/m^3", "density"), abs=0.1)


def test_a_figure_from_memory_is_never_told_as_a_requirement() -> None:
    told = sums_json()["sources"]
    for method in METHODS:
        for row in limits("pressure_methods", method).values():
            if row.source.status is Status.MEMORY:
                assert f"{row.source.text} (unconfirmed figure, not a requirement)" in told[method]


def test_each_question_names_areas_that_have_a_source() -> None:
    told = sums_json()["sources"]

    assert len({question.code for question in QUESTIONS}) == len(QUESTIONS) == 8
    assert all(told[area] for question in QUESTIONS for area in question.sources)
    assert all(fluid["sources"] for fluid in sums_json()["fluids"].values())


def test_sockets_are_those_of_the_published_table() -> None:
    """ASTM F2620 as reprinted in a tool maker's manual: 40 mm is held for 60 s; 5 min more before any stress."""
    found = {row[0]: row[1:] for row in sums_json()["sockets"]}

    assert found[40.0] == [1.0, 6.0]
    assert found[32.0] == [0.5, 5.5]
    assert si(cooling(method=Method.SOCKET, od=quantity(110, "mm")).move, "min", "hold") == found[110.0][0]


def test_what_the_phone_says_by_code_stands_in_the_words() -> None:
    text = "\n".join(path.read_text(encoding="utf-8") for path in sorted(SCRIPTS.glob("*.js")))
    noted = set(re.findall(r"noted\(app, (?:\w+(?: > \w+)? \? )?\"([^\"]+)\"(?: : \"([^\"]+)\")?", text))
    codes = {code for pair in noted for code in pair if code}
    known = words_json()["notes"]

    assert len(codes) >= 18
    assert codes <= set(known)
    assert set(known) <= codes, "nobody says these"
    assert {"strength", "frost", "purge", "air", "cooling", "changeover", "tightness"} <= set(words_json())


def test_figures_in_the_words_are_given_by_the_phone() -> None:
    text = "\n".join(path.read_text(encoding="utf-8") for path in sorted(SCRIPTS.glob("judge*.js")))
    rows = [row for area in words_json().values() for row in area.values()]
    names = {name for row in rows for sentence in row for name in re.findall(r"\{(\w+)\}", sentence)}

    assert {"speed", "velocity", "gap", "litres"} <= names
    assert all(re.search(rf"\b{name}\b[,: }}]", text) for name in names)
