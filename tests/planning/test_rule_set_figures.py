"""The figures of the starter sets against what was read, and that a figure from memory is never told as a requirement.

`READ` restates the figures from the publications themselves, in the publication's own unit; the factor brings them to ours.
"""

from __future__ import annotations

import json
import re
from html import unescape
from typing import Any, NamedTuple

import pytest
from django.test import Client
from django.urls import reverse

from calcs.sources import Source, Status
from jobs.firms import clock
from jobs.firms.models import Role
from jobs.firms.scope import scope
from jobs.ground.results import numbers_json
from jobs.planning import queries, rules
from jobs.planning.actions import change_job, move_state, new_rule_set_version
from jobs.planning.errors import BadRuleSet, MoveRefused
from jobs.planning.models import Job, JobState, RuleSet
from jobs.visits.actions import plan_visit
from jobs.visits.models import VisitKind
from tests import build
from tests.people import Team, a_team, signed_in

US, DE, HOME = "Residential trench, US units", "Borehole field, German-language area", "Small domestic, metric"
STARTERS = {starter.name: starter for starter in rules.starters()}
INCH, PSI, FOOT = 25.4, 0.0689475729, 0.3048  # NIST SP 811, appendix B.8
UNCONFIRMED = "(unconfirmed figure, not a requirement)"


class Printed(NamedTuple):
    """A figure as its publication has it."""

    sets: tuple[str, ...]
    code: str
    value: float
    factor: float
    abs_tol: float
    publication: str
    status: Status


# Publications: UFGS-15741N (US defence guide specification); ENERGY STAR Homes Northwest, geothermal standards of
# 20 April 2005, 1.8; Delaware 232114; a technical note of 2009 on EN 805:2000 A.27. Those were read.
# SIA 384/6:2010, EN 14511 and the 10 % of the US codes were not: they stand as memory.
READ = (
    Printed((US,), "trench_depth_mm", 1.2, 1000, 0, "UFGS-15741N", Status.READ),
    Printed((US,), "bed_mm", 6, INCH, 0.5, "UFGS-15741N", Status.READ),
    Printed((US,), "cover_mm", 6, INCH, 0.5, "ENERGY STAR", Status.READ),
    Printed((US,), "test_pressure_bar", 100, PSI, 0.006, "Delaware 232114", Status.READ),
    Printed((US,), "test_isolated_min", 30, 1, 0, "ENERGY STAR", Status.READ),
    Printed((US,), "purge_velocity_m_s", 2, FOOT, 1e-9, "ENERGY STAR", Status.READ),
    Printed((US,), "flush_velocity_m_s", 2, FOOT, 1e-9, "ENERGY STAR", Status.READ),
    Printed((DE, HOME), "flush_velocity_m_s", 2, FOOT, 0.01, "ENERGY STAR", Status.READ),
    Printed((DE, HOME), "purge_velocity_m_s", 0.6, 1, 0, "UFGS-15741N", Status.READ),
    Printed((US, DE, HOME), "flush_minutes", 15, 1, 0, "ENERGY STAR", Status.READ),
    Printed((US, DE, HOME), "purge_minutes_after_bubble", 15, 1, 0, "UFGS-15741N", Status.READ),
    Printed((DE,), "test_hold_min", 30, 1, 0, "EN 805:2000 A.27", Status.READ),
    Printed((DE,), "test_isolated_min", 60, 1, 0, "EN 805:2000 A.27", Status.READ),
    Printed((DE,), "test_pressure_bar", 7.5, 1, 0, "SIA 384/6:2010", Status.MEMORY),
    Printed((DE,), "spread_low_k", 3, 1, 0, "EN 14511", Status.MEMORY),
    Printed((US,), "balance_spread_pct", 10, 1, 0, "codes", Status.MEMORY),
    Printed((HOME,), "trench_depth_mm", 0.8, 1000, 0, "horizontal pipe", Status.COMMON_PRACTICE),
    Printed((HOME, DE), "bed_mm", 100, 1, 0, "sand bed", Status.COMMON_PRACTICE),
    Printed((US, DE, HOME), "spread_high_k", 5, 1, 0, "3 to 5 K", Status.COMMON_PRACTICE),
    Printed((US, DE, HOME), "deaeration_days", 10, 1, 0, "no standard", Status.COMMON_PRACTICE),
)
CASES = [(name, row) for row in READ for name in row.sets]


