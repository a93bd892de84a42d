"""What bends, tees and valves cost: loss coefficients K with their range and source, and K against Kv, Cv and length.

K counts velocity heads of the pipe that it stands in: dp = K rho v^2/2. Precision in K matters in the plant room, not in the
field: all fittings of a 200 m loop are 1.5 to 2 % of its drop. A tee can show a *negative* K where a fast stream drags the
slow one along; that is energy from the other stream, and in a solver it would take away the one solution. So `network` and
`plant` refuse it, and the defaults of the table are fixed and positive.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import pi

from calcs._ranges import between, not_negative, positive
from calcs.errors import NotKnown
from calcs.sources import Source, Status, table
from calcs.units import Quantity, quantity, si

# Kv is m3/h of water of this density at this pressure drop (definition, IEC 60534-1).
KV_DENSITY, KV_DROP = 1000.0, 1e5
CRANE = "Crane TP-410"


@dataclass(frozen=True)
class Fitting:
    """One fitting of the table: K on the velocity in its pipe, the range that is found for it, and where it comes from."""

    name: str
    k: float
    low: float
    high: float
    source: Source


@dataclass(frozen=True)
class SumOfK:
    """K of several fittings on one pipe, with the sums of the low and of the high ends of their ranges."""

    k: float
    low: float
    high: float
    sources: tuple[Source, ...]


@dataclass(frozen=True)
class TeeLoss:
    """K of a tee on the velocity of the combined stream; `branch_own` is that of the branch on the branch's velocity.

    Below 0 the stream gains from the other one. Such a K never goes into a solver.
    """

    branch: float
    run: float
    branch_own: float


def fittings() -> tuple[Fitting, ...]:
    """All fittings of the table, in its order (K dimensionless; range: bores of ground loops, 20 to 60 mm).

    Source: `calcs/data/fitting_k_defaults.csv`, with source and status on every row.

    >>> [each.name for each in fittings()][:2]
    ['electrofusion elbow 90', 'electrofusion tee, branch']
    """
    return tuple(
        Fitting(
            name=row["fitting"],
            k=float(row["k"]),
            low=float(row["k_low"]),
            high=float(row["k_high"]),
            source=Source(row["source"], Status(row["status"])),
        )
        for row in table("fitting_k_defaults")
    )


def fitting(*, name: str) -> Fitting:
    """One fitting by its name in the table, else `NotKnown` (K dimensionless; range: names of the table).

    Source: as `fittings`.

    >>> foot = fitting(name="borehole foot (U-bend)")
    >>> foot.k, foot.low, foot.high, foot.source.status.value
    (2.0, 1.0, 2.4, 'house default')
    """
    found = {each.name: each for each in fittings()}
    if name not in found:
        raise NotKnown(what="Fitting", value=name, known=", ".join(found))
    return found[name]


def sum_of_k(*, counts: Mapping[str, int]) -> SumOfK:
    """K of several fittings on pipe of one bore: sum of count times K (dimensionless).

    Range: names of the table, counts 0 or more. Source: definition of K; the rows' own sources come along.

    >>> loop = sum_of_k(counts={"borehole foot (U-bend)": 1, "electrofusion coupler": 4, "manifold take-off": 1})
    >>> round(loop.k, 3), round(loop.low, 3), round(loop.high, 3)
    (3.9, 2.1, 5.7)
    """
    rows = [(fitting(name=name), not_negative(f"number of {name}", count)) for name, count in counts.items()]
    return SumOfK(
        k=sum(count * each.k for each, count in rows),
        low=sum(count * each.low for each, count in rows),
        high=sum(count * each.high for each, count in rows),
        sources=tuple(each.source for each, count in rows if count > 0),
    )


def equivalent_length(*, k: float, bore: Quantity, friction_factor: float) -> Quantity:
    """L = K d / f in m: the straight pipe that loses as much. It moves with f, so keep K and show L.

    Range: K 0 or more, bore and f above 0. Source: Darcy-Weisbach.

    >>> round(equivalent_length(k=1.0, bore=quantity(26.0, "mm"), friction_factor=0.035).magnitude, 2)
    0.74
    """
    d = positive("bore", si(bore, "m", "bore"))
    return quantity(not_negative("K", k) * d / positive("friction factor", friction_factor), "m")


def k_on(*, k: float, from_bore: Quantity, to_bore: Quantity) -> float:
    """The same loss on another pipe's velocity: K2 = K1 (d2/d1)^4 (dimensionless). Range: bores above 0; K finite.

    Source: continuity.

    >>> round(k_on(k=0.55, from_bore=quantity(26.0, "mm"), to_bore=quantity(51.4, "mm")), 2)
    8.4
    """
    ratio = positive("to bore", si(to_bore, "m", "to bore")) / positive("from bore", si(from_bore, "m", "from bore"))
    return between("K", k, -1e6, 1e6) * ratio**4


def k_from_kv(*, kv: Quantity, bore: Quantity) -> float:
    """K = 2 dp A^2 / (rho Q^2) on the velocity in `bore` (dimensionless), from Kv as a flow in m3/h.

    Range: both above 0; turbulent flow in the valve (cold brine passes 4 to 18 % less). Source: definition of Kv, IEC 60534-1.

    >>> round(k_from_kv(kv=quantity(500, "m^3/h"), bore=quantity(154, "mm")), 2)
    3.6
    """
    area = _area(bore)
    return 2.0 * KV_DROP * area**2 / (KV_DENSITY * positive("Kv", si(kv, "m^3/s", "Kv")) ** 2)


def kv_from_k(*, k: float, bore: Quantity) -> Quantity:
    """Kv in m3/h of a fitting of this K in this bore: the inverse of `k_from_kv`. Range: both above 0.

    Source: definition of Kv, IEC 60534-1.

    >>> round(kv_from_k(k=3.6, bore=quantity(154, "mm")).magnitude)
    500
    """
    area = _area(bore)
    flow = area * (2.0 * KV_DROP / (KV_DENSITY * positive("K", k))) ** 0.5
    return quantity(flow, "m^3/s").to("m^3/h")


def cv_from_kv(*, kv: Quantity) -> Quantity:
    """Cv, US gallons a minute of water at 1 psi, from Kv: the same valve, sqrt(1 psi / 1 bar) of its flow at 1 bar.

    Units: gpm, as a flow. Range: above 0. Source: definitions (IEC 60534-1) and the units themselves.

    >>> round(cv_from_kv(kv=quantity(1, "m^3/h")).magnitude, 4)
    1.1561
    """
    return quantity(positive("Kv", si(kv, "m^3/s", "Kv")) * _PSI_TO_BAR**0.5, "m^3/s").to("gpm")


def kv_from_cv(*, cv: Quantity) -> Quantity:
    """Kv in m3/h from Cv in gpm: the inverse of `cv_from_kv`. Range: above 0. Source: as there.

    >>> round(kv_from_cv(cv=quantity(1, "gpm")).magnitude, 4)
    0.865
    """
    return quantity(positive("Cv", si(cv, "m^3/s", "Cv")) / _PSI_TO_BAR**0.5, "m^3/s").to("m^3/h")


_PSI_TO_BAR = si(quantity(1.0, "psi"), "bar", "psi")


def tee_converging(
    *, main_bore: Quantity, branch_bore: Quantity, main_flow: Quantity, branch_flow: Quantity
) -> TeeLoss:
    """K of a 90 degree tee in which the branch joins the straight stream (`main_flow` is that before the tee).

    Formula: branch C (1 + (y / b2)^2 - 2 (1 - y)^2), run 1.55 y - y^2, with y the branch's share of the combined flow, b2
    the square of branch over main bore, C = 1 to b2 0.35, above that 0.55 from y 0.4 on and 0.9 (1 - y) below. Range: bores
    above 0, branch not wider than main; flows 0 or more, branch above 0. Source: Crane TP-410 (2009), flow of tees.

    >>> tee = tee_converging(main_bore=quantity(102.3, "mm"), branch_bore=quantity(102.3, "mm"),
    ...     main_flow=quantity(300, "gpm"), branch_flow=quantity(100, "gpm"))
    >>> round(tee.branch, 3), round(tee.run, 3)
    (-0.042, 0.325)
    """
    squared, share = _tee(main_bore, branch_bore, main_flow, branch_flow)
    factor = 1.0 if squared <= 0.35 else 0.55 if share > 0.4 else 0.9 * (1.0 - share)
    branch = factor * (1.0 + (share / squared) ** 2 - 2.0 * (1.0 - share) ** 2)
    return TeeLoss(branch, 1.55 * share - share**2, branch * (squared / share) ** 2)


def tee_diverging(*, main_bore: Quantity, branch_bore: Quantity, main_flow: Quantity, branch_flow: Quantity) -> TeeLoss:
    """K of a 90 degree tee in which the branch leaves the straight stream (`main_flow` is that after the tee).

    Formula: branch G (1 + H (y / b2)^2), G = 1 to b2 2/3 and 1 + 0.3 y^2 above, H = 1 to a ratio of bores of 2/3 and 0.3
    above; run M y^2, M = 0.4 to b2 0.4, above that 2 (2 y - 1) to y 0.5 and 0.3 (2 y - 1) from there. y and b2 as in
    `tee_converging`. Range: as there. Source: Crane TP-410 (2009) with its errata.

    >>> tee = tee_diverging(main_bore=quantity(51.4, "mm"), branch_bore=quantity(26, "mm"),
    ...     main_flow=quantity(0.75, "L/s"), branch_flow=quantity(0.25, "L/s"))
    >>> round(tee.branch_own, 2), round(tee.run, 3)
    (2.05, 0.025)
    """
    squared, share = _tee(main_bore, branch_bore, main_flow, branch_flow)
    gain = 1.0 if squared <= 2.0 / 3.0 else 1.0 + 0.3 * share**2
    dynamic = 1.0 if squared**0.5 <= 2.0 / 3.0 else 0.3
    branch = gain * (1.0 + dynamic * (share / squared) ** 2)
    return TeeLoss(branch, _straight_on(squared, share) * share**2, branch * (squared / share) ** 2)


def _straight_on(squared: float, share: float) -> float:
    if squared <= 0.4:
        return 0.4
    return (2.0 if share <= 0.5 else 0.3) * (2.0 * share - 1.0)


def _tee(main_bore: Quantity, branch_bore: Quantity, main_flow: Quantity, branch_flow: Quantity) -> tuple[float, float]:
    """Square of the ratio of bores, and the branch's share of the combined flow."""
    main = positive("main bore", si(main_bore, "m", "main bore"))
    branch = positive("branch bore", si(branch_bore, "m", "branch bore"))
    between("branch bore", branch, 0.0, main * (1.0 + 1e-9), CRANE)
    through = not_negative("main flow", si(main_flow, "m^3/s", "main flow"))
    aside = positive("branch flow", si(branch_flow, "m^3/s", "branch flow"))
    share = between("branch flow as share of both", aside / (aside + through), 1e-6, 1.0, CRANE)
    return (branch / main) ** 2, share


def _area(bore: Quantity) -> float:
    return pi / 4.0 * positive("bore", si(bore, "m", "bore")) ** 2
