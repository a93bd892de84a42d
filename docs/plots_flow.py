"""The curves of docs/calculations.md that have to do with flow: drops, ladders, air carried down, and the colour at the outlet."""

from __future__ import annotations

from typing import Final

import numpy as np

from calcs import changeover, fluid, friction, front, plant, purge
from calcs.base import Base
from calcs.circuit import Run, Split
from calcs.network import Branch
from calcs.pipe import pipe
from calcs.plant import Bar, Manifold, Return
from calcs.units import Quantity, quantity
from docs.chart import ACCENT, INK, Axis, Chart, steps

BORE: Final = pipe(od=quantity(40, "mm"), wall=quantity(3.7, "mm")).bore
RUN: Final = quantity(200, "m")


def percent(value: float) -> Quantity:
    """Percent as a quantity."""
    return quantity(value, "percent")


def mix_of(base: Base, by_mass: float, celsius: float) -> fluid.Properties:
    """Properties of a mix, percent by mass and degC."""
    return fluid.properties(base=base, mass_fraction=percent(by_mass), temperature=quantity(celsius, "degC"))


def cold_glycol() -> fluid.Properties:
    """What a loop in winter carries: 25 % propylene glycol at 0 degC."""
    return mix_of(Base.PROPYLENE_GLYCOL, 25.0, 0.0)


def pressure_drop() -> str:
    """Drop per metre of 40 x 3.7 mm over flow, water and cold propylene glycol, with the conservative law."""
    chart = Chart(
        "Pressure drop of 40 × 3.7 mm pipe",
        Axis("flow, L/min", 0, 50, (0, 10, 20, 30, 40, 50)),
        Axis("Pa per metre", 0, 600, (0, 100, 200, 300, 400, 500, 600)),
    )
    mixes = ((Base.WATER, 0.0, 10.0, INK), (Base.PROPYLENE_GLYCOL, 25.0, 0.0, ACCENT))
    for base, w, t, ink in mixes:
        found = [(flow, _drop(base, w, t, flow)) for flow in steps(0, 50, 200)]
        chart.curve([(q, float(d.conservative_pressure_drop.m_as("Pa"))) for q, d in found], ink=ink, dashed=True)
        chart.curve([(q, float(d.pressure_drop.m_as("Pa"))) for q, d in found], ink=ink)
        for end in (friction.Regime.LAMINAR, friction.Regime.TRANSITION):
            q, d = next(pair for pair in reversed(found) if pair[1].regime is end)
            chart.dot(q, float(d.pressure_drop.m_as("Pa")))
    chart.say(39.5, 430, "25 % propylene glycol, 0 °C", ink=ACCENT, anchor="end")
    chart.say(39, 205, "water, 10 °C")
    chart.say(1, 560, "circles: Re 2000 and 4000")
    chart.say(1, 520, "dashed: conservative (Churchill)")
    return chart.svg()


def _drop(base: Base, w: float, t: float, flow: float) -> friction.Drop:
    mix = mix_of(base, w, t)
    return friction.pressure_drop(
        flow=quantity(flow, "L/min"),
        length=quantity(1, "m"),
        bore=BORE,
        density=mix.density,
        viscosity=mix.viscosity,
    )


def ladder() -> str:
    """Flow of each loop of a ladder in percent of the mean, with direct and with reverse return."""
    chart = Chart(
        "Who gets which flow: twelve loops on a ladder of one bore",
        Axis("loop, counted from the heat pump", 1, 12, tuple(range(1, 13))),
        Axis("flow, % of the mean", 90, 120, (90, 95, 100, 105, 110, 115, 120)),
    )
    chart.curve([(1, 100), (12, 100)], wide=1)
    for returns, ink in ((Return.DIRECT, ACCENT), (Return.REVERSE, INK)):
        shares = list(enumerate(ladder_shares(returns), start=1))
        chart.curve(shares, ink=ink)
        for number, share in shares:
            chart.dot(number, share, ink=ink)
    chart.say(2.35, 112, "direct return: the far end gets least", ink=ACCENT)
    chart.say(11.6, 107.3, "reverse return: the middle gets least", anchor="end")
    return chart.svg()


def ladder_shares(returns: Return) -> list[float]:
    """Twelve loops of 200 m, 6 m apart on 51.4 mm, 0.35 L/s each, 25 % propylene glycol at 0 degC."""
    mix = cold_glycol()
    loops = [Branch(RUN, quantity(26.2, "mm"), fittings_k=4)] * 12
    bar = Bar([Branch(quantity(6, "m"), quantity(51.4, "mm"))] * 11, returns)
    found = plant.solve(
        manifolds=[Manifold(loops, bar=bar)],
        total_flow=quantity(12 * 0.35, "L/s"),
        density=mix.density,
        viscosity=mix.viscosity,
    )
    flows = found.manifolds[0].loop_flows.m_as("L/s")
    return [float(share) for share in 100.0 * flows / np.mean(flows)]


