"""Every row of golden/pressure.csv."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import pi
from typing import Any

import numpy as np
import pytest

from calcs import changeover, elastic, purge, residual_air, stress, vessel
from calcs.pressure_methods import F2164, TypeII
from calcs.pressure_test import (
    En805A27,
    En805Run,
    Gauge,
    PressureReading,
    Restraint,
    allowable_volume,
    pressure_at_depth,
    stress_check,
)
from calcs.sources import table
from calcs.units import Quantity, quantity
from calcs.verdict import Outcome, Verdict
from tests.calcs.golden_rows import Case, Found, case_id, check, rows, word

ROWS = rows("pressure")

FREE = Restraint.FREE
RUN: dict[str, Any] = {"length": quantity(200, "m"), "velocity": quantity(0.6, "m/s")}
TAYLOR_RE = 0.6 * 0.0326 / 1.306e-6


def series(minutes: Sequence[float], bar: Sequence[float]) -> PressureReading:
    return PressureReading(quantity(np.array(minutes, dtype=float), "min"), quantity(np.array(bar, dtype=float), "bar"))


NOTHING = series([], [])
TEST = En805A27(quantity(7.5, "bar"), quantity(166.94, "L"), 32.6 / 3.7, FREE, quantity(0.001, "bar"))


def a27(
    rest: float, bled: float | None, main: PressureReading, method: str = "en805_a27_2000", stp: float = 7.5
) -> Verdict:
    test = replace(TEST, method=method, test_pressure=quantity(stp, "bar"))
    water = None if bled is None else quantity(bled, "mL")
    return test.judge(En805Run(rest=series([0, 60], [stp, rest]), main=main, bled=water))


def bleed(sdr: int, od: int, let_down: float) -> Found:
    row = next(r for r in table("pipe_pe_metric") if (float(r["sdr"]), float(r["od_mm"])) == (sdr, od))
    bore = float(row["id_mm"])
    found = allowable_volume(
        volume=quantity(pi / 4 * (bore / 1000) ** 2, "m^3"),
        let_down=quantity(let_down, "bar"),
        bore_to_wall=bore / float(row["e_min_mm"]),
        wall_modulus=quantity(1200, "MPa"),
        water_modulus=quantity(2090, "MPa"),
        factor=1.0,
    )
    return [found.to("mL").magnitude]


def pg01() -> Found:
    found = allowable_volume(
        volume=quantity(166.94, "L"),
        let_down=quantity(100, "kPa"),
        bore_to_wall=32.6 / 3.7,
        wall_modulus=quantity(1.2e6, "kPa"),
        water_modulus=quantity(2.09e6, "kPa"),
    )
    return [found.to("mL").magnitude]


def pg11() -> Found:
    contraction = word(a27(5.90, None, NOTHING, "w400_2_2022"))
    goes_on = a27(5.90, None, NOTHING).outcome is Outcome.CANNOT_TELL
    return [f"contraction {contraction}", "EN 805 continue" if goes_on else "EN 805 stops"]


def pg12() -> Found:
    return [word(a27(7.05, 100, series([0, 30, 90], [6.0, 6.05, 6.04]), "w400_2_2022"))]


def pg13() -> Found:
    return [word(a27(6.74, 114, series([0, 10, 30], [5.74, 5.90, 5.88])))]


def pg14() -> Found:
    short = a27(6.74, 114, series([0, 10, 30], [5.74, 5.90, 5.859]))
    long = a27(6.74, 114, series([0, 10, 30, 90], [5.74, 5.90, 5.859, 5.683]))
    return ["extend" if "90 min" in short.way_out else "decided", word(long)]


def pg15() -> Found:
    main = series([0, 2, 10, 30, 90], [5.975, 6.04, 6.07, 6.04, 5.93])
    return [word(a27(7.5 * 0.93, 204, main, "w400_2_2022"))]


def type_ii(bar: Sequence[float], restraint: Restraint = FREE, wall: float = 15.0) -> Found:
    test = TypeII(restraint, quantity(5, "min"), quantity(0.01, "bar"), wall=quantity(wall, "degC"))
    found = test.judge(series([5, 35, 75], bar))
    return [*(figure.value for figure in found.figures), word(found)]


def f2164(bar: Sequence[float], minutes: float) -> Verdict:
    test = F2164(quantity(0.01, "bar"), quantity(minutes, "min"))
    return test.judge(series(np.linspace(0, 60, len(bar)).tolist(), bar))


def pg20() -> Found:
    found = f2164([6.81, 6.96, 6.88], 300)
    return [found.figures[0].value, word(found)]


def pg21() -> Found:
    found = f2164([6.81, 6.96, 6.88], 490)
    return [word(found), "rest 8 h" if "for 8 h" in found.way_out else found.way_out]


def flow(bore: float, speed: float, unit: str, out: str) -> Found:
    return [purge.flow_for(bore=quantity(bore, "mm"), velocity=quantity(speed, unit)).to(out).magnitude]


def pg27() -> Found:
    found = purge.judge_run(velocity=quantity(0.65, "m/s"), after_last_bubble=quantity(13, "min"), turnovers=5)
    return [word(found)]


def dead_head() -> residual_air.ResidualAir:
    loop = residual_air.Squeeze(
        volume=quantity(333.9, "L"),
        bore_to_wall=8.811,
        start_pressure=quantity(0, "kPa"),
        end_pressure=quantity(345, "kPa"),
        wall_modulus=quantity(900, "MPa"),
        water_modulus=quantity(2092, "MPa"),
        atmosphere=quantity(1.013, "bar"),
    )
    return residual_air.from_bin_level(squeeze=loop, diameter=quantity(25, "cm"), level_drop=quantity(5, "cm"))


def pg30() -> Found:
    return [purge.clearing_velocity(bore=quantity(32.6, "mm"), slope=quantity(90, "degree")).to("m/s").magnitude]


def pg31() -> Found:
    dispersion = taylor()
    drag = dispersion / (10.1 * 0.0326 / 2)
    return [8 * (drag / 0.6) ** 2, drag, dispersion]


def taylor() -> float:
    found = changeover.taylor_dispersion(bore=quantity(32.6, "mm"), velocity=quantity(0.6, "m/s"), reynolds=TAYLOR_RE)
    return float(found.to("m^2/s").magnitude)


def pg32() -> Found:
    length = changeover.mixed_length(dispersion=quantity(taylor(), "m^2/s"), **RUN).to("m").magnitude
    return [length, length * pi / 4 * 0.0326**2 * 1000, length / 0.6]


def pg33() -> Found:
    bore = quantity(32.6, "mm")
    length = changeover.austin_palfrey(bore=bore, length=quantity(200, "m"), reynolds=TAYLOR_RE)
    return [changeover.critical_reynolds(bore=bore), length.to("m").magnitude]


def pg36() -> Found:
    low = pressure_at_depth(pressure=quantity(0, "bar"), depth=quantity(10, "m"), density=quantity(1000, "kg/m^3"))
    return [low.to("bar").magnitude]


def pg37() -> Found:
    return [quantity(0.434, "psi/ft").to("kPa/m").magnitude]


def pg38() -> Found:
    return [Gauge(quantity(10, "bar"), quantity(0.1, "bar"), 1.6).limit_of_error.to("bar").magnitude]


def compliance(wall: float) -> Quantity:
    return elastic.compliance(
        bore_to_wall=8.811, wall_modulus=quantity(wall, "MPa"), water_modulus=quantity(2092, "MPa")
    )


def pg40() -> Found:
    found = elastic.pressure_per_kelvin(
        water_expansion=quantity(0.889e-4, "1/K"), wall_expansion=quantity(1.3e-4, "1/K"), compliance=compliance(800)
    )
    return [found.to("kPa/K").magnitude]


def short_vessel(low: float, high: float, held: float, share: float) -> Found:
    found = vessel.size_without_reserve(
        expansion=quantity(held * share, "L"), precharge=quantity(low, "bar"), end=quantity(high, "bar")
    )
    return [found.to("L").magnitude]


def pg43() -> Found:
    case: dict[str, Any] = {
        "expansion": quantity(1.585, "L"),
        "reserve": quantity(3, "L"),
        "end": quantity(2.5, "bar"),
    }
    asked = vessel.size(precharge=quantity(0.7, "bar"), **case)
    window = vessel.fill_window(vessel=vessel.Charge(quantity(12, "L"), quantity(0.7, "bar")), **case)
    return [asked.least.to("L").magnitude, window.low.to("bar").magnitude, window.high.to("bar").magnitude]


def pg44() -> Found:
    found = elastic.creep_volume(
        volume=quantity(400, "L"),
        pressure=quantity(1.5, "bar"),
        bore_to_wall=8.81,
        early_modulus=elastic.wall_modulus(time=quantity(0.5, "hour"), temperature=quantity(23, "degC")),
        late_modulus=elastic.wall_modulus(time=quantity(100, "hour"), temperature=quantity(23, "degC")),
    )
    return [found.to("L").magnitude]


def pg45() -> Found:
    found = elastic.sealed_pressure(
        start=quantity(62.5, "psi"), since=quantity(0.5, "hour"), time=quantity(100, "hour")
    )
    return [found.to("psi").magnitude]


def pg46() -> Found:
    return [elastic.water_modulus(temperature=quantity(10, "degC")).to("GPa").magnitude]


def pg47() -> Found:
    found = elastic.leak_to_pressure(
        leak=quantity(0.1, "L/hour"), volume=quantity(166.9, "L"), compliance=compliance(886)
    )
    return [found.to("kPa/hour").magnitude]


def pg48() -> Found:
    held: dict[str, Any] = {"volume": quantity(167, "L"), "pressure": quantity(7.5, "bar")}
    water = stress.stored_energy(**held, compliance=compliance(900))
    return [water.to("kJ").magnitude, stress.stored_gas_energy(**held).to("kJ").magnitude]


def pg49() -> Found:
    found = stress_check(
        pressure=quantity(7.5, "bar"),
        depth=quantity(100, "m"),
        density=quantity(1000, "kg/m^3"),
        ratings={"pipe PN 16": quantity(16, "bar")},
        temperature=quantity(10, "degC"),
    )
    return [found.figures[0].value, "block" if found.outcome is Outcome.FAIL else "allowed"]


def asked(rule: str, working: float, unit: str) -> Found:
    return [stress.required_test_pressure(rule=rule, working=quantity(working, unit)).to(unit).magnitude]


CASES = {
    "PG01": Case(pg01),
    "PG02": Case(lambda: bleed(11, 32, 3.2)),
    "PG03": Case(lambda: bleed(11, 63, 3.2)),
    "PG04": Case(lambda: bleed(11, 90, 3.2)),
    "PG05": Case(lambda: bleed(17, 32, 2.0)),
    "PG06": Case(lambda: bleed(17, 50, 2.0)),
    "PG07": Case(lambda: bleed(17, 75, 2.0)),
    "PG08": Case(lambda: bleed(17, 110, 2.0)),
    "PG09": Case(lambda: asked("w400_2", 10, "bar")),
    "PG10": Case(lambda: [word(a27(5.20, None, NOTHING))]),
    "PG11": Case(pg11),
    "PG12": Case(pg12),
    "PG13": Case(pg13),
    "PG14": Case(pg14),
    "PG15": Case(pg15),
    "PG16": Case(lambda: type_ii([6.60, 5.68, 5.32])),
    "PG17": Case(lambda: type_ii([6.90, 6.402, 6.194], Restraint.BACKFILLED)),
    "PG18": Case(lambda: type_ii([6.50, 5.42, 4.89])),
    "PG19": Case(lambda: type_ii([6.60, 5.68, 5.32], wall=31.0)),
    # 0.1 % is a percentage point here: the figure itself is in per cent.
    "PG20": Case(pg20, absolute=0.1),
    "PG21": Case(pg21),
    "PG22": Case(lambda: asked("minnesota_4725_7050", 40, "psi")),
    "PG23": Case(lambda: asked("cfr_49_192_513", 30, "psi")),
    "PG24": Case(lambda: flow(26.0, 0.6, "m/s", "L/min")),
    "PG25": Case(lambda: flow(51.4, 0.6, "m/s", "L/min")),
    "PG26": Case(lambda: flow(21.84, 2.0, "ft/s", "gpm")),
    "PG27": Case(pg27),
    "PG28": Case(lambda: [dead_head().litres_in.to("L").magnitude]),
    "PG29": Case(lambda: [dead_head().volume.to("L").magnitude]),
    "PG30": Case(pg30),
    "PG31": Case(pg31),
    "PG32": Case(pg32),
    "PG33": Case(pg33),
    "PG34": Case(lambda: [changeover.laminar_turnovers(share) for share in (0.90, 0.95, 0.99)]),
    "PG35": Case(lambda: [changeover.spread_factor(share) for share in (0.01, 0.05, 0.10)]),
    "PG36": Case(pg36),
    "PG37": Case(pg37),
    "PG38": Case(pg38),
    "PG39": Case(lambda: list(stress.gauge_classes()), absolute=0.0),
    "PG40": Case(pg40),
    "PG41": Case(lambda: short_vessel(0.5, 1.5, 100, 0.00779)),
    "PG42": Case(lambda: short_vessel(1, 3, 300, 0.0148)),
    "PG43": Case(pg43),
    "PG44": Case(pg44),
    "PG45": Case(pg45),
    "PG46": Case(pg46),
    "PG47": Case(pg47),
    "PG48": Case(pg48),
    "PG49": Case(pg49),
}


@pytest.mark.parametrize("row_id", CASES, ids=[case_id(ROWS[key]) for key in CASES])
def test_row(row_id: str) -> None:
    check(ROWS[row_id], CASES[row_id], bare_is_relative=False)


def test_no_row_is_forgotten() -> None:
    assert set(CASES) == set(ROWS)
