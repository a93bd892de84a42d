"""The ladder as a table of times: levels, quiet hours, weekends, summer time."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.reminders import trade

LONDON = ZoneInfo("Europe/London")
# Thursday 19 March 2026, 10:45; the clocks go forward on Sunday 29 March.
ENDS = datetime(2026, 3, 19, 10, 45, tzinfo=UTC)


def local(day: int, hour: int = 8, minute: int = 0, month: int = 3) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=LONDON)


@pytest.mark.parametrize(
    ("now", "level", "days"),
    [
        (local(17), None, None),  # two days ahead
        (local(18), 0, -1),  # the day before: a note to the crew
        (local(19, 7, 59), None, None),  # still quiet
        (local(19), 1, 0),  # due at eight, though the run ends at 10:45
        (local(20), 2, 1),
        (local(20, 19, 59), 2, 1),
        (local(20, 20, 0), None, None),  # quiet from eight in the evening
        (local(21), None, None),  # Saturday
        (local(22, 12), None, None),  # Sunday
        (local(23), 4, 4),  # Monday, four days: the manager too
        (local(28), None, None),  # Saturday
        (local(30), 5, 11),  # Monday after the clocks changed
    ],
)
def test_what_is_said_when(now: datetime, level: int | None, days: int | None) -> None:
    found = trade.step(ENDS, now, LONDON)
    assert (found.level if found else None, found.days_overdue if found else None) == (level, days)


@pytest.mark.parametrize(
    ("after", "then"),
    [
        (datetime(2026, 3, 10, 9, 0, tzinfo=UTC), local(18)),
        (local(18), local(19)),
        (local(18, 7), local(18)),
        (local(20, 8, 1), local(23)),  # over the weekend
        (local(27), local(30)),  # over the change to summer time: an hour earlier by UTC
    ],
)
def test_when_it_is_time_again(after: datetime, then: datetime) -> None:
    assert trade.next_time(ENDS, after, LONDON) == then


def test_eight_oclock_stays_eight_oclock_over_the_change() -> None:
    before, after = local(27).astimezone(UTC), trade.next_time(ENDS, local(27), LONDON).astimezone(UTC)
    assert (before.hour, after.hour) == (8, 7)


def test_the_local_date_of_the_site_counts() -> None:
    """23:30 UTC is the next day in Auckland already."""
    ends = datetime(2026, 3, 18, 23, 30, tzinfo=UTC)
    auckland = ZoneInfo("Pacific/Auckland")
    assert trade.overdue(ends, datetime(2026, 3, 19, 1, 0, tzinfo=UTC), auckland) == 0
    assert trade.overdue(ends, datetime(2026, 3, 19, 1, 0, tzinfo=UTC), LONDON) == 1


def test_a_name_that_is_no_zone_is_utc() -> None:
    for name in ("Middle/Earth", "", "../etc/passwd"):
        assert trade.zone_of(name) == ZoneInfo("UTC")


@pytest.mark.parametrize(
    ("days", "words"),
    [(-1, "is due tomorrow"), (0, "is due today"), (1, "is 1 day overdue"), (12, "is 12 days overdue")],
)
def test_words(days: int, words: str) -> None:
    assert trade.said(days) == words


ZONES = st.sampled_from(
    ["Europe/London", "America/St_Johns", "Pacific/Auckland", "America/Santiago", "Asia/Kathmandu", "UTC"]
)
TIMES = st.datetimes(datetime(2025, 1, 1), datetime(2027, 12, 31), timezones=st.just(UTC))


@given(ends=TIMES, after=TIMES, name=ZONES)
def test_the_next_time_is_a_time_to_speak(ends: datetime, after: datetime, name: str) -> None:
    zone = ZoneInfo(name)
    then = trade.next_time(ends, after, zone)
    found = trade.step(ends, then, zone)
    assert then > after
    assert found is not None
    assert found.local_date.weekday() < 5
    assert found.local_date >= ends.astimezone(zone).date() - timedelta(days=1)
    assert then - max(after, ends - timedelta(days=2)) < timedelta(days=5)


@given(ends=TIMES, after=TIMES, name=ZONES)
def test_no_working_day_is_left_out(ends: datetime, after: datetime, name: str) -> None:
    """Between two reminders lies one night, or a weekend."""
    zone = ZoneInfo(name)
    first = trade.next_time(ends, after, zone)
    second = trade.next_time(ends, first, zone)
    gap = (second.astimezone(zone).date() - first.astimezone(zone).date()).days
    assert gap == (3 if first.astimezone(zone).weekday() == 4 else 1)


def test_levels_only_rise() -> None:
    levels = [trade.level_of(days) for days in range(-5, 40)]
    assert [level for level in levels if level is None] == [None] * 4
    rising = [level for level in levels if level is not None]
    assert rising == sorted(rising)
    assert rising[0] == 0
    assert rising[-1] == 5


def test_days_are_dates_not_spans() -> None:
    """An hour after midnight is a day later."""
    assert trade.overdue(local(19, 23, 30), local(20, 0, 30), LONDON) == 1
    assert (local(20).date() - date(2026, 3, 19)).days == 1
