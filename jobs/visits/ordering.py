"""Which entries stand, which are struck, and in what order they count. Pure; ported to the phone with `fold`."""

from __future__ import annotations

import re
from datetime import datetime
from typing import Any

Dict = dict[str, Any]
ZONED = re.compile(r"(Z|[+-]\d\d:\d\d)$")


def sort_out(entries: list[Dict]) -> tuple[Dict, Dict, list[str]]:
    """Those that stand by id, why others are held, those the office left out. Hold points are judged later, anew."""
    standing: Dict = {}
    held: Dict = {}
    left_out: list[str] = []
    for entry in entries:
        if entry["decision"] == "left_out":
            if entry["id"] not in left_out:
                left_out.append(entry["id"])
        elif entry["held"] and not entry["held"].startswith("hold_point:") and entry["decision"] != "taken":
            held[entry["id"]] = entry["held"]
        else:
            standing[entry["id"]] = entry
    left_out.sort()
    return standing, held, left_out


def strike(standing: Dict) -> tuple[Dict, list[str]]:
    """Which entries are superseded, by which; and those that two or more supersede. Only a correction of the same kind."""
    struck: Dict = {}
    for key in sorted(standing):
        entry = standing[key]
        target = standing.get(entry["supersedes"] or "")
        if target is not None and target["kind"] == entry["kind"] and target["id"] != entry["id"]:
            struck.setdefault(target["id"], []).append(entry["id"])
    conflicts = [key for key in sorted(struck) if len(struck[key]) > 1]
    return struck, conflicts


def in_order(standing: Dict, struck: Dict) -> list[Dict]:
    """The current entries in the order of what was observed; a correction takes the place and time of what it corrects."""
    current: list[Dict] = []
    for key in sorted(standing):
        if key not in struck:
            first = first_of(standing[key], standing)
            current.append({**standing[key], "at": first["at"], "device": first["device"], "seq": first["seq"]})
    current.sort(key=lambda entry: (moment(entry["at"]) or 0.0, entry["device"], entry["seq"], entry["id"]))
    return current


def first_of(entry: Dict, standing: Dict) -> Dict:
    """Follows the chain of corrections to its first entry; stops where the chain is broken or goes round."""
    first = entry
    seen = [entry["id"]]
    while first["supersedes"] and first["supersedes"] in standing:
        following = standing[first["supersedes"]]
        if following["id"] in seen or following["kind"] != entry["kind"]:
            break
        seen.append(following["id"])
        first = following
    return first


def moment(text: Any) -> float | None:
    """Seconds since 1970 of an ISO time with its zone; None for anything else."""
    if not isinstance(text, str) or not ZONED.search(text):
        return None
    try:
        return datetime.fromisoformat(text).timestamp()
    except ValueError:
        return None


def value(entry: Dict, name: str) -> Any:
    """The bare answer; None when there is none."""
    found = entry["payload"].get(name)
    return found.get("value") if isinstance(found, dict) else None


def is_yes(entry: Dict, name: str) -> bool:
    """Answered with yes, or said not to apply."""
    found = entry["payload"].get(name)
    if not isinstance(found, dict):
        return False
    return found.get("value") is True or found.get("unknown") == "not_applicable"