@pytest.mark.parametrize(("name", "row"), CASES, ids=[f"{row.code} {name}" for name, row in CASES])
def test_a_figure_is_as_printed_with_its_publication_and_status(name: str, row: Printed) -> None:
    limit = rules.parse(STARTERS[name].limits).limits[row.code]
    assert limit.value == pytest.approx(row.value * row.factor, abs=row.abs_tol, rel=1e-12)
    assert row.publication in limit.source.text
    assert limit.source.status is row.status


@pytest.mark.parametrize("name", sorted(STARTERS))
def test_a_standards_name_stands_only_beside_what_was_read_or_is_unconfirmed(name: str) -> None:
    """A house default that names a standard would borrow its weight."""
    for code, row in STARTERS[name].limits.items():
        if re.search(r"\b(EN|ISO|SIA|VDI|DIN|ASTM|UFGS|ENERGY STAR|CSA)\b", row["source"]):
            assert row["status"] in {"read", "memory"}, code


@pytest.mark.parametrize("name", sorted(STARTERS))
def test_each_limit_is_in_the_unit_it_is_asked_in_and_within_reason(name: str) -> None:
    """Hard edges of physics and of the trade, so that a slip of a factor 10 or of a unit shows."""
    edges = {
        "mm": (50, 3000), "min": (0, 120), "bar": (0.05, 16), "m/s": (0.3, 2), "1": (1, 10), "%": (0.1, 50), "L": (0.1, 5),
        "%-points": (0.5, 5), "K": (1, 10), "day": (1, 30), "m": (0.1, 5), "h": (1, 72), "°C": (150, 300),
    }  # fmt: skip
    for code, limit in rules.parse(STARTERS[name].limits).limits.items():
        assert limit.unit == rules.CODES[code].unit
        low, high = edges[limit.unit]
        assert low <= limit.value <= high, code


def memory_codes(raw: dict[str, Any]) -> list[str]:
    return [code for code, row in raw.items() if row["status"] == "memory"]


@pytest.fixture
def team(db: None) -> Team:
    return a_team()


@pytest.fixture
def manager(team: Team) -> Client:
    return signed_in(team.manager)


def page_rows(page: str) -> dict[str, str]:
    """Label of each limit -> the text of its source cell."""
    found = re.findall(r'<th scope="row">([^<]+)</th>.*?<td class="source">([^<]*)</td>', page)
    return {unescape(label): unescape(source) for label, source in found}


@pytest.mark.parametrize("name", sorted(STARTERS))
def test_the_page_of_a_set_marks_what_is_from_memory_and_only_that(name: str, team: Team, manager: Client) -> None:
    rule_set = build.a_rule_set(team.firm, name)
    shown = page_rows(manager.get(reverse("planning:rule-set", args=[rule_set.pk])).content.decode())
    labels = {rules.CODES[code].label for code in memory_codes(rule_set.limits)}
    assert {label for label, source in shown.items() if UNCONFIRMED in source} == labels
    assert len(shown) == len(rules.CODES) + 1


def from_memory(value: float, unit: str) -> dict[str, Any]:
    return {"value": value, "unit": unit, "source": "A book I once had, 3.2", "status": "memory"}


def test_a_figure_from_memory_stays_marked_wherever_the_job_shows_it(team: Team) -> None:
    """The numbers page, the numbers the pack is made of, and the limits the phone gets."""
    rule_set = build.a_rule_set(
        team.firm, purge_velocity_m_s=from_memory(0.7, "m/s"), changeover_band_pct=from_memory(20, "%")
    )
    job = build.a_job(team.firm, rule_set=rule_set)
    page = unescape(signed_in(team.crew).get(reverse("ground:numbers", args=[job.pk])).content.decode())
    with scope(team.firm.pk):
        told = [line["text"] for line in numbers_json(job)["sources"] if "A book I once had" in line["text"]]
        sources = [limit.source for limit in queries.limits(job.rule_set).values()]
    assert len(told) == 2
    assert all(UNCONFIRMED in text for text in told)
    assert page.count("A book I once had, 3.2") == page.count(f"A book I once had, 3.2 {UNCONFIRMED}") == 2
    assert all(UNCONFIRMED in source.label for source in sources if source.status is Status.MEMORY)


