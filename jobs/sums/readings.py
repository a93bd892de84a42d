"""Pasted readings into times and values: a time and a pressure to a line, as logger, phone or notebook gives them."""

from __future__ import annotations

import re
from typing import Final

from jobs.sums.errors import Mistake
from jobs.sums.parse import NotANumber, parse_number

CLOCK: Final = re.compile(r"(\d{1,2}):([0-5]\d)(?::([0-5]\d)(?:[.,]\d+)?)?")
GAPS: Final = re.compile(r"[\s;]+")  # a page's copied table has hard spaces
DAY: Final = 24 * 60.0
LONGEST_GAP: Final = 12 * 60.0  # more than this across midnight is a slip, not a pause


def parse_readings(text: str, *, at_most: int) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Minutes and values, line by line: "0 6,00", "10\\t5.94", "23:55; 5,90". A first line without digits is a heading.

    Clock times count from the first one, over midnight too. Raises `Mistake` naming the line.
    """
    rows = [(number, line.strip()) for number, line in enumerate(text.splitlines(), 1) if line.strip()]
    if rows and not any(sign.isdigit() for sign in rows[0][1]):
        rows = rows[1:]
    if not rows:
        raise Mistake("Paste the readings: a time and a pressure on each line, such as “10 5,94”.")
    if len(rows) > at_most:
        raise Mistake(f"These are {len(rows)} readings; give at most {at_most}, such as every second one.")
    pairs = [_pair(number, line) for number, line in rows]
    times, values = [time for time, _ in pairs], tuple(value for _, value in pairs)
    if len({":" in time for time in times}) > 1:
        raise Mistake("Some lines have a clock time, some minutes; use one of the two for all.")
    minutes = _from_clock(times, [number for number, _ in rows]) if ":" in times[0] else _plain(times, rows)
    return tuple(minutes), values


def _pair(number: int, line: str) -> tuple[str, float]:
    words = [word for word in GAPS.split(line) if word]
    if len(words) != 2:
        raise Mistake(
            f"Line {number}, “{line[:40]}”: put a time and a pressure on it, with a space or tab between them."
        )
    return words[0], _number(number, words[1])


def _number(number: int, word: str) -> float:
    try:
        return parse_number(word)
    except NotANumber:
        raise Mistake(f"Line {number}: “{word[:40]}” is not a number; type digits with one comma or point.") from None


def _plain(times: list[str], rows: list[tuple[int, str]]) -> list[float]:
    return [_number(number, time) for time, (number, _) in zip(times, rows, strict=True)]


def _from_clock(times: list[str], numbers: list[int]) -> list[float]:
    minutes: list[float] = []
    first = before = 0.0
    for number, time in zip(numbers, times, strict=True):
        now = _minute_of_day(number, time)
        if not minutes:
            first = before = now
        gap = (now - before) % DAY
        if gap > LONGEST_GAP:
            raise Mistake(f"Line {number}: {time} is earlier than the line before; put the readings in order.")
        before = now
        minutes.append(minutes[-1] + gap if minutes else now - first)
    return minutes


def _minute_of_day(number: int, time: str) -> float:
    found = CLOCK.fullmatch(time)
    if not found or int(found[1]) > 23:
        raise Mistake(f"Line {number}: “{time[:40]}” is not a time of day; write it like 14:05.")
    return 60.0 * int(found[1]) + int(found[2]) + int(found[3] or 0) / 60.0
