"""Kinds: their forms hold together, what is impossible is told, and nothing that may count breaks a judge."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calcs.units import ureg
from jobs.planning.models import InstrumentKind
from jobs.visits.judging import outcomes, verdicts_of
from jobs.visits.kinds import (
    KINDS,
    UNITS,
    Answer,
    Of,
    convert,
    kinds_json,
    units_json,
)
from jobs.visits.kinds.check import complaint, subject_fits
from tests.build_entries import n, value
from tests.visits.facts import CODES, FACTS, START, logged


@pytest.mark.parametrize("code", KINDS)
def test_a_kind_holds_together(code: str) -> None:
    kind = KINDS[code]
    assert kind.code == code
    assert len(kind.names) == len(kind.fields)
    assert kind.instrument in {"", *InstrumentKind.values}
    for field in kind.fields:
        assert (field.answer is Answer.NUMBER) == bool(field.units), field.name
        assert (field.answer is Answer.PHOTO) == bool(field.shot), field.name
        assert len({value for value, _ in field.choices}) == len(field.choices)
        if field.soft and field.hard:
            assert field.hard[0] <= field.soft[0] < field.soft[1] <= field.hard[1], field.name
        if field.only_if:
            asked = kind.field_of(field.only_if[0])
            assert asked is not None
            assert set(field.only_if[1]) <= {value for value, _ in asked.choices}
        assert set(field.units) <= UNITS.keys()


def test_work_that_can_hurt_carries_its_caution_and_defers_to_local_codes() -> None:
    for code in ("pressure_test", "trench_section", "joint", "mix_batch", "source_settings"):
        text = " ".join(KINDS[code].cautions)
        assert text, code
        assert "Local codes" in text, code
    assert "never air or gas" in " ".join(KINDS["pressure_test"].cautions)


def test_the_phone_gets_plain_json() -> None:
    assert json.loads(json.dumps(kinds_json())) == kinds_json()
    assert list(kinds_json()) == list(KINDS)
    assert json.loads(json.dumps(units_json())) == units_json()


PINT = {
    "bar": "bar", "kPa": "kPa", "psi": "psi", "°C": "degC", "°F": "degF", "L/min": "L/min", "m³/h": "m^3/h", "gpm": "gpm",
    "L": "L", "m³": "m^3", "gal": "gallon", "mm": "mm", "cm": "cm", "in": "inch", "m": "m", "ft": "foot", "min": "min",
    "h": "hour", "d": "day", "kW": "kW", "W": "W",
}  # fmt: skip


@pytest.mark.parametrize("unit", PINT)
def test_units_convert_as_pint_does(unit: str) -> None:
    base = UNITS[unit].base
    for amount in (0.0, 1.0, 37.5):
        assert convert(amount, unit, base) == pytest.approx(
            ureg.Quantity(amount, PINT[unit]).to(PINT[base]).magnitude, rel=1e-8
        )


def test_units_of_different_kinds_do_not_convert() -> None:
    assert convert(1, "bar", "m") is None
    assert convert(30, "vol %", "mass %") is None
    assert convert(1, "cubit", "m") is None


@pytest.mark.parametrize(
    ("kind", "subject", "fits"),
    [
        ("flush", "L1", True), ("flush", "H", True), ("flush", "L9", False), ("loop_fill", "H", False), ("joint", "J12", True),
        ("joint", "J0", False), ("pressure_test", "T1", True), ("strength_reading", "M1", True), ("strength_reading", "L2", True),
        ("strength_reading", "system", True), ("strength_reading", "pond", False), ("override", "H6:S1", True), ("override", "H9", True),
        ("override", "S1", False), ("purge", "", True), ("purge", "L1", False), ("backfill_release", "S2", True), ("driller_papers", "B3", False),
    ],
)  # fmt: skip
def test_where_a_kind_may_be_logged(kind: str, subject: str, fits: bool) -> None:
    assert subject_fits(KINDS[kind], subject, CODES) is fits


def test_cooling_is_asked_of_fused_joints_only() -> None:
    answers = {
        "od": n("40", "mm"), "section": "S1", "buried": False, "welder": "x", "ended_at": START, "visual_ok": True,
        "scraped": True, "clamped": True, "indicators": True,
    }  # fmt: skip
    for method, said in (("mechanical", ""), ("electrofusion", "missing:cooling_min")):
        payload = {name: value(answer) for name, answer in {"method": method, **answers}.items()}
        assert complaint(KINDS["joint"], payload, {}, CODES) == said


JUNK = st.one_of(
    st.none(), st.booleans(), st.integers(-(10**6), 10**6), st.floats(allow_nan=True), st.text(max_size=8),
    st.lists(st.one_of(st.text(max_size=4), st.integers(), st.none()), max_size=3), st.just({"S1": 1}),
)  # fmt: skip


@st.composite
def answers_of(draw: st.DrawFn, kind: str) -> dict[str, Any]:
    """Answers that fit more often than not, with any number, and some junk."""
    payload: dict[str, Any] = {}
    for field in KINDS[kind].fields:
        way = draw(st.integers(0, 9))
        if way == 0:
            continue
        if way == 1:
            payload[field.name] = draw(st.one_of(JUNK, st.fixed_dictionaries({"value": JUNK, "unit": JUNK})))
            continue
        payload[field.name] = {"value": draw(_fitting(field)), "unit": draw(st.sampled_from(field.units or ("",)))}
    return payload


def _fitting(field: Any) -> st.SearchStrategy[Any]:
    names = [code for code, _ in field.choices] + [code for source in field.choices_from for code in CODES[source]]
    return {
        Answer.NUMBER: st.floats(-1e9, 1e9) | st.sampled_from([0, 0.0, 1, 5, 30.05]),
        Answer.YES: st.booleans(),
        Answer.CHOICE: st.sampled_from(names or ["x"]),
        Answer.MANY: st.lists(st.sampled_from(names or ["x"]), max_size=4),
        Answer.TIME: st.sampled_from([(START + timedelta(minutes=m)).isoformat() for m in (-5, 0, 7, 90)]),
    }.get(field.answer, st.just(["0" * 64]))


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_no_entry_that_may_count_breaks_a_judge(data: st.DataObject) -> None:
    """Also those out of range, which the office may take all the same."""
    entries = []
    for minute in range(data.draw(st.integers(1, 4))):
        code = data.draw(st.sampled_from(sorted(KINDS)))
        subject = {
            Of.LOOP: "L1",
            Of.LOOP_OR_HEADER: "H",
            Of.TEST: "T1",
            Of.SAMPLE: "M1",
            Of.BATCH: "M1",
            Of.SECTION: "S1",
        }.get(KINDS[code].of, "")
        payload = data.draw(answers_of(code))
        if complaint(KINDS[code], payload, {}, CODES).partition(":")[0] not in {"answer", "unit"}:
            entry = logged(code, subject, minute, instrument=data.draw(st.sampled_from(["", "g", "r", "t", "f"])))
            entries.append(replace(entry, payload=payload))
    facts = replace(FACTS, entries=tuple(entries))
    outcomes(facts)
    for entry in entries:
        assert all(verdict.reason for verdict in verdicts_of(facts, entry))
