"""Pages of planning through HTTP, asked as everybody."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.firms import clock
from jobs.firms.models import Firm
from jobs.firms.scope import scope
from jobs.planning.models import Customer, FluidProduct, Instrument, Job, RuleSet, Site
from tests import build
from tests.people import Team, a_team, signed_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def team() -> Team:
    return a_team()


@pytest.fixture
def desk(team: Team) -> Client:
    return signed_in(team.scheduler)


def rows(team: Team) -> dict[str, Any]:
    job = build.a_job(team.firm)
    with scope(team.firm.pk):
        return {
            "customer": job.site.customer,
            "site": job.site,
            "job": job,
            "instrument": next(iter(build.instruments(team.firm).values())),
            "product": FluidProduct.objects.get(),
            "rule_set": job.rule_set,
        }


WITHOUT = (
    "customers",
    "customer-new",
    "job-new",
    "instruments",
    "instrument-new",
    "products",
    "product-new",
    "rule-sets",
)
WITH = {
    "customer": "customer", "customer-edit": "customer", "site-new": "customer", "site": "site", "site-edit": "site",
    "job-edit": "job", "job-hold": "job", "instrument-edit": "instrument", "product-edit": "product",
    "rule-set": "rule_set",
}  # fmt: skip


def test_who_may_open_what(team: Team) -> None:
    found = rows(team)
    own = [reverse(f"planning:{name}") for name in WITHOUT]
    objects = [reverse(f"planning:{name}", args=[found[of].pk]) for name, of in WITH.items()]
    for who, expected, of_firm in (
        (team.manager, 200, 200),
        (team.scheduler, 200, 200),
        (team.crew, 403, 403),
        (team.engineer, 403, 403),
        (team.outsider, 200, 404),
    ):
        client = signed_in(who)
        assert {client.get(url).status_code for url in own} == {expected}
        assert {url: client.get(url).status_code for url in objects} == dict.fromkeys(objects, of_firm)
    assert {Client().get(url).status_code for url in own + objects} == {302}


def test_only_a_manager_makes_limits(team: Team) -> None:
    rule_set = rows(team)["rule_set"]
    for who, expected in ((team.manager, 200), (team.scheduler, 403), (team.crew, 403), (team.outsider, 404)):
        assert signed_in(who).get(reverse("planning:rule-set-version", args=[rule_set.pk])).status_code == expected
    assert (
        "New version"
        not in signed_in(team.scheduler).get(reverse("planning:rule-set", args=[rule_set.pk])).content.decode()
    )
    for who, expected in ((team.scheduler, 403), (team.crew, 403), (team.manager, 302)):
        assert signed_in(who).post(reverse("planning:starters")).status_code == expected


def test_what_writes_is_no_get(team: Team) -> None:
    job = rows(team)["job"]
    client = signed_in(team.manager)
    for name in ("job-resume", "job-cancel"):
        assert client.get(reverse(f"planning:{name}", args=[job.pk])).status_code == 405
    assert client.get(reverse("planning:starters")).status_code == 405


def order(**changes: Any) -> dict[str, Any]:
    return {
        "title": "Four boreholes, 12 kW",
        "planned_start_date": "2026-03-09",
        "site_name": "Orchard House",
        "address": "Nether Lane, Westcombe",
        "customer_name": "Hazel Orchard Farm",
        **changes,
    }


def test_a_job_is_set_up_on_one_page(team: Team, desk: Client) -> None:
    rule_set = build.a_rule_set(team.firm)
    answer = desk.post(reverse("planning:job-new"), order(rule_set=rule_set.pk))
    with scope(team.firm.pk):
        job = Job.objects.get()
        assert (job.title, job.number, job.state) == ("Four boreholes, 12 kW", 1, "accepted")
        assert (job.site.name, job.site.customer.name) == ("Orchard House", "Hazel Orchard Farm")
        assert (job.scheduler, job.planned_start_date) == (team.scheduler, date(2026, 3, 9))
    assert answer["Location"] == reverse("ground:array", args=[job.pk])


def test_a_known_site_needs_nothing_more(team: Team, desk: Client) -> None:
    site, rule_set = build.a_site(team.firm), build.a_rule_set(team.firm)
    shown = desk.get(reverse("planning:job-new") + f"?site={site.pk}").content.decode()
    assert f'<option value="{site.pk}" selected>' in shown
    data = order(rule_set=rule_set.pk, site=site.pk, site_name="", address="", customer_name="")
    assert desk.post(reverse("planning:job-new"), data).status_code == 302
    with scope(team.firm.pk):
        assert Job.objects.get().site == site
        assert Customer.objects.count() == 1


def test_a_new_site_needs_name_address_and_customer(team: Team, desk: Client) -> None:
    rule_set = build.a_rule_set(team.firm)
    answer = desk.post(reverse("planning:job-new"), order(rule_set=rule_set.pk, site_name="", customer_name=""))
    page = answer.content.decode()
    assert answer.status_code == 200
    assert answer.context["form"].errors.keys() == {"site_name", "customer_name"}
    assert 'value="Four boreholes, 12 kW"' in page
    assert "Nether Lane, Westcombe" in page
    with scope(team.firm.pk):
        assert not Site.objects.exists()


def test_another_firms_rows_cannot_be_chosen(team: Team, desk: Client) -> None:
    theirs, own = build.a_site(team.other_firm), build.a_rule_set(team.firm)
    other = build.a_rule_set(team.other_firm)
    for data in (
        order(rule_set=own.pk, site=theirs.pk),
        order(rule_set=other.pk),
        order(rule_set=own.pk, customer=theirs.customer_id),
    ):
        assert desk.post(reverse("planning:job-new"), data).status_code == 200
    with scope(team.firm.pk):
        assert not Job.objects.exists()


def test_without_limits_the_page_says_so(team: Team, desk: Client) -> None:
    assert "Have a manager add one" in desk.get(reverse("planning:job-new")).content.decode()
    assert "A manager can add them." in desk.get(reverse("planning:rule-sets")).content.decode()


def test_customer_and_site_are_entered_and_changed(team: Team, desk: Client) -> None:
    answer = desk.post(
        reverse("planning:customer-new"), {"name": "Lane Farm", "email": "lane@example.org", "phone": ""}
    )
    with scope(team.firm.pk):
        customer = Customer.objects.get()
    assert answer["Location"] == reverse("planning:customer", args=[customer.pk])
    site = {
        "name": "Barn",
        "address": "Lane Farm",
        "time_zone": "Europe/London",
        "frost_depth_m": "0,6",
        "latitude": "51.25",
    }
    assert desk.post(reverse("planning:site-new", args=[customer.pk]), site).status_code == 302
    with scope(team.firm.pk):
        made = Site.objects.get()
        assert (made.frost_depth_m, made.latitude, made.longitude) == (0.6, 51.25, None)
    edit = reverse("planning:site-edit", args=[made.pk])
    assert 'value="0.6"' in desk.get(edit).content.decode()
    assert desk.post(edit, site | {"hazards": "Bull"}).status_code == 302
    assert "Bull" in desk.get(reverse("planning:site", args=[made.pk])).content.decode()
    refused = desk.post(edit, site | {"frost_depth_m": "deep"})
    assert "is not a number" in refused.content.decode()
    assert 'value="deep"' in refused.content.decode()


def test_an_instrument_must_hang_together(team: Team, desk: Client) -> None:
    url = reverse("planning:instrument-new")
    gauge = {"kind": "gauge", "name": "Dial", "serial": "G1", "unit": "bar", "range_high": "16", "resolution": "0,1"}
    assert desk.post(url, gauge).status_code == 302
    wrong = desk.post(url, gauge | {"unit": "L/min"})
    assert "reads in bar or kPa or psi" in wrong.content.decode()
    scale = desk.post(
        url, {"kind": "refractometer", "name": "R", "serial": "R1", "unit": "°C", "scale": "freezing_point"}
    )
    assert "made for one fluid" in scale.content.decode()
    with scope(team.firm.pk):
        assert Instrument.objects.get().resolution == 0.1


def test_calibration_is_told_by_word(team: Team, desk: Client) -> None:
    build.instruments(team.firm, calibration_due_date=date(2020, 1, 31))
    page = desk.get(reverse("planning:instruments")).content.decode()
    assert "ran out 31 Jan 2020" in page
    assert "state--fail" in page


def test_calibration_runs_out_on_the_firms_day(team: Team, desk: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    team.firm.time_zone = "America/Chicago"
    team.firm.save()
    build.instruments(team.firm, calibration_due_date=date(2026, 1, 14))
    for now, word in (
        (datetime(2026, 1, 15, 2, 0, tzinfo=UTC), "until"),
        (datetime(2026, 1, 15, 7, 0, tzinfo=UTC), "ran out"),
    ):
        monkeypatch.setattr(clock, "now", lambda now=now: now)
        assert f"{word} 14 Jan 2026" in desk.get(reverse("planning:instruments")).content.decode()


def test_a_fluid_is_entered_and_changed(team: Team, desk: Client) -> None:
    data = {
        "name": "Meadow PG",
        "base": "propylene_glycol",
        "concentrate_mass_pct": "96",
        "drum_l": "25",
        "density_kg_m3": "1055",
    }
    assert desk.post(reverse("planning:product-new"), data).status_code == 302
    with scope(team.firm.pk):
        product = FluidProduct.objects.get()
    assert desk.post(reverse("planning:product-edit", args=[product.pk]), data | {"colour": "green"}).status_code == 302
    assert "green" in desk.get(reverse("planning:products")).content.decode()
    assert (
        "from 1 to 100"
        in desk.post(reverse("planning:product-new"), data | {"concentrate_mass_pct": "120"}).content.decode()
    )


def version_data(rule_set: RuleSet, **changes: Any) -> dict[str, Any]:
    data = {
        f"{code}__{part}": raw[part] for code, raw in rule_set.limits.items() for part in ("value", "source", "status")
    }
    return data | changes


def test_a_manager_makes_a_new_version(team: Team) -> None:
    rule_set, client = build.a_rule_set(team.firm), signed_in(team.manager)
    url = reverse("planning:rule-set-version", args=[rule_set.pk])
    assert "Nothing was changed" in client.post(url, version_data(rule_set)).content.decode()
    without = client.post(url, version_data(rule_set, bed_mm__value="150", bed_mm__source=""))
    assert "This field is required" in without.content.decode()
    changed = version_data(
        rule_set, bed_mm__value="150,5", bed_mm__source="Crew meeting", bed_mm__status="house default"
    )
    assert client.post(url, changed).status_code == 302
    with scope(team.firm.pk):
        newest = RuleSet.objects.get(name=rule_set.name, version=2)
        assert newest.limits["bed_mm"] == {
            "value": 150.5,
            "unit": "mm",
            "source": "Crew meeting",
            "status": "house default",
        }
        assert {code for code in newest.limits if newest.limits[code] != rule_set.limits[code]} == {"bed_mm"}
    page = client.get(reverse("planning:rule-set", args=[newest.pk])).content.decode()
    assert "150.5" in page
    assert "Crew meeting (house default)" in page


def test_hold_resume_and_cancel(team: Team, desk: Client) -> None:
    job = build.a_job(team.firm)
    hold = reverse("planning:job-hold", args=[job.pk])
    assert desk.post(hold, {"reason": ""}).status_code == 200
    assert desk.post(hold, {"reason": "Customer is away until May"}).status_code == 302
    with scope(team.firm.pk):
        assert Job.objects.get().state == "on_hold"
    desk.post(reverse("planning:job-resume", args=[job.pk]))
    with scope(team.firm.pk):
        assert Job.objects.get().state == "designed"
    assert desk.post(reverse("planning:job-cancel", args=[job.pk])).status_code == 403
    signed_in(team.manager).post(reverse("planning:job-cancel", args=[job.pk]))
    with scope(team.firm.pk):
        assert Job.objects.get().state == "cancelled"


def test_a_job_is_changed(team: Team, desk: Client) -> None:
    job = build.a_job(team.firm)
    url = reverse("planning:job-edit", args=[job.pk])
    data = {
        "title": "Five boreholes",
        "rule_set": job.rule_set_id,
        "scheduler": team.manager.pk,
        "planned_start_date": "",
    }
    assert desk.post(url, data).status_code == 302
    assert desk.post(url, data | {"scheduler": team.crew.pk}).status_code == 200
    with scope(team.firm.pk):
        found = Job.objects.get()
        assert (found.title, found.scheduler, found.planned_start_date) == ("Five boreholes", team.manager, None)


MANY: dict[str, Callable[[Firm, int], Any]] = {
    "customers": lambda firm, n: [build.a_customer(firm, name=f"Customer {i}") for i in range(n)],
    "instruments": lambda firm, n: [build.instruments(firm) for _ in range(n)],
    "products": lambda firm, n: [build.a_product(firm, name=f"Fluid {i}") for i in range(n)],
    "rule-sets": lambda firm, n: [
        build.a_rule_set(firm, bed_mm={"value": 100.0 + i, "unit": "mm", "source": "Yard", "status": "house default"})
        for i in range(1, n + 1)
    ],
    "job-new": lambda firm, n: [build.a_site(firm, name=f"Site {i}") for i in range(n)],
}


def queries_of(client: Client, url: str) -> int:
    with CaptureQueriesContext(
        connection,
    ) as seen:
        assert client.get(url).status_code == 200
    return len(seen)


@pytest.mark.parametrize("name", sorted(MANY))
def test_lists_ask_as_often_for_3_as_for_30(name: str, team: Team, desk: Client) -> None:
    build.a_rule_set(team.firm)
    MANY[name](team.firm, 3)
    url = reverse(f"planning:{name}")
    few = queries_of(desk, url)
    MANY[name](team.firm, 27)
    assert queries_of(desk, url) == few


def test_a_customers_and_a_sites_page_too(team: Team, desk: Client) -> None:
    customer, rule_set = build.a_customer(team.firm), build.a_rule_set(team.firm)
    sites = [build.a_site(team.firm, customer) for _ in range(3)]
    jobs = [
        build.a_job(team.firm, site=sites[0], rule_set=rule_set, with_array=False, with_design=False) for _ in range(3)
    ]
    urls = [reverse("planning:customer", args=[customer.pk]), reverse("planning:site", args=[jobs[0].site_id])]
    few = [queries_of(desk, url) for url in urls]
    for _ in range(27):
        build.a_site(team.firm, customer)
        build.a_job(team.firm, site=sites[0], rule_set=rule_set, with_array=False, with_design=False)
    assert [queries_of(desk, url) for url in urls] == few
