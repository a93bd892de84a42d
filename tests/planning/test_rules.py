from __future__ import annotations

import copy
from typing import Any

import pytest

from calcs.sources import Status
from jobs.firms.scope import scope
from jobs.planning import actions as planning
from jobs.planning import queries, rules
from jobs.planning.errors import BadRuleSet
from jobs.planning.forms import RuleSetForm
from tests import build
from tests.people import a_firm

STARTERS = {starter.name: starter.limits for starter in rules.starters()}
PSI_BAR = 0.0689475729  # 1 psi in bar, NIST SP 811 B.8


def test_three_sets_come_with_the_program_and_each_is_whole() -> None:
    assert len(STARTERS) == 3
    for limits in STARTERS.values():
        parsed = rules.parse(limits)
        assert parsed.limits.keys() == rules.CODES.keys()
        assert all(limit.source.text and limit.unit for limit in parsed.limits.values())


@pytest.mark.parametrize("name", sorted(STARTERS))
def test_no_figure_from_memory_is_told_as_a_requirement(name: str) -> None:
    for limit in rules.parse(STARTERS[name]).limits.values():
        if limit.source.status is Status.MEMORY:
            assert "unconfirmed" in limit.source.label


@pytest.mark.parametrize("name", sorted(STARTERS))
def test_the_limits_hang_together(name: str) -> None:
    value = {code: limit.value for code, limit in rules.parse(STARTERS[name]).limits.items()}
    assert value["watch_pressure_bar"] < value["test_pressure_bar"]
    assert value["freeze_margin_block_k"] < value["freeze_margin_k"]
    assert value["spread_low_k"] < value["spread_high_k"]
    assert value["top_up_amber_pct"] < value["top_up_red_pct"]
    assert value["residual_air_pct"] < value["residual_air_fail_pct"]
    assert value["strength_agree_pct"] <= value["strength_band_pct"]


def test_psi_and_feet_are_stored_in_our_units() -> None:
    """100 psi (Delaware 232114) and 2 ft/s (ENERGY STAR Homes Northwest 1.8)."""
    limits = rules.parse(STARTERS["Residential trench, US units"]).limits
    assert limits["test_pressure_bar"].value == pytest.approx(100 * PSI_BAR, abs=0.01)
    assert limits["purge_velocity_m_s"].value == pytest.approx(2 * 0.3048)


def test_figures_read_in_the_us_guide_specification() -> None:
    """UFGS-15741N: 1.2 m deep, 152 mm of fines, 15 min after the last bubbles."""
    limits = rules.parse(STARTERS["Residential trench, US units"]).limits
    assert (limits["trench_depth_mm"].value, limits["bed_mm"].value) == (1200, 152)
    assert limits["purge_minutes_after_bubble"].value == 15


def broken(**changes: dict[str, Any] | None) -> dict[str, Any]:
    raw = copy.deepcopy(STARTERS["Small domestic, metric"])
    for code, change in changes.items():
        if change is None:
            del raw[code]
        else:
            raw[code] = {**raw.get(code, {}), **change}
    return raw


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"bed_mm": None}, "it lacks bed_mm"),
        ({"colour_of_van": {"value": 1}}, "colour_of_van is not known"),
        ({"bed_mm": {"unit": "in"}}, "the unit must be mm"),
        ({"bed_mm": {"source": " "}}, "say where this figure comes from"),
        ({"bed_mm": {"status": "sure"}}, "how sure this figure is"),
        ({"bed_mm": {"value": "100"}}, "give a number"),
        ({"bed_mm": {"value": -1}}, "give a number"),
        ({"bed_mm": {"value": float("nan")}}, "give a number"),
        ({"bed_mm": {"value": True}}, "give a number"),
        ({"test_method": {"value": "guess"}}, "test method must be one of"),
        ({"test_method": {"source": ""}}, "say where"),
    ],
)
def test_a_set_that_is_not_whole_is_refused(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(BadRuleSet, match=said):
        rules.parse(broken(**changes))


@pytest.mark.django_db
def test_a_new_version_leaves_running_jobs_alone() -> None:
    firm = a_firm()
    job = build.a_job(firm, with_array=False)
    old = job.rule_set
    new = build.a_rule_set(
        firm, bed_mm={"value": 150.0, "unit": "mm", "source": "Crew meeting", "status": "house default"}
    )
    with scope(firm.pk):
        job.refresh_from_db()
        assert (new.name, new.version) == (old.name, old.version + 1)
        assert queries.limits(job.rule_set)["bed_mm"].value == 100
        assert queries.limits(new)["bed_mm"].value == 150
        assert queries.limits(new)["cover_mm"] == queries.limits(old)["cover_mm"]
        assert new.pk in {row.pk for row in queries.rule_sets()}
        assert old.pk not in {row.pk for row in queries.rule_sets()}
        assert {old.pk, new.pk} <= {row.pk for row in queries.rule_sets_for(job)}


@pytest.mark.django_db
def test_the_method_of_the_test_is_told_with_its_source() -> None:
    firm = a_firm()
    build.a_rule_set(firm)
    with scope(firm.pk):
        german = build.a_rule_set(firm, "Borehole field, German-language area")
        assert queries.method(german)[0] == "en805_a27_2000"
        assert "superseded" in queries.method(german)[1].label
        groups = queries.limit_groups(german)
    shown = [row.code for group in groups for row in group.rows]
    assert sorted(shown) == sorted([*rules.CODES, rules.METHOD])


LATER = sorted(code for code, about in rules.CODES.items() if about.later)


@pytest.mark.parametrize("code", LATER)
def test_a_set_that_was_made_before_a_limit_came_still_counts(code: str) -> None:
    parsed = rules.parse(broken(**{code: None}))
    assert code not in parsed.limits
    assert parsed.limits.keys() == rules.CODES.keys() - {code}


@pytest.mark.django_db
def test_an_old_set_goes_on_and_its_next_version_has_what_came_later() -> None:
    firm = a_firm()
    by = build.somebody(firm)
    raw = {code: row for code, row in STARTERS["Residential trench, US units"].items() if code not in LATER}
    with scope(firm.pk):
        old = planning.new_rule_set(name="Residential trench, US units", limits=raw, by=by, at=build.AT)
        shown = [row.code for group in queries.limit_groups(old) for row in group.rows]
        change = {"bed_mm": {"value": 200.0, "unit": "mm", "source": "Crew meeting", "status": "house default"}}
        new = planning.new_rule_set_version(old, changes=change, by=by, at=build.AT)
    assert not set(LATER) & set(shown)
    assert queries.limits(old).keys() == rules.CODES.keys() - set(LATER)
    assert queries.limits(new).keys() == rules.CODES.keys()
    form = RuleSetForm(rule_set=old)
    assert {f"{code}__value" for code in LATER} <= form.fields.keys()
    assert len(form.rows()) == len(queries.limit_groups(new))


def test_the_watch_pressure_of_the_house() -> None:
    """3 bar, house default; what was set to 30 psi stays that."""
    watch = {name: rules.parse(limits).limits["watch_pressure_bar"] for name, limits in STARTERS.items()}
    assert watch["Small domestic, metric"].value == watch["Borehole field, German-language area"].value == 3.0
    assert watch["Residential trench, US units"].value == pytest.approx(30 * PSI_BAR, abs=0.01)
    assert {limit.source.status for limit in watch.values()} == {Status.HOUSE_DEFAULT}
