"""What to know before the work, in words: from the plan, its numbers and what the purge plan says."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from jobs.ground.figures import Caution, Flow, Fluid, LoopNumbers, Numbers
from jobs.ground.trade import DesignPlan, Plan

LONGER_BY_PCT = 10.0


def of(plan: Plan, found: Numbers, mixing: Iterable[str], purging: Iterable[str]) -> tuple[Caution, ...]:
    """Every caution that holds, the weightiest first; `mixing` and `purging` are those of the calculations."""
    said = [Caution("strength", text) for text in mixing]
    if found.fluid and plan.design:
        said += _alarm(plan, plan.design, found.fluid)
    if found.flow and plan.design:
        said += _running(plan, plan.design, found.flow, found.loops)
    said += _array(plan)
    said += [Caution("purge", text) for text in purging]
    if found.purge and found.purge.pump_suffices is None:
        said.append(Caution("purge_unit", "No purge unit is entered, so whether it suffices is not known."))
    return tuple(said)


def _alarm(plan: Plan, design: DesignPlan, fluid: Fluid) -> Iterator[Caution]:
    if design.frost_alarm_c is None:
        yield Caution("frost_alarm", "No frost alarm is entered; it must lie well above the freezing point.")
    elif fluid.frost_margin is not None and fluid.frost_margin.m_as("K") < plan.limits.freeze_margin_k:
        margin = float(fluid.frost_margin.m_as("K"))
        yield Caution(
            "freeze_margin",
            f"The frost alarm of {_degrees(design.frost_alarm_c)} is only {margin:.1f} K above the freezing point; "
            f"{plan.limits.freeze_margin_k:g} K are asked for. Raise the alarm or make the mix stronger.",
        )


def _running(plan: Plan, design: DesignPlan, flow: Flow, loops: tuple[LoopNumbers, ...]) -> Iterator[Caution]:
    least, wanted = design.minimum_flow_l_min, float(flow.flow_for_spread.m_as("L/min"))
    if least and wanted < least:
        yield Caution(
            "minimum_flow",
            f"{design.spread_k:g} K would need {wanted:.1f} L/min, less than the heat pump's minimum of {least:g} L/min; "
            "the sums take the minimum.",
        )
    if flow.is_transition:
        names = [loop.code for loop in loops if loop.running and loop.running.regime == "transition"]
        yield Caution(
            "transition",
            f"{_list(names)} {'runs' if len(names) == 1 else 'run'} between laminar and turbulent flow (Re 2000 to 4000), "
            f"where the pressure drop is known to about 25 %. Choose the pump by the higher figure, "
            f"{float(flow.conservative_drop.m_as('kPa')):.0f} kPa.",
        )
    yield from _laminar(design, loops)
    yield from _balance(plan, loops)


def _laminar(design: DesignPlan, loops: tuple[LoopNumbers, ...]) -> Iterator[Caution]:
    running = [loop.running for loop in loops if loop.running]
    if running and all(loop.regime == "laminar" for loop in running):
        yield Caution(
            "laminar",
            f"All loops run laminar at {_degrees(design.cold_fluid_c)}; heat passes less well from the pipe than in "
            "turbulent flow.",
        )


def _balance(plan: Plan, loops: tuple[LoopNumbers, ...]) -> Iterator[Caution]:
    limit = plan.limits.balance_spread_pct
    off = [
        f"{loop.code} by {float(loop.running.deviation.m_as('percent')):+.0f} %".replace("-", "−")
        for loop in loops
        if loop.running and abs(float(loop.running.deviation.m_as("percent"))) > limit
    ]
    if off:
        yield Caution(
            "balance",
            f"The flow is off the mean: {_list(off)}; {limit:g} % is the limit. Fit balancing valves or even out the lengths.",
        )


def _array(plan: Plan) -> Iterator[Caution]:
    if not plan.loops:
        return
    if len({(loop.od_mm, loop.wall_mm) for loop in plan.loops}) > 1:
        yield Caution(
            "pipe_sizes", "The loops are of different pipe; each is filled and purged with a flow of its own."
        )
    longest = max(plan.loops, key=lambda loop: loop.length_m)
    shortest = min(plan.loops, key=lambda loop: loop.length_m)
    longer = 100 * (longest.length_m / shortest.length_m - 1) if shortest.length_m else 0.0
    if longer > LONGER_BY_PCT:
        yield Caution(
            "lengths",
            f"{longest.code} ({longest.length_m:g} m) is {longer:.0f} % longer than {shortest.code} "
            f"({shortest.length_m:g} m); changeover times will differ as much.",
        )
    if plan.header is None:
        yield Caution("no_header", "No main header is entered; the sums take the manifold to be in the plant room.")
    if plan.manifold and plan.manifold.ports < len(plan.loops):
        yield Caution("ports", f"The manifold has {plan.manifold.ports} ports for {len(plan.loops)} loops.")


def _degrees(value: float) -> str:
    return f"{value:g} °C".replace("-", "−")


def _list(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
