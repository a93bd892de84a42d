"""Balancing: the valve that gives each loop its flow, what that costs, and whether the flows read are alike enough.

A valve is told by its Kv, the m3/h of water that it passes at 1 bar. Valves are reckoned as turbulent; how much less they
pass in cold brine is a range from `house_limits`, so loops are set by measured flow and a preset is only the start.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from calcs._darcy import Law, Pipes
from calcs._ranges import between, kinematic_si, not_negative, positive
from calcs.errors import NoSolution, NotKnown, OutOfRange
from calcs.network import Branch, Branches, star
from calcs.sources import Limit, limits
from calcs.units import Array, Quantity, quantity, si, si_array
from calcs.verdict import Cause, Figure, Outcome, Verdict, inside

WATER = 1000.0
BAR = 1e5
HOUR = 3600.0

Loops = Sequence[Branch] | Branches


class Indicator(StrEnum):
    """How a flow indicator works. Paddle, ultrasonic and magnetic meters are not corrected by density."""

    FLOAT = "float"
    SPRING = "spring"


@dataclass(frozen=True)
class Setting:
    """Valves of one manifold: flows, drop of loop and of valve, Kv; arrays in the order of the loops.

    `price` is what the pump pays: the drop with all loops as set, less the drop of the same flow with open valves.
    """

    flows: Quantity
    loop_drops: Quantity
    valve_drops: Quantity
    flow_coefficients: Quantity
    common_drop: Quantity
    price: Quantity


@dataclass(frozen=True)
class Carried:
    """Flows that a setting gives in another fluid, as deviation from the flows it was made for (-0.02 is 2 % less).

    `low` and `high` add what cold fluid may do to each valve by itself.
    """

    flows: Quantity
    deviation: Array
    low: Array
    high: Array


@dataclass(frozen=True)
class Manifold:
    """One manifold of several: its loops, the flow of each, its own header runs, and what lies before them.

    `before` is the drop of shared pipe up to this manifold at design flow, None where there is none.
    """

    name: str
    loops: Loops
    flows: Quantity
    header: Sequence[Branch] = ()
    before: Quantity | None = None


@dataclass(frozen=True)
class TwoLevels:
    """Valves of several manifolds: one per manifold, then one per loop. `common_drop` is what all of them ask for."""

    names: tuple[str, ...]
    manifold_valves: Quantity
    manifold_valve_drops: Quantity
    loops: tuple[Setting, ...]
    common_drop: Quantity


@dataclass(frozen=True)
class Corrected:
    """A flow read on an indicator scaled for water, in the fluid that flows, with its standard uncertainty."""

    flow: Quantity
    u: Quantity
    factor: float
    is_viscous: bool


def balance_rows() -> dict[str, Limit]:
    """The limits of balancing with their sources (units in the rows; range: keys of the table).

    Source: `calcs/data/house_limits.csv`.

    >>> balance_rows()["spread_pass"].value
    10.0
    """
    return limits("house_limits", "balance")


def flow_coefficient(*, flow: Quantity, pressure_drop: Quantity, density: Quantity) -> Quantity:
    """Kv = Q / sqrt(dp / (rho / 1000)) in m3/h, with Q in m3/h and dp in bar.

    Range: all above 0; turbulent valve. Source: IEC 534-1 as told in a valve handbook (read).

    >>> kv = flow_coefficient(flow=quantity(2.5, "m^3/h"), pressure_drop=quantity(25, "kPa"),
    ...     density=quantity(1000, "kg/m^3"))
    >>> round(kv.m_as("m^3/h"), 2)
    5.0
    """
    q = positive("flow", si(flow, "m^3/hour", "flow"))
    drop = positive("pressure drop", si(pressure_drop, "bar", "pressure drop"))
    rho = positive("density", si(density, "kg/m^3", "density"))
    return quantity(q / float(np.sqrt(drop / (rho / WATER))), "m^3/hour")


def valve_drop(*, flow: Quantity, flow_coefficient: Quantity, density: Quantity) -> Quantity:
    """dp = 1e5 (rho / 1000) (Q / Kv)^2 in Pa, Q and Kv in m3/h; inverse of `flow_coefficient`.

    Range: all above 0; turbulent valve. Source: IEC 534-1 as told in a valve handbook (read).

    >>> drop = valve_drop(flow=quantity(2.5, "m^3/h"), flow_coefficient=quantity(5, "m^3/h"),
    ...     density=quantity(1025.8, "kg/m^3"))
    >>> round(drop.m_as("Pa"))
    25645
    """
    q = positive("flow", si(flow, "m^3/hour", "flow"))
    kv = positive("flow coefficient", si(flow_coefficient, "m^3/hour", "flow coefficient"))
    rho = positive("density", si(density, "kg/m^3", "density"))
    return quantity(BAR * rho / WATER * (q / kv) ** 2, "Pa")


def equal_flows(*, total: Quantity, loops: int) -> Quantity:
    """The total flow shared evenly, as an array in L/s. Range: total above 0, one loop or more. Source: arithmetic.

    >>> equal_flows(total=quantity(2.1, "L/s"), loops=6).magnitude.round(2).tolist()
    [0.35, 0.35, 0.35, 0.35, 0.35, 0.35]
    """
    if loops < 1:
        raise OutOfRange(what="loops", value=loops, low=1, high="any number", source="a manifold")
    return quantity(np.full(loops, positive("total flow", si(total, "L/s", "total flow")) / loops), "L/s")


def settings(
    *, loops: Loops, flows: Quantity, density: Quantity, viscosity: Quantity, least_drop: Quantity | None = None
) -> Setting:
    """The Kv of each loop's valve for chosen flows: dP = max h_i(q_i) + least; Kv_i = Q_i / sqrt((dP - h_i) 1000 / rho).

    Units: `flows` one quantity that wraps an array, a flow per loop. `least_drop` is left on the most open valve so that
    its reading is usable (3 kPa, house default). Range: flows above 0. Source: definition of Kv, Darcy-Weisbach.

    >>> runs = [Branch(quantity(m, "m"), quantity(26, "mm"), fittings_k=4) for m in (160, 180, 200, 220, 240, 280)]
    >>> found = settings(loops=runs, flows=equal_flows(total=quantity(2.1, "L/s"), loops=6),
    ...     density=quantity(1025.81, "kg/m^3"), viscosity=quantity(5.376295, "mm^2/s"))
    >>> found.flow_coefficients.magnitude.round(2).tolist(), round(found.price.m_as("kPa"))
    ([2.05, 2.22, 2.46, 2.79, 3.3, 7.37], 24)
    """
    pipes = _pipes(loops, density, viscosity)
    q = _flows(flows, len(pipes.length))
    least = positive("least drop of a valve", _least(least_drop))
    drops = pipes.drop(q, Law.COLEBROOK)
    common = float(np.max(drops)) + least
    # In this order the most open valve keeps its least drop to the last digit, however great the others are.
    valve_drops = np.max(drops) - drops + least
    open_drop = star(pipes, float(np.sum(q)), Law.COLEBROOK)[1]
    return Setting(
        flows=quantity(q, "m^3/s").to("L/s"),
        loop_drops=quantity(drops, "Pa"),
        valve_drops=quantity(valve_drops, "Pa"),
        flow_coefficients=quantity(_kv(q, valve_drops, pipes.density), "m^3/hour"),
        common_drop=quantity(common, "Pa"),
        price=quantity(common - open_drop, "Pa"),
    )


def carried_to(*, loops: Loops, setting: Setting, total: Quantity, density: Quantity, viscosity: Quantity) -> Carried:
    """What a setting gives at another total flow or in another fluid: valves as K = 2 dp A^2 / (rho Q^2) in the loops.

    `deviation` is the pipes' part: each loop's share of the total against its share when set. For `low`, the loop's own
    valve passes the least that cold fluid may let through and all others what they did; for `high` the reverse.
    Range: 5 to 40 kPa on valves of DN 15 to 20 for low and high. Source: viscosity factor of IEC 60534-2-1 worked out for
    25 % propylene glycol at 0 degC (computed).

    >>> runs = [Branch(quantity(m, "m"), quantity(26, "mm"), fittings_k=4) for m in (160, 180, 200, 220, 240, 280)]
    >>> made = settings(loops=runs, flows=equal_flows(total=quantity(2.1, "L/s"), loops=6),
    ...     density=quantity(1025.81, "kg/m^3"), viscosity=quantity(5.376295, "mm^2/s"))
    >>> water = carried_to(loops=runs, setting=made, total=quantity(2.1, "L/s"), density=quantity(999.1, "kg/m^3"),
    ...     viscosity=quantity(1.139, "mm^2/s"))
    >>> round(100 * float(water.deviation.min()), 1), round(100 * float(water.deviation.max()), 1)
    (-2.1, 2.9)
    """
    pipes = _pipes(loops, density, viscosity)
    kv = si_array(setting.flow_coefficients, "m^3/hour", "flow coefficients")
    if len(kv) != len(pipes.length):
        raise OutOfRange(what="settings", value=len(kv), low=len(pipes.length), high=len(pipes.length), source="loops")
    made = si_array(setting.flows, "m^3/s", "flows")
    flow = positive("total flow", si(total, "m^3/s", "total flow"))
    wanted = made / np.sum(made) * flow
    least = between("viscosity factor", balance_rows()["viscosity_factor_low"].value, 0.1, 1.0)

    def shares(factor: Array) -> Array:
        return star(_throttled(pipes, kv * factor), flow, Law.COLEBROOK)[0]

    even, one = np.ones(len(kv)), np.eye(len(kv), dtype=bool)
    plain = shares(even)
    low = np.array([shares(np.where(own, least, even))[own][0] for own in one])
    high = np.array([shares(np.where(own, even, least))[own][0] for own in one])
    return Carried(
        flows=quantity(plain * 1e3, "L/s"),
        deviation=plain / wanted - 1.0,
        low=low / wanted - 1.0,
        high=high / wanted - 1.0,
    )


def two_levels(
    *, manifolds: Sequence[Manifold], density: Quantity, viscosity: Quantity, least_drop: Quantity | None = None
) -> TwoLevels:
    """Valves of several manifolds: the loops of each first, then one valve per manifold that takes up what is left.

    dP = max (before_m + header_m + loops_m) + least; the valve of manifold m takes dP less its own sum.
    Units: as `settings`. Range: one manifold or more. Source: drops in series and in parallel.

    >>> brine = {"density": quantity(1025.81, "kg/m^3"), "viscosity": quantity(5.376295, "mm^2/s")}
    >>> runs = [Branch(quantity(m, "m"), quantity(26, "mm"), fittings_k=4) for m in (180, 200)]
    >>> near, far = (Manifold(name, runs, equal_flows(total=quantity(0.7, "L/s"), loops=2),
    ...     [Branch(quantity(m, "m"), quantity(40.8, "mm"))]) for name, m in (("near", 20), ("far", 80)))
    >>> found = two_levels(manifolds=[near, far], **brine)
    >>> found.manifold_valve_drops.m_as("kPa").round(1).tolist()
    [11.6, 3.0]
    """
    if not manifolds:
        raise NoSolution(what="the valves", reason="there is no manifold.")
    least = positive("least drop of a valve", _least(least_drop))
    made = tuple(
        settings(loops=one.loops, flows=one.flows, density=density, viscosity=viscosity, least_drop=least_drop)
        for one in manifolds
    )
    totals = np.array([float(np.sum(si_array(one.flows, "m^3/s", "flows"))) for one in made])
    paths = np.array(
        [
            si(setting.common_drop, "Pa", "common drop") + _before(one, total, density, viscosity)
            for one, setting, total in zip(manifolds, made, totals, strict=True)
        ]
    )
    common = float(np.max(paths)) + least
    rho = si(density, "kg/m^3", "density")
    return TwoLevels(
        names=tuple(one.name for one in manifolds),
        manifold_valves=quantity(_kv(totals, common - paths, rho), "m^3/hour"),
        manifold_valve_drops=quantity(common - paths, "Pa"),
        loops=made,
        common_drop=quantity(common, "Pa"),
    )


def corrected(
    *,
    kind: Indicator,
    reading: Quantity,
    density: Quantity,
    viscosity: Quantity,
    float_density: Quantity | None = None,
    limit: Quantity | None = None,
) -> Corrected:
    """The flow behind a reading on an indicator whose scale is for water.

    Spring-held: factor sqrt(rho_w / rho). Float in a tapered tube: sqrt((rho_f - rho) rho_w / ((rho_f - rho_w) rho)).
    Units: `limit` the relative error limit of the indicator (10 % unless its sheet says better). Viscosity is not
    corrected: from 3 mm2/s on its effect counts with as much doubt again, and the maker's chart is better.
    Range: fluid 500 to 2000 kg/m3, lighter than the float. Source: balance of forces on a float or target with the drag of
    turbulent flow; limit and doubt house defaults.

    >>> found = corrected(kind=Indicator.SPRING, reading=quantity(20, "L/min"), density=quantity(1025.8, "kg/m^3"),
    ...     viscosity=quantity(5.4, "mm^2/s"))
    >>> round(found.flow.m_as("L/min"), 2), found.is_viscous
    (19.75, True)
    """
    rows = balance_rows()
    rho = between("density", si(density, "kg/m^3", "density"), 500.0, 2000.0)
    factor = float(np.sqrt(WATER / rho))
    if kind is Indicator.FLOAT:
        factor *= float(np.sqrt(_buoyancy(float_density, rho)))
    flow = positive("reading", si(reading, "L/min", "reading")) * factor
    share = rows["indicator_limit"].value / 100.0 if limit is None else si(limit, "", "limit")
    viscous = kinematic_si(viscosity, density) * 1e6 > rows["indicator_viscosity"].value
    parts = [between("limit of the indicator", share, 0.0, 1.0)] * (2 if viscous else 1)
    u = flow * float(np.hypot.reduce(np.array(parts))) / float(np.sqrt(3.0))
    return Corrected(quantity(flow, "L/min"), quantity(u, "L/min"), factor, viscous)


def judge(*, flows: Quantity, targets: Quantity, u: Quantity, names: Sequence[str] = ()) -> Verdict:
    """Whether the loops have their flows: pass within 10 % of the target, warn within 15 %, the meter's doubt counted.

    Units: flows and targets as arrays of one shape; `u` the relative standard uncertainty of one reading. A meter too
    coarse to show 10 % still shows 15 %: then it is a warning. Range: all targets above 0, flows 0 or more.
    Source: house defaults; JCGM 106:2012 for the guard band (memory).

    >>> read, asked = quantity([20.4, 19.8, 18.9], "L/min"), quantity([20.0, 20.0, 20.0], "L/min")
    >>> judge(flows=read, targets=asked, u=quantity(1.2, "percent")).outcome.value
    'pass'
    """
    rows = balance_rows()
    asked = si_array(targets, "L/min", "targets")
    read = si_array(flows, "L/min", "flows")
    if read.shape != asked.shape or np.any(asked <= 0.0) or not np.all(np.isfinite(np.array([read, asked]))):
        raise OutOfRange(
            what="flows", value=len(read), low=len(asked), high=len(asked), source="one per target, above 0"
        )
    doubt = 100.0 * not_negative("uncertainty of a reading", si(u, "", "u"))
    away = 100.0 * (read / asked - 1.0)
    labels = list(names) or [f"loop {index + 1}" for index in range(len(read))]
    figures = tuple(
        Figure(name, float(value), "%", u=float(doubt * part), limit=rows["spread_pass"].value)
        for name, value, part in zip(labels, away, read / asked, strict=True)
    )
    worst = max(figures, key=lambda one: abs(one.value) + 2.0 * (one.u or 0.0))
    return _spread(worst, figures, rows)


def _spread(worst: Figure, figures: tuple[Figure, ...], rows: dict[str, Limit]) -> Verdict:
    value, u, source = abs(worst.value), worst.u or 0.0, rows["spread_pass"].source
    said = f"{worst.name} is {worst.value:+.0f} % from its target"
    if inside(value, rows["spread_pass"].value, u=u) is Outcome.PASS:
        return Verdict(Outcome.PASS, "Every loop has its flow.", figures=figures, source=source)
    wide = inside(value, rows["spread_warn"].value, u=u)
    if wide is Outcome.PASS:
        return Verdict(
            Outcome.WARN, f"{said}, counted with the meter's doubt.", Cause.FLOW, figures=figures, source=source
        )
    furthest = max(figures, key=lambda one: abs(one.value) - 2.0 * (one.u or 0.0))
    if inside(abs(furthest.value), rows["spread_warn"].value, u=furthest.u or 0.0) is Outcome.FAIL:
        reason = f"{furthest.name} is {furthest.value:+.0f} % from its target: set its valve again."
        return Verdict(Outcome.FAIL, reason, Cause.FLOW, figures=figures, source=source)
    return Verdict(
        Outcome.CANNOT_TELL,
        f"{said}, and the meter's doubt is as large as what is left.",
        Cause.READINGS,
        figures=figures,
        source=source,
        way_out="Set this loop nearer to its target, or read it with a meter made for this fluid.",
    )


def _pipes(loops: Loops, density: Quantity, viscosity: Quantity) -> Pipes:
    many = loops if isinstance(loops, Branches) else Branches.of(loops)
    pipes = many.pipes(density, viscosity)
    if pipes.length.size == 0:
        raise NoSolution(what="the valves", reason="there is no loop.")
    return pipes


def _flows(flows: Quantity, count: int) -> Array:
    q = si_array(flows, "m^3/s", "flows")
    if len(q) != count or not (np.all(np.isfinite(q)) and np.all(q > 0.0)):
        raise OutOfRange(what="flows", value=len(q), low=count, high=count, source="one per loop, above 0")
    return q


def _least(least_drop: Quantity | None) -> float:
    return balance_rows()["least_drop"].value * 1e3 if least_drop is None else si(least_drop, "Pa", "least drop")


def _kv(flow: Array, drop: Array, density: float) -> Array:
    return HOUR * flow / np.sqrt(drop / BAR * WATER / density)


def _throttled(pipes: Pipes, kv: Array) -> Pipes:
    """The same pipes with each valve as a K on its bore; rho cancels between Kv and K."""
    valve = 2.0 * (HOUR * pipes.area / kv) ** 2 * BAR / WATER
    return Pipes(
        pipes.length,
        pipes.bore,
        pipes.fittings_k + valve,
        pipes.relative_roughness,
        pipes.density,
        pipes.kinematic_viscosity,
    )


def _before(one: Manifold, total: float, density: Quantity, viscosity: Quantity) -> float:
    shared = 0.0 if one.before is None else not_negative("drop before", si(one.before, "Pa", "drop before"))
    if not one.header:
        return shared
    runs = Branches.of(one.header).pipes(density, viscosity)
    return shared + float(np.sum(runs.drop(np.full(len(runs.length), total), Law.COLEBROOK)))


def _buoyancy(float_density: Quantity | None, rho: float) -> float:
    if float_density is None:
        raise NotKnown(
            what="Density of the float", value="(none)", known="none: see the maker's sheet of the indicator"
        )
    body = si(float_density, "kg/m^3", "float density")
    heavier = max(rho, WATER)
    if body <= heavier:
        raise OutOfRange(
            what="density of the float",
            value=f"{body:g} kg/m3",
            low=f"more than {heavier:g} kg/m3",
            high="any finite value",
            source="a float that sinks",
        )
    return (body - rho) / (body - WATER)
