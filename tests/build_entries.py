"""Entries as a phone sends them. One story, told by the demo and checked by the tests."""

from __future__ import annotations

from groundloop.demo.story import (
    DEVICE,
    PHOTOS,
    STAGES,
    START,
    Log,
    happy_entries,
    happy_log,
    known_photos,
    n,
    photo,
    photos_of,
    send,
    tools,
    value,
)

__all__ = [
    "DEVICE",
    "PHOTOS",
    "STAGES",
    "START",
    "Log",
    "happy_entries",
    "happy_log",
    "known_photos",
    "n",
    "photo",
    "photos_of",
    "send",
    "tools",
    "value",
]
