"""With real commits: two desks at once never get one job number, one port or one code."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from jobs.firms.scope import scope
from jobs.ground.actions import add_loop
from jobs.ground.models import Loop
from jobs.planning.actions import create_job
from jobs.planning.models import Job
from tests import build
from tests.people import a_firm
from tests.real_db import Environment, at_once, real_db

__all__ = ["real_db"]


def test_numbers_are_given_once(real_db: Environment) -> None:
    firm = a_firm()
    by, site, rule_set = build.somebody(firm), build.a_site(firm), build.a_rule_set(firm)

    def one() -> int:
        with scope(firm.pk):
            return create_job(site, by=by, at=build.AT, title="At once", rule_set=rule_set).number

    assert sorted(at_once(*[one] * 6)) == [1, 2, 3, 4, 5, 6]


def test_ports_are_given_once(real_db: Environment) -> None:
    firm = a_firm()
    by = build.somebody(firm)
    job = build.a_job(firm, with_array=False)
    fields: dict[str, Any] = {"od_mm": 40.0, "wall_mm": 3.7, "array_m": 200.0}

    def one() -> str:
        with scope(firm.pk):
            return add_loop(Job.objects.get(pk=job.pk), by=by, at=build.AT, **fields).code

    jobs: list[Callable[[], Any]] = [one] * 4
    assert sorted(at_once(*jobs)) == ["L1", "L2", "L3", "L4"]
    with scope(firm.pk):
        assert sorted(Loop.objects.values_list("port", flat=True)) == [1, 2, 3, 4]
