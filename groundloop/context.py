"""What every page of the desk knows: who is signed in for which firm, and the notice of the embedded default."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest


def page(request: HttpRequest) -> dict[str, Any]:
    """`member` is set by the firm's view wrapper; pages outside a firm have none."""
    return {
        "member": getattr(request, "member", None),
        "embedded": settings.EMBEDDED,
        "demo": settings.DEMO,
    }
