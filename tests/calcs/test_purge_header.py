"""Purging a header with take-offs: the rules of each way of laying it, and pressures by the library's friction."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from fluids.friction import Colebrook

from calcs import purge, purge_header
from calcs.errors import NoSolution
from calcs.network import Branch, PointsPump
from calcs.plant import Return
from calcs.purge import PurgeLimits
from calcs.purge_header import HeaderPlan, TakeOff
from calcs.units import Quantity, quantity

WATER: dict[str, Any] = {"density": quantity(999.7026, "kg/m^3"), "viscosity": quantity(1.3061, "mm^2/s")}
NO_HOSE = PurgeLimits(quantity(0.6, "m/s"), quantity(15, "min"), 3.0, hose_drop=quantity(0, "Pa"))


def loop(name: str) -> Branch:
    return Branch(quantity(200, "m"), quantity(26, "mm"), fittings_k=4, name=name)


def section(bore: float, name: str, length: float = 6.0) -> Branch:
    return Branch(quantity(length, "m"), quantity(bore, "mm"), name=name)


def header(bores: list[float], **more: Any) -> HeaderPlan:
    """One loop at the end of each section."""
    take_offs = [TakeOff(section(bore, f"S{n}"), [loop(f"L{n}")]) for n, bore in enumerate(bores, start=1)]
    return purge_header.duties(take_offs=take_offs, **{"limits": NO_HOSE, **WATER, **more})


def steady(kilopascal: float) -> PointsPump:
    """A pump that gives one pressure up to 30 m3/h."""
    flow = quantity(np.array([0.0, 30.0]), "m^3/h")
    return PointsPump(flow, quantity(np.array([kilopascal * (1 + 1e-9), kilopascal]), "kPa"))


def lost(section_: Branch, flow: float) -> float:
    bore = section_.bore.m_as("m")
    speed = flow / (np.pi / 4 * bore**2)
    factor = Colebrook(speed * bore / 1.3061e-6, 7e-6 / bore)
    return float((factor * section_.length.m_as("m") / bore + section_.fittings_k) * 999.7026 * speed**2 / 2)


def magnitude(value: Quantity | None, unit: str) -> float:
    assert value is not None
    return float(value.to(unit).magnitude)


def test_stepped_header_is_purged_by_all_loops_beyond() -> None:
    """Bores that step down with the loops left: area of the header = areas of the loops beyond it."""
    bores = [26.0 * np.sqrt(left) for left in (4, 3, 2, 1)]
    found = header(bores)
    assert [each.open_loops for each in found.sections] == [
        ("L4", "L3", "L2", "L1"),
        ("L4", "L3", "L2"),
        ("L4", "L3"),
        ("L4",),
    ]
    assert [magnitude(each.all_loops, "m/s") for each in found.sections] == pytest.approx([0.6] * 4)
    assert [magnitude(each.one_loop, "m/s") for each in found.sections] == pytest.approx([0.15, 0.2, 0.3, 0.6])
    assert not any(each.needs_bypass for each in found.sections)


def test_constant_bore_wants_a_bypass_at_the_far_end() -> None:
    """63 mm pipe (3.9 loops' worth): the sections with fewer than four loops beyond them see too little."""
    found = header([51.4] * 6)
    assert [each.needs_bypass for each in found.sections] == [False, False, False, True, True, True]
    last = found.sections[-1]
    assert (last.open_loops, last.pressure) == (None, None)
    assert magnitude(last.all_loops, "m/s") == pytest.approx(0.154, abs=0.001)
    assert sum("bypass across the far end" in line for line in found.warnings) == 3


def test_a_strong_pump_drives_the_last_section_through_its_one_loop() -> None:
    # Hydraulics reference section 6: 1.24 L/s for 63 mm pipe through one 32 mm loop is 2.3 m/s and 479 kPa.
    weak, strong = (header([51.4] * 6, pump=steady(bar)).sections for bar in (400.0, 520.0))
    assert [each.needs_bypass for each in weak] == [False] * 5 + [True]
    assert strong[-1].open_loops == ("L6",)
    way = lost(section(51.4, "", 6 * 6.0), 0.6 * np.pi / 4 * 0.0514**2) * 2
    assert magnitude(strong[-1].pressure, "kPa") - way / 1000 == pytest.approx(479, rel=0.01)


def test_highest_pressure_rules_out_what_the_pump_could_do() -> None:
    held = header([51.4] * 6, pump=steady(520.0), highest=quantity(3, "bar")).sections
    assert held[-1].needs_bypass
    assert held[0].open_loops is not None
    assert len(held[0].open_loops) > 1
    assert all(magnitude(each.pressure, "bar") <= 3.0 for each in held if not each.needs_bypass)


def test_pressure_is_the_way_out_the_loop_and_the_way_home() -> None:
    """One loop per section and the last alone open: everything is in series, by the library's Colebrook."""
    found = header([40.8, 32.6, 26.0], lift=quantity(1.2, "m"), limits=PurgeLimits.usual()).sections[-1]
    flow = 0.6 * np.pi / 4 * 0.026**2
    series = sum(2 * lost(section(bore, ""), flow) for bore in (40.8, 32.6, 26.0)) + lost(loop(""), flow)
    wanted = series + 25_000 + 999.7026 * 9.80665 * 1.2
    assert magnitude(found.pressure, "Pa") == pytest.approx(wanted, rel=1e-6)


def test_reverse_return_has_its_far_end_at_the_first_take_off_on_the_way_back() -> None:
    home = section(52.0, "home", 30.0)
    found = header([52.0, 45.0, 36.7, 26.0], returns=Return.REVERSE, home=home, pump=steady(1000.0)).sections
    assert [each.way for each in found] == ["out"] * 4 + ["back"] * 4
    out, back = found[3], found[4]
    assert out.open_loops == ("L4",)
    assert back.name == "S2"
    assert back.open_loops == ("L1",)
    flow = 0.6 * np.pi / 4 * 0.045**2
    runs = [section(bore, "") for bore in (52.0, 45.0, 36.7, 26.0)]
    # Through the first loop only: the first section out, then all stretches of the way back, and home.
    series = lost(runs[0], flow) + lost(loop(""), flow) + sum(lost(run, flow) for run in runs[1:]) + lost(home, flow)
    assert magnitude(back.pressure, "Pa") == pytest.approx(series, rel=1e-6)
    assert found[-1].name == "home"


def test_time_is_turnovers_of_a_large_section_or_the_minutes() -> None:
    long = TakeOff(section(40.8, "long", 400.0), [loop("L1"), loop("L2"), loop("L3")])
    found = purge_header.duties(take_offs=[long], **WATER).sections[0]
    assert magnitude(found.time, "min") == pytest.approx(3 * 2 * 400 / 0.6 / 60)
    assert magnitude(header([26.0]).sections[0].time, "min") == pytest.approx(15.0)


def test_wide_pipe_downhill_and_several_loops_are_told() -> None:
    said = header([51.4] * 6).warnings
    assert any("S1 runs downhill" in line for line in said)
    assert any("Purge S1 with L6, L5, L4, L3 open together" in line for line in said)
    assert not any("downhill" in line for line in header([26.0]).warnings)


def test_the_widest_falling_section_governs() -> None:
    legs = [section(26.0, "probe", 100.0), section(51.4, "chamber"), section(32.6, "lateral")]
    slow = purge.worst_fall(falling=legs, velocity=quantity(0.6, "m/s"))
    assert (slow.name, slow.is_carried) == ("chamber", False)
    assert magnitude(slow.clearing_velocity, "m/s") == pytest.approx((0.825 + 0.25) * np.sqrt(9.80665 * 0.0514))
    assert purge.worst_fall(falling=legs, velocity=quantity(0.8, "m/s")).is_carried
    gentle = purge.worst_fall(falling=legs, velocity=quantity(0.6, "m/s"), slope=quantity(1, "degree"))
    assert gentle.is_carried is False
    with pytest.raises(NoSolution, match="no section"):
        purge.worst_fall(falling=[], velocity=quantity(0.6, "m/s"))


def test_lift_to_the_tank_comes_on_top() -> None:
    both = [
        purge.plan(loops=[loop("L1")], header=[section(51.4, "H", 60.0)], lift=lift, **WATER).loops[0].pressure
        for lift in (None, quantity(2, "m"))
    ]
    assert (both[1] - both[0]).m_as("Pa") == pytest.approx(2 * 999.7026 * 9.80665, rel=1e-9)


def test_bad_input_is_named() -> None:
    with pytest.raises(NoSolution, match="take-off with a loop"):
        purge_header.duties(take_offs=[], **WATER)
    with pytest.raises(NoSolution, match="take-off with a loop"):
        purge_header.duties(take_offs=[TakeOff(section(26, "S"), [])], **WATER)
