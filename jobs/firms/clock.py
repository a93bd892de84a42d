"""The fronts' clock. Views, API, tasks and commands read it and hand it on as `at=`; nobody else does."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.utils import timezone


def now() -> datetime:
    """The time in UTC; in demo and tests the file named by CLOCK_FILE may say another."""
    if settings.CLOCK_FILE:
        return datetime.fromisoformat(Path(settings.CLOCK_FILE).read_text(encoding="ascii").strip())
    return timezone.now()
