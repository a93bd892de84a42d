"""The rows of golden/hydraulics.csv that pipe, fluid and heat answer for."""

from __future__ import annotations

from dataclasses import replace

import pytest

from calcs import fluid, friction, heat, pipe
from calcs.base import Base
from calcs.units import Quantity, quantity
from tests.calcs.golden_fluid_rows import degrees, percent
from tests.calcs.golden_rows import rows

ROWS = rows("hydraulics")
PG25 = replace(
    fluid.properties(base=Base.PROPYLENE_GLYCOL, mass_fraction=percent(25), temperature=degrees(0)),
    heat_capacity=quantity(3872.2, "J/kg/K"),
)


def numbers(key: str) -> list[float]:
    """The expected numbers of a row, their units cut off."""
    return [float(part.split()[0]) for part in ROWS[key]["expected"].split(";")]


def value(found: Quantity, unit: str) -> float:
    return float(found.m_as(unit))


def row(od: float, sdr: float) -> pipe.PipeRow:
    return next(r for r in pipe.metric_pipes() if r.material == "PE 100" and r.od_mm == od and r.sdr == sdr)


def test_hg19_laminar_drop_with_the_fluid_of_the_table() -> None:
    # The row states rho 1025.81 and nu 5.376295e-6 for 25 % propylene glycol at 0 degC.
    assert value(PG25.density, "kg/m^3") == pytest.approx(1025.81, abs=0.01)
    # Its nu was divided by the rounded rho.
    assert value(PG25.viscosity, "Pa*s") / 1025.81 == pytest.approx(5.376295e-6, rel=1e-7)
    found = friction.pressure_drop(
        flow=quantity(0.15, "L/s"),
        length=quantity(1, "m"),
        bore=quantity(26.0, "mm"),
        density=quantity(1025.81, "kg/m^3"),
        viscosity=quantity(5.376295e-6, "m^2/s"),
    )
    assert value(found.pressure_drop, "Pa") == pytest.approx(numbers("HG19")[0], rel=1e-6)


def test_hg31_bore_and_volume() -> None:
    one = row(32, 11).pipe
    bore, litres = numbers("HG31")
    assert value(one.bore, "mm") == pytest.approx(bore, rel=1e-12)
    assert value(pipe.volume(pipe=one, length=quantity(200, "m")), "L") == pytest.approx(litres, rel=1e-4)


def test_hg32_inch_pipe() -> None:
    found = next(r for r in pipe.metric_pipes() if r.name == "1 1/4" and r.sdr == 11).pipe
    bore, litres = numbers("HG32")
    assert value(found.bore, "mm") == pytest.approx(bore, rel=1e-3)
    assert value(found.volume_per_metre, "L/m") == pytest.approx(litres, rel=1e-3)


def test_hg33_purge_flow() -> None:
    flow = row(63, 11).pipe.area * quantity(0.6, "m/s")
    per_second, per_minute = numbers("HG33")
    assert value(flow, "L/s") == pytest.approx(per_second, rel=1e-3)
    assert value(flow, "L/min") == pytest.approx(per_minute, rel=1e-3)


def test_hg35_greatest_wall() -> None:
    assert row(63, 11).wall_max_mm == numbers("HG35")[0]


def test_hg36_source_duty_and_flow() -> None:
    duty = heat.source_duty(heating=quantity(12, "kW"), cop=4.6)
    watts, flow = numbers("HG36")
    assert value(duty, "W") == pytest.approx(watts, rel=1e-3)
    found = heat.flow_for(duty=duty, spread=quantity(3, "K"), properties=PG25)
    assert value(found, "m^3/h") == pytest.approx(flow, rel=1e-3)


def test_hg37_thermal_uncertainty() -> None:
    found = heat.heat_from_flow(
        flow=quantity(0.788, "L/s"),
        t_in=degrees(0),
        t_out=degrees(-3),
        properties=PG25,
        u_flow=heat.standard_uncertainty(limit=percent(2)),
        u_pair=heat.pair_uncertainty(limit_each=quantity(0.15, "K")),
    )
    assert 100 * found.relative == pytest.approx(numbers("HG37")[0], abs=0.1)
