"""Readings as people paste them, and a sentence that names the line where they cannot be read."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.sums.errors import Mistake
from jobs.sums.readings import parse_readings


@pytest.mark.parametrize(
    ("text", "minutes", "values"),
    [
        ("0 6,00\n10 5.94", (0, 10), (6, 5.94)),
        ("0\t6\n10\t5,94", (0, 10), (6, 5.94)),
        ("0;6\n10; 5,94", (0, 10), (6, 5.94)),
        ("minutes bar\n0 6\n\n10 5.94\n", (0, 10), (6, 5.94)),
        ("0, 6\n10, 5.94", (0, 10), (6, 5.94)),
        ("0\u00a06\n10\u00a05,94", (0, 10), (6, 5.94)),
        ("14:05 6\n14:20 5.9\n15:05 5.8", (0, 15, 60), (6, 5.9, 5.8)),
        ("23:50 6\n0:05 5.9\n00:50:30 5.8", (0, 15, 60.5), (6, 5.9, 5.8)),
        ("7.5 6\n15 5.9", (7.5, 15), (6, 5.9)),
        ("10 6\n5 5.9", (10, 5), (6, 5.9)),  # a clock that runs back is for the method to judge
    ],
)
def test_is_read(text: str, minutes: tuple[float, ...], values: tuple[float, ...]) -> None:
    times, pressures = parse_readings(text, at_most=9)
    assert times == pytest.approx(minutes)
    assert pressures == pytest.approx(values)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "Paste the readings"),
        ("minutes bar", "Paste the readings"),
        ("0 6\n10", "Line 2, “10”: put a time and a pressure on it"),
        ("0 6\n10 5.9 bar", "Line 2, “10 5.9 bar”"),
        ("0 6\n\n10 abc1", "Line 3: “abc1” is not a number"),
        ("x1 6", "Line 1: “x1” is not a number"),
        ("0 6\n10:05 5.9", "Some lines have a clock time"),
        ("10:05 6\n10:03 5.9", "Line 2: 10:03 is earlier than the line before"),
        ("25:00 6", "Line 1: “25:00” is not a time of day"),
        ("10:75 6", "Line 1: “10:75” is not a time of day"),
        ("10,5.94", "Line 1, “10,5.94”"),
        ("\n".join(f"{n} 6" for n in range(10)), "These are 10 readings; give at most 9"),
    ],
)
def test_is_told(text: str, said: str) -> None:
    with pytest.raises(Mistake, match=said.replace("?", r"\?")):
        parse_readings(text, at_most=9)


@given(st.lists(st.tuples(st.integers(0, 600), st.floats(0.01, 20)), min_size=1, max_size=30))
def test_what_is_written_is_read_again(rows: list[tuple[int, float]]) -> None:
    text = "\n".join(f"{minute}\t{value:.3f}" for minute, value in rows)
    minutes, values = parse_readings(text, at_most=30)
    assert minutes == tuple(float(minute) for minute, _ in rows)
    assert values == pytest.approx([round(value, 3) for _, value in rows])


@given(st.text(alphabet="0123456789:.,; \t\nabc−-", max_size=80))
def test_any_text_is_read_or_told(text: str) -> None:
    with suppress(Mistake):
        minutes, values = parse_readings(text, at_most=30)
        assert len(minutes) == len(values) > 0


@given(st.integers(0, 1439), st.lists(st.integers(1, 700), min_size=1, max_size=20))
def test_clock_times_count_over_any_midnight(start: int, gaps: list[int]) -> None:
    at, lines, expected = start, [], [0.0]
    for gap in [0, *gaps]:
        at += gap
        lines.append(f"{at // 60 % 24}:{at % 60:02d} 6")
    for gap in gaps:
        expected.append(expected[-1] + gap)
    assert parse_readings("\n".join(lines), at_most=30)[0] == pytest.approx(expected)
