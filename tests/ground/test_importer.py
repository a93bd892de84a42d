from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.ground.errors import ImportRefused
from jobs.ground.importer import COLUMNS, Known, LoopRow, read, text_of

KNOWN = Known(boreholes=frozenset({"B1", "B2"}), sections=frozenset({"S1"}))
HEADING = "Loop;Port;Kind;Borehole;Outside diameter (mm);Wall (mm);Array length (m);Lateral (m);Section"


def loops(text: str, known: Known = KNOWN) -> list[LoopRow]:
    found = read(text, known)
    assert found.problems == []
    assert [row.errors for row in found.rows] == [[] for _ in found.rows]
    return found.loops()


def test_a_list_as_it_comes_from_a_spreadsheet() -> None:
    text = f"\ufeff{HEADING}\r\nL1;1;borehole;B1;40;3,7;200;16,5;S1\r\nL2;2;borehole;B2;40;3,7;200;24;\r\n\r\n"
    one, two = loops(text)
    assert (one.code, one.port, one.borehole, one.section) == ("L1", 1, "B1", "S1")
    assert (one.od_mm, one.wall_mm, one.array_m, one.lateral_m) == (40, 3.7, 200, 16.5)
    assert (two.lateral_m, two.section, two.fittings_k, two.material) == (24, "", 6.0, "PE 100")


@pytest.mark.parametrize("separator", [";", "\t", ","])
def test_any_of_three_separators(separator: str) -> None:
    text = separator.join(["od", "wall", "array m"]) + "\n" + separator.join(["40", "3.7", "200"])
    assert loops(text)[0].array_m == 200


def test_empty_places_are_filled_in_order() -> None:
    known = Known(loops=frozenset({"L1"}), ports=frozenset({1}), boreholes=frozenset({"B1"}))
    made = loops("borehole;od;wall;array\nB1;40;3.7;200\n;32;3;300", known)
    assert [(row.code, row.port, row.kind) for row in made] == [("L2", 2, "borehole"), ("L3", 3, "trench")]


def test_numbers_alone_are_codes_too() -> None:
    assert [row.code for row in loops("code;od;wall;array\n3;40;3.7;200\nl 4;40;3.7;200")] == ["L3", "L4"]


def test_other_columns_are_left_alone() -> None:
    assert loops("Loop;Colour of tag;od;wall;array\nL1;red;40;3.7;200")[0].code == "L1"


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("L1;1;;B1;40;3,7;;16;", "The array length is missing."),
        ("L1;1;;B1;40;3,7;long;16;", "Array length: “long” is not a number"),
        ("L1;1;;B1;40;3,7;2000;16;", "The array length of 2000 m must be from 1 to 1500 m."),
        ("L1;1;;B1;40;25;200;16;", "The wall must be less than half of the outside diameter."),
        ("L1;1,5;;B1;40;3,7;200;16;", "The port must be a whole number."),
        ("L1;1;pond;B1;40;3,7;200;16;", "The kind must be borehole or trench."),
        ("loop one;1;;B1;40;3,7;200;16;", "is no loop code"),
        ("L1;1;;hole;40;3,7;200;16;", "is no borehole code"),
        ("L1;1;;B9;40;3,7;200;16;", "B9 is new to this job; give its depth."),
        ("L1;1;;B1;40;3,7;200;16;S9", "There is no section S9 on this job"),
        ("L1;1;;B1;40;3,7;200;16;S1;more", "more cells than headings"),
    ],
)
def test_each_fault_is_one_sentence_at_its_row(row: str, said: str) -> None:
    found = read(f"{HEADING}\nL7;7;;B2;40;3,7;200;16;S1\n{row}", KNOWN)
    assert found.rows[0].errors == []
    assert len(found.rows[1].errors) == 1
    assert said in found.rows[1].errors[0]
    assert found.rows[1].line == 3
    with pytest.raises(ImportRefused, match="Nothing was imported"):
        found.loops()


