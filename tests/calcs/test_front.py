"""The changeover of a loop with tees: against SciPy, a random walk of particles, the balance of mass and the single pipe."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from calcs import changeover, circuit, front
from calcs.changeover import Mixing
from calcs.circuit import Run, Split
from calcs.errors import OutOfRange, Unsuitable
from calcs.network import Branch
from calcs.units import quantity
from calcs.verdict import Outcome

WATER: dict[str, Any] = {"density": quantity(1000, "kg/m^3"), "viscosity": quantity(1.306, "mm^2/s")}
COLD: dict[str, Any] = {"density": quantity(1000, "kg/m^3"), "viscosity": quantity(8.0, "mm^2/s")}


def pipe(length: float, bore: float = 26.0) -> Branch:
    return Branch(quantity(length, "m"), quantity(bore, "mm"))


def seconds(value: Any) -> float:
    return float(value.to("s").magnitude)


@pytest.mark.parametrize(("flow", "fluid"), [(20.0, WATER), (45.0, WATER), (20.0, COLD)])
def test_one_section_is_the_single_pipe(flow: float, fluid: dict[str, Any]) -> None:
    single = changeover.expected(
        length=quantity(200, "m"), bore=quantity(26, "mm"), flow=quantity(flow, "L/min"), **fluid
    )
    for run in (pipe(200), Run([pipe(80), pipe(120)])):
        found = front.expected(run=run, flow=quantity(flow, "L/min"), **fluid)
        for name in ("transit_time", "first_colour", "full_colour"):
            assert seconds(getattr(found, name)) == pytest.approx(seconds(getattr(single, name)), rel=1e-6)
        assert found.loop_volume.to("L").magnitude == pytest.approx(single.loop_volume.to("L").magnitude)
        assert (found.mixing, found.is_sharp) == (single.mixing, single.is_sharp)
        assert found.reynolds == pytest.approx(single.reynolds)


def test_a_double_u_is_one_leg_at_half_the_flow() -> None:
    leg = pipe(200)
    double = front.expected(run=Run([Split([leg, leg])]), flow=quantity(40, "L/min"), **WATER)
    one = front.expected(run=leg, flow=quantity(20, "L/min"), **WATER)
    for name in ("transit_time", "first_colour", "full_colour"):
        assert seconds(getattr(double, name)) == pytest.approx(seconds(getattr(one, name)), rel=1e-6)
    assert double.loop_volume.magnitude == pytest.approx(2 * one.loop_volume.magnitude)


def test_unlike_legs_come_one_after_the_other() -> None:
    """F = sum q_i F_i / sum q by SciPy's normal distribution, with the legs' flows of `circuit.flows` (checked by EPANET)."""
    run, flow = Run([Split([pipe(120), pipe(260)])]), quantity(42, "L/min")
    legs = circuit.flows(run=run, flow=flow, **WATER).sections
    curves = []
    for length, speed, re in zip((120, 260), legs.velocities.m_as("m/s"), legs.reynolds, strict=True):
        spread = changeover.dispersion(bore=quantity(26, "mm"), velocity=quantity(speed, "m/s"), reynolds=float(re))
        transit = length / speed
        curves.append(norm(transit, np.sqrt(2 * spread.m_as("m^2/s") * transit) / speed))
    shares = legs.flows.magnitude / np.sum(legs.flows.magnitude)
    for t in (60.0, 150.0, 170.0, 300.0, 480.0, 500.0):
        wanted = float(sum(share * curve.cdf(t) for share, curve in zip(shares, curves, strict=True)))
        found = front.share_of_new(run=run, flow=flow, after=quantity(t, "s"), **WATER)
        assert found == pytest.approx(wanted, abs=1e-6)
    seen = front.expected(run=run, flow=flow, **WATER)
    assert seen.mixing is Mixing.UNLIKE_LEGS
    assert not seen.is_sharp
    assert seconds(seen.first_colour) < curves[0].mean() < seconds(seen.transit_time) < curves[1].mean()
    assert seconds(seen.full_colour) == pytest.approx(curves[1].ppf(1 - 0.01 / shares[1]), rel=1e-6)


RUNS = {
    "twin": Run([pipe(20, 32.6), Split([pipe(120), Run([pipe(15, 32.6), pipe(260)])]), pipe(20, 32.6)]),
    "nested": Run([Split([Run([pipe(8), Split([pipe(170), pipe(90)])]), pipe(300, 32.6)]), pipe(30, 40.8)]),
    "row": Run([pipe(30, 20.4), Split([pipe(100), pipe(150)]), Split([pipe(100), pipe(150)])]),
}


@pytest.mark.parametrize("name", RUNS)
@pytest.mark.parametrize(("flow", "fluid"), [(40.0, WATER), (30.0, COLD)])
def test_mean_time_is_volume_over_flow(name: str, flow: float, fluid: dict[str, Any]) -> None:
    """Balance of mass: what was in the run must come out, so that the integral of 1 - F is V / Q."""
    run, given = RUNS[name], {"flow": quantity(flow, "L/min"), **fluid}
    volume = circuit.volume(run=run).m_as("m^3")
    transit = volume / given["flow"].m_as("m^3/s")

    def left(t: float) -> float:
        return 1.0 - front.share_of_new(run=run, after=quantity(t, "s"), **given)

    edge = 40.0 * transit
    times = np.unique(np.concatenate([np.linspace(0, 3 * transit, 600), np.geomspace(3 * transit, edge, 200)]))
    body = float(np.trapezoid([left(t) for t in times], times))
    # Pure convection leaves a tail of tau^2 / (4 t^2) per streaming way, whose integral beyond the edge is edge * (1 - F).
    assert body + edge * left(edge) == pytest.approx(transit, rel=5e-3)


def test_mixed_then_streaming_as_a_walk_of_particles() -> None:
    """A turbulent section before a laminar one: 200 000 particles, each with a Gaussian and a streaming time of its own."""
    run, flow = Run([pipe(150, 16.0), pipe(100, 73.6)]), quantity(14, "L/min")
    fluid: dict[str, Any] = {"density": quantity(1000, "kg/m^3"), "viscosity": quantity(2.2, "mm^2/s")}
    sections = circuit.flows(run=run, flow=flow, **fluid).sections
    first, second = sections.velocities.m_as("m/s")
    assert sections.reynolds[0] > changeover.NO_MIXING_BELOW > sections.reynolds[1]
    spread = changeover.dispersion(
        bore=quantity(16, "mm"), velocity=quantity(first, "m/s"), reynolds=float(sections.reynolds[0])
    )
    dice = np.random.default_rng(52)
    sigma = np.sqrt(2 * spread.m_as("m^2/s") * 150 / first) / first
    mixed = dice.normal(150 / first, sigma, 200_000)
    streamed = 100 / second / np.sqrt(4 * (1 - dice.random(200_000)))
    for t in np.quantile(mixed + streamed, [0.05, 0.3, 0.6, 0.9]):
        found = front.share_of_new(run=run, flow=flow, after=quantity(float(t), "s"), **fluid)
        assert found == pytest.approx(float(np.mean(mixed + streamed <= t)), abs=0.005)


def test_laminar_tail_is_the_integral_of_its_curve() -> None:
    theta = quad(changeover.laminar_turnovers, 0.0, 0.99)[0]
    assert theta == pytest.approx(0.9, abs=1e-6)


def test_effective_length_of_a_tree_is_by_volume() -> None:
    run, flow = RUNS["twin"], quantity(40, "L/min")
    seen = front.expected(run=run, flow=flow, **WATER)
    longest = circuit.longest_path(run=run).m_as("m")
    found = front.effective_length(run=run, observed=seen.transit_time, flow=flow)
    assert found.m_as("m") == pytest.approx(longest)
    late = front.effective_length(run=run, observed=1.1 * seen.transit_time, flow=flow)
    assert late.m_as("m") == pytest.approx(1.1 * longest)
    bare = front.effective_length(run=pipe(200), observed=quantity(300, "s"), flow=flow)
    single = changeover.effective_length(observed=quantity(300, "s"), flow=flow, bore=quantity(26, "mm"))
    assert bare.m_as("m") == pytest.approx(single.m_as("m"))


def test_the_steps_of_a_twin_are_no_fault() -> None:
    seen = front.expected(run=Run([Split([pipe(120), pipe(260)])]), flow=quantity(42, "L/min"), **WATER)
    times: dict[str, Any] = {"observed_first": seen.first_colour, "observed_full": seen.full_colour}
    assert changeover.diagnose(expected=seen, **times).outcome is Outcome.PASS
    early = changeover.diagnose(expected=seen, observed_first=0.5 * seen.first_colour)
    assert "Too fast" in early.reason


def test_a_string_of_double_us_stays_small_and_a_thicket_is_refused() -> None:
    like = Run([Split([pipe(100), pipe(100)])] * 40)
    seen = front.expected(run=like, flow=quantity(40, "L/min"), **WATER)
    assert seen.is_sharp
    thicket = Run([Split([pipe(100), pipe(100 + 2**number)]) for number in range(11)])
    with pytest.raises(Unsuitable, match="ways through it"):
        front.expected(run=thicket, flow=quantity(40, "L/min"), **WATER)
    with pytest.raises(OutOfRange, match="flow"):
        front.expected(run=like, flow=quantity(0, "L/min"), **WATER)
