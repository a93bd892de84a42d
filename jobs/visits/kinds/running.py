"""How settings, checks and final readings are judged."""

from __future__ import annotations

from dataclasses import replace

from calcs import deaeration, fluid, heat
from calcs.base import Base
from calcs.deaeration import Visit
from calcs.errors import CalcError
from calcs.sources import Limit
from calcs.units import quantity, si
from calcs.verdict import Cause, Figure, Outcome, Verdict
from jobs.visits.kinds import strength_reading
from jobs.visits.kinds.base import Facts, Logged, Target
from jobs.visits.kinds.said import EXACT, at_least, attempt, bad, cannot, look, ok, resolution

DAY_S = 86400.0


def freezing_point(facts: Facts) -> float | None:
    """Of the filled system as read, else the target of the design, °C; of water when there is nothing else in it."""
    if facts.fill == "water_only":
        water = fluid.freezing_point(base=Base.WATER, mass_fraction=quantity(0.0, "percent"))
        return si(water.value, "degC", "freezing point")
    read = facts.latest("strength_reading", "system")
    if read is not None:
        try:
            found = strength_reading.read(facts, read)
        except CalcError:
            found = None
        if found is not None:
            return si(found.freezing_point, "degC", "freezing point")
    return facts.fluid.target_freezing_c if facts.fluid else None