def test_codes_and_ports_are_taken_once() -> None:
    found = read("loop;port;od;wall;array\nL1;1;40;3.7;200\nL1;1;40;3.7;200", KNOWN)
    assert found.rows[1].errors == [
        "L1 stands already further up; give this loop another code.",
        "Port 1 is taken; put this loop on another port.",
    ]
    taken = read("loop;od;wall;array\nL1;40;3.7;200", Known(loops=frozenset({"L1"})))
    assert "on this job" in taken.rows[0].errors[0]
    beyond = read("port;od;wall;array\n9;40;3.7;200", Known(ports_of_manifold=4))
    assert beyond.rows[0].errors == ["The manifold has 4 ports; there is no port 9."]


def test_a_new_borehole_needs_its_depth_once() -> None:
    made = loops("borehole;depth m;od;wall;array\nB7;100;40;3.7;200\nB7;;40;3.7;200")
    assert [(row.borehole, row.depth_m) for row in made] == [("B7", 100), ("B7", None)]


@pytest.mark.parametrize(
    ("heading", "said"),
    [
        ("loop;od;wall", "There is no column “array length”"),
        ("od;wall;array (ft)", "is in ft; give it in m."),
        ("od (in);wall;array", "is in in; give it in mm."),
        ("od;diameter;wall;array", "stands twice"),
        ("", "Paste the list"),
    ],
)
def test_a_wrong_heading_is_told(heading: str, said: str) -> None:
    found = read(f"{heading}\n" if heading else "", KNOWN)
    assert any(said in problem for problem in found.problems)
    assert not found.is_right


def test_a_decimal_comma_between_commas_is_seen() -> None:
    found = read("od,wall,array\n40,3,7,200", KNOWN)
    assert "more cells than headings" in found.rows[0].errors[0]


def test_a_list_without_rows_or_with_too_many() -> None:
    assert "no loop below" in read("od;wall;array\n", KNOWN).problems[0]
    assert "more than 300" in read("od;wall;array\n" + "40;3.7;200\n" * 301, KNOWN).problems[0]
    assert "too long" in read("x" * 100_001, KNOWN).problems[0]


@pytest.mark.parametrize("data", [b"PK\x03\x04sheet", b"a;b\0c", b"x" * 200_001])
def test_a_file_that_is_no_list(data: bytes) -> None:
    with pytest.raises(ImportRefused):
        text_of(data)


def test_old_encodings_are_read() -> None:
    assert text_of("Länge;ø".encode("cp1252")) == "Länge;ø"
    assert text_of("\ufeffod".encode()) == "od"


@given(st.text(max_size=400))
def test_whatever_is_pasted_gives_a_list_or_sentences(text: str) -> None:
    found = read(text, KNOWN)
    assert found.is_right or found.problems or any(row.errors for row in found.rows)


@given(
    st.lists(
        st.lists(st.text(alphabet="L0123456789BS,.;\t\"' -−abc\n", max_size=12), min_size=3, max_size=6), max_size=8
    )
)
def test_odd_cells_under_a_right_heading(rows: list[list[str]]) -> None:
    text = "loop;od;wall;array;borehole\n" + "\n".join(";".join(row) for row in rows)
    found = read(text, KNOWN)
    for row in found.rows:
        assert (row.loop is None) == bool(row.errors)
    if found.is_right:
        made = found.loops()
        assert len({loop.code for loop in made}) == len(made)
        assert len({loop.port for loop in made}) == len(made)


lengths = st.decimals(min_value=1, max_value=1500, places=2)


@given(
    st.lists(st.tuples(lengths, st.decimals(min_value=0, max_value=1000, places=1)), min_size=1, max_size=20),
    st.sampled_from([(";", ","), (";", "."), ("\t", ","), ("\t", "."), (",", ".")]),
)
def test_what_is_written_is_read(rows: list[tuple[Any, Any]], marks: tuple[str, str]) -> None:
    separator, mark = marks
    lines = [separator.join(["od", "wall", "array length", "lateral"])]
    lines += [
        separator.join(["40", f"3{mark}7", str(a).replace(".", mark), str(b).replace(".", mark)]) for a, b in rows
    ]
    made = loops("\n".join(lines))
    assert [(loop.array_m, loop.lateral_m) for loop in made] == [(float(a), float(b)) for a, b in rows]


def test_every_column_is_a_word_of_ours() -> None:
    words = [word for column in COLUMNS for word in (column.name, *column.words)]
    assert len(words) == len(set(words))
    assert all(word == word.lower() for word in words)
