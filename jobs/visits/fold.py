"""From a heap of entries to the state of a job. Pure, and the same whatever order the entries arrive in, or how often.

Ported line by line to `field/static/field/fold.js`; both run `tests/vectors/fold.json`. Therefore plain loops over plain
dicts, no classes. An entry is {id, kind, subject, payload, at, device, seq, supersedes, reason, held, decision}; `held` is
why it was held when it was received, `decision` the office's word on that (`taken`, `left_out`, empty).
"""

from __future__ import annotations

from typing import Any

from jobs.visits.ordering import in_order, is_yes, moment, sort_out, strike, value
from jobs.visits.remembering import not_measured, remember, still_cooling

Dict = dict[str, Any]
HOUR_S = 3600.0
LOOP_BY_LOOP = "loop_by_loop"


def fold(case: Dict, table: Dict) -> Dict:
    """`case`: {plan, entries, outcomes, given}; `table`: `procedure.TABLE`. What comes out is plain JSON.

    `outcomes` maps an entry's id, the code of a test or sample, `purge` or `run` to its verdict. `given`: {run_ends_at, final_sets,
    approved, scope (phase -> who does it, in words, when it is not ours), fill, flammable, pumps (fit for a fluid that burns),
    inspection_h, shallow (is there pipe above the frost depth)}.
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
        "joints": state["joints"],
        "steps": steps(state, table),
        "state": reached(state, table),
        "run": state["run"],
        "ask_on_leaving": water_may_freeze(state),
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
        "positions": {},
        "permit": {},
        "inspected_at": {},
        "run": {},
        "last_at": 0.0,
        "any_ground": False,
        "any_water": False,
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
    derive(state, table)


def applies(row: Dict, state: Dict) -> bool:
    """Is this row part of the way in which this array is filled?"""
    return "procedures" not in row or state["given"].get("fill", LOOP_BY_LOOP) in row["procedures"]


def not_ours(phase: str, state: Dict, table: Dict) -> str:
    """`Pressure test by others: …` when the phase is not ours, else empty."""
    words = state["given"].get("scope", {}).get(phase, "")
    return f"{table['phases'][phase]} {words}" if words else ""


def phase_of(need: Dict, table: Dict) -> str:
    """The phase that a need asks about; empty when it asks about this very entry."""
    found: str = need.get("phase", "") if "fact" not in need else table["phase_of"][need["fact"]]
    return found


def gate_of(row: Dict, kind: str) -> Dict | None:
    """How this hold point gates entries of a kind; None when it does not."""
    if row["kind"] == kind:
        return row
    for other in row.get("also", []):
        if other["kind"] == kind:
            found: Dict = other
            return found
    return None


def closed_at(entry: Dict, state: Dict, table: Dict) -> str:
    """The code of the closed hold point that this entry stands past; empty when none, or when it may pass."""
    for row in table["hold_points"]:
        gate = gate_of(row, entry["kind"])
        if gate is None or not applies(row, state):
            continue
        subject = subject_at(row, gate, entry, state)
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


def subject_at(row: Dict, gate: Dict, entry: Dict, state: Dict) -> str | None:
    """For what the hold point is asked; None when this entry does not touch it."""
    way = gate.get("subject_from", "")
    if way == "section_of_loop":
        section: str = state["plan"]["loops"].get(entry["subject"], {}).get("section", "")
        return section or None
    if way:
        named = value(entry, way)
        return named if isinstance(named, str) and named and named != "H" else None
    return "" if row["each"] == "job" else entry["subject"]


def missing(row: Dict, subject: str, entry: Dict | None, state: Dict, table: Dict) -> list[str]:
    """In words, what keeps a hold point closed; without an entry its own answers are not asked."""
    words: list[str] = []
    for need in row["needs"]:
        is_for_others = entry is not None and "kinds" in need and entry["kind"] not in need["kinds"]
        if is_for_others or not applies(need, state) or not_ours(phase_of(need, table), state, table):
            continue
        words += [need["words"].replace("{s}", name) for name in lacking(need, subject, entry, state, table)]
    return words


def lacking(need: Dict, subject: str, entry: Dict | None, state: Dict, table: Dict) -> list[str]:
    """The subjects for which a need does not stand."""
    if "yes" in need:
        return [subject] if entry is not None and not is_yes(entry, need["yes"]) else []
    if "rule" in need:
        return broken(need["rule"], subject, entry, state, table)
    have = state["facts"].get(need["fact"], {})
    if need["of"] == "any":
        return [] if have else [""]
    if need["of"] == "batch":
        return [] if [name for name in have if name.startswith("M")] else [""]
    names = (
        tested_sections(entry, state)
        if need["of"] == "tested_sections"
        else subjects(need["of"], subject, state["plan"])
    )
    return [name for name in names if name not in have]


def tested_sections(entry: Dict | None, state: Dict) -> list[str]:
    """The sections inside the test that an entry is about; all of the job's without an entry."""
    sections = list(state["plan"]["sections"])
    covers = None if entry is None else state["tests"].get(entry["subject"])
    return sections if covers is None else [name for name in sections if name in covers]


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
        "ports": list(plan["loops"]) if plan.get("manifold") else [],
        "loops_header": [*plan["loops"], *header],
        "sections": list(plan["sections"]),
        "boreholes": list(plan["boreholes"]),
        "all": [*plan["sections"], *plan["loops"], *header],
    }
    found: list[str] = lists.get(of, [subject])
    return found


