"""Every limit of the checks just below, at, and just above. Expected sides are worked out here, not by the checks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from functools import cache
from math import pi
from typing import Any

import pytest

from jobs.sheets import findings
from jobs.sheets.evidence import Arrival, Evidence, Item
from jobs.sheets.findings import Found, Severity
from jobs.visits.kinds import Logged
from tests.sheets import main_job
from tests.sheets.main_job import GAUGE, KIT, n, v
from tests.sheets.test_findings import at, flat, litres, only

B, W, N = Severity.BLOCK, Severity.WARN, Severity.NOTE


@cache
def clean() -> Evidence:
    return main_job.evidence()


def limit(code: str) -> float:
    found = clean().limit(code)
    assert found is not None
    return found


def said(code: str, seen: Evidence, field: str | None = None, subject: str | None = None) -> list[Severity]:
    """How gravely one check speaks, without what others say better."""
    found = findings.CHECKS[code].run(seen)
    return [one.severity for one in found if field in {None, one.field} and subject in {None, one.subject}]


def with_answers(kind: str, subject: str | None = None, **answers: Any) -> Evidence:
    """The clean job with these answers put in after it was judged: only the check itself speaks."""

    def changed(item: Item) -> Item:
        if item.kind != kind or subject not in {None, item.subject}:
            return item
        return replace(item, entry=replace(item.entry, payload={**item.entry.payload, **answers}))

    seen = clean()
    return replace(seen, items=tuple(changed(item) for item in seen.items))


def flow_for(metres_a_second: float, od: float = 40.0, wall: float = 3.7) -> float:
    """L/min: v A, with A of the bore."""
    bore_m = (od - 2 * wall) / 1000
    return metres_a_second * pi / 4 * bore_m**2 * 60_000


class TestVelocity:
    """0.6 m/s (2 ft/s), ENERGY STAR Homes Northwest geothermal standards 2005, 1.8; half a per cent is rounding."""

    @pytest.mark.parametrize(("share", "says"), [(0.90, [B]), (0.99, [B]), (0.997, []), (1.0, []), (1.2, [])])
    def test_of_a_loop(self, share: float, says: list[Severity]) -> None:
        flow = flow_for(0.6 * share)
        assert said("F12", with_answers("flush", "L2", flow=n(flow, "L/min")), subject="L2") == says

    @pytest.mark.parametrize(("share", "says"), [(0.98, [B]), (1.01, [])])
    def test_of_the_header_with_its_own_bore(self, share: float, says: list[Severity]) -> None:
        flow = flow_for(0.6 * share, 63.0, 5.8)
        assert said("F12", with_answers("flush", "H", flow=n(flow, "L/min")), subject="H") == says

    def test_the_unit_makes_no_difference(self) -> None:
        """1 US gal = 3.785411784 L exactly (NIST SP 811, appendix B)."""
        for share, says in ((0.97, [B]), (1.03, [])):
            gallons = flow_for(0.6 * share) / 3.785411784
            assert said("F12", with_answers("flush", "L1", flow=n(gallons, "gpm")), subject="L1") == says


class TestToppedUp:
    """Amber and red are shares of the volume; three visits add up."""

    def seen(self, share_pct: float) -> Evidence:
        volume = clean().volume_l
        assert volume
        each = share_pct / 100 * volume / 3
        return with_answers("follow_up", top_up=n(each, "L"))

    def test_at_and_around_amber(self) -> None:
        amber = limit("top_up_amber_pct")
        assert said("F9", self.seen(amber * 0.99)) == []
        assert said("F9", self.seen(amber * 1.01)) == [W]

    def test_at_and_around_red(self) -> None:
        red = limit("top_up_red_pct")
        assert said("F9", self.seen(red * 0.99)) == [W]
        assert said("F9", self.seen(red * 1.01)) == [B]

    def test_a_leak_is_asked_about_in_other_words(self) -> None:
        words = [next(iter(findings.CHECKS["F9"].run(self.seen(share)))).text for share in (0.8, 1.6)]
        assert "air that left, or a leak?" in words[0]
        assert "search for a leak" in words[1]

    def test_nothing_topped_up_is_silent(self) -> None:
        assert said("F9", self.seen(0.0)) == []

    def test_without_a_volume_nothing_is_claimed(self) -> None:
        assert said("F9", replace(self.seen(5.0), numbers={})) == []


class TestFrost:
    def seen(self, margin: float) -> Evidence:
        from jobs.sheets.findings.fluid import freezing_point  # noqa: PLC0415

        told = freezing_point(clean())
        assert told
        return with_answers("source_settings", frost_alarm=n(told[1] + margin, "°C"))

    @pytest.mark.parametrize(
        ("over", "says"), [(0.01, []), (0.0 + 1e-9, []), (-0.01, [W]), (-1.99, [W]), (-2.01, [B]), (-6.0, [B])]
    )
    def test_margin(self, over: float, says: list[Severity]) -> None:
        """5 K asked, 3 K the least: `over` is what is left above the 5 K."""
        assert (limit("freeze_margin_k"), limit("freeze_margin_block_k")) == (5, 3)
        assert said("F4", self.seen(5 + over)) == says

    def test_in_fahrenheit_it_is_the_same(self) -> None:
        from jobs.sheets.findings.fluid import freezing_point  # noqa: PLC0415

        told = freezing_point(clean())
        assert told
        for margin, says in ((5.1, []), (4.9, [W]), (2.9, [B])):
            fahrenheit = (told[1] + margin) * 9 / 5 + 32
            assert said("F4", with_answers("source_settings", frost_alarm=n(fahrenheit, "°F"))) == says

    def test_an_alarm_below_freezing_blocks(self) -> None:
        assert said("F4", self.seen(-2)) == [B]


class TestSpreadAndFlow:
    @pytest.mark.parametrize(
        ("spread", "says"), [(2.99, [W]), (3.0, []), (4.0, []), (5.0, []), (5.01, [W]), (0.0, [W]), (9.0, [W])]
    )
    def test_spread(self, spread: float, says: list[Severity]) -> None:
        seen = with_answers("final_reading", "R1", t_in=n(6.0, "°C"), t_out=n(6.0 - spread, "°C"))
        assert said("F10", seen, field="t_out") == says

    @pytest.mark.parametrize(("flow", "says"), [(37.9, [B]), (38.0, []), (60.0, [])])
    def test_least_flow_of_the_heat_pump(self, flow: float, says: list[Severity]) -> None:
        assert clean().ordered.design["minimum_flow_l_min"] == 38.0
        seen = with_answers("final_reading", "R2", flow=n(flow, "L/min"))
        assert said("F10", seen, field="flow") == says

    @pytest.mark.parametrize(("cold", "says"), [(5.99, []), (6.0, []), (6.01, [W])])
    def test_swapped_is_asked_once_and_not_called_a_small_difference(self, cold: float, says: list[Severity]) -> None:
        seen = with_answers("final_reading", "R3", t_in=n(6.0, "°C"), t_out=n(cold, "°C"))
        assert said("V8", seen) == says
        if says:
            assert said("F10", seen, field="t_out") == []

    def test_a_reading_that_is_missing_is_not_judged(self) -> None:
        seen = with_answers("final_reading", t_out={"unknown": "not_known"}, flow={"unknown": "not_known"})
        assert said("F10", seen) == said("V8", seen) == []


class TestHeat:
    """Design 12 kW; the readings' own heat is about 9.5 kW from the ground, known to about ± 0.47 kW."""

    def test_band_with_the_doubt_of_the_reading(self) -> None:
        from jobs.sheets.findings.fluid import figure  # noqa: PLC0415

        source = figure(clean().last("final_reading", "R2"), "heat", "kW")
        assert source
        assert source.u
        band = 12 * 0.15 + 2 * source.u
        for off, says in ((0.97, []), (1.03, [W]), (-0.97, []), (-1.03, [W])):
            power = 12 + off * band - source.value
            seen = with_answers("final_reading", "R2", power=n(power, "kW"))
            assert said("F5", seen, subject="R2") == says

    def test_watts_are_kilowatts(self) -> None:
        assert said("F5", with_answers("final_reading", power=n(2600, "W"))) == []


