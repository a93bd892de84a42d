"""Every field of every form of planning: what it takes, what it refuses in one sentence, and that nothing typed is lost."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from html import escape
from typing import Any

import pytest
from django import forms as django_forms
from django.test import Client
from django.urls import reverse

from jobs.firms.scope import scope
from jobs.planning import forms
from jobs.planning.models import Customer, FluidProduct, Instrument, Job, JobState, RuleSet, Site
from tests import build
from tests.people import Team, a_team, signed_in
from tests.sums import field_cases

pytestmark = pytest.mark.django_db


@pytest.fixture
def team() -> Team:
    return a_team()


@pytest.fixture
def desk(team: Team) -> Client:
    return signed_in(team.manager)


FORMS: dict[str, Callable[[Team], django_forms.Form]] = {
    "site": lambda _: forms.SiteForm(),
    "instrument": lambda _: forms.InstrumentForm(),
    "product": lambda _: forms.ProductForm(),
    "limits": lambda team: forms.RuleSetForm(rule_set=build.a_rule_set(team.firm)),
}


@pytest.mark.parametrize("name", sorted(FORMS))
def test_numbers_are_read_with_comma_or_point_and_refused_in_one_sentence(name: str, team: Team) -> None:
    with scope(team.firm.pk):
        form = FORMS[name](team)
        assert len(list(field_cases.number_fields(form))) >= 3
        assert field_cases.complaints(form) == {}


@dataclass(frozen=True)
class Page:
    """A form as people send it: right answers, the kind of row it makes, and one wrong answer for each field."""

    url: str
    kind: type[Any]
    right: dict[str, str]
    wrong: tuple[tuple[dict[str, str], str, str], ...]  # what is changed, the field that complains, what it says
    of_customer: bool = False
    keep: tuple[str, ...] = field(default=())


PAGES = (
    Page(
        "customer-new", Customer, {"name": "Lane Farm", "email": "lane@example.org", "phone": "01632 960114"},
        (
            ({"name": ""}, "name", "required"),
            ({"name": "N" * 121}, "name", "at most 120"),
            ({"name": "\x00"}, "name", "Null characters"),
            ({"email": "lane at example"}, "email", "valid email"),
            ({"phone": "0" * 41}, "phone", "at most 40"),
        ),
    ),
    Page(
        "site-new", Site,
        {
            "name": "Barn", "address": "Lane Farm", "directions": "Past the pond", "hazards": "Bull", "contact_name": "R. Hazel",
            "contact_phone": "01632 960115", "time_zone": "Europe/London", "latitude": "51,2", "longitude": "−2.4",
            "frost_depth_m": "0,6", "water_supply_l_min": "22",
        },
        (
            ({"name": " "}, "name", "required"),
            ({"address": ""}, "address", "required"),
            ({"time_zone": "Mars/Olympus"}, "time_zone", "valid choice"),
            ({"contact_name": "C" * 121}, "contact_name", "at most 120"),
            ({"latitude": "91"}, "latitude", "from −90 to 90 °"),
            ({"longitude": "2°24' W"}, "longitude", "is not a number"),
            ({"frost_depth_m": "60"}, "frost_depth_m", "from 0 to 4 m"),
            ({"water_supply_l_min": "lots"}, "water_supply_l_min", "is not a number"),
        ),
        of_customer=True,
    ),
    Page(
        "instrument-new", Instrument,
        {
            "kind": "refractometer", "name": "Hand refractometer", "serial": "R-1", "unit": "°C", "range_high": "0",
            "resolution": "0,00005", "accuracy": "0.5", "scale": "freezing_point", "scale_base": "propylene_glycol",
            "calibration_due_date": "2026-12-31",
        },
        (
            ({"kind": "ruler"}, "kind", "valid choice"),
            ({"name": ""}, "name", "required"),
            ({"serial": ""}, "serial", "required"),
            ({"serial": "9" * 61}, "serial", "at most 60"),
            ({"unit": "bar"}, "unit", "reads in brix or °C"),
            ({"resolution": "0"}, "resolution", "from 0.000001 to 10000"),
            ({"accuracy": "±0,5"}, "accuracy", "is not a number"),
            ({"scale": ""}, "scale", "Say which scale it has."),
            ({"scale_base": ""}, "scale_base", "made for one fluid; say which"),
            ({"calibration_due_date": "31.12.26 or so"}, "calibration_due_date", "valid date"),
        ),
    ),
    Page(
        "product-new", FluidProduct,
        {
            "name": "Meadow Øl", "base": "ethanol", "concentrate_mass_pct": "92,4", "density_kg_m3": "805", "minimum_mass_pct": "",
            "colour": "", "drum_l": "200", "hazards": "Flammable.",
        },
        (
            ({"name": ""}, "name", "required"),
            ({"base": "water"}, "base", "valid choice"),
            ({"concentrate_mass_pct": ""}, "concentrate_mass_pct", "Type a number."),
            ({"concentrate_mass_pct": "101"}, "concentrate_mass_pct", "from 1 to 100 % by mass"),
            ({"density_kg_m3": "1,055"}, "density_kg_m3", "from 600 to 1700 kg/m³"),
            ({"minimum_mass_pct": "25 %"}, "minimum_mass_pct", "is not a number"),
            ({"colour": "c" * 31}, "colour", "at most 30"),
            ({"drum_l": "0"}, "drum_l", "from 1 to 2000 L"),
        ),
    ),
)  # fmt: skip
CASES = [(page, *wrong) for page in PAGES for wrong in page.wrong]


def address(page: Page, team: Team) -> str:
    args = [build.a_customer(team.firm).pk] if page.of_customer else []
    return reverse(f"planning:{page.url}", args=args)


def made(page: Page, team: Team) -> int:
    with scope(team.firm.pk):
        count: int = page.kind.objects.count()
    return count


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.url)
def test_right_answers_make_one_row_that_shows_them_again(page: Page, team: Team, desk: Client) -> None:
    url = address(page, team)
    before = made(page, team)
    assert desk.post(url, page.right).status_code == 302
    assert made(page, team) == before + 1
    with scope(team.firm.pk):
        row = page.kind.objects.exclude(name="Hazel Orchard Farm").get()
    edit = reverse(f"planning:{page.url.removesuffix('-new')}-edit", args=[row.pk])
    form = desk.get(edit).context["form"]
    again = {name: form[name].value() for name in page.right}
    assert desk.post(edit, {k: "" if v is None else v for k, v in again.items()}).status_code == 302
    with scope(team.firm.pk):
        same = page.kind.objects.values().get(pk=row.pk)
        assert same == {name: getattr(row, name) for name in same}


@pytest.mark.parametrize(
    ("page", "change", "where", "said"), CASES, ids=[f"{page.url} {where}" for page, _, where, _ in CASES]
)
def test_a_wrong_answer_is_told_beside_its_field(
    page: Page, change: dict[str, str], where: str, said: str, team: Team, desk: Client
) -> None:
    url, data = address(page, team), page.right | change
    before = made(page, team)
    answer = desk.post(url, data)
    form, body = answer.context["form"], answer.content.decode()
    assert answer.status_code == 200
    assert list(form.errors) == [where]
    assert len(form.errors[where]) == 1
    assert said in form.errors[where][0]
    assert f'id="id_{where}_error"' in body
    assert {name: form[name].value() for name in data} == data
    assert all(escape(value) in body for name, value in data.items() if name != where)
    assert made(page, team) == before


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"bed_mm__value": "about 100"}, "is not a number"),
        ({"bed_mm__value": "-1"}, "from 0 to 1000000 mm"),
        ({"bed_mm__value": ""}, "Type a number."),
        ({"bed_mm__source": "   "}, "This field is required."),
        ({"bed_mm__source": "s" * 301}, "at most 300"),
        ({"bed_mm__status": "certain"}, "valid choice"),
        ({"test_method__value": "listen"}, "valid choice"),
        ({}, "Nothing was changed; change a limit or go back."),
    ],
)
def test_a_limit_is_never_half_changed(change: dict[str, str], said: str, team: Team, desk: Client) -> None:
    rule_set = build.a_rule_set(team.firm)
    data = {f"{code}__{part}": row[part] for code, row in rule_set.limits.items() for part in forms.PARTS}
    answer = desk.post(reverse("planning:rule-set-version", args=[rule_set.pk]), data | change)
    messages = [text for texts in answer.context["form"].errors.values() for text in texts]
    assert len(messages) == 1
    assert said in messages[0]
    with scope(team.firm.pk):
        assert RuleSet.objects.filter(name=rule_set.name).count() == 1


@pytest.mark.parametrize("reason", ["", "   ", "r" * 201, "\x00"])
def test_a_job_is_not_held_without_a_reason_that_fits(reason: str, team: Team, desk: Client) -> None:
    job = build.a_job(team.firm, with_array=False)
    answer = desk.post(reverse("planning:job-hold", args=[job.pk]), {"reason": reason})
    assert list(answer.context["form"].errors) == ["reason"]
    assert answer.context["form"]["reason"].value() == reason
    with scope(team.firm.pk):
        assert Job.objects.get().state == JobState.ACCEPTED


def test_a_reason_of_any_script_is_kept_whole(team: Team, desk: Client) -> None:
    job = build.a_job(team.firm, with_array=False)
    reason = "Überschwemmt – ring Øyvind ☎ 01632 960114 <now>"
    desk.post(reverse("planning:job-hold", args=[job.pk]), {"reason": reason})
    with scope(team.firm.pk):
        assert Job.objects.get().on_hold_reason == reason
