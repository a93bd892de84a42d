"""Every number field of the ground's forms, and codes that collide: told in one sentence, never an error page."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django import forms as django_forms
from django.test import Client
from django.urls import reverse

from jobs.firms.scope import scope
from jobs.ground import forms, queries
from jobs.ground.models import Borehole, Loop, Section
from jobs.planning.models import Job
from jobs.planning.queries import products
from tests import build
from tests.people import Team, a_team, signed_in
from tests.sums import field_cases

pytestmark = pytest.mark.django_db


@pytest.fixture
def team() -> Team:
    return a_team()


@pytest.fixture
def job(team: Team) -> Job:
    return build.a_job(team.firm)


@pytest.fixture
def desk(team: Team) -> Client:
    return signed_in(team.scheduler)


FORMS: dict[str, tuple[int, Callable[[Job], django_forms.Form]]] = {
    "loop": (4, lambda job: forms.LoopForm(boreholes=queries.borehole_rows(job), sections=queries.sections(job))),
    "borehole": (1, lambda _: forms.BoreholeForm()),
    "section": (3, lambda _: forms.SectionForm()),
    "header": (2, lambda job: forms.HeaderForm(sections=queries.sections(job))),
    "manifold": (2, lambda _: forms.ManifoldForm()),
    "design": (15, lambda _: forms.DesignForm(row=None, products=products())),
}


@pytest.mark.parametrize("name", sorted(FORMS))
def test_numbers_are_read_with_comma_or_point_and_refused_in_one_sentence(name: str, job: Job) -> None:
    least, make = FORMS[name]
    with scope(job.firm_id):
        form = make(job)
        assert len(list(field_cases.number_fields(form))) >= least
        assert field_cases.complaints(form) == {}


ROWS: dict[str, tuple[type[Any], dict[str, str]]] = {
    "loop": (Loop, {"port": "1", "kind": "borehole", "pipe": "40|3.7|PE 100", "array_m": "200", "lateral_m": "16", "fittings_k": "6"}),
    "borehole": (Borehole, {"depth_m": "100"}),
    "section": (Section, {"title": "Elsewhere", "length_m": "12", "depth_mm": "900", "width_mm": "450"}),
}  # fmt: skip


def row_of(kind: type[Any], job: Job, code: str) -> Any:
    with scope(job.firm_id):
        return kind.objects.get(job=job, code=code)


@pytest.mark.parametrize("name", sorted(ROWS))
def test_a_code_that_is_taken_is_a_sentence_over_the_form(name: str, job: Job, desk: Client) -> None:
    """Renaming to a neighbour's code is the likely slip: it must not end on an error page."""
    kind, data = ROWS[name]
    letter = name[0].upper()
    row = row_of(kind, job, f"{letter}1")
    url = reverse(f"ground:{name}-edit", args=[job.pk, row.pk])
    answer = desk.post(url, data | {"code": f"{letter}2"})
    assert answer.status_code == 200
    assert f"There is a {'loop ' if name == 'loop' else ''}{letter}2 already" in answer.content.decode()
    assert answer.context["form"]["code"].value() == f"{letter}2"
    assert row_of(kind, job, f"{letter}1").pk == row.pk
    assert desk.post(url, data | {"code": f"{letter}9"}).status_code == 302
    assert row_of(kind, job, f"{letter}9").pk == row.pk


@pytest.mark.parametrize("typed", ["one", "L 1 b", "L0", "L٣", "L１", "LL1", "L1000", "B1", "1"])
def test_a_code_is_a_letter_and_a_number(typed: str, job: Job, desk: Client) -> None:
    answer = desk.post(reverse("ground:loop-new", args=[job.pk]), ROWS["loop"][1] | {"code": typed, "port": ""})
    assert answer.context["form"].errors["code"] == ["Write it as L1, L2 and so on."]
    assert answer.context["form"]["code"].value() == typed


@pytest.mark.parametrize(
    ("change", "where", "said"),
    [
        ({"evaporator_drop_kpa": "", "evaporator_flow_l_min": "45"}, "evaporator_drop_kpa", "Give both figures"),
        ({"purge_pump_l_min": "90", "purge_pump_kpa": ""}, "purge_pump_kpa", "Give both figures"),
        ({"frost_alarm_c": "−15"}, "frost_alarm_c", "must lie above the freezing point"),
        ({"deaeration_days": "2,5"}, "deaeration_days", "Give a whole number."),
        ({"deaeration_days": "0"}, "deaeration_days", "from 1 to 30 days"),
        ({"freezing_point_c": "15"}, "freezing_point_c", "from −60 to 0 °C"),
        ({"product": ""}, "product", "required"),
        ({"revision": "R" * 21}, "revision", "at most 20"),
        ({"rating_point": ""}, "rating_point", "required"),
    ],
)
def test_a_wrong_design_keeps_all_that_was_typed(
    change: dict[str, str], where: str, said: str, job: Job, desk: Client
) -> None:
    url = reverse("ground:design", args=[job.pk])
    form = desk.get(url).context["form"]
    data = {name: "" if form[name].value() is None else str(form[name].value()) for name in form.fields}
    answer = desk.post(url, data | change)
    again = answer.context["form"]
    assert list(again.errors) == [where]
    assert len(again.errors[where]) == 1
    assert said in again.errors[where][0]
    assert {name: str(again[name].value()) for name in data} == data | change


def test_a_design_page_saved_unchanged_changes_nothing(job: Job, desk: Client) -> None:
    url = reverse("ground:design", args=[job.pk])
    with scope(job.firm_id):
        before = queries.plan_of(job)
    form = desk.get(url).context["form"]
    data = {name: "" if form[name].value() is None else form[name].value() for name in form.fields}
    assert desk.post(url, data).status_code == 302
    with scope(job.firm_id):
        assert queries.plan_of(job) == before