class TestTime:
    @pytest.mark.parametrize(("cooling", "says"), [(30, []), (64, []), (65, []), (66, [B]), (90, [B])])
    def test_cooling(self, cooling: float, says: list[Severity]) -> None:
        """J10 is finished at 11:20, the test starts at 12:30: 70 minutes."""
        minutes = cooling + 5
        assert said("T3", with_answers("joint", "J10", cooling_min=n(minutes, "min"))) == (says if minutes > 70 else [])

    def test_a_joint_in_no_covered_section_is_not_asked_about(self) -> None:
        assert said("T3", with_answers("joint", "J10", cooling_min=n(500, "min"), section=v("S9"))) == []

    @pytest.mark.parametrize(("days", "says"), [(13, []), (13.06, []), (13.2, [B]), (21, [B])])
    def test_length_of_the_run(self, days: float, says: list[Severity]) -> None:
        """From day 2 at 10:30 to day 13 at 12:10 are 11.07 days; the plan asks for two less each."""
        assert said("T10", with_answers("deaeration_start", planned_days=n(days - 2, "d")), field="days") == says

    def test_number_of_checks(self) -> None:
        seen = clean()
        checks = [item for item in seen.items if item.kind == "follow_up"]
        assert limit("deaeration_visits") == 2
        for kept, says in ((3, []), (2, []), (1, [B]), (0, [B])):
            left = tuple(item for item in seen.items if item.kind != "follow_up" or item in checks[:kept])
            assert said("T10", replace(seen, items=left), field="checks") == says

    @pytest.mark.parametrize(("minutes", "says"), [(60, []), (61, [B]), (120, [B])])
    def test_length_of_the_isolated_phase(self, minutes: float, says: list[Severity]) -> None:
        """Read from 0 to 60 minutes."""
        rules = {**clean().limits, "test_isolated_min": replace(clean().limits["test_isolated_min"], value=minutes)}
        assert said("T9", replace(clean(), limits=rules), field="length") == says

    @pytest.mark.parametrize(("lost", "says"), [(1, []), (2, []), (3, [W])])
    def test_a_gap_of_half_the_phase_is_still_none(self, lost: int, says: list[Severity]) -> None:
        """Readings every 10 minutes: losing two leaves a gap of 30, three one of 40."""
        seen = clean()
        isolated = [item for item in seen.of("pressure_reading") if item.entry.choice("phase") == "isolated"]
        gone = isolated[1 : 1 + lost]
        assert (
            said("T9", replace(seen, items=tuple(item for item in seen.items if item not in gone)), field="gap") == says
        )

    @pytest.mark.parametrize(
        ("kind", "subject", "hours", "says"),
        [("trench_section", "S2", 0, []), ("trench_section", "S2", 5, []), ("trench_section", "S2", 8, [B])],
    )
    def test_inspected_before_covered(self, kind: str, subject: str, hours: float, says: list[Severity]) -> None:
        """S2 is inspected at 09:25 and covered at 15:55."""
        found = said("T1", main_job.evidence(at(kind, subject, hours=hours)), field="trench_section", subject=subject)
        assert found == says


