"""From a heap of entries to the state of a job. Pure, and the same whatever order the entries arrive in, or how often.

Ported line by line to `field/static/field/fold.js`; both run `tests/vectors/fold.json`. Therefore plain loops over plain
dicts, no classes. An entry is {id, kind, subject, payload, at, device, seq, supersedes, reason, held, decision}; `held` is
why it was held when it was received, `decision` the office's word on that (`taken`, `left_out`, empty).
"""

from __future__ import annotations

from typing import Any

from jobs.visits.ordering import in_order, is_yes, moment, sort_out, strike, value

Dict = dict[str, Any]
DAY_S = 86400.0


def fold(case: Dict, table: Dict) -> Dict:
    """`case`: {plan, entries, outcomes, given}; `table`: `procedure.TABLE`. What comes out is plain JSON.

    `outcomes` maps an entry's id, the code of a test or sample, `purge` or `run` to its verdict. `given`: {run_ends_at, final_sets,
    approved}.
    """
    standing, held, left_out = sort_out(case["entries"])
    struck, conflicts = strike(standing)
    current = in_order(standing, struck)
    state = new_state(case, held)
    state["allowed"] = overrides_in(current)
    for entry in current:
        take(entry, state, table)
    return {
        "order": [entry["id"] for entry in current],
        "superseded": struck,
        "conflicts": conflicts,
        "held": state["held"],
        "left_out": left_out,
        "void": state["void"],
        "facts": state["facts"],
        "hold_points": hold_points(state, table),
        "overrides": state["overrides"],
        "covered_early": state["covered_early"],
        "steps": steps(state, table),
        "state": reached(state, table),
        "run": state["run"],
    }


def new_state(case: Dict, held: Dict) -> Dict:
    return {
        "plan": case["plan"],
        "outcomes": case["outcomes"],
        "given": case["given"],
        "facts": {},
        "held": held,
        "void": {},
        "allowed": {},
        "overrides": [],
        "covered_early": [],
        "tests": {},
        "joints": [],
        "expected_joints": {},
        "run": {},
        "last_at": 0.0,
        "any_ground": False,
    }


def overrides_in(current: list[Dict]) -> Dict:
    """Hold point and subject (`H6:S1`, `H9`) -> the first override of it."""
    found: Dict = {}
    for entry in current:
        if entry["kind"] == "override" and entry["reason"] != "withdrawn" and entry["subject"] not in found:
            found[entry["subject"]] = entry["id"]
    return found


def take(entry: Dict, state: Dict, table: Dict) -> None:
    """One entry takes effect, unless it was withdrawn or stands past a closed hold point."""
    at = moment(entry["at"]) or 0.0
    if entry["reason"] == "withdrawn":
        return
    code = closed_at(entry, state, table)
    if code:
        state["held"][entry["id"]] = "hold_point:" + code
        return
    state["last_at"] = max(state["last_at"], at)
    remember(entry, state, table)
    for row in table["facts"]:
        if row["kind"] == entry["kind"]:
            establish(entry, row, state, table)
    derive(state)


def closed_at(entry: Dict, state: Dict, table: Dict) -> str:
    """The code of the closed hold point that this entry stands past; empty when none, or when it may pass."""
    for row in table["hold_points"]:
        if row["kind"] != entry["kind"]:
            continue
        subject = subject_at(row, entry)
        if subject is None or not missing(row, subject, entry, state, table):
            continue
        key = row["code"] + (":" + subject if subject else "")
        by = state["allowed"].get(key) or state["allowed"].get(row["code"])
        if by is None and entry["decision"] != "taken":
            return str(row["code"])
        state["overrides"].append(
            {"entry": entry["id"], "hold_point": row["code"], "subject": subject, "by": by or "office"}
        )
    return ""


def subject_at(row: Dict, entry: Dict) -> str | None:
    """For what the hold point is asked; None when this entry does not touch it."""
    if row.get("subject_from"):
        named = value(entry, row["subject_from"])
        return named if isinstance(named, str) and named and named != "H" else None
    return "" if row["each"] == "job" else entry["subject"]


