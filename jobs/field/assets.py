"""What the phone keeps: the files of the shell, and the build that names this very set of them."""

from __future__ import annotations

import gzip
import json
from collections.abc import Callable, Mapping
from functools import cache, lru_cache
from hashlib import sha256
from pathlib import Path
from typing import Final

import brotli
from django.conf import settings
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.template.loader import render_to_string
from django.templatetags.static import static

# Fetched at once, side by side; the rest follows in one parcel when the first screen stands.
FIRST = (
    "field/dom.js", "field/clock.js", "field/store.js", "field/outbox.js", "field/photo.js", "field/sync.js", "field/app.js",
)  # fmt: skip
CALC = ("air", "colour", "flow", "fluid", "joint", "number", "pressure")
LATER = (
    *(f"sums/calc/{name}.js" for name in CALC),
    "field/order.js",
    "field/remember.js",
    "field/fold.js",
    "field/given.js",
    "field/judge_test.js",
    "field/judge.js",
    "field/aids.js",
    "field/answers.js",
    "field/source.js",
    "field/form.js",
    "field/entry.js",
    "field/aside.js",
    "field/ports.js",
    "field/running.js",
    "field/visit.js",
    "field/incident.js",
    "field/reckon.js",
    "field/sums.js",
)
START = "field/app.js"
STYLES = ("groundloop/tokens.css", "field/field.css")
ICON = "field/icon.svg"
# The better first.
PACKERS: Final[Mapping[str, Callable[[bytes], bytes]]] = {"br": brotli.compress, "gzip": gzip.compress}


def urls() -> list[str]:
    """The hashed addresses of what is fetched file by file."""
    return [static(path) for path in (*STYLES, *FIRST, ICON)]


def later_urls() -> list[str]:
    """The hashed addresses of what comes in the parcel."""
    return [static(path) for path in LATER]


@cache
def parcel() -> str:
    """All later scripts, each ended by NUL, behind their hashed addresses: a third less on the wire than one by one."""
    names = json.dumps(later_urls(), separators=(",", ":"))
    return "".join(f"{part}\0" for part in [names, *map(_text, LATER)])


@lru_cache(maxsize=8)
def packed(text: str, encoding: str) -> bytes:
    """This text as `br` or `gzip`, or as it is; made once per process."""
    return PACKERS.get(encoding, bytes)(text.encode())


def _text(path: str) -> str:
    """What stands at this file's hashed address; where files are not gathered, what its room holds."""
    kept = static(path).removeprefix(settings.STATIC_URL)
    if staticfiles_storage.exists(kept):
        with staticfiles_storage.open(kept) as file:
            return str(file.read().decode())
    return Path(str(finders.find(path))).read_text(encoding="utf-8")


def shell() -> str:
    """The one page of the phone. Nothing of any person is in it: everybody who uses the phone shares it."""
    return _page(build())


def build() -> str:
    """Changes whenever the shell or any of its files changes."""
    return sha256((json.dumps(urls() + later_urls()) + _page("")).encode()).hexdigest()[:12]


def _page(name: str) -> str:
    return render_to_string(
        "field/shell.html",
        {
            "build": name,
            "styles": [static(path) for path in STYLES],
            "modules": [static(path) for path in FIRST],
            "start": static(START),
            "icon": static(ICON),
        },
    )
