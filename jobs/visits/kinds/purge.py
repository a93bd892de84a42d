"""Driving the air out, and how much is left."""

from __future__ import annotations

from collections.abc import Mapping

from calcs import purge, residual_air
from calcs.purge import PurgeLimits
from calcs.residual_air import Squeeze
from calcs.sources import Limit
from calcs.units import quantity
from calcs.verdict import Cause, Figure, Outcome, Verdict
from jobs.visits.kinds import cautions
from jobs.visits.kinds.base import Answer, Facts, Field, Kind, Logged, Of, Target
from jobs.visits.kinds.fields import MILLIMETRES, flow, number, pressure, pump, time, yes
from jobs.visits.kinds.said import EXACT, attempt, bad, cannot, flow_for, look, ok, velocity

GOOD = (Outcome.PASS, Outcome.WARN)


def limits_of(facts: Facts) -> PurgeLimits:
    """The limits of the job's rule set; the usual ones where it has none."""
    usual = PurgeLimits.usual()
    speed, minutes = facts.limit("purge_velocity_m_s"), facts.limit("purge_minutes_after_bubble")
    turnovers = facts.limit("purge_turnovers")
    return PurgeLimits(
        velocity=quantity(speed.value, "m/s") if speed else usual.velocity,
        minutes=quantity(minutes.value, "min") if minutes else usual.minutes,
        turnovers=turnovers.value if turnovers else usual.turnovers,
        hose_drop=usual.hose_drop,
    )


def open_loops(facts: Facts, entry: Logged) -> list[str]:
    """Loops that were open; all of them when none is named."""
    named = [code for code in entry.many("open") if code in facts.runs and code != "H"]
    return named or [code for code in facts.runs if code != "H"]


def slowest(facts: Facts, entry: Logged) -> float | None:
    """Velocity in the slowest open loop, m/s: the flow shared as in the design, evenly when that is not known."""
    total = entry.number("flow", "L/min")
    loops = open_loops(facts, entry)
    if total is None or not loops:
        return None
    shares = {code: (facts.loop_numbers(code).get("running") or {}).get("share_pct") or 1.0 for code in loops}
    whole = sum(shares.values())
    return min(velocity(total * shares[code] / whole, facts.runs[code].bore_mm) for code in loops)


