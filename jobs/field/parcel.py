"""The later modules of the phone as one parcel: together they weigh a fifth less on the wire than one by one."""

from __future__ import annotations

import gzip
from functools import lru_cache
from hashlib import sha256
from pathlib import Path
from typing import Final

import brotli
from django.conf import settings
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.templatetags.static import static

from jobs.field import assets

# Stands between two modules, and in none of them.
GAP: Final = "\f"


def packed() -> bytes:
    """Each module under a line with its address."""
    parts = [f"{static(path)}\n{_text(path)}" for path in assets.LATER]
    if any(GAP in part for part in parts):
        raise ValueError("A module holds the sign that parts the modules of the parcel.")
    return GAP.join(parts).encode()


def seal(body: bytes) -> str:
    """Names these very bytes: the worker takes no others."""
    return sha256(body).hexdigest()


@lru_cache(maxsize=8)
def pressed(body: bytes, encoding: str) -> bytes:
    """As small as it gets: pressed once in the life of a process, fetched by every phone."""
    if encoding == "br":
        return bytes(brotli.compress(body, quality=11))
    return gzip.compress(body, 9, mtime=0)


def _text(path: str) -> str:
    """What is served for it: the gathered file, or the source where nothing is gathered."""
    name = static(path).removeprefix(settings.STATIC_URL)
    if staticfiles_storage.exists(name):
        with staticfiles_storage.open(name) as file:
            return bytes(file.read()).decode()
    found = finders.find(path)
    if not found:
        raise FileNotFoundError(path)
    return Path(found).read_text(encoding="utf-8")