class TestWater:
    """What goes in to raise the pressure is what the pipe gives; the figure comes from the check's own formula, so
    only its factors (a half, twice) are held here, and the order of size against the pipe's bulk modulus below."""

    def test_half_and_twice(self) -> None:
        from jobs.sheets.findings.pressure import elastic_litres  # noqa: PLC0415

        start = clean().last("pressure_test")
        assert start
        pipe = elastic_litres(clean(), start)
        assert pipe
        for factor, says in ((0.49, [B]), (0.51, []), (1.0, []), (1.99, []), (2.01, [W])):
            assert said("F6", main_job.evidence(litres(round(pipe * factor, 3)))) == says

    def test_the_pipe_takes_a_share_of_its_volume_that_a_tube_of_pe_would(self) -> None:
        """Thin wall: dV/V = dp (D / (s E) + 1 / K). With E from 0.5 to 1.4 GPa (short times, PE 100, 10 °C) and
        K = 2.1 GPa water, at 6 bar and D/s of about 8.8: 0.4 to 1.1 %."""
        from jobs.sheets.findings.pressure import elastic_litres, pipe_litres, tested_pipes  # noqa: PLC0415

        start = clean().last("pressure_test")
        assert start
        litres_in = elastic_litres(clean(), start)
        pipes = tested_pipes(clean(), start)
        volume = sum(pipe_litres(p["od_mm"], p["wall_mm"], p["length_m"]) for p in pipes)
        assert litres_in
        assert 0.004 < litres_in / volume < 0.011
        assert len(pipes) == 5

    def test_outside_the_range_of_the_formula_it_keeps_silent(self) -> None:
        for celsius in (0.5, 31.0):
            seen = with_answers("pressure_test", pipe_temperature=n(celsius, "°C"))
            assert said("F6", seen) == []

    def test_a_coarse_gauge_may_stand_still(self) -> None:
        fine = main_job.evidence(flat)
        coarse = replace(fine, kit={**KIT, GAUGE: replace(KIT[GAUGE], resolution=0.1)})
        assert said("F7", fine) == [W]
        assert said("F7", coarse) == []


