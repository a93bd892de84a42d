"""Every check both ways: silent on the clean main job, and firing on one thing that is wrong."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import timedelta
from functools import cache, cached_property
from typing import Any
from unittest.mock import Mock

import pytest

from calcs.verdict import Outcome
from jobs.planning.trade import NotOurs
from jobs.sheets import findings
from jobs.sheets.evidence import Arrival, Evidence, Item, Reuse, Standing
from jobs.sheets.findings import CHECKS, Found, Severity
from jobs.visits.kinds import Logged
from tests.sheets import main_job
from tests.sheets.main_job import GAUGE, KIT, clock, n, photo, v


@cache
def clean() -> Evidence:
    return main_job.evidence()


def only(kind: str, subject: str | None = None, **payload: Any) -> Callable[[Logged], Logged]:
    """Changes the answers of these entries."""

    def change(entry: Logged) -> Logged:
        if entry.kind != kind or (subject is not None and entry.subject != subject):
            return entry
        return replace(entry, payload={**entry.payload, **payload})

    return change


def at(kind: str, subject: str | None, **moved: float) -> Callable[[Logged], Logged]:
    """Moves the time of these entries."""

    def change(entry: Logged) -> Logged:
        if entry.kind != kind or (subject is not None and entry.subject != subject):
            return entry
        return replace(entry, observed_at=entry.observed_at + timedelta(**moved))

    return change


def without(kind: str, subject: str | None = None) -> Callable[[Logged], Logged | None]:
    return lambda entry: None if entry.kind == kind and subject in {None, entry.subject} else entry


def entry(kind: str, subject: str, when: Any, **payload: Any) -> Logged:
    return Logged(f"extra-{kind}-{subject}", kind, subject, payload, when, when, "crew", GAUGE)


def same_minutes(one: Logged) -> Logged:
    """Every loop is said to have taken exactly nine minutes."""
    start = one.time("started")
    if one.kind != "loop_fill" or start is None:
        return one
    full = v((start + timedelta(minutes=9)).isoformat())
    return replace(one, payload={**one.payload, "first_colour": full, "full_colour": full})


def later_fill(one: Logged) -> Logged:
    """L4 is filled three hours later than it was."""
    if (one.kind, one.subject) != ("loop_fill", "L4"):
        return one
    times = {name: one.time(name) for name in ("started", "first_colour", "full_colour")}
    moved = {name: v((time + timedelta(hours=3)).isoformat()) for name, time in times.items() if time}
    return replace(one, observed_at=one.observed_at + timedelta(hours=3), payload={**one.payload, **moved})


def past(*holds: str) -> tuple[Logged, ...]:
    """Somebody goes past these hold points: without that the entry would be held, and told as such."""
    return tuple(entry("override", hold, clock(0, "08:00")) for hold in holds)


def flat(one: Logged) -> Logged:
    if one.kind != "pressure_reading" or one.choice("phase") != "isolated":
        return one
    return replace(one, payload={**one.payload, "pressure": n(6.0, "bar", "6.00")})


def litres(amount: float) -> Callable[[Logged], Logged]:
    """What went in until the test pressure was reached."""

    def change(one: Logged) -> Logged:
        if one.kind != "pressure_reading" or one.choice("phase") != "hold":
            return one
        first = one.observed_at == clock(0, "12:40")
        return replace(one, payload={**one.payload, "litres": n(amount if first else 0.0, "L")})

    return change


@dataclass(frozen=True)
class Case:
    """What is wrong, and the finding that says so."""

    name: str
    code: str
    severity: Severity
    change: Callable[[Logged], Logged | None] | None = None
    add: tuple[Logged, ...] = ()
    parts: dict[str, Any] = field(default_factory=dict)
    subject: str | None = None
    field: str | None = None

    @cached_property
    def seen(self) -> Evidence:
        return main_job.evidence(self.change, add=self.add, **self.parts)

    @cached_property
    def told(self) -> tuple[Found, ...]:
        return tuple(findings.run(self.seen))

    def found(self) -> list[Found]:
        return [
            one
            for one in self.told
            if one.code == self.code
            and one.severity == self.severity
            and self.subject in {None, one.subject}
            and self.field in {None, one.field}
        ]


def _told_at_the_end(one: Logged, amount: float) -> Logged:
    """Not with the readings of the hold, but in one figure when the test was over."""
    payload = {
        name: answer for name, answer in one.payload.items() if one.kind != "pressure_reading" or name != "litres"
    }
    if one.kind == "pressure_end":
        payload["litres_in"] = n(amount, "L")
    return replace(one, payload=payload)


B, W, N = Severity.BLOCK, Severity.WARN, Severity.NOTE
CASES = (
    Case("the test is by others, without a paper", "C1", N, parts={"scope": {"test": NotOurs("by_others", "Weir Testing")}}, field="test"),
    Case("balance is not in this job", "C1", N, parts={"scope": {"balance": NotOurs("not_in_job", reason="One loop only")}}, field="balance"),
    Case("a depth nobody knows", "C2", W, only("trench_section", "S1", depth={"unknown": "not_known"}), field="Trench section S1"),
    Case("a near-miss", "C3", N, add=(entry("incident", "", clock(1, "11:00"), what=v("near_miss")),)),
    Case("a struck service", "C3", W, add=(entry("incident", "", clock(0, "11:00"), what=v("strike")),)),
    Case("no waste", "C4", N, without("waste"), field="waste"),
    Case("a joint without a place", "C5", W, without("position", "J3"), past("H6:S1"), subject="J3"),
    Case("a port nobody logged", "M1", W, without("manifold_port", "L2"), subject="L2", field="manifold_port"),
    Case("litres told in one sum", "F6", B, lambda e: _told_at_the_end(litres(0)(e), 0.1)),
    Case("covered before it was inspected", "T1", B, at("trench_section", "S2", hours=12), subject="S2"),
    Case("released before the test was over", "T1", B, at("backfill_release", "S1", hours=-4), past("H6:S1"), subject="S1"),
    Case("filled before flushed", "T1", B, at("flush", "L2", hours=9), past("H9"), subject="L2"),
    Case("mixed before the drums came", "T1", B, at("fluid_delivery", None, hours=1), field="fluid_delivery"),
    Case("purged before the last loop was filled", "T1", B, later_fill, field="loop_fill"),
    Case("run started before settings", "T1", B, at("source_settings", None, hours=3), past("H12"), field="source_settings"),
    Case("pressed while a joint is warm", "T3", B, only("joint", "J10", cooling_min=n(120, "min")), past("H5"), subject="J10"),
    Case("readings over too short a time", "T9", B,
         lambda e: None if e.kind == "pressure_reading" and e.observed_at > clock(0, "14:15") else e, field="length"),
    Case("a hole in the readings", "T9", W,
         lambda e: None if e.kind == "pressure_reading" and clock(0, "13:45") < e.observed_at < clock(0, "14:35") else e,
         field="gap"),
    Case("run ended early", "T10", B, only("deaeration_start", None, planned_days=n(14, "d")), past("H13"), field="days"),
    Case("too few checks", "T10", B,
         lambda e: None if e.kind == "follow_up" and e.observed_at > clock(4, "00:00") else e, past("H13"), field="checks"),
    Case("hold point closed", "H1", B, only("residual_air", None, level_after=n(500, "mm")), field="H11"),
    Case("hold point gone past", "H2", W, add=(entry("override", "H6", clock(0, "15:05")),), subject="H6"),
    Case("covered before release", "H3", B, without("backfill_release", "S3"), subject="S3"),
    Case("a result fails", "R1", B, only("flush", "L1", clear=v(False)), subject="L1"),
    Case("a result cannot be told", "R1", W, only("strength_reading", "M1", value={"unknown": "not_measured"}), subject="M1"),
    Case("no static pressure", "M1", B, without("static_pressure"), field="static_pressure"),
    Case("a borehole without papers", "M1", B, without("driller_papers", "B3"), subject="B3"),
    Case("a loop not filled", "M1", B, without("loop_fill", "L4"), subject="L4"),
    Case("one set of final readings is missing", "M1", B, without("final_reading", "R3"), field="final_reading"),
    Case("nobody signed", "E5", W, without("signature")),
    Case("signed before the end", "E5", W, at("signature", None, hours=-3)),
    Case("too little mixed", "F1", W, without("mix_batch", "M2"), subject=""),
    Case("a drum less than the reading says", "F3", W,
         only("mix_batch", "M1", concentrate=n(42, "L"), water=n(159, "L")), subject="M1"),
    Case("frost alarm near freezing", "F4", W, only("source_settings", None, frost_alarm=n(-11, "°C"))),
    Case("frost alarm too near freezing", "F4", B, only("source_settings", None, frost_alarm=n(-13, "°C"))),
    Case("power too high for the heat pump", "F5", W, only("final_reading", "R2", power=n(7, "kW")), subject="R2"),
    Case("too little water went in", "F6", B, litres(1.0), subject="T1"),
    Case("too much water went in", "F6", W, litres(12.0), subject="T1"),
    Case("no creep at all", "F7", W, flat, subject="T1"),
    Case("topped up more than usual", "F9", W, only("follow_up", None, top_up=n(2, "L"))),
    Case("topped up like a leak", "F9", B, only("follow_up", None, top_up=n(4, "L"))),
    Case("difference too small", "F10", W, only("final_reading", "R1", t_out=n(5, "°C")), subject="R1"),
    Case("flow below the heat pump's least", "F10", B, only("final_reading", "R1", flow=n(30, "L/min")), field="flow"),
    Case("temperatures swapped", "V8", W, only("final_reading", "R1", t_out=n(9, "°C")), subject="R1"),
    Case("flushed too slowly", "F12", B, only("flush", "L4", flow=n(25, "L/min")), subject="L4"),
    Case("three equal sets", "V1", W, only("final_reading", None, flow=n(44, "L/min"), t_in=n(6.5, "°C"),
                                           t_out=n(3.2, "°C")), field="final_reading"),
    Case("unequal loops in equal time", "V1", W, same_minutes, field="full_colour"),
    Case("finer than the gauge", "V5", W, only("static_pressure", None, pressure=n(1.6, "bar", "1.603"))),
    Case("outside the usual range", "V6", W, only("static_pressure", None, pressure=n(3.6, "bar", "3.60"))),
    Case("calibration over", "Q1", B, parts={"kit": {**KIT, GAUGE: replace(KIT[GAUGE], calibration_due="2026-03-01")}}),
    Case("calibration unknown", "Q1", N, parts={"kit": {**KIT, GAUGE: replace(KIT[GAUGE], calibration_due="")}}),
    Case("no gauge named", "Q2", W, lambda e: replace(e, instrument="") if e.kind == "static_pressure" else e),
    Case("refractometer not zeroed", "Q4", W, only("strength_reading", "M2", zeroed=v(False)), subject="M2"),
    Case("a joint is missing", "Q6", B, without("joint", "J2"), subject="S1"),
    Case("more loops than ports", "Q6", B,
         parts={"array": replace(clean().array, manifold={"ports": 3, "place": ""})}, field="ports"),
    Case("a loop outside the test", "Q6", B, only("pressure_test", None, covers=v(["S1", "S2", "S3", "L1", "L2", "L3", "H"])),
         field="tested"),
    Case("a photo was never taken", "E1", W, only("backfill_release", "S1", photo=v([])), field="backfill_release"),
    Case("a photo has not arrived", "E1", B, parts={"photos_here": frozenset()}, field="photo " + photo("label")["value"][0][:8]),
    Case("no photo of the label", "E1", W, lambda e: None if e.choice("shot") == "label" else e, field="label"),
    Case("one photo for two sections", "E2", W, only("trench_section", None, photo=photo("trench 1"))),
    Case("a photo of another job", "E2", W, parts={"reused": (Reuse(photo("trench 1")["value"][0], "job 3"),)}),
    Case("typed long after", "T6", W, parts={"arrivals": (Arrival(clean().items[0].id, "late", 90000.0),)}),
    Case("observed after it was typed", "T7", B, parts={"arrivals": (Arrival(clean().items[0].id, "future", 900.0),)}),
    Case("the phone's clock is off", "T7", N, parts={"arrivals": (Arrival(clean().items[0].id, "clock", -400.0),)}),
    Case("the clock was put back", "T7", N, parts={"arrivals": (Arrival(clean().items[0].id, "put_back", 3600.0),)}),
    Case("the clock was put forward", "T7", N, parts={"arrivals": (Arrival(clean().items[0].id, "put_forward", 3600.0),)}),
    Case("an entry is held", "S1", B, add=(entry("mix_batch", "M9", clock(0, "08:00"), water=n(10, "L"),
                                                 concentrate=n(5, "L")),), subject="M9"),
    Case("sent by somebody else", "S4", W, parts={"arrivals": (Arrival(clean().items[0].id, "sender"),)}, subject=""),
    Case("a phone still has entries", "S3", B, parts={"waiting_phones": 1}),
    Case("something could not be read", "S3", W, parts={"unread_items": 2}),
)  # fmt: skip


def test_the_clean_job_raises_nothing() -> None:
    assert [(one.code, one.subject, one.text) for one in findings.run(clean())] == []


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_fires(case: Case) -> None:
    found = case.found()
    assert found, f"{case.code} stays silent"
    for one in found:
        assert one.text.endswith("?"), "a finding is a question"
        assert len(one.text) <= 500
        assert len(one.field) <= 60
        assert len(one.subject) <= 40


def test_a_length_that_cannot_be_is_told_when_the_plan_gives_no_time() -> None:
    """L3 colours after 4 min at 20.5 L/min: 82 L, about 98 m of 40 x 3.7 mm pipe, where 232 m were laid."""
    seen = clean()
    items = []
    for item in seen.items:
        start = item.entry.time("started")
        if (item.kind, item.subject) == ("loop_fill", "L3") and start:
            colour = v((start + timedelta(minutes=4)).isoformat())
            payload = {**item.entry.payload, "first_colour": colour, "full_colour": colour}
            item = replace(item, entry=replace(item.entry, payload=payload), verdicts=())  # noqa: PLW2901
        items.append(item)
    found = [one for one in findings.run(replace(seen, items=tuple(items))) if one.code == "F2"]
    assert [one.subject for one in found] == ["L3"]
    assert "98.2 m long; 232 m" in found[0].text


def test_two_corrections_of_one_entry_are_a_conflict() -> None:
    seen = clean()
    rivals = tuple(
        Item(entry("flush", "L1", clock(1, "08:20"), flow=n(32 + at, "L/min")), supersedes="lost") for at in (0, 1)
    )
    pair = (
        replace(rivals[0], entry=replace(rivals[0].entry, id="a")),
        replace(rivals[1], entry=replace(rivals[1].entry, id="b")),
    )
    found = [one for one in findings.run(replace(seen, items=(*seen.items, *pair))) if one.code == "S2"]
    assert [one.entries for one in found] == [("a", "b")]
    assert found[0].severity == Severity.BLOCK


def test_what_was_phoned_in_is_told_once_per_way() -> None:
    seen = clean()
    phoned = tuple(replace(item, source="phoned_in") if item.kind == "follow_up" else item for item in seen.items)
    (found,) = findings.run(replace(seen, items=phoned))
    assert (found.code, found.severity, found.text) == (
        "C6", N, "Phoned in: 3 entries. Is what they were taken from kept?",
    )  # fmt: skip


def test_every_check_has_a_case() -> None:
    assert {case.code for case in CASES} | {"F2", "S2", "C6"} == set(CHECKS)


def test_what_does_not_count_raises_nothing_of_its_own() -> None:
    seen = clean()
    wrong = replace(seen.items[-1], entry=entry("final_reading", "R9", clock(13, "13:00"), flow=n(1, "L/min")))
    for standing in (Standing.SUPERSEDED, Standing.VOID):
        more = replace(seen, items=(*seen.items, replace(wrong, standing=standing)))
        assert findings.run(more) == []


def test_a_finding_is_told_once_per_subject_and_field() -> None:
    seen = main_job.evidence(only("final_reading", None, flow=n(30, "L/min")))
    keys = [(one.code, one.subject, one.field) for one in findings.run(seen)]
    assert len(keys) == len(set(keys))


def test_the_gravest_come_first() -> None:
    seen = main_job.evidence(only("final_reading", None, flow=n(30, "L/min")), unread_items=1)
    order = [one.severity for one in findings.run(seen)]
    assert order == sorted(order, key=["block", "warn", "note"].index)


def test_one_fact_is_one_question() -> None:
    seen = main_job.evidence(only("strength_reading", "system", zeroed=v(False)))
    item = next(one for one in seen.of("strength_reading", "system") if one.outcome is Outcome.CANNOT_TELL)
    assert [one.code for one in findings.run(seen) if item.id in one.entries] == ["Q4"]


@pytest.mark.parametrize(
    ("severity", "subject", "entries", "is_told"),
    [
        (B, "L1", ("a", "b"), False),
        (W, "L1", ("a",), True),  # what asks more mildly does not stand for a failed result
        (B, "L2", ("a",), True),
        (B, "", ("a",), True),
        (B, "L1", ("b",), True),
    ],
)
def test_a_result_is_told_unless_its_entry_is_asked_about(
    monkeypatch: pytest.MonkeyPatch, severity: Severity, subject: str, entries: tuple[str, ...], is_told: bool
) -> None:
    bare = Found("R1", B, "It fails. What was done about it?", "L1", ("a",), "flush")
    other = Found("V6", severity, "Is that so?", subject, entries, "flow")
    for code in CHECKS:
        told = {"R1": [bare], "V6": [other]}.get(code, [])
        monkeypatch.setitem(CHECKS, code, replace(CHECKS[code], run=Mock(return_value=told)))
    assert (bare in findings.run(clean())) is is_told
    assert other in findings.run(clean())


def test_who_sent_it_is_asked_once_and_names_nobody() -> None:
    seen = clean()
    sent = tuple(Arrival(item.id, "sender") for item in seen.items[:3])
    (found,) = findings.run(replace(seen, arrivals=sent))
    assert found.text == "3 entries were sent by another person than who logged them. Who saw them?"
    assert found.entries == tuple(one.entry for one in sent)
