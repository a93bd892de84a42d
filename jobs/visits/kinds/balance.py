"""Flow in one loop while all run: does it get its share."""

from __future__ import annotations

from calcs.verdict import Cause, Figure, Verdict
from jobs.visits.kinds import cautions
from jobs.visits.kinds.base import Facts, Kind, Logged, Of, Target
from jobs.visits.kinds.fields import code, flow, photo, yes
from jobs.visits.kinds.said import EXACT, bad, cannot, look, ok


def _flow(entry: Logged) -> float | None:
    """Corrected for the fluid when somebody did, else as indicated, L/min."""
    corrected = entry.number("corrected", "L/min")
    return entry.number("flow", "L/min") if corrected is None else corrected


def _share(facts: Facts, loop: str) -> float | None:
    running = facts.loop_numbers(loop).get("running") or {}
    share = running.get("share_pct")
    return float(share) if isinstance(share, int | float) else None


def wanted(facts: Facts, entry: Logged) -> float | None:
    """What this loop should carry: its share by design of what all loops carry together; of the design flow till all are read."""
    share = _share(facts, entry.subject)
    if share is None:
        return None
    latest = {one.subject: _flow(one) for one in facts.of("balance_reading")} | {entry.subject: _flow(entry)}
    loops = [code_ for code_ in facts.runs if code_ != "H"]
    read = [latest.get(loop) for loop in loops]
    known = [value for value in read if value is not None]
    total = sum(known) if len(known) == len(loops) else facts.number("flow", "design_flow_l_min")
    return None if not total else total * share / 100


def judge(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    flowed, limit = _flow(entry), facts.limit("balance_spread_pct")
    if flowed is None or limit is None:
        return ()
    if flowed <= EXACT:
        way_out = "Look at its valve and its indicator: a shut loop and a stuck float look alike."
        return (bad("Nothing flows in this loop.", Cause.FLOW, Figure("flow", flowed, "L/min"), way_out=way_out),)
    due = wanted(facts, entry)
    if not due:
        return (cannot("The flow of this loop by design is not known.", "Complete the job's design data."),)
    off = 100 * (flowed - due) / due
    figures = (Figure("flow", flowed, "L/min", limit=due), Figure("off its share", off, "%", limit=limit.value))
    if abs(off) <= limit.value + EXACT:
        return (ok("The loop gets its share.", *figures, source=limit.source),)
    reason = "The loop gets more than its share." if off > 0 else "The loop gets less than its share."
    way_out = "Set its valve, then read all loops again."
    return (look(reason, Cause.FLOW, *figures, source=limit.source, way_out=way_out),)


def targets(facts: Facts, subject: str) -> tuple[Target, ...]:
    running = facts.loop_numbers(subject).get("running") or {}
    due = running.get("flow_l_min")
    return () if due is None else (Target("flow", "about", low=round(due, 1), unit="L/min", source="the design"),)


KIND = Kind(
    code="balance_reading",
    label="Balance of a loop",
    of=Of.LOOP,
    instrument="flow_meter",
    fields=(
        flow("flow", "Flow as indicated"),
        flow("corrected", "Corrected for the fluid", required=False),
        code("setting", "Setting of its valve", required=False),
        yes("free", "The float moves freely", required=False),
        photo("manifold", "Photo of all indicators together", required=False),
    ),
    help="All loops open, the pump as it will run. Read every loop before a valve is touched.",
    cautions=cautions.CHAMBER,
    judge=judge,
    targets=targets,
)
