"""Numbers of jobs and orders that go wrong: no gap, no half order, nothing taken from another firm."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from jobs.firms.models import AuditEvent, Firm
from jobs.firms.scope import scope
from jobs.planning import actions, queries
from jobs.planning.errors import JobClosed
from jobs.planning.models import Customer, Job, JobState, Site
from tests import build
from tests.people import Team, a_firm, a_team, signed_in

db = pytest.mark.django_db


class NumbersOfTwoFirms(TestCase):
    @settings(max_examples=15, deadline=None)
    @given(st.lists(st.sampled_from([0, 1]), min_size=1, max_size=8))
    def test_each_firm_counts_for_itself_in_any_order(self, order: list[int]) -> None:
        firms = [a_firm("Left"), a_firm("Right")]
        sites = [(firm, build.a_site(firm), build.a_rule_set(firm)) for firm in firms]
        given_out: list[list[int]] = [[], []]
        for which in order:
            firm, site, rules = sites[which]
            with scope(firm.pk):
                made = actions.create_job(site, by=build.somebody(firm), at=build.AT, title="Any", rule_set=rules)
            given_out[which].append(made.number)
        for numbers in given_out:
            assert numbers == list(range(1, len(numbers) + 1))


@db
def test_an_order_that_fails_takes_no_number_and_leaves_nothing() -> None:
    firm = a_firm()
    by, rules = build.somebody(firm), build.a_rule_set(firm)
    new: Any = {"new_customer": {"name": "Lane Farm"}, "new_site": {"name": "Barn", "address": "Lane"}}
    with scope(firm.pk):
        broken: Any = {"title": None, "rule_set": rules}
        with pytest.raises(IntegrityError), transaction.atomic():
            actions.take_order(actions.Order(job=broken, **new), by=by, at=build.AT)
        assert not Customer.objects.exists()
        assert not Site.objects.exists()
        assert not AuditEvent.objects.filter(verb__in=["customer_created", "site_created", "job_created"]).exists()
        made = actions.take_order(actions.Order(job={"title": "Array", "rule_set": rules}, **new), by=by, at=build.AT)
    assert made.number == 1


@db
def test_the_database_itself_refuses_a_number_twice() -> None:
    firm = a_firm()
    one, two = (build.a_job(firm, with_array=False) for _ in range(2))
    with scope(firm.pk), pytest.raises(IntegrityError), transaction.atomic():
        Job.objects.filter(pk=two.pk).update(number=one.number)


@db
def test_a_number_finds_its_job_in_its_own_firm_only() -> None:
    one, other = a_firm("One"), a_firm("Other")
    mine = build.a_job(one, with_array=False)
    theirs = build.a_job(other, with_array=False)
    assert mine.number == theirs.number
    with scope(one.pk):
        assert queries.job_by_number(mine.number) == mine
        assert queries.job_by_number(99) is None
    with scope(other.pk):
        assert queries.job_by_number(mine.number) == theirs


@db
def test_a_cancelled_job_keeps_its_number() -> None:
    firm = a_firm()
    first = build.a_job(firm, with_array=False)
    with scope(firm.pk):
        actions.move_state(first, JobState.CANCELLED, at=build.AT, by=None)
    assert build.a_job(firm, with_array=False).number == first.number + 1


@db
@pytest.mark.parametrize("writers", [2, 5])
def test_versions_add_up_though_everybody_read_the_same_one(writers: int) -> None:
    """`touch` counts in the database: people who loaded the job at one moment do not overwrite each other's step."""
    firm = a_firm()
    job = build.a_job(firm, with_array=False)
    with scope(firm.pk):
        copies = [Job.objects.get(pk=job.pk) for _ in range(writers)]
        start = copies[0].version
        for number, copy in enumerate(copies):
            actions.change_job(copy, by=build.somebody(firm), at=build.AT, title=f"Title {number}")
        assert Job.objects.get(pk=job.pk).version == start + writers


