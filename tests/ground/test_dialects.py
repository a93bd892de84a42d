"""Loop lists as spreadsheets of different countries, survey tools and people write them."""

from __future__ import annotations

import csv
import io
import itertools
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from jobs.firms.scope import scope
from jobs.ground.errors import ImportRefused
from jobs.ground.importer import COLUMNS, MOST_BYTES, MOST_ROWS, Known, LoopList, LoopRow, read, text_of
from jobs.ground.models import Loop
from jobs.planning.models import Job
from tests import build
from tests.people import a_team, signed_in

KNOWN = Known(boreholes=frozenset({"B1", "B2"}), sections=frozenset({"S1"}))
ROW = {"loop": "L1", "port": "3", "borehole": "B2", "outside diameter": "40", "wall": "3.7", "array length": "200.5"}
NUMERIC = {column.name: column for column in COLUMNS if column.high}


def one(text: str, known: Known = KNOWN) -> LoopRow:
    found = read(text, known)
    assert (found.problems, [row.errors for row in found.rows]) == ([], [[]])
    return found.loops()[0]


def written(header: list[str], cells: list[str], **dialect: Any) -> str:
    """By Python's own writer of CSV (RFC 4180), as a spreadsheet would."""
    out = io.StringIO()
    writer = csv.writer(out, **dialect)
    writer.writerow(header)
    writer.writerow(cells)
    return out.getvalue()


LINES = ("\n", "\r\n", "\r")
QUOTES = (csv.QUOTE_MINIMAL, csv.QUOTE_ALL, csv.QUOTE_NONNUMERIC)


@pytest.mark.parametrize(("mark", "line", "quoting"), list(itertools.product(";\t,", LINES, QUOTES)))
def test_separator_line_end_and_quotes_do_not_matter(mark: str, line: str, quoting: Any) -> None:
    made = one(written(list(ROW), list(ROW.values()), delimiter=mark, lineterminator=line, quoting=quoting))
    assert (made.code, made.port, made.borehole, made.od_mm, made.wall_mm, made.array_m) == (
        "L1",
        3,
        "B2",
        40,
        3.7,
        200.5,
    )


@pytest.mark.parametrize("order", list(itertools.permutations(range(4)))[::5])
def test_columns_stand_in_any_order(order: tuple[int, ...]) -> None:
    names, cells = ["wall", "od", "array", "lateral"], ["3,7", "40", "200", "12,5"]
    made = one(";".join(names[n] for n in order) + "\n" + ";".join(cells[n] for n in order))
    assert (made.wall_mm, made.od_mm, made.array_m, made.lateral_m) == (3.7, 40, 200, 12.5)


WORDS = [(word, column) for column in COLUMNS for word in (column.name, *column.words)]


@pytest.mark.parametrize(("word", "column"), WORDS, ids=[word for word, _ in WORDS])
def test_every_word_for_a_column_is_understood_however_it_is_spelt(word: str, column: Any) -> None:
    spellings = [word.upper(), word.title(), word.replace(" ", "_"), f" {word} "]
    spellings += [f"{word} ({column.unit})", f"{word}_{column.unit}", f"{word} [{column.unit}]"] if column.unit else []
    rest = {name: text for name, text in (("od", "40"), ("wall", "3.7"), ("array", "200")) if not _same(name, column)}
    value = {"loop": "L7", "kind": "trench", "borehole": "B1", "material": "PE 80", "section": "S1"}.get(
        column.name, "7"
    )
    value = {"outside diameter": "40", "wall": "3"}.get(column.name, value)
    for spelling in spellings:
        found = read(";".join([spelling, *rest]) + "\n" + ";".join([value, *rest.values()]), KNOWN)
        assert found.problems == [], spelling
        text = str(found.rows[0].loop) + "".join(found.rows[0].errors)
        assert value.rstrip(".0") in text, spelling


def _same(name: str, column: Any) -> bool:
    return name in (column.name, *column.words)


@pytest.mark.parametrize(
    ("typed", "metres"),
    [
        ("200", 200),
        ("200,0", 200),
        ("200.0", 200),
        (" 200 ", 200),
        ("1 200", 1200),
        ("1'200", 1200),
        ("\u00a0200", 200),
        ("+200", 200),
    ],
)
def test_a_length_is_read_as_it_is_typed_in_any_country(typed: str, metres: float) -> None:
    assert one(f"od;wall;array\n40;3,7;{typed}").array_m == metres


@pytest.mark.parametrize("name", sorted(NUMERIC))
@pytest.mark.parametrize("typed", ["x", "-1", "1e3", "9" * 12, "1,200.5", "٣", "12 m"])
def test_a_wrong_number_is_one_sentence_that_names_its_column(name: str, typed: str) -> None:
    cells = {"outside diameter": "40", "wall": "3.7", "array length": "200", name: typed}
    if name == "depth":
        cells["borehole"] = "B1"
    row = read(";".join(cells) + "\n" + ";".join(cells.values()), KNOWN).rows[0]
    assert len(row.errors) == 1
    assert name in row.errors[0].lower()
    assert row.errors[0].endswith((".", "2,5."))
    assert row.loop is None
    assert typed in row.cells


