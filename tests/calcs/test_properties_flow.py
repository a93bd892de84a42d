"""What must hold of every pipe, manifold and loop, whatever its numbers."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from calcs.changeover import Mixing, diagnose, expected, laminar_turnovers
from calcs.deaeration import Visit, trend
from calcs.deaeration import judge as judge_run_in
from calcs.elastic import compliance, elastic_volume, leak_to_pressure, wall_modulus
from calcs.friction import Drop, Regime, pressure_drop
from calcs.network import Branch, solve
from calcs.purge import PurgeLimits, judge_run, plan
from calcs.residual_air import Squeeze, from_litres_in, judge
from calcs.units import quantity
from calcs.verdict import Cause, Outcome, inside

FLOWS = st.floats(0.01, 3.0)  # L/s
LENGTHS = st.floats(5.0, 600.0)  # m
BORES = st.floats(16.0, 130.0)  # mm
NU = st.floats(0.6, 12.0)  # mm2/s
MORE = st.floats(1.01, 3.0)


def drop(flow: float, length: float, bore: float, nu: float) -> Drop:
    return pressure_drop(
        flow=quantity(flow, "L/s"),
        length=quantity(length, "m"),
        bore=quantity(bore, "mm"),
        density=quantity(1030, "kg/m^3"),
        viscosity=quantity(nu, "mm^2/s"),
    )


def pascals(found: Drop) -> float:
    return float(found.pressure_drop.m_as("Pa"))


@given(flow=FLOWS, length=LENGTHS, bore=BORES, nu=NU, more=MORE)
def test_drop_grows_with_flow_length_and_viscosity_and_falls_with_bore(
    flow: float, length: float, bore: float, nu: float, more: float
) -> None:
    here = pascals(drop(flow, length, bore, nu))
    assert pascals(drop(flow * more, length, bore, nu)) > here
    assert pascals(drop(flow, length * more, bore, nu)) == pytest.approx(more * here, rel=1e-9)
    thicker = drop(flow, length, bore, nu * more)
    # Between Re 2000 and 4000 a thicker fluid calms the flow, and the drop may fall: true of real pipe as well.
    if thicker.regime is drop(flow, length, bore, nu).regime is not Regime.TRANSITION:
        assert pascals(thicker) > here
    assert pascals(drop(flow, length, bore * more, nu)) < here


@given(flow=FLOWS, length=LENGTHS, bore=BORES, nu=NU)
def test_conservative_drop_is_never_below_the_product_law(flow: float, length: float, bore: float, nu: float) -> None:
    found = drop(flow, length, bore, nu)
    assert found.conservative_pressure_drop.m_as("Pa") >= pascals(found) > 0.0


@given(flow=FLOWS, bore=BORES, nu=NU, length=LENGTHS, cut=st.floats(0.05, 0.95))
def test_a_pipe_is_the_sum_of_its_parts(flow: float, bore: float, nu: float, length: float, cut: float) -> None:
    parts = pascals(drop(flow, length * cut, bore, nu)) + pascals(drop(flow, length * (1 - cut), bore, nu))
    assert parts == pytest.approx(pascals(drop(flow, length, bore, nu)), rel=1e-9)


loops = st.lists(st.tuples(st.floats(30.0, 400.0), st.sampled_from([20.4, 26.0, 32.6, 40.8])), min_size=1, max_size=8)
WATER: dict[str, Any] = {"density": quantity(999.7, "kg/m^3"), "viscosity": quantity(1.306, "mm^2/s")}


def branches(rows: list[tuple[float, float]]) -> list[Branch]:
    return [Branch(quantity(length, "m"), quantity(bore, "mm"), 4.0) for length, bore in rows]


@given(rows=loops, total=st.floats(0.05, 5.0), nu=NU, extra=st.floats(30.0, 400.0))
def test_another_loop_never_raises_the_drop(
    rows: list[tuple[float, float]], total: float, nu: float, extra: float
) -> None:
    fluid: dict[str, Any] = {"density": quantity(1025, "kg/m^3"), "viscosity": quantity(nu, "mm^2/s")}
    few = solve(branches=branches(rows), total_flow=quantity(total, "L/s"), **fluid)
    more = solve(branches=branches([*rows, (extra, 32.6)]), total_flow=quantity(total, "L/s"), **fluid)
    assert np.sum(few.flows.m_as("L/s")) == pytest.approx(total, rel=1e-8)
    assert np.sum(more.flows.m_as("L/s")) == pytest.approx(total, rel=1e-8)
    assert more.manifold_drop.m_as("Pa") < few.manifold_drop.m_as("Pa")
    assert np.all(more.flows.m_as("L/s")[:-1] < few.flows.m_as("L/s"))


@given(count=st.integers(1, 12), length=LENGTHS, total=st.floats(0.1, 5.0), nu=NU)
def test_equal_loops_share_equally(count: int, length: float, total: float, nu: float) -> None:
    fluid: dict[str, Any] = {"density": quantity(1025, "kg/m^3"), "viscosity": quantity(nu, "mm^2/s")}
    found = solve(branches=branches([(length, 26.0)] * count), total_flow=quantity(total, "L/s"), **fluid)
    assert found.flows.m_as("L/s") == pytest.approx(np.full(count, total / count), rel=1e-9)
    assert (found.spread.low, found.spread.high) == pytest.approx((0.0, 0.0), abs=1e-9)
    alone = drop(total / count, length, 26.0, nu)
    assert found.reynolds[0] == pytest.approx(alone.reynolds)


@given(rows=loops, total=st.floats(0.05, 5.0), seed=st.randoms(use_true_random=False))
def test_the_order_on_the_manifold_does_not_matter(rows: list[tuple[float, float]], total: float, seed: object) -> None:
    mixed = list(rows)
    seed.shuffle(mixed)  # type: ignore[attr-defined]
    here = solve(branches=branches(rows), total_flow=quantity(total, "L/s"), **WATER)
    there = solve(branches=branches(mixed), total_flow=quantity(total, "L/s"), **WATER)
    assert there.total_drop.m_as("Pa") == pytest.approx(here.total_drop.m_as("Pa"), rel=1e-8)
    assert sorted(there.flows.m_as("L/s")) == pytest.approx(sorted(here.flows.m_as("L/s")), rel=1e-7)


@given(length=LENGTHS, bore=BORES, flow=FLOWS, nu=NU)
def test_first_colour_then_transit_then_full_colour(length: float, bore: float, flow: float, nu: float) -> None:
    found = expected(
        length=quantity(length, "m"),
        bore=quantity(bore, "mm"),
        flow=quantity(flow, "L/s"),
        density=quantity(1025, "kg/m^3"),
        viscosity=quantity(nu, "mm^2/s"),
    )
    first, transit, full = (t.m_as("s") for t in (found.first_colour, found.transit_time, found.full_colour))
    assert 0.0 <= first <= transit <= full
    assert transit == pytest.approx(found.loop_volume.m_as("L") / flow, rel=1e-9)
    assert found.mixed_volume.m_as("L") == pytest.approx((full - first) * flow, rel=1e-6)
    seen = diagnose(expected=found, observed_first=found.first_colour, observed_full=found.full_colour)
    if found.mixing is not Mixing.CONVECTION and first > 0.1 * transit:
        assert seen.outcome is Outcome.PASS, seen.reason


@given(a=st.floats(0.0, 0.998), b=st.floats(0.0, 0.998))
def test_more_new_fluid_needs_more_turnovers(a: float, b: float) -> None:
    low, high = sorted((a, b))
    assert 0.5 <= laminar_turnovers(low) <= laminar_turnovers(high)


@given(
    volume=st.floats(50.0, 2000.0),
    ratio=st.floats(7.0, 16.0),
    start=st.floats(0.0, 2.0),
    rise=st.floats(0.5, 5.0),
    modulus=st.floats(500.0, 1300.0),
)
def test_exactly_elastic_litres_leave_no_air(
    volume: float, ratio: float, start: float, rise: float, modulus: float
) -> None:
    wall, water = quantity(modulus, "MPa"), quantity(2092, "MPa")
    give = compliance(bore_to_wall=ratio, wall_modulus=wall, water_modulus=water)
    taken = elastic_volume(volume=quantity(volume, "L"), pressure_change=quantity(rise, "bar"), compliance=give)
    event = Squeeze(
        quantity(volume, "L"), ratio, quantity(start, "bar"), quantity(start + rise, "bar"), wall_modulus=wall
    )
    found = from_litres_in(squeeze=event, litres_in=taken)
    assert found.volume.m_as("L") == pytest.approx(0.0, abs=1e-9 * volume)
    assert found.low.m_as("L") < 0.0 < found.high.m_as("L")
    assert judge(found).outcome in {Outcome.PASS, Outcome.CANNOT_TELL}
    hose = from_litres_in(squeeze=replace(event, hose=quantity(0.2, "L")), litres_in=taken + quantity(0.2, "L"))
    assert hose.volume.m_as("L") == pytest.approx(0.0, abs=1e-9 * volume)


@given(litres=st.floats(0.0, 20.0), more=st.floats(0.01, 5.0))
def test_more_litres_are_more_air(litres: float, more: float) -> None:
    event = Squeeze(quantity(334, "L"), 8.8, quantity(0, "bar"), quantity(3.45, "bar"))
    less, greater = (from_litres_in(squeeze=event, litres_in=quantity(x, "L")) for x in (litres, litres + more))
    assert greater.volume.m_as("L") > less.volume.m_as("L")
    assert less.low.m_as("L") <= less.volume.m_as("L") <= less.high.m_as("L")
    order = [Outcome.CANNOT_TELL, Outcome.PASS, Outcome.WARN, Outcome.FAIL]
    if judge(less).outcome in order[2:]:
        assert order.index(judge(greater).outcome) >= order.index(judge(less).outcome)


@given(hours=st.floats(0.02, 4e5), more=st.floats(1.01, 10.0), cold=st.floats(-1.0, 37.0), warmer=st.floats(0.1, 20.0))
def test_the_wall_softens_with_time_and_warmth(hours: float, more: float, cold: float, warmer: float) -> None:
    assume(hours * more < 438000 and cold + warmer < 37.7)

    def wall(time: float, heat: float) -> float:
        return float(wall_modulus(time=quantity(time, "hour"), temperature=quantity(heat, "degC")).m_as("MPa"))

    assert wall(hours * more, cold) < wall(hours, cold)
    assert wall(hours, cold + warmer) < wall(hours, cold)


@given(leak=st.floats(0.001, 10.0), volume=st.floats(10.0, 5000.0), more=MORE)
def test_a_leak_shows_less_in_a_larger_loop(leak: float, volume: float, more: float) -> None:
    give = quantity(1.03e-8, "1/Pa")
    small, large = (
        leak_to_pressure(leak=quantity(leak, "L/hour"), volume=quantity(v, "L"), compliance=give).m_as("bar/hour")
        for v in (volume, volume * more)
    )
    assert small < large < 0.0
    assert small == pytest.approx(large * more, rel=1e-9)


@given(value=st.floats(0.0, 2.0), limit=st.floats(0.0, 2.0), step=st.sampled_from([0.01, 0.05, 0.1, 0.2]))
def test_rounding_to_the_gauge_never_turns_pass_into_fail(value: float, limit: float, step: float) -> None:
    """A difference of two rounded readings is off by one step at most; u is 0.408 steps."""
    u = 0.408 * step
    true = inside(value, limit, u=u)
    for shift in (-step, -step / 2, step / 2, step):
        assert {true, inside(value + shift, limit, u=u)} != {Outcome.PASS, Outcome.FAIL}


@given(value=st.floats(-5, 5), limit=st.floats(-5, 5), u=st.floats(0, 2), more=st.floats(0, 2))
def test_doubt_never_makes_a_verdict_of_doubt_sure(value: float, limit: float, u: float, more: float) -> None:
    if inside(value, limit, u=u) is Outcome.CANNOT_TELL:
        assert inside(value, limit, u=u + more) is Outcome.CANNOT_TELL


visits = st.lists(st.tuples(st.floats(0.5, 5.0), st.floats(0.5, 3.0), st.floats(-0.5, 0.5)), min_size=1, max_size=6)


@given(rows=visits)
def test_what_a_visit_changed_is_taken_out(rows: list[tuple[float, float, float]]) -> None:
    """A loop whose pressure nobody but the visitor changes has a flat net pressure."""
    day, pressure, run = 0.0, rows[0][1], []
    for wait, _, change in rows:
        day += wait
        run.append(
            Visit(day, quantity(pressure, "bar"), quantity(pressure + change, "bar"), quantity(abs(change), "L"))
        )
        pressure += change
    found = trend(visits=run, volume=quantity(400, "L"))
    assert found.net_pressure.m_as("bar") == pytest.approx(np.full(len(run), rows[0][1]), abs=1e-9)
    assert found.topped_up.m_as("L") == pytest.approx(sum(abs(change) for _, _, change in rows))


@given(start=st.floats(0.5, 3.0), step=st.sampled_from([0.01, 0.02, 0.05]), fall=st.floats(0.0, 0.5))
def test_run_in_verdict_follows_the_fall(start: float, step: float, fall: float) -> None:
    none = quantity(0, "L")
    run = [
        Visit(day, quantity(bar, "bar"), quantity(bar, "bar"), none) for day, bar in ((3.0, start), (7.0, start - fall))
    ]
    found = judge_run_in(visits=run, volume=quantity(400, "L"), resolution=quantity(step, "bar"))
    doubt = 2 * 0.408 * step
    if fall + doubt < 0.1 - 1e-6:
        assert found.outcome is Outcome.PASS
    elif fall - doubt > 0.1 + 1e-6:
        assert (found.outcome, found.cause) == (Outcome.FAIL, Cause.AIR)


@given(velocity=st.floats(0.1, 2.0), minutes=st.floats(0.0, 60.0), turnovers=st.floats(0.0, 20.0))
def test_a_longer_faster_purge_is_never_worse(velocity: float, minutes: float, turnovers: float) -> None:
    def outcome(factor: float) -> Outcome:
        return judge_run(
            velocity=quantity(velocity * factor, "m/s"),
            after_last_bubble=quantity(minutes * factor, "min"),
            turnovers=turnovers * factor,
        ).outcome

    if outcome(1.0) is Outcome.PASS:
        assert outcome(1.5) is Outcome.PASS


@given(rows=loops, wide=st.sampled_from([51.4, 61.4, 73.6]))
def test_every_purge_duty_reaches_the_velocity_and_the_turnovers(rows: list[tuple[float, float]], wide: float) -> None:
    asked = PurgeLimits.usual()
    header = [Branch(quantity(40, "m"), quantity(wide, "mm"), name="header")]
    found = plan(loops=branches(rows), header=header, **WATER)
    for duty in found.loops:
        assert duty.velocity.m_as("m/s") == pytest.approx(asked.velocity.m_as("m/s"))
        assert duty.time.m_as("min") >= asked.minutes.m_as("min") - 1e-9
        assert duty.turnovers >= asked.turnovers - 1e-9
    assert found.total_time.m_as("min") == pytest.approx(sum(duty.time.m_as("min") for duty in found.loops))
    assert 1 <= (found.header[0].loops_open or 0) <= len(rows)
