"""An approved sheet as the printed page: snapshot, personal part and links put together."""

from __future__ import annotations

import json
from collections.abc import Mapping

from django.conf import settings
from django.urls import reverse

from jobs.sheets.models import Sheet
from jobs.sheets.page import whole


def link(sheet: Sheet) -> str:
    """Where anybody can compare the hash; built from the site's own address, never from a request."""
    return settings.SITE_URL + reverse("sheets:verify", args=[sheet.pk, sheet.facts_hash])


def printed(sheet: Sheet, *, photos: Mapping[str, str]) -> whole.Sheet:
    """`photos`: sha256 -> where the picture is."""
    facts = json.loads(sheet.facts)
    return whole.sheet(facts, sheet.personal, hash=sheet.facts_hash, link=link(sheet), photos=photos)


def photo_hashes(sheet: Sheet) -> set[str]:
    """The photos that the facts name."""
    found = set()
    for entry in json.loads(sheet.facts)["entries"]:
        for field in ("photo", "gauge"):
            value = (entry["values"].get(field) or {}).get("value")
            found |= {str(one) for one in value} if isinstance(value, list) else set()
    return found
