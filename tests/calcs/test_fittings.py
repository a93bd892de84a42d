"""Fittings against the `fluids` library: tees and valves of Crane TP-410, bends, Kv and Cv; and the table's own promises."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest
from fluids.fittings import (
    K_ball_valve_Crane,
    K_branch_converging_Crane,
    K_branch_diverging_Crane,
    K_globe_valve_Crane,
    K_run_converging_Crane,
    K_run_diverging_Crane,
    K_swing_check_valve_Crane,
    K_to_Kv,
    Kv_to_Cv,
    Kv_to_K,
    bend_miter,
    bend_rounded,
    contraction_sharp,
    diffuser_sharp,
)

from calcs import fittings
from calcs.errors import NotKnown, OutOfRange
from calcs.sources import Status
from calcs.units import quantity

RE, BORE, ROUGH = 1e4, 0.026, 7e-6
AREA = 3.141592653589793 / 4 * BORE**2
FLOW = RE * 1e-6 * BORE * AREA / BORE**2


def test_tees_as_the_library() -> None:
    dice = random.Random(410)
    for _ in range(400):
        main = dice.uniform(0.03, 0.13)
        branch = dice.choice([main, main * dice.uniform(0.3, 1.0)])
        through, aside = dice.uniform(0.0, 5e-3), dice.uniform(1e-5, 5e-3)
        given = {
            "main_bore": quantity(main, "m"),
            "branch_bore": quantity(branch, "m"),
            "main_flow": quantity(through, "m^3/s"),
            "branch_flow": quantity(aside, "m^3/s"),
        }
        joined, parted = fittings.tee_converging(**given), fittings.tee_diverging(**given)
        asked = (main, branch, through, aside)
        assert joined.branch == pytest.approx(K_branch_converging_Crane(*asked), rel=1e-9)
        assert joined.run == pytest.approx(K_run_converging_Crane(*asked), rel=1e-9)
        assert parted.branch == pytest.approx(K_branch_diverging_Crane(*asked), rel=1e-9)
        assert parted.run == pytest.approx(K_run_diverging_Crane(*asked), rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(
    ("share", "diverging", "converging"),
    [(0.25, 2.05, 0.87), (0.5, 1.26, 1.13), (0.75, 1.12, 1.10), (0.999999, 1.07, 1.07)],
)
def test_take_offs_of_a_manifold_on_the_branch_velocity(share: float, diverging: float, converging: float) -> None:
    # Hydraulics reference section 3: 51.4 mm bar, 26 mm branch, by the library. The house defaults cover them.
    given = {
        "main_bore": quantity(51.4, "mm"),
        "branch_bore": quantity(26.0, "mm"),
        "main_flow": quantity(1.0 - share, "L/s"),
        "branch_flow": quantity(share, "L/s"),
    }
    parted, joined = fittings.tee_diverging(**given).branch_own, fittings.tee_converging(**given).branch_own
    assert (parted, joined) == pytest.approx((diverging, converging), abs=0.006)
    off, back = fittings.fitting(name="manifold take-off"), fittings.fitting(name="manifold return entry")
    assert off.low - 0.035 <= parted <= off.high
    assert back.low - 0.035 <= joined <= back.high


def test_a_slow_branch_is_dragged_along() -> None:
    """Negative K, which a solver must never get: -3.1 at a tenth of the flow (reference section 3)."""
    tee = fittings.tee_converging(
        main_bore=quantity(51.4, "mm"),
        branch_bore=quantity(26.0, "mm"),
        main_flow=quantity(0.9, "L/s"),
        branch_flow=quantity(0.1, "L/s"),
    )
    assert tee.branch_own == pytest.approx(-3.1, abs=0.05)
    assert all(each.low >= 0.0 for each in fittings.fittings())


def test_kv_and_cv_as_the_library() -> None:
    for kv, bore in ((500.0, 0.154), (2.5, 0.026), (7.4, 0.0204)):
        k = fittings.k_from_kv(kv=quantity(kv, "m^3/h"), bore=quantity(bore, "m"))
        assert k == pytest.approx(Kv_to_K(kv, bore), rel=2e-3)
        assert fittings.kv_from_k(k=k, bore=quantity(bore, "m")).to("m^3/h").magnitude == pytest.approx(kv)
        assert K_to_Kv(k, bore) == pytest.approx(kv, rel=1e-3)
        cv = fittings.cv_from_kv(kv=quantity(kv, "m^3/h"))
        assert cv.to("gpm").magnitude == pytest.approx(Kv_to_Cv(kv), rel=1e-4)
        assert fittings.kv_from_cv(cv=cv).to("m^3/h").magnitude == pytest.approx(kv)


def _bend(radius: float, angle: float = 90.0) -> float:
    return float(
        bend_rounded(Di=BORE, angle=angle, fd=None, Re=RE, roughness=ROUGH, bend_diameters=radius, method="Rennels")
    )


COMPUTED: dict[str, Callable[[], float]] = {
    "bend 90 R/D 1": lambda: _bend(1.0),
    "bend 90 R/D 1.5": lambda: _bend(1.5),
    "bend 90 R/D 3": lambda: _bend(3.0),
    "return bend 180 R/D 1": lambda: _bend(1.0, 180.0),
    "return bend 180 R/D 2": lambda: _bend(2.0, 180.0),
    "electrofusion elbow 90": lambda: bend_miter(angle=90.0, Di=BORE, Re=RE, roughness=ROUGH, method="Rennels"),
    "globe valve": lambda: K_globe_valve_Crane(BORE, BORE),
    "swing check": lambda: K_swing_check_valve_Crane(BORE, angled=False),
    "sharp contraction 63-32": lambda: contraction_sharp(0.0514, 0.026),
    "sharp enlargement 32-63": lambda: diffuser_sharp(0.026, 0.0514),
}


@pytest.mark.parametrize("name", COMPUTED)
def test_computed_rows_as_the_library(name: str) -> None:
    assert fittings.fitting(name=name).k == pytest.approx(float(COMPUTED[name]()), rel=0.03, abs=0.006)


def test_clean_ball_valve_is_the_low_end() -> None:
    assert fittings.fitting(name="ball valve full bore").low == pytest.approx(
        K_ball_valve_Crane(BORE, BORE, 0.0), abs=0.002
    )


def test_every_row_tells_range_source_and_status() -> None:
    rows = fittings.fittings()
    assert len(rows) == len({row.name for row in rows})
    for row in rows:
        assert 0.0 <= row.low <= row.k <= row.high, row
        assert row.source.text.strip()
    invented = [row for row in rows if row.source.status is Status.HOUSE_DEFAULT]
    assert {"electrofusion elbow 90", "borehole foot (U-bend)"} <= {row.name for row in invented}
    assert all("house default" in row.source.label for row in invented)


def test_sum_counts_and_carries_sources() -> None:
    found = fittings.sum_of_k(counts={"electrofusion elbow 90": 2, "butt bead": 10, "exit": 0})
    assert (found.k, found.low, found.high) == pytest.approx((2.7, 1.0, 3.84))
    assert len(found.sources) == 2
    assert fittings.sum_of_k(counts={}).k == 0.0


def test_bad_input_is_named() -> None:
    with pytest.raises(NotKnown, match="trombone"):
        fittings.fitting(name="trombone")
    with pytest.raises(OutOfRange, match="number of exit"):
        fittings.sum_of_k(counts={"exit": -1})
    with pytest.raises(OutOfRange, match="branch bore"):
        fittings.tee_diverging(
            main_bore=quantity(26, "mm"),
            branch_bore=quantity(51.4, "mm"),
            main_flow=quantity(1, "L/s"),
            branch_flow=quantity(1, "L/s"),
        )
    with pytest.raises(OutOfRange, match="K"):
        fittings.kv_from_k(k=-0.04, bore=quantity(26, "mm"))
