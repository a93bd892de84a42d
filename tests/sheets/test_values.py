"""Limits of single values: calibration, steps, counts, usual ranges; just below, at, and just above."""

from __future__ import annotations

from dataclasses import replace

import pytest

from jobs.sheets import findings
from jobs.sheets.findings import Severity
from jobs.visits.kinds import KINDS
from tests.sheets.main_job import GAUGE, KIT, n
from tests.sheets.test_thresholds import B, N, W, clean, said, with_answers


class TestKit:
    @pytest.mark.parametrize(
        ("due", "says"), [("2026-03-22", []), ("2026-03-21", [B]), ("2026-03-09", [B]), ("2027-01-01", [])]
    )
    def test_the_day_it_is_due_still_counts(self, due: str, says: list[Severity]) -> None:
        """The gauge is read last on the 22nd of March 2026."""
        seen = replace(clean(), kit={**KIT, GAUGE: replace(KIT[GAUGE], calibration_due=due)})
        assert said("Q1", seen) == says

    def test_the_day_is_that_of_the_site(self) -> None:
        """At 23:30 UTC it is the next day in Auckland (UTC+13 in March)."""
        seen = clean()
        last = seen.of("follow_up")[-1]
        late = replace(last, entry=replace(last.entry, observed_at=last.at.replace(hour=23, minute=30)))
        items = tuple(late if item is last else item for item in seen.items)
        kit = {**KIT, GAUGE: replace(KIT[GAUGE], calibration_due="2026-03-22")}
        here = replace(seen, items=items, kit=kit)
        there = replace(here, ordered=replace(seen.ordered, time_zone="Pacific/Auckland"))
        assert said("Q1", here) == []
        assert said("Q1", there) == [B]

    def test_two_instruments_without_a_date_are_two_questions(self) -> None:
        kit = {key: replace(one, calibration_due="") for key, one in KIT.items()}
        found = [one for one in findings.run(replace(clean(), kit=kit)) if one.code == "Q1"]
        assert len(found) == len({item.entry.instrument for item in clean().items if item.entry.instrument})
        assert {one.severity for one in found} == {N}

    @pytest.mark.parametrize(
        ("typed", "says"),
        [("1.6", []), ("1,60", []), ("1.605", []), ("1.603", [W]), ("1.6049", [W]), ("", []), ("about", [])],
    )
    def test_half_a_step_may_be_read(self, typed: str, says: list[Severity]) -> None:
        """The gauge reads in steps of 0.01 bar."""
        answer = {"text": typed, "value": 1.6, "unit": "bar"}
        found = said("V5", with_answers("static_pressure", pressure=answer), field="static_pressure.pressure")
        assert found == says

    def test_another_unit_than_the_gauges_is_left_alone(self) -> None:
        answer = {"text": "23.207", "value": 23.207, "unit": "psi"}
        assert said("V5", with_answers("static_pressure", pressure=answer)) == []

    @pytest.mark.parametrize(("ports", "says"), [(3, [B]), (4, []), (6, [])])
    def test_ports(self, ports: int, says: list[Severity]) -> None:
        seen = replace(clean(), array=replace(clean().array, manifold={"ports": ports}))
        assert said("Q6", seen, field="ports") == says

    @pytest.mark.parametrize(("drawn", "says"), [(3, [B]), (4, []), (5, [B])])
    def test_joints_are_as_many_as_drawn(self, drawn: int, says: list[Severity]) -> None:
        assert (
            said("Q6", with_answers("trench_section", "S1", joints=n(drawn, "pcs")), field="joints", subject="S1")
            == says
        )


RANGES = [
    (kind.code, field.name, field.units[0], field.soft)
    for kind in KINDS.values()
    for field in kind.fields
    if field.soft
    and field.units
    and clean().of(kind.code)
    and any(field.name in i.entry.payload for i in clean().of(kind.code))
]


@pytest.mark.parametrize(("kind", "name", "unit", "soft"), RANGES, ids=str)
def test_usual_ranges_hold_their_ends(kind: str, name: str, unit: str, soft: tuple[float, float]) -> None:
    low, high = soft
    step = (high - low) * 0.01
    for value, fires in ((low, False), (high, False), (low - step, True), (high + step, True)):
        found = said("V6", with_answers(kind, None, **{name: n(value, unit)}), field=f"{kind}.{name}")
        assert bool(found) is fires, (kind, name, value)
        assert set(found) <= {W}


def test_an_unusual_value_that_was_explained_is_not_asked_about() -> None:
    seen = with_answers("static_pressure", pressure=n(3.6, "bar"))
    assert said("V6", seen, field="static_pressure.pressure") == [W]
    told = tuple(
        replace(item, texts={"pressure_reason": "High house, 12 m above."}) if item.kind == "static_pressure" else item
        for item in seen.items
    )
    assert said("V6", replace(seen, items=told), field="static_pressure.pressure") == []