class TestMix:
    def volume(self, share: float) -> Evidence:
        """All batches together hold this share of the system."""
        planned = clean().volume_l
        assert planned
        count = len(clean().of("mix_batch"))
        each = planned * share / count
        return with_answers("mix_batch", water=n(each * 0.75, "L"), concentrate=n(each * 0.25, "L"))

    def test_too_little(self) -> None:
        assert said("F1", self.volume(0.91)) == []
        assert said("F1", self.volume(0.89)) == [W]

    def test_what_stays_in_the_bin_is_allowed_for(self) -> None:
        planned = clean().volume_l
        assert planned
        top = 1.1 + clean().ordered.design["bin_l"] / planned
        assert said("F1", self.volume(top - 0.01)) == []
        assert said("F1", self.volume(top + 0.01)) == [W]

    @pytest.mark.parametrize(("band", "says"), [(0.6, []), (0.99, []), (1.01, [W]), (1.6, [W])])
    def test_length_from_the_fill(self, band: float, says: list[Severity]) -> None:
        """A flow that is wrong by so many bands of 25 % makes the loop look longer by as much."""
        seen = clean()
        fill = seen.last("loop_fill", "L3")
        assert fill
        from jobs.sheets.findings.fluid import swept_length_m  # noqa: PLC0415

        swept, laid = swept_length_m(seen, fill), 232.0
        flow = fill.entry.number("flow", "L/min")
        assert swept
        assert flow
        wanted = flow * laid * (1 + 0.25 * band) / swept
        assert said("F2", with_answers("loop_fill", "L3", flow=n(wanted, "L/min")), subject="L3") == says


class TestArrivals:
    def seen(self, *codes: tuple[int, str, float | None]) -> Evidence:
        items = clean().items
        return replace(clean(), arrivals=tuple(Arrival(items[at].id, code, value) for at, code, value in codes))

    def test_late_typing_from_paper_is_as_it_should_be(self) -> None:
        seen = self.seen((0, "late", 90_000.0))
        paper = tuple(replace(item, source="paper") for item in seen.items)
        assert said("T6", seen) == [W]
        assert said("T6", replace(seen, items=paper)) == []

    def test_all_late_ones_are_one_question(self) -> None:
        found = list(findings.CHECKS["T6"].run(self.seen((0, "late", 1.0), (1, "late", 2.0), (2, "late", 3.0))))
        assert len(found) == 1
        assert len(found[0].entries) == 3
        assert found[0].text.startswith("3 entries")

    def test_the_worst_offset_is_named_in_minutes(self) -> None:
        found = list(findings.CHECKS["T7"].run(self.seen((0, "clock", 60.0), (1, "clock", -600.0))))
        assert [one.severity for one in found] == [N]
        assert "up to 10 min" in found[0].text

    def test_an_arrival_of_an_entry_that_does_not_count_is_silent(self) -> None:
        seen = replace(clean(), arrivals=(Arrival("nobody", "future", 1.0), Arrival("nobody", "late", 1.0)))
        assert said("T6", seen) == said("T7", seen) == []

    @pytest.mark.parametrize(("phones", "words"), [(1, "A phone"), (3, "3 phones")])
    def test_waiting_phones(self, phones: int, words: str) -> None:
        found = list(findings.CHECKS["S3"].run(replace(clean(), waiting_phones=phones)))
        assert found[0].text.startswith(words)


def later(kind: str) -> Callable[[Item], Item]:
    def move(item: Item) -> Item:
        return (
            replace(item, entry=replace(item.entry, observed_at=item.at + timedelta(minutes=30)))
            if item.kind == kind
            else item
        )

    return move


def test_a_customers_signature_is_not_the_crews() -> None:
    seen = with_answers("signature", role=v("customer"))
    moved = replace(seen, items=tuple(map(later("final_reading"), seen.items)))
    assert said("E5", moved) == []
    crew = replace(clean(), items=tuple(map(later("final_reading"), clean().items)))
    assert said("E5", crew) == (
        [W] if any(item.at > clean().of("signature")[0].at for item in crew.of("final_reading")) else []
    )


def one_more_override(count: int) -> list[Found]:
    when = main_job.clock(0, "15:00")
    entries = [
        Logged(f"past-{at}", "override", "H6:S1", {}, when + timedelta(minutes=at), when, "crew") for at in range(count)
    ]
    return [one for one in findings.run(main_job.evidence(add=entries)) if one.code == "H2"]


def test_a_second_override_of_the_same_hold_point_stands_in_the_question() -> None:
    """Else an answer to the first would pass for the second."""
    assert [one.entries for one in one_more_override(1)] == [("past-0",)]
    assert [one.entries for one in one_more_override(2)] == [("past-0", "past-1")]


def test_only_changes_are_told_by_the_one_they_belong_to() -> None:
    seen = main_job.evidence(only("flush", "L4", flow=n(25, "L/min")))
    codes = {one.code for one in findings.run(seen) if one.subject == "L4" and one.severity == B}
    assert "F12" in codes
    assert "R1" not in codes, "the bare verdict keeps silent where a check knows more"
