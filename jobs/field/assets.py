"""What the phone keeps: the files of the shell, and the build that names this very set of them."""

from __future__ import annotations

import json
from hashlib import sha256

from django.template.loader import render_to_string
from django.templatetags.static import static

# Fetched at once, side by side; the rest follows in one parcel when the first screen stands.
FIRST = (
    "field/dom.js", "field/clock.js", "field/store.js", "field/outbox.js", "field/sync.js", "field/app.js",
)  # fmt: skip
# In the order in which they press smallest: kin beside kin.
LATER = (
    "sums/calc/colour.js",
    "sums/calc/flow.js",
    "sums/calc/fluid.js",
    "sums/calc/air.js",
    "sums/calc/pressure.js",
    "field/order.js",
    "field/fold.js",
    "field/remember.js",
    "sums/calc/number.js",
    "field/parts.js",
    "field/lines.js",
    "field/picture.js",
    "field/answers.js",
    "field/source.js",
    "field/given.js",
    "field/aids.js",
    "field/here.js",
    "field/form.js",
    "field/standing.js",
    "field/entry.js",
    "field/judge_test.js",
    "field/running.js",
    "field/aside.js",
    "field/visit.js",
    "sums/calc/joint.js",
    "field/incident.js",
    "field/ports.js",
    "field/judge.js",
    "field/reckon.js",
    "field/sums.js",
)
START = "field/app.js"
STYLES = ("groundloop/tokens.css", "field/field.css")
ICON = "field/icon.svg"


def urls() -> list[str]:
    """The hashed addresses of all that is kept beside the shell itself."""
    return [*single_urls(), *(static(path) for path in LATER)]


def single_urls() -> list[str]:
    """What is fetched one by one: the first screen needs it."""
    return [static(path) for path in (*STYLES, *FIRST, ICON)]


def shell() -> str:
    """The one page of the phone. Nothing of any person is in it: everybody who uses the phone shares it."""
    return _page(build())


def build() -> str:
    """Changes whenever the shell or any of its files changes."""
    return sha256((json.dumps(urls()) + _page("")).encode()).hexdigest()[:12]


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
