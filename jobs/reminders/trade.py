"""The ladder: on which local day who is reminded of a de-aeration run. Pure; times of the site, whatever its clock does."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

SEND_AT: Final = time(8, 0)
QUIET_FROM: Final = time(20, 0)
SATURDAY: Final = 5
# From this many days overdue on: the level. A day before is -1.
LEVELS: Final = ((-1, 0), (0, 1), (1, 2), (2, 3), (4, 4), (10, 5))
DESK_FROM: Final = 2
MANAGER_FROM: Final = 4
WORDS: Final = {
    0: "is due tomorrow",
    1: "is due today",
    2: "is overdue",
    3: "is overdue: phone the crew",
    4: "is overdue and the hand-over is at risk",
    5: "is long overdue: extend the run with a reason, or send somebody",
}


@dataclass(frozen=True)
class Step:
    """What is due on one local date. `days_overdue` is negative the day before."""

    local_date: date
    level: int
    days_overdue: int

    @property
    def tells_desk(self) -> bool:
        return self.level >= DESK_FROM

    @property
    def tells_manager(self) -> bool:
        return self.level >= MANAGER_FROM


def zone_of(name: str) -> ZoneInfo:
    """The site's time zone; UTC for a name that is none."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return ZoneInfo("UTC")


def overdue(ends_at: datetime, now: datetime, zone: ZoneInfo) -> int:
    """Whole local days since the day on which the run was to end."""
    return (now.astimezone(zone).date() - ends_at.astimezone(zone).date()).days


def level_of(days: int) -> int | None:
    """None while nothing is due."""
    found = [level for least, level in LEVELS if days >= least]
    return found[-1] if found else None


def step(ends_at: datetime, now: datetime, zone: ZoneInfo) -> Step | None:
    """What to say now; None outside the hours, on weekends (they roll to Monday) and before anything is due."""
    local = now.astimezone(zone)
    days = overdue(ends_at, now, zone)
    level = level_of(days)
    if level is None or local.weekday() >= SATURDAY or not SEND_AT <= local.time().replace(tzinfo=None) < QUIET_FROM:
        return None
    return Step(local.date(), level, days)


def next_time(ends_at: datetime, after: datetime, zone: ZoneInfo) -> datetime:
    """The next eight o'clock of a working day at the site, after `after` and not before the day ahead of the end."""
    day = max(after.astimezone(zone).date(), ends_at.astimezone(zone).date() - timedelta(days=1))
    while True:
        at = datetime.combine(day, SEND_AT, tzinfo=zone)
        if at > after and day.weekday() < SATURDAY:
            return at
        day += timedelta(days=1)


def said(days: int) -> str:
    """`is 3 days overdue`, in words for a subject line."""
    if days < 0:
        return "is due tomorrow" if days == -1 else f"is due in {-days} days"
    if days == 0:
        return "is due today"
    return f"is {days} day{'s' if days > 1 else ''} overdue"