def broken(rule: str, subject: str, entry: Dict | None, state: Dict, table: Dict) -> list[str]:
    """For what a computed rule does not hold; empty: it holds. Without an entry nothing is asked that only an entry can tell."""
    if rule == "run_over":
        at = state["last_at"] if entry is None else max(state["last_at"], moment(entry["at"]) or 0.0)
        ends = state["run"].get("ends")
        return [""] if ends is None or at < ends else []
    if rule == "stable":
        return [] if state["outcomes"].get("run") in table["good"] else [""]
    if rule == "approved":
        return [] if state["given"].get("approved") else [""]
    if rule == "measured":
        return not_measured(subject, state)
    return [] if entry is None else broken_by(entry, rule, subject, state)


def broken_by(entry: Dict, rule: str, subject: str, state: Dict) -> list[str]:
    """The rules about the entry itself and its time."""
    at = moment(entry["at"]) or 0.0
    if rule == "cooled":
        return still_cooling(entry, state)
    if rule == "fit_pump":
        is_fit = not state["given"].get("flammable") or value(entry, "pump") in state["given"].get("pumps", [])
        return [] if is_fit else [""]
    if rule == "permit_valid":
        first, last = state["permit"].get("from"), state["permit"].get("to")
        return [""] if (first is not None and at < first) or (last is not None and at > last) else []
    if rule == "fresh":
        hours, seen = state["given"].get("inspection_h"), state["inspected_at"].get(subject)
        return [subject] if hours is not None and seen is not None and at - seen > hours * HOUR_S else []
    return [rule]


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


def derive(state: Dict, table: Dict) -> None:
    """`joined`: the joints of a section are logged. `tested`: inside a passed test, and joined when it is a section."""
    facts = state["facts"]
    others_join = bool(not_ours("pipe", state, table))
    joined: Dict = {}
    for section in state["plan"]["sections"]:
        made = [joint for joint in state["joints"] if joint["section"] == section and joint["good"]]
        if len({joint["subject"] for joint in made}) >= state["expected_joints"].get(section, 1):
            joined[section] = {"entry": made[-1]["id"] if made else "", "at": made[-1]["made"] if made else 0.0}
    tested: Dict = {}
    for name, row in facts.get("passed", {}).items():
        if name not in state["plan"]["sections"] or name in joined or others_join:
            tested[name] = row
    facts["joined"] = joined
    facts["tested"] = tested


def hold_points(state: Dict, table: Dict) -> list[Dict]:
    """Every hold point per subject as things stand: open or closed, what is missing, whose phases it leans on, who went past it."""
    rows: list[Dict] = []
    for row in table["hold_points"]:
        if not applies(row, state):
            continue
        for subject in subjects(row["each"], "", state["plan"]) if row["each"] else []:
            key = row["code"] + (":" + subject if subject else "")
            words = missing(row, subject, None, state, table)
            by = state["allowed"].get(key) or state["allowed"].get(row["code"]) or ""
            rows.append(
                {"code": row["code"], "subject": subject, "open": not words, "missing": words, "overridden_by": by}
                | {"not_ours": leans_on(row, state, table)}
            )
    return rows


def leans_on(row: Dict, state: Dict, table: Dict) -> list[str]:
    """The phases that are not ours and count as standing for this hold point."""
    words: list[str] = []
    for need in row["needs"]:
        found = not_ours(phase_of(need, table), state, table) if applies(need, state) else ""
        if found and found not in words:
            words.append(found)
    return words


def steps(state: Dict, table: Dict) -> list[Dict]:
    """Every step of this job with what is done, what is still to do, and whose it is when it is not ours."""
    return [
        {"code": row["code"], "kind": row["kind"], "not_ours": not_ours(row["scope"], state, table)}
        | progress(row, state, table)
        for row in table["steps"]
        if applies(row, state)
    ]


def progress(row: Dict, state: Dict, table: Dict) -> Dict:
    is_left = not not_ours(row["scope"], state, table)
    if "rule" in row:
        waits = broken(row["rule"], "", None, state, table)
        return {"done": [] if waits else [""], "to_do": waits if is_left else []}
    have = state["facts"].get(row["fact"], {})
    if row["each"] in ("any", "batch"):
        names = sorted(name for name in have if row["each"] == "any" or name.startswith("M"))
        wanted = state["given"].get(row["count"], 1) if "count" in row else 1
        return {"done": names, "to_do": [] if len(names) >= wanted or not is_left else [""]}
    names = subjects(row["each"], "", state["plan"])
    to_do = [name for name in names if name not in have]
    return {"done": [name for name in names if name in have], "to_do": to_do if is_left else []}


def reached(state: Dict, table: Dict) -> str:
    """The furthest state of the job; empty while nothing was done. A state that is not ours follows from the one before it."""
    found = "in_ground" if state["any_ground"] else ""
    rows = {row["code"]: row for row in steps(state, table)}
    before = state["last_at"] > 0
    for row in table["states"]:
        asked = [rows[code] for code in row["steps"] if code in rows]
        if any(not step["not_ours"] for step in asked):
            others_run = "phase" in row and not_ours(row["phase"], state, table)
            late = "rule" in row and not others_run and bool(broken(row["rule"], "", None, state, table))
            before = not late and not any(step["to_do"] for step in asked)
        if before:
            found = row["state"]
    return found


def water_may_freeze(state: Dict) -> bool:
    """Is there water, not mix, in pipe that lies above the frost: whoever leaves the site is then asked about it."""
    facts, fill = state["facts"], state["given"].get("fill", LOOP_BY_LOOP)
    is_mixed = fill == "pre_filled"
    if fill == LOOP_BY_LOOP:
        is_mixed = all(name in facts.get("filled", {}) for name in state["plan"]["loops"])
    if fill == "circulate":
        is_mixed = bool(facts.get("circulated"))
    return bool(state["any_water"] and state["given"].get("shallow", False) and not is_mixed)