def missing(row: Dict, subject: str, entry: Dict | None, state: Dict, table: Dict) -> list[str]:
    """In words, what keeps a hold point closed; without an entry its own answers are not asked."""
    words: list[str] = []
    for need in row["needs"]:
        if "yes" in need:
            if entry is not None and not is_yes(entry, need["yes"]):
                words.append(need["words"].replace("{s}", subject))
        elif "rule" in need:
            words += [need["words"].replace("{s}", name) for name in broken(need["rule"], entry, state, table)]
        else:
            words += [need["words"].replace("{s}", name) for name in without(need, subject, state)]
    return words


def without(need: Dict, subject: str, state: Dict) -> list[str]:
    """The subjects for which the needed fact does not stand."""
    have = state["facts"].get(need["fact"], {})
    if need["of"] == "any":
        return [] if have else [""]
    if need["of"] == "batch":
        return [] if [name for name in have if name.startswith("M")] else [""]
    return [name for name in subjects(need["of"], subject, state["plan"]) if name not in have]


def subjects(of: str, subject: str, plan: Dict) -> list[str]:
    """The codes a row is about."""
    header = ["H"] if plan["header"] else []
    if of == "borehole":
        hole = plan["loops"].get(subject, {}).get("borehole", "")
        return [hole] if hole else []
    lists: Dict = {
        "job": [""],
        "system": ["system"],
        "header": header,
        "loops": list(plan["loops"]),
        "loops_header": [*plan["loops"], *header],
        "sections": list(plan["sections"]),
        "boreholes": list(plan["boreholes"]),
        "all": [*plan["sections"], *plan["loops"], *header],
    }
    found: list[str] = lists.get(of, [subject])
    return found


def broken(rule: str, entry: Dict | None, state: Dict, table: Dict) -> list[str]:
    """For what a computed rule does not hold; empty: it holds."""
    if rule == "cooled":
        return [] if entry is None else still_cooling(entry, state)
    if rule == "run_over":
        at = state["last_at"] if entry is None else max(state["last_at"], moment(entry["at"]) or 0.0)
        ends = state["run"].get("ends")
        return [""] if ends is None or at < ends else []
    if rule == "stable":
        return [] if state["outcomes"].get("run") in table["good"] else [""]
    if rule == "approved":
        return [] if state["given"].get("approved") else [""]
    return [rule]


def still_cooling(entry: Dict, state: Dict) -> list[str]:
    """The joints inside this test that may not be pressed yet."""
    covers = value(entry, "covers") or []
    at = moment(entry["at"]) or 0.0
    return [
        joint["subject"]
        for joint in state["joints"]
        if (joint["section"] in covers or joint["loop"] in covers) and joint["ready"] > at
    ]


def remember(entry: Dict, state: Dict, table: Dict) -> None:
    """What later entries lean on: which test covers what, the joints, the run."""
    kind = entry["kind"]
    if kind in ("trench_section", "joint", "pressure_test"):
        state["any_ground"] = True
    if kind == "pressure_test":
        covers = value(entry, "covers")
        state["tests"][entry["subject"]] = covers if isinstance(covers, list) else []
    if kind == "trench_section":
        count = value(entry, "joints")
        state["expected_joints"][entry["subject"]] = count if isinstance(count, int | float) else 1
    if kind == "joint":
        joint = joint_of(entry)
        state["joints"].append(joint)
        undo(joint, state, table)
    if kind == "deaeration_start":
        state["run"] = run_of(entry, state)
    if kind == "covered" and entry["subject"] not in state["facts"].get("released", {}):
        state["covered_early"].append(entry["subject"])


def joint_of(entry: Dict) -> Dict:
    made = moment(value(entry, "ended_at")) or moment(entry["at"]) or 0.0
    cooling = value(entry, "cooling_min")
    minutes = cooling if isinstance(cooling, int | float) else 0
    if (entry["payload"].get("cooling_min") or {}).get("unit") == "h":
        minutes = minutes * 60
    return {
        "id": entry["id"],
        "subject": entry["subject"],
        "section": value(entry, "section") or "",
        "loop": value(entry, "loop") or "",
        "made": made,
        "ready": made + minutes * 60,
        "good": is_yes(entry, "visual_ok"),
    }


