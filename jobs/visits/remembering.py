"""What the fold keeps in mind while entries take effect: tests, joints, positions, the permit, the run; and what new pipe undoes.

Ported line by line to `field/static/field/remember.js`.
"""

from __future__ import annotations

from typing import Any

from jobs.visits.ordering import is_yes, moment, value

Dict = dict[str, Any]
DAY_S = 86400.0


def remember(entry: Dict, state: Dict, table: Dict) -> None:
    """What later entries lean on."""
    kind = entry["kind"]
    remember_trench(entry, state)
    if kind in ("pressure_test", "flush"):
        state["any_water"] = True
    if kind == "pressure_test":
        covers = value(entry, "covers")
        state["tests"][entry["subject"]] = covers if isinstance(covers, list) else []
    if kind == "position":
        state["positions"][entry["subject"]] = entry["id"]
    if kind == "joint":
        joint = joint_of(entry)
        state["joints"].append(joint)
        undo(joint, state, table)
    if kind == "deaeration_start":
        state["run"] = run_of(entry, state)
    if kind == "covered" and entry["subject"] not in state["facts"].get("released", {}):
        state["covered_early"].append(entry["subject"])


def remember_trench(entry: Dict, state: Dict) -> None:
    """The permit, when a trench was inspected, how many joints lie in it."""
    kind = entry["kind"]
    if kind in ("trench_section", "pipe_laid", "joint", "pressure_test"):
        state["any_ground"] = True
    if kind == "services_permit":
        state["permit"] = {"from": moment(value(entry, "valid_from")), "to": moment(value(entry, "valid_to"))}
    if kind in ("trench_section", "excavation_inspection"):
        state["inspected_at"][entry["subject"]] = moment(entry["at"]) or 0.0
    if kind == "trench_section":
        count = value(entry, "joints")
        state["expected_joints"][entry["subject"]] = count if isinstance(count, int | float) else 1


def joint_of(entry: Dict) -> Dict:
    """With its clocks: when it may be moved, and when it is ready for pressure."""
    made = moment(value(entry, "ended_at")) or moment(entry["at"]) or 0.0
    ready = made + minutes_of(entry, "cooling_min") * 60
    held = made + minutes_of(entry, "hold_min") * 60
    return {
        "id": entry["id"],
        "subject": entry["subject"],
        "section": value(entry, "section") or "",
        "loop": value(entry, "loop") or "",
        "made": made,
        "may_move": min(held, ready) if held > made else ready,
        "ready": ready,
        "buried": value(entry, "buried") is True,
        "good": is_yes(entry, "visual_ok"),
    }


def minutes_of(entry: Dict, name: str) -> float:
    given = value(entry, name)
    minutes = float(given) if isinstance(given, int | float) else 0.0
    unit = (entry["payload"].get(name) or {}).get("unit")
    return minutes * 60 if unit == "h" else minutes / 60 if unit == "s" else minutes


def run_of(entry: Dict, state: Dict) -> Dict:
    started = moment(value(entry, "started")) or moment(entry["at"]) or 0.0
    days = value(entry, "planned_days")
    ends = started + (days if isinstance(days, int | float) else 0) * DAY_S
    later = moment(state["given"].get("run_ends_at"))
    return {"entry": entry["id"], "started": started, "ends": ends if later is None else max(ends, later)}


def still_cooling(entry: Dict, state: Dict) -> list[str]:
    """The joints inside this test that may not be pressed yet."""
    covers = value(entry, "covers") or []
    at = moment(entry["at"]) or 0.0
    return [
        joint["subject"]
        for joint in state["joints"]
        if (joint["section"] in covers or joint["loop"] in covers) and joint["ready"] > at
    ]


def not_measured(section: str, state: Dict) -> list[str]:
    """Buried joints of a section whose position nobody took."""
    found: list[str] = []
    for joint in state["joints"]:
        name = joint["subject"]
        is_open = joint["section"] == section and joint["buried"] and joint["good"]
        if is_open and name not in state["positions"] and name not in found:
            found.append(name)
    return found


def undo(joint: Dict, state: Dict, table: Dict) -> None:
    """Pipe that is joined after its test is new pipe: what was shown for it before is void, and stays visible."""
    plan = state["plan"]
    section = joint["section"]
    touched = [joint["loop"]] if joint["loop"] else loops_in(section, plan)
    undone = strip(table["undone"]["section"], [section], joint, state)
    undone = strip(table["undone"]["loop"], touched, joint, state) or undone
    if undone:
        strip(table["undone"]["job"], [""], joint, state)


def loops_in(section: str, plan: Dict) -> list[str]:
    found = [code for code in plan["loops"] if plan["loops"][code].get("section") == section]
    if plan["header"] and plan["header_section"] == section:
        found.append("H")
    return found


def strip(facts: list[str], names: list[str], joint: Dict, state: Dict) -> bool:
    """Takes facts away that are older than the joint. True when there were any."""
    any_gone = False
    for fact in facts:
        have = state["facts"].get(fact, {})
        for name in names:
            if name in have and have[name]["at"] < joint["made"]:
                row = state["void"].setdefault(have[name]["entry"], {"by": joint["id"], "subjects": []})
                if name not in row["subjects"]:
                    row["subjects"].append(name)
                del have[name]
                any_gone = True
    return any_gone