def clearing() -> str:
    """The velocity that carries air down, over the bore, against the 0.6 m/s of a purge."""
    chart = Chart(
        "Does a purge at 0.6 m/s carry the air down?",
        Axis("bore, mm", 15, 100, (20, 30, 40, 50, 60, 70, 80, 90, 100)),
        Axis("clearing velocity, m/s", 0, 1.2, (0, 0.2, 0.4, 0.6, 0.8, 1.0, 1.2)),
    )
    bores = steps(15, 100, 85)
    upright, level = ([(bore, _clearing(bore, slope)) for bore in bores] for slope in (90.0, 0.0))
    chart.band(upright, level)
    chart.curve(upright, ink=ACCENT)
    chart.curve(level)
    chart.curve([(15, 0.6), (100, 0.6)], wide=1)
    chart.say(58, 0.87, "straight down", ink=ACCENT, anchor="end")
    chart.say(70, 0.63, "hardly any slope")
    chart.say(99, 0.53, "0.6 m/s", anchor="end")
    return chart.svg()


def _clearing(bore: float, slope: float) -> float:
    found = purge.clearing_velocity(bore=quantity(bore, "mm"), slope=quantity(slope, "degree"))
    return float(found.m_as("m/s"))


def outlet() -> str:
    """Share of new fluid at the return hose over volumes pumped, with and without a front."""
    chart = Chart(
        "Changeover at the return hose, 200 m of 40 × 3.7 mm",
        Axis("loop volumes pumped", 0, 3, (0, 0.5, 1, 1.5, 2, 2.5, 3)),
        Axis("new fluid, %", 0, 100, (0, 20, 40, 60, 80, 100)),
    )
    water, brisk, slow = (
        _expected(Base.WATER, 30),
        _expected(Base.PROPYLENE_GLYCOL, 30),
        _expected(Base.PROPYLENE_GLYCOL, 15),
    )
    chart.curve(_front(water), dashed=True)
    chart.curve(_front(brisk))
    shares = [share / 1000 for share in range(1000)]
    chart.curve([(0, 0), *((changeover.laminar_turnovers(f), 100 * f) for f in shares)], ink=ACCENT)
    chart.say(1.12, 56, f"water at 10 °C, 30 L/min: Re {round(water.reynolds, -2):.0f} (dashed)")
    chart.say(1.12, 44, "25 % propylene glycol at 0 °C")
    chart.say(1.12, 36, f"at 30 L/min: Re {round(brisk.reynolds, -2):.0f}")
    chart.say(1.12, 24, "the same mix, without a front", ink=ACCENT)
    chart.say(1.12, 16, f"at 15 L/min: Re {round(slow.reynolds, -2):.0f}", ink=ACCENT)
    return chart.svg()


def _expected(base: Base, flow: float) -> changeover.Changeover:
    mix = mix_of(base, 0.0, 10.0) if base is Base.WATER else cold_glycol()
    return changeover.expected(
        length=RUN, bore=BORE, flow=quantity(flow, "L/min"), density=mix.density, viscosity=mix.viscosity
    )


def _front(seen: changeover.Changeover) -> list[tuple[float, float]]:
    """Loop volumes and percent of new fluid, from the mixed length of each share."""
    speed = RUN / seen.transit_time
    spread = changeover.dispersion(bore=BORE, velocity=speed, reynolds=seen.reynolds)
    half = []
    for share in steps(0.002, 0.498, 60):
        run = changeover.mixed_length(dispersion=spread, length=RUN, velocity=speed, fraction=share)
        half.append((float((run / RUN).m_as("")) / 2, share))
    early = [(1 - away, 100 * share) for away, share in half]
    late = [(1 + away, 100 * (1 - share)) for away, share in reversed(half)]
    return [(0, 0), (early[0][0], 0), *early, *late, (3, 100)]


def legs() -> str:
    """New fluid at the outlet of a loop that splits in two: like legs, unlike legs, and unlike legs without a front."""
    chart = Chart(
        "Colour at the outlet of a loop with two legs, 38 L/min",
        Axis("minutes from the start", 0, 20, (0, 2, 4, 6, 8, 10, 12, 14, 16, 18, 20)),
        Axis("new fluid, %", 0, 100, (0, 20, 40, 60, 80, 100)),
    )
    water, cold = (mix_of(Base.WATER, 0.0, 10.0), cold_glycol())
    chart.curve(_colour(water, 200, 200), dashed=True)
    chart.curve(_colour(water, 100, 300))
    chart.curve(_colour(cold, 100, 300), ink=ACCENT)
    chart.say(5.9, 26, "200 + 200 m, water at 10 °C (dashed)")
    chart.say(12.5, 78, "100 + 300 m, water")
    chart.say(8.7, 56, "100 + 300 m, 25 % propylene glycol", ink=ACCENT)
    chart.say(8.7, 48, "at 0 °C", ink=ACCENT)
    return chart.svg()


def _colour(mix: fluid.Properties, short: float, long: float) -> list[tuple[float, float]]:
    run = Run([Split([Branch(quantity(metres, "m"), quantity(26.0, "mm")) for metres in (short, long)])])
    flow = quantity(38, "L/min")
    return [
        (
            minutes,
            100.0
            * front.share_of_new(
                run=run, flow=flow, density=mix.density, viscosity=mix.viscosity, after=quantity(minutes, "min")
            ),
        )
        for minutes in steps(0, 20, 400)
    ]