@pytest.mark.parametrize("name", sorted(NUMERIC))
def test_both_ends_of_a_range_are_taken(name: str) -> None:
    column = NUMERIC[name]
    for edge in (column.low, column.high):
        cells = {"outside diameter": "60", "wall": "1", "array length": "200", name: f"{edge:g}"}
        row = read(";".join(cells) + "\n" + ";".join(cells.values()), KNOWN).rows[0]
        assert all("must be from" not in error for error in row.errors)


@pytest.mark.parametrize(
    ("code", "said"),
    [("L0", "no loop code"), ("L1٣", "no loop code"), ("L１", "no loop code"), ("L1000", "no loop code"), ("Loop", "no loop code"),
     ("1.5", "no loop code"), ("L1;", "more cells")],
)  # fmt: skip
def test_a_code_that_the_phone_could_not_name_is_refused(code: str, said: str) -> None:
    """Codes travel to the phone and back; digits of other scripts would be other codes there."""
    row = read(f"loop;od;wall;array\n{code};40;3.7;200", KNOWN).rows[0]
    assert any(said in error for error in row.errors)


@pytest.mark.parametrize(
    ("typed", "code"), [("l 12", "L12"), ("12", "L12"), ("012", "L12"), (" L12 ", "L12"), ("l12", "L12")]
)
def test_a_code_is_read_as_people_write_it(typed: str, code: str) -> None:
    assert one(f"loop;od;wall;array\n{typed};40;3.7;200").code == code


ENCODED = "loop;od;wall;array;material\nL1;40;3,7;200;PE-Xa größer"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252"])
def test_a_file_of_any_usual_encoding_is_read(encoding: str) -> None:
    assert one(text_of(ENCODED.encode(encoding))).material == "PE-Xa größer"


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"PK\x03\x04rest", "save the sheet as CSV"),
        (ENCODED.encode("utf-16"), "save the sheet as CSV"),
        (b"a" * (MOST_BYTES + 1), "too large"),
        (b"\xd0\xcf\x11\xe0\x00\x00", "save the sheet as CSV"),
    ],
    ids=["xlsx", "utf-16", "huge", "xls"],
)
def test_a_file_that_is_no_list_is_told_what_to_do(data: bytes, said: str) -> None:
    with pytest.raises(ImportRefused, match=said):
        text_of(data)


def test_as_many_rows_as_allowed_and_not_one_more() -> None:
    known = Known()
    rows = [f"L{n};40;3.7;200" for n in range(1, MOST_ROWS + 2)]
    full = read("\n".join(["loop;od;wall;array", *rows[:MOST_ROWS]]), known)
    assert full.problems == []
    over = read("\n".join(["loop;od;wall;array", *rows]), known)
    assert over.problems == [f"The list has more than {MOST_ROWS} rows; import it in parts."]
    assert over.rows == []


def test_line_numbers_are_those_of_the_paste() -> None:
    found = read("\n\nod;wall;array\n\n40;3.7;200\n;;\n40;3.7;far\n", KNOWN)
    assert [(row.line, bool(row.errors)) for row in found.rows] == [(5, False), (7, True)]


@given(st.text(max_size=300))
def test_any_paste_is_a_list_or_sentences(text: str) -> None:
    found: LoopList = read(text, KNOWN)
    said = [*found.problems, *(error for row in found.rows for error in row.errors)]
    assert found.is_right or said
    assert all(sentence.rstrip().endswith((".", "2,5.")) for sentence in said)


@pytest.mark.django_db
def test_what_was_pasted_comes_back_on_the_page_as_it_was() -> None:
    team = a_team()
    job: Job = build.a_job(team.firm, with_array=False)
    desk: Client = signed_in(team.scheduler)
    text = "od;wall;array;note\n40;3,7;fär;<b>“x”</b>"
    answer = desk.post(reverse("ground:import", args=[job.pk]), {"text": text, "take": "1"})
    assert answer.context["form"]["text"].value() == text
    assert "&lt;b&gt;“x”&lt;/b&gt;" in answer.content.decode()
    with scope(team.firm.pk):
        assert not Loop.objects.exists()


@pytest.mark.django_db
def test_a_place_taken_between_check_and_take_is_told_and_nothing_is_taken() -> None:
    team = a_team()
    job = build.a_job(team.firm, laterals_m=(16.0,))
    desk = signed_in(team.scheduler)
    text = "loop;port;od;wall;array\nL2;2;40;3,7;200\nL3;3;40;3,7;200"
    url = reverse("ground:import", args=[job.pk])
    assert "All 2 rows are right" in desk.post(url, {"text": text}).content.decode()
    loop = {
        "code": "L3",
        "port": "3",
        "kind": "trench",
        "pipe": "40|3.7|PE 100",
        "array_m": "99",
        "lateral_m": "0",
        "fittings_k": "1",
    }
    assert desk.post(reverse("ground:loop-new", args=[job.pk]), loop).status_code == 302
    page = desk.post(url, {"text": text, "take": "1"}).content.decode()
    assert "L3 stands already on this job" in page
    with scope(team.firm.pk):
        assert sorted(Loop.objects.values_list("code", flat=True)) == ["L1", "L3"]