def judge_settings(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    found = [_margin(facts, entry)]
    inside = Base.WATER.value if facts.fill == "water_only" else facts.fluid.base if facts.fluid else ""
    if inside and entry.choice("fluid_set") not in {"", inside}:
        reason = "The controller is set for another fluid."
        found.append(bad(reason, Cause.CONDITIONS, way_out="Set the fluid that is in the system."))
    flow, least = entry.number("flow", "L/min"), facts.design.get("minimum_flow_l_min")
    if flow is not None and least is not None and flow < least:
        figure = Figure("source flow", flow, "L/min", limit=least)
        found.append(bad("Less flow than the heat pump needs.", Cause.FLOW, figure, way_out="Set more flow."))
    return tuple(found)


def _margin(facts: Facts, entry: Logged) -> Verdict:
    """The frost alarm must act well before the fluid freezes."""
    alarm, freezes = entry.number("frost_alarm", "°C"), freezing_point(facts)
    usual, least = facts.limit("freeze_margin_k"), facts.limit("freeze_margin_block_k")
    if alarm is None or freezes is None or usual is None or least is None:
        return cannot("The margin to freezing is not known.", "Read the strength of the system and the frost alarm.")
    figure = Figure("frost alarm above the freezing point", alarm - freezes, "K", limit=usual.value)
    if alarm - freezes >= usual.value - EXACT:
        return ok("The frost alarm acts in time.", figure, source=usual.source)
    if alarm - freezes >= least.value - EXACT:
        reason = "The frost alarm is nearer to freezing than usual."
        return look(reason, Cause.STRENGTH, figure, source=usual.source, way_out="Raise the alarm or the strength.")
    reason = "The frost alarm acts too late: the fluid may freeze first."
    return bad(reason, Cause.STRENGTH, figure, source=least.source, way_out="Raise the alarm or the strength.")


def judge_start(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    days, limit = entry.number("planned_days", "d"), facts.limit("deaeration_days")
    if days is None or limit is None or days >= limit.value:
        return ()
    figure = Figure("planned", days, "d", limit=limit.value)
    return (look("Shorter than usual.", Cause.DURATION, figure, source=limit.source, way_out="Plan the usual time."),)


def judge_check(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    """The litres added up to this check; whether the run is stable is asked of the run, not of one check."""
    amber, red = facts.limit("top_up_amber_pct"), facts.limit("top_up_red_pct")
    volume = facts.number("volumes", "system_l")
    if amber is None or red is None or not volume:
        return ()
    checks = [one for one in facts.of("follow_up") if one.observed_at <= entry.observed_at]
    share = 100 * sum(one.number("top_up", "L") or 0.0 for one in checks) / volume
    figure = Figure("topped up in all", share, "% of volume", limit=amber.value)
    if share <= amber.value:
        return (ok("No more topped up than air and stretch take.", figure, source=amber.source),)
    if share <= red.value:
        return (
            look("More topped up than usual.", Cause.LEAK, figure, source=amber.source, way_out="Look at every joint."),
        )
    reason = "So much was topped up that a leak must be looked for."
    return (bad(reason, Cause.LEAK, figure, source=red.source, way_out="Find the leak before going on."),)


def judge_run(facts: Facts) -> Verdict:
    """Is the de-aeration run stable: enough checks, and the last two alike."""
    start, checks = facts.latest("deaeration_start"), facts.of("follow_up")
    if start is None and "start" in facts.scope and checks:
        start = checks[0]  # others started it: days count from our first look
    if start is None:
        return cannot("The run was not started.", "Log the start of the run.")
    least = facts.limit("deaeration_visits")
    if least is not None and len(checks) < least.value:
        figure = Figure("checks", len(checks), "", limit=least.value)
        return cannot("There are not enough checks yet.", "Come back and log a check.", figure, source=least.source)
    return attempt(lambda: _stable(facts, start, checks))


def _stable(facts: Facts, start: Logged, checks: list[Logged]) -> Verdict:
    volume = facts.number("volumes", "system_l")
    visits = [_visit(start, one) for one in checks]
    known = [visit for visit in visits if visit is not None]
    if not volume or not known:
        return cannot("Pressure or volume is not known.", "Log the pressure on arrival; complete the design data.")
    step = quantity(resolution(facts, checks[-1], "pressure_on_arrival", "bar"), "bar")
    rules = run_rules(facts)
    found = deaeration.judge(visits=known, volume=quantity(volume, "L"), resolution=step, rules=rules)
    if found.outcome in {Outcome.PASS, Outcome.WARN}:
        return found
    ahead = deaeration.outlook(visits=known, resolution=step, rules=rules)
    return found if ahead.day is None else replace(found, way_out=f"{found.way_out} {ahead.reason}".strip())


def _visit(start: Logged, check: Logged) -> Visit | None:
    arrival = check.number("pressure_on_arrival", "bar")
    if arrival is None:
        return None
    left, t_in = check.number("pressure_left", "bar"), check.number("t_in", "°C")
    since = (check.observed_at - (start.time("started") or start.observed_at)).total_seconds()
    return Visit(
        day=since / DAY_S,
        arrival=quantity(arrival, "bar"),
        departure=quantity(arrival if left is None else left, "bar"),
        top_up=quantity(check.number("top_up", "L") or 0.0, "L"),
        temperature=None if t_in is None else quantity(t_in, "degC"),
    )


def run_rules(facts: Facts) -> dict[str, Limit]:
    """The rule set's limits in the shape of the calculation's."""
    rules = dict(deaeration.deaeration_rows())
    for key, code, factor in (
        ("stable_change", "stable_bar", 1.0),
        ("stable_days", "stable_days", 1.0),
        ("topup_warn", "top_up_amber_pct", 0.01),
        ("topup_fail", "top_up_red_pct", 0.01),
    ):
        limit = facts.limit(code)
        if limit is not None:
            rules[key] = Limit(factor * limit.value, rules[key].unit, limit.source)
    return rules


def duty_of(facts: Facts, entry: Logged) -> heat.Heat | None:
    """Heat from the ground in one set of readings; None when something is missing. Raises `CalcError`."""
    flow, t_in, t_out = entry.number("flow", "L/min"), entry.number("t_in", "°C"), entry.number("t_out", "°C")
    pair, meter = facts.instrument(entry), flow_meter(facts)
    mass = facts.number("fluid", "target_mass_pct")
    if flow is None or t_in is None or t_out is None or mass is None or facts.fluid is None:
        return None
    if pair is None or not pair.accuracy or not meter:
        return None
    properties = fluid.properties(
        base=Base(facts.fluid.base),
        mass_fraction=quantity(mass, "percent"),
        temperature=quantity((t_in + t_out) / 2, "degC"),
    )
    return heat.heat_from_flow(
        flow=quantity(flow, "L/min"),
        t_in=quantity(t_in, "degC"),
        t_out=quantity(t_out, "degC"),
        properties=properties,
        u_flow=heat.standard_uncertainty(limit=quantity(100 * meter / flow, "percent")),
        u_pair=heat.standard_uncertainty(limit=quantity(pair.accuracy, "K")),
    )


def flow_meter(facts: Facts) -> float | None:
    """± of the flow meter that was used on this job, L/min."""
    for entry in reversed(facts.entries):
        used = facts.instrument(entry)
        if used is not None and used.kind == "flow_meter" and used.accuracy:
            return used.accuracy
    return None


def judge_final(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    return (*_steady(facts, entry), *_spread(facts, entry), attempt(lambda: _balance(facts, entry)))


def _steady(facts: Facts, entry: Logged) -> list[Verdict]:
    ran, limit = entry.number("run_minutes", "min"), facts.limit("final_run_minutes")
    if ran is None or limit is None:
        return []
    said = {
        "good": "It had run long enough.",
        "short": "It had not run long enough to be steady.",
        "way_out": "Let it run on and read again.",
    }
    figure = Figure("compressor had run", ran, "min", limit=limit.value)
    return [at_least(figure, limit.source, cause=Cause.DURATION, **said)]


def _spread(facts: Facts, entry: Logged) -> list[Verdict]:
    t_in, t_out = entry.number("t_in", "°C"), entry.number("t_out", "°C")
    low, high = facts.limit("spread_low_k"), facts.limit("spread_high_k")
    if t_in is None or t_out is None or low is None or high is None:
        return []
    spread = t_in - t_out
    figure = Figure("temperature difference", spread, "K", limit=high.value if spread > high.value else low.value)
    if spread <= 0:
        way_out = "Check that the two are not swapped and that the compressor runs."
        return [bad("The fluid comes back no warmer than it went.", Cause.READINGS, figure, way_out=way_out)]
    if low.value - EXACT <= spread <= high.value + EXACT:
        return [ok("The temperature difference is in the usual band.", figure, source=low.source)]
    words, way_out = (
        ("small", "Check the flow reading and the load.")
        if spread < low.value
        else ("large", "Look at strainer, air and flow.")
    )
    reason = f"The temperature difference is {words}."
    return [look(reason, Cause.FLOW, figure, source=low.source, way_out=way_out)]


def _balance(facts: Facts, entry: Logged) -> Verdict:
    measured, expected = duty_of(facts, entry), facts.number("flow", "source_duty_kw")
    if measured is None or expected is None:
        way_out = "Use paired thermometers and a flow meter from the register, and complete the design data."
        return cannot("The heat cannot be worked out with its uncertainty.", way_out)
    limit = facts.limit("heat_balance_pct")
    within = None if limit is None else quantity(limit.value / 100 * expected, "kW")
    verdict = heat.heat_balance(measured=measured, expected=quantity(expected, "kW"), expanded_expected=within)
    if verdict.outcome is not Outcome.FAIL:
        return verdict
    way_out = "Part load explains a little less heat; else look at flow, sensors and strength."
    return look(verdict.reason, Cause.FLOW, *verdict.figures, source=verdict.source, way_out=way_out)


def final_targets(facts: Facts, subject: str) -> tuple[Target, ...]:  # noqa: ARG001 - one target for all sets
    ran = facts.limit("final_run_minutes")
    least = facts.design.get("minimum_flow_l_min")
    found = []
    if ran:
        found.append(Target("run_minutes", "at least", low=ran.value, unit="min", source=ran.source.label))
    if least:
        found.append(Target("flow", "at least", low=least, unit="L/min", source="heat pump data"))
    return tuple(found)


def settings_targets(facts: Facts, subject: str) -> tuple[Target, ...]:  # noqa: ARG001 - one job, one machine
    freezes, margin = freezing_point(facts), facts.limit("freeze_margin_k")
    if freezes is None or margin is None:
        return ()
    low = round(freezes + margin.value, 1)
    return (Target("frost_alarm", "not below", low=low, unit="°C", source=margin.source.label),)


def start_targets(facts: Facts, subject: str) -> tuple[Target, ...]:  # noqa: ARG001 - one run
    limit = facts.limit("deaeration_days")
    if limit is None:
        return ()
    return (Target("planned_days", "at least", low=limit.value, unit="d", source=limit.source.label),)
