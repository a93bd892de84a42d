from __future__ import annotations

import pytest

from jobs.firms.models import AuditEvent
from jobs.firms.scope import scope
from jobs.ground.actions import add_loop
from jobs.planning import actions
from jobs.planning.errors import MoveRefused
from jobs.planning.models import Job, JobState
from tests import build
from tests.people import a_firm

pytestmark = pytest.mark.django_db


def test_jobs_are_numbered_within_their_firm() -> None:
    one, other = a_firm("One"), a_firm("Other")
    assert [build.a_job(one, with_array=False).number for _ in range(3)] == [1, 2, 3]
    assert build.a_job(other, with_array=False).number == 1


def test_a_number_is_never_given_twice() -> None:
    firm = a_firm()
    first = build.a_job(firm, with_design=False, with_array=False)
    with scope(firm.pk):
        Job.objects.filter(pk=first.pk).delete()
    assert build.a_job(firm, with_design=False, with_array=False).number == 2


def test_every_change_at_a_job_raises_its_version() -> None:
    firm = a_firm()
    job = build.a_job(firm)
    by = build.somebody(firm)
    with scope(firm.pk):
        for act in (
            lambda: actions.change_job(job, by=by, at=build.AT, title="Other title"),
            lambda: actions.set_design(job, by=by, at=build.AT, cop=4.2),
            lambda: actions.change_site(job.site, by=by, at=build.AT, hazards="Bull in the field"),
            lambda: actions.change_product(job.design.product, by=by, at=build.AT, colour="blue"),
            lambda: actions.move_state(job, JobState.SCHEDULED, by=by, at=build.AT),
        ):
            job.refresh_from_db()
            before = job.version
            act()
            job.refresh_from_db()
            assert job.version > before


def test_a_closed_job_does_not_change_with_its_site_or_fluid() -> None:
    firm = a_firm()
    job = build.a_job(firm, state=JobState.APPROVED)
    by = build.somebody(firm)
    with scope(firm.pk):
        before = Job.objects.get(pk=job.pk).version
        actions.change_site(job.site, by=by, at=build.AT, hazards="New owner")
        actions.change_product(job.design.product, by=by, at=build.AT, colour="blue")
        assert Job.objects.get(pk=job.pk).version == before


def test_a_job_is_designed_once_it_has_a_design_and_a_loop() -> None:
    firm = a_firm()
    by = build.somebody(firm)
    job = build.a_job(firm, with_array=False)
    assert job.state == JobState.ACCEPTED
    with scope(firm.pk):
        add_loop(job, by=by, at=build.AT, od_mm=40.0, wall_mm=3.7, array_m=200.0)
    assert job.state == JobState.DESIGNED


def test_the_rule_set_stands_once_the_crew_has_begun() -> None:
    firm = a_firm()
    job = build.a_job(firm, state=JobState.IN_GROUND)
    other = build.a_rule_set(firm, "Borehole field, German-language area")
    with scope(firm.pk):
        with pytest.raises(MoveRefused, match="keeps the rule set"):
            actions.change_job(job, by=build.somebody(firm), at=build.AT, rule_set=other)
        actions.change_job(job, by=build.somebody(firm), at=build.AT, rule_set=job.rule_set, title="Same limits")
    assert job.title == "Same limits"


def test_who_did_what_is_audited_without_free_text() -> None:
    firm = a_firm()
    by = build.somebody(firm)
    customer = build.a_customer(firm, name="Very Private Name")
    with scope(firm.pk):
        actions.change_customer(customer, by=by, at=build.AT, phone="01632 960999")
        events = list(AuditEvent.objects.filter(subject_id=customer.pk).order_by("at", "verb"))
    assert {event.verb for event in events} == {"customer_created", "customer_changed"}
    assert all(event.actor_id == by.pk for event in events)
    assert "Private" not in str([event.detail for event in events])


def test_starters_are_added_once() -> None:
    firm = a_firm()
    by = build.somebody(firm)
    with scope(firm.pk):
        assert len(actions.add_starter_rule_sets(by=by, at=build.AT)) == 3
        assert actions.add_starter_rule_sets(by=by, at=build.AT) == []


def test_an_order_reuses_what_is_known() -> None:
    firm = a_firm()
    by, site, rule_set = build.somebody(firm), build.a_site(firm), build.a_rule_set(firm)
    with scope(firm.pk):
        known = actions.take_order(
            actions.Order(job={"title": "Second array", "rule_set": rule_set}, site=site), by=by, at=build.AT
        )
        new = actions.take_order(
            actions.Order(
                job={"title": "First array", "rule_set": rule_set},
                new_customer={"name": "Lane Farm"},
                new_site={"name": "Barn", "address": "Lane Farm"},
            ),
            by=by,
            at=build.AT,
        )
    assert known.site == site
    assert (new.site.customer.name, new.site.name, new.number) == ("Lane Farm", "Barn", 2)
    assert known.scheduler == by