@db
def test_a_desk_that_saw_an_older_state_is_still_refused() -> None:
    """The state is read again under the row's lock, so that an approval in between is not lost on a stale copy."""
    firm = a_firm()
    job = build.a_job(firm)
    with scope(firm.pk):
        stale = Job.objects.get(pk=job.pk)
        Job.objects.filter(pk=job.pk).update(state="approved")
        with pytest.raises(JobClosed, match="is approved"):
            actions.change_job(stale, by=build.somebody(firm), at=build.AT, title="Too late")
        assert Job.objects.get(pk=job.pk).title == job.title


@db
def test_two_people_change_different_things_and_both_stay() -> None:
    firm = a_firm()
    site = build.a_site(firm)
    with scope(firm.pk):
        one, other = Site.objects.get(pk=site.pk), Site.objects.get(pk=site.pk)
        actions.change_site(one, by=build.somebody(firm), at=build.AT, hazards="Gas main in the verge")
        actions.change_site(other, by=build.somebody(firm), at=build.AT, directions="Past the pond")
        now = Site.objects.get(pk=site.pk)
    assert (now.hazards, now.directions) == ("Gas main in the verge", "Past the pond")


@pytest.fixture
def team(db: None) -> Team:
    return a_team()


def counts(firm: Firm) -> tuple[int, int, int]:
    with scope(firm.pk):
        return Customer.objects.count(), Site.objects.count(), Job.objects.count()


ORDER = {
    "title": "Zwölf Sonden, “Große Wiese” <b>", "planned_start_date": "2026-03-09", "site_name": "Орчард Хаус",
    "address": "Näher Weg 3\n12345 Überall", "customer_name": "Ærø & Söhne 井戸", "customer_email": "",
    "contact_name": "O’Neil", "contact_phone": "+44 (0)1632 960 115",
}  # fmt: skip


def test_names_of_any_script_come_through_the_order_unchanged(team: Team) -> None:
    desk: Client = signed_in(team.scheduler)
    rules = build.a_rule_set(team.firm)
    made = desk.post(reverse("planning:job-new"), ORDER | {"rule_set": rules.pk})
    assert made.status_code == 302
    with scope(team.firm.pk):
        job = Job.objects.select_related("site__customer").get()
    assert (job.title, job.site.name, job.site.customer.name) == (
        ORDER["title"],
        ORDER["site_name"],
        ORDER["customer_name"],
    )
    assert job.site.address.splitlines() == ORDER["address"].splitlines()
    page = desk.get(reverse("planning:site", args=[job.site_id])).content.decode()
    assert "&lt;b&gt;" in page
    assert "<b>" not in page.replace("<body", "")


@pytest.mark.parametrize(
    ("change", "wrong"),
    [
        ({"title": ""}, {"title"}),
        ({"title": "T" * 121}, {"title"}),
        ({"planned_start_date": "9 March"}, {"planned_start_date"}),
        ({"planned_start_date": "2026-02-30"}, {"planned_start_date"}),
        ({"customer_email": "not an address"}, {"customer_email"}),
        ({"rule_set": ""}, {"rule_set"}),
        ({"site": "garbage", "site_name": "", "address": "", "customer_name": ""}, {"site"}),
        ({"address": "   "}, {"address"}),
        ({"customer": "00000000-0000-4000-8000-000000000000", "customer_name": ""}, {"customer"}),
    ],
)
def test_a_wrong_order_makes_nothing_and_keeps_all_that_was_typed(
    change: dict[str, str], wrong: set[str], team: Team
) -> None:
    data = ORDER | {"rule_set": str(build.a_rule_set(team.firm).pk)} | change
    answer = signed_in(team.scheduler).post(reverse("planning:job-new"), data)
    form = answer.context["form"]
    assert form.errors.keys() == wrong
    assert all(len(said) == 1 and said[0].endswith(".") for said in form.errors.values())
    assert {name: form[name].value() for name in data} == data
    assert counts(team.firm) == (0, 0, 0)