def test_the_phone_is_told_which_figures_are_from_memory(team: Team) -> None:
    rule_set = build.a_rule_set(team.firm, DE)
    job = build.a_job(team.firm, rule_set=rule_set, state=JobState.SCHEDULED)
    today = clock.now()
    with scope(team.firm.pk):
        plan_visit(job, kind=VisitKind.GROUND, planned_date=today.date(), crew=[team.crew], by=team.scheduler, at=today)
    answer = signed_in(team.crew).get("/field/api/pack", headers={"X-App": "groundloop"})
    limits = json.loads(answer.content)["jobs"][0]["limits"]
    told = {code for code, row in limits.items() if row["status"] == "memory" or UNCONFIRMED in row["source"]}
    assert told == {"test_pressure_bar", "spread_low_k"} & limits.keys()
    assert "test_pressure_bar" in told


@pytest.mark.parametrize("status", list(Status))
def test_only_memory_is_called_unconfirmed(status: Status) -> None:
    assert (UNCONFIRMED in Source("Any text", status).label) == (status is Status.MEMORY)


def test_a_manager_who_looked_it_up_takes_the_mark_away_for_new_jobs_only(team: Team, manager: Client) -> None:
    old = build.a_rule_set(team.firm, DE)
    running = build.a_job(team.firm, rule_set=old, state=JobState.IN_GROUND)
    new = build.a_rule_set(
        team.firm, DE, test_pressure_bar={"value": 7.5, "unit": "bar", "source": "Looked up, page 41", "status": "read"}
    )
    with scope(team.firm.pk):
        assert UNCONFIRMED not in queries.limits(new)["test_pressure_bar"].source.label
        kept = queries.limits(Job.objects.get(pk=running.pk).rule_set)["test_pressure_bar"]
    assert UNCONFIRMED in kept.source.label
    page = manager.get(reverse("planning:rule-set", args=[old.pk])).content.decode()
    assert "1 job works by this version and keeps it" in page


@pytest.mark.parametrize("state", ["in_ground", "filled", "submitted"])
def test_a_running_job_is_judged_by_the_version_it_began_with(state: str, team: Team) -> None:
    job = build.a_job(team.firm, state=JobState(state))
    before = job.rule_set
    for bed in (120.0, 140.0):
        row = {"value": bed, "unit": "mm", "source": "Yard", "status": "house default"}
        newest = build.a_rule_set(team.firm, bed_mm=row)
    with scope(team.firm.pk):
        found = Job.objects.get(pk=job.pk)
        assert queries.limits(found.rule_set)["bed_mm"].value == 100
        with pytest.raises(MoveRefused):
            change_job(found, by=team.manager, at=build.AT, rule_set=newest)
        assert Job.objects.get(pk=job.pk).rule_set == before
        assert [version.version for version in queries.versions_of(before)] == [3, 2, 1]


def test_a_job_that_has_not_begun_may_change_to_the_new_version(team: Team) -> None:
    job = build.a_job(team.firm)
    newest = build.a_rule_set(
        team.firm, bed_mm={"value": 120.0, "unit": "mm", "source": "Yard", "status": "house default"}
    )
    with scope(team.firm.pk):
        change_job(job, by=team.manager, at=build.AT, rule_set=newest)
        move_state(job, JobState.SCHEDULED, by=None, at=build.AT)
        assert queries.limits(Job.objects.get(pk=job.pk).rule_set)["bed_mm"].value == 120
        assert queries.usual_rule_set() == newest


@pytest.mark.parametrize(
    "row",
    [
        {"value": float("inf"), "unit": "mm", "source": "Yard", "status": "read"},
        {"value": 100, "unit": "mm", "source": "", "status": "read"},
        {"value": 100, "unit": "cm", "source": "Yard", "status": "read"},
        {"value": None, "unit": "mm", "source": "Yard", "status": "read"},
        {"value": 100, "unit": "mm", "source": "Yard"},
    ],
)
def test_a_version_that_could_not_be_read_is_not_made(row: dict[str, Any], team: Team) -> None:
    rule_set = build.a_rule_set(team.firm)
    with scope(team.firm.pk):
        with pytest.raises(BadRuleSet) as refused:
            new_rule_set_version(rule_set, changes={"bed_mm": row}, by=team.manager, at=build.AT)
        assert str(refused.value).startswith("Bed under the pipe: ")
        assert RuleSet.objects.filter(name=rule_set.name).count() == 1


def test_versions_of_another_firm_are_not_counted(team: Team) -> None:
    build.a_rule_set(team.other_firm, bed_mm=from_memory(90, "mm"))
    mine = build.a_rule_set(team.firm, bed_mm=from_memory(95, "mm"))
    assert mine.version == 2
    with scope(team.firm.pk):
        assert queries.versions_of(mine).count() == 2
    assert team.manager.has_role(Role.MANAGER)