def run_of(entry: Dict, state: Dict) -> Dict:
    started = moment(value(entry, "started")) or moment(entry["at"]) or 0.0
    days = value(entry, "planned_days")
    ends = started + (days if isinstance(days, int | float) else 0) * DAY_S
    later = moment(state["given"].get("run_ends_at"))
    return {"entry": entry["id"], "started": started, "ends": ends if later is None else max(ends, later)}


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


def establish(entry: Dict, row: Dict, state: Dict, table: Dict) -> None:
    """The latest entry decides: it sets its fact for each of its subjects, or takes it away."""
    holds = stands(entry, row, state, table)
    have = state["facts"].setdefault(row["fact"], {})
    for name in about(entry, row, state):
        if holds:
            have[name] = {"entry": entry["id"], "at": moment(entry["at"]) or 0.0}
        elif name in have:
            del have[name]


def stands(entry: Dict, row: Dict, state: Dict, table: Dict) -> bool:
    for name in row.get("yes", []):
        if not is_yes(entry, name):
            return False
    if "judged" in row:
        keys: Dict = {"entry": entry["id"], "subject": entry["subject"], "kind": entry["kind"]}
        return state["outcomes"].get(keys[row["judged"]]) in table["good"]
    return True


def about(entry: Dict, row: Dict, state: Dict) -> list[str]:
    """For whom the entry establishes its fact."""
    if row["of"] == "covers":
        return list(state["tests"].get(entry["subject"], []))
    if row["of"] == "role":
        return [value(entry, "role") or ""]
    return [""] if row["of"] == "job" else [entry["subject"]]


def derive(state: Dict) -> None:
    """`joined`: the joints of a section are logged. `tested`: inside a passed test, and joined when it is a section."""
    facts = state["facts"]
    joined: Dict = {}
    for section in state["plan"]["sections"]:
        made = [joint for joint in state["joints"] if joint["section"] == section and joint["good"]]
        if len({joint["subject"] for joint in made}) >= state["expected_joints"].get(section, 1):
            joined[section] = {"entry": made[-1]["id"] if made else "", "at": made[-1]["made"] if made else 0.0}
    tested: Dict = {}
    for name, row in facts.get("passed", {}).items():
        if name not in state["plan"]["sections"] or name in joined:
            tested[name] = row
    facts["joined"] = joined
    facts["tested"] = tested


def hold_points(state: Dict, table: Dict) -> list[Dict]:
    """Every hold point per subject as things stand: open or closed, what is missing, whether somebody went past it."""
    rows: list[Dict] = []
    for row in table["hold_points"]:
        for subject in subjects(row["each"], "", state["plan"]) if row["each"] else []:
            key = row["code"] + (":" + subject if subject else "")
            words = missing(row, subject, None, state, table)
            by = state["allowed"].get(key) or state["allowed"].get(row["code"]) or ""
            rows.append(
                {"code": row["code"], "subject": subject, "open": not words, "missing": words, "overridden_by": by}
            )
    return rows


def steps(state: Dict, table: Dict) -> list[Dict]:
    """Every step with what is done and what is still to do."""
    return [{"code": row["code"], "kind": row["kind"], **progress(row, state, table)} for row in table["steps"]]


def progress(row: Dict, state: Dict, table: Dict) -> Dict:
    if "rule" in row:
        waits = broken(row["rule"], None, state, table)
        return {"done": [] if waits else [""], "to_do": waits}
    have = state["facts"].get(row["fact"], {})
    if row["each"] in ("any", "batch"):
        names = sorted(name for name in have if row["each"] == "any" or name.startswith("M"))
        wanted = state["given"].get(row["count"], 1) if "count" in row else 1
        return {"done": names, "to_do": [] if len(names) >= wanted else [""]}
    names = subjects(row["each"], "", state["plan"])
    return {"done": [name for name in names if name in have], "to_do": [name for name in names if name not in have]}


def reached(state: Dict, table: Dict) -> str:
    """The furthest state of the job; empty while nothing was done in the ground."""
    found = "in_ground" if state["any_ground"] else ""
    waits = {row["code"]: bool(progress(row, state, table)["to_do"]) for row in table["steps"]}
    for row in table["states"]:
        late = bool(broken(row["rule"], None, state, table)) if "rule" in row else False
        if not late and not any(waits[code] for code in row["steps"]):
            found = row["state"]
    return found