def judge(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    return (attempt(lambda: _run(facts, entry)),)


def _run(facts: Facts, entry: Logged) -> Verdict:
    speed, total = slowest(facts, entry), entry.number("flow", "L/min")
    started, bubble, ended = (entry.time(name) for name in ("started", "last_bubble", "ended"))
    if speed is None or total is None or started is None or bubble is None or ended is None:
        return cannot("Flow or times are missing.", "Log flow, start, last bubble and end.")
    if not started <= bubble <= ended:
        return cannot("The times are not in order.", "Correct start, last bubble and end.")
    volume = sum(facts.runs[code].volume_l for code in open_loops(facts, entry))
    return purge.judge_run(
        velocity=quantity(speed, "m/s"),
        after_last_bubble=quantity((ended - bubble).total_seconds(), "s"),
        turnovers=total * (ended - started).total_seconds() / 60 / volume,
        limits=limits_of(facts),
    )


def judge_all(facts: Facts) -> Verdict:
    """Every loop inside a run that was good; the header fast enough in one of them."""
    runs = [one for one in facts.of("purge") if _is_good(facts, one)]
    done = {code for one in runs for code in open_loops(facts, one)}
    missing = [code for code in facts.runs if code != "H" and code not in done]
    if missing or not runs:
        which = ", ".join(missing) or "any loop"
        return cannot(
            f"There is no good purge of {which}.", "Purge each loop long and fast enough, one by one if need be."
        )
    return attempt(lambda: _header(facts, runs))


def _is_good(facts: Facts, entry: Logged) -> bool:
    return all(verdict.outcome in GOOD for verdict in judge(facts, entry))


def _header(facts: Facts, runs: list[Logged]) -> Verdict:
    """Only a run that was long enough carries air out of the header too."""
    limit = facts.limit("purge_velocity_m_s")
    if "H" not in facts.runs or limit is None:
        return ok("Every loop was purged fast and long enough.")
    best = max(velocity(one.number("flow", "L/min") or 0.0, facts.runs["H"].bore_mm) for one in runs)
    figure = Figure("velocity in the main header", best, "m/s", limit=limit.value)
    if best >= limit.value - EXACT:
        return ok("Every loop and the main header were purged fast and long enough.", figure, source=limit.source)
    reason = "The loops are purged, but the main header never ran fast enough to carry air out."
    return look(reason, Cause.FLOW, figure, source=limit.source, way_out="Open enough loops at once for the header.")


def targets(facts: Facts, subject: str) -> tuple[Target, ...]:  # noqa: ARG001 - one job, one purge
    limit = facts.limit("purge_velocity_m_s")
    if limit is None or not facts.runs:
        return ()
    speed = quantity(limit.value, "m/s")
    loops = [flow_for(speed, run.bore_mm) for code, run in facts.runs.items() if code != "H"]
    words = f"one loop open: {max(loops):.0f} L/min" if loops else ""
    if "H" in facts.runs:
        words += f"; main header: {flow_for(speed, facts.runs['H'].bore_mm):.0f} L/min"
    return (Target("flow", words.strip("; "), source=limit.source.label),)


def judge_air(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    found = attempt(lambda: _air(facts, entry))
    if entry.value("safe") is not False:
        return (found,)
    words = "The area is not clear, an end is loose, or a part is not rated for it."
    return (bad(words, Cause.CONDITIONS, way_out="Do not shut the return before this is so."), found)


def _air(facts: Facts, entry: Logged) -> Verdict:
    across, before, after = (entry.number(name, "mm") for name in ("bin_diameter", "level_before", "level_after"))
    end, start = entry.number("dead_head_pressure", "bar"), entry.number("start_pressure", "bar")
    if across is None or before is None or after is None or end is None or not facts.runs:
        return cannot("A reading is missing.", "Log bin, both levels and the pressure.")
    if after > before:
        return bad("The level rose.", Cause.READINGS, way_out="Correct the levels, or do it again.")
    squeeze = Squeeze(
        volume=quantity(sum(run.volume_l for run in facts.runs.values()), "L"),
        bore_to_wall=max(run.bore_mm / run.wall_mm for run in facts.runs.values()),
        start_pressure=quantity(start or 0.0, "bar"),
        end_pressure=quantity(end, "bar"),
    )
    found = residual_air.from_bin_level(
        squeeze=squeeze, diameter=quantity(across, "mm"), level_drop=quantity(before - after, "mm")
    )
    return residual_air.judge(found, rules=air_rules(facts.limits))


def air_rules(limits: Mapping[str, Limit]) -> dict[str, Limit]:
    """The rule set's limits in the shape of the calculation's."""
    rules = dict(residual_air.residual_rows())
    for key, code, factor in (
        ("good_share", "residual_air_pct", 0.01),
        ("fail_share", "residual_air_fail_pct", 0.01),
        ("good_floor", "residual_air_min_l", 1.0),
    ):
        if code in limits:
            rules[key] = Limit(factor * limits[code].value, rules[key].unit, limits[code].source)
    return rules


PURGE = Kind(
    code="purge",
    label="Purge",
    of=Of.JOB,
    instrument="flow_meter",
    fields=(
        Field(
            "open",
            "Loops that are open",
            Answer.MANY,
            required=False,
            choices_from=("loops",),
            help="None named: all are open. When all together are too slow, purge them one by one and log each.",
        ),
        flow(),
        time("started", "Started"),
        time("last_bubble", "Last bubble seen"),
        time("ended", "Ended"),
        pump(),
    ),
    help="Heat pump and vessel shut off. Keep the suction covered: a vortex draws air in.",
    cautions=cautions.HOSE,
    flammable=True,
    calc="purge",
    judge=judge,
    targets=targets,
)

RESIDUAL = Kind(
    code="residual_air",
    label="Residual air check",
    of=Of.JOB,
    instrument="gauge",
    fields=(
        yes("safe", "Area clear, ends and hoses restrained, weakest part rated for it"),
        number("bin_diameter", "Bin diameter", MILLIMETRES, soft=(250, 1200), hard=(50, 5000)),
        pressure("start_pressure", "Pressure with the return open", soft=(0, 3), hard=(0, 10), required=False),
        number("level_before", "Level before", MILLIMETRES, soft=(50, 1500), hard=(0, 5000)),
        number("level_after", "Level at pressure", MILLIMETRES, soft=(50, 1500), hard=(0, 5000)),
        pressure("dead_head_pressure", "Pressure with the return shut", soft=(1, 6), hard=(0.1, 16)),
    ),
    help="Shut the return slowly with the pump running and see how far the level falls.",
    cautions=cautions.DEAD_HEAD,
    flammable=True,
    calc="residual_air",
    judge=judge_air,
)
