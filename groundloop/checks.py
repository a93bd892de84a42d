"""System checks about the set-up as a whole."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, register


@register()
def simulated_clock_is_for_demo(**_: Any) -> list[CheckMessage]:
    """A clock that can be moved would let anybody back-date a sheet."""
    if settings.CLOCK_FILE and not (settings.DEMO or getattr(settings, "TESTING", False)):
        return [Error("GROUNDLOOP_CLOCK_FILE is only for the demo and the tests; unset it.", id="groundloop.E001")]
    return []
