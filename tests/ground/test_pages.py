"""Pages of the ground through HTTP, asked as everybody."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.firms.scope import scope
from jobs.ground import queries
from jobs.ground.models import Borehole, Loop, Section
from jobs.planning.models import Design, Job, JobState
from tests import build
from tests.people import Team, a_team, signed_in

pytestmark = pytest.mark.django_db
READ = ("array", "numbers")
EDIT = ("design", "loop-new", "import", "borehole-new", "section-new", "header", "manifold")


@pytest.fixture
def team() -> Team:
    return a_team()


@pytest.fixture
def job(team: Team) -> Job:
    return build.a_job(team.firm)


@pytest.fixture
def desk(team: Team) -> Client:
    return signed_in(team.scheduler)


def at(name: str, job: Job, row: Any = None) -> str:
    return reverse(f"ground:{name}", args=[job.pk] if row is None else [job.pk, row.pk])


def first(kind: type[Any], job: Job) -> Any:
    with scope(job.firm_id):
        return kind.objects.filter(job=job).order_by("code").first()


def test_who_may_read_and_who_may_change(team: Team, job: Job) -> None:
    edit = [at(name, job) for name in EDIT]
    edit += [at("loop-edit", job, first(Loop, job)), at("borehole-edit", job, first(Borehole, job))]
    edit.append(at("section-edit", job, first(Section, job)))
    read = [at(name, job) for name in READ]
    for who, reads, edits in (
        (team.manager, 200, 200),
        (team.scheduler, 200, 200),
        (team.crew, 200, 403),
        (team.engineer, 200, 403),
        (team.outsider, 404, 404),
    ):
        client = signed_in(who)
        assert {url: client.get(url).status_code for url in read} == dict.fromkeys(read, reads)
        assert {url: client.get(url).status_code for url in edit} == dict.fromkeys(edit, edits)
    assert {Client().get(url).status_code for url in read + edit} == {302}


def test_who_may_remove(team: Team, job: Job) -> None:
    loop = first(Loop, job)
    urls = [at("loop-remove", job, loop), at("borehole-remove", job, first(Borehole, job)), at("loop-restore", job)]
    urls.append(at("section-remove", job, first(Section, job)))
    for who, expected in ((team.crew, 403), (team.engineer, 403), (team.outsider, 404)):
        assert {signed_in(who).post(url).status_code for url in urls} == {expected}
    assert {signed_in(team.manager).get(url).status_code for url in urls} == {405}
    with scope(team.firm.pk):
        assert Loop.objects.filter(job=job).count() == 4


def test_a_row_of_another_job_is_not_found(team: Team, job: Job, desk: Client) -> None:
    other = build.a_job(team.firm)
    assert desk.get(at("loop-edit", job, first(Loop, other))).status_code == 404
    assert desk.post(at("loop-remove", job, first(Loop, other))).status_code == 404


def test_crew_see_no_keys_to_change(team: Team, job: Job) -> None:
    page = signed_in(team.crew).get(at("array", job)).content.decode()
    assert "L4" in page
    assert "Remove" not in page
    assert "Add a loop" not in page


LOOP = {"kind": "borehole", "pipe": "40|3.7|PE 100", "array_m": "200", "lateral_m": "16,5", "fittings_k": "6"}


def test_loops_are_typed_one_after_the_other(team: Team, desk: Client) -> None:
    job = build.a_job(team.firm, with_array=False)
    answer = desk.post(at("loop-new", job), LOOP | {"again": "1"})
    assert answer["Location"] == at("loop-new", job)
    again = desk.get(at("loop-new", job)).content.decode()
    assert re.search(r'name="lateral_m" value="16.5"', again)
    assert '<option value="40|3.7|PE 100" selected>' in again
    assert desk.post(at("loop-new", job), LOOP)["Location"] == at("array", job)
    with scope(team.firm.pk):
        assert [(row.code, row.port, row.lateral_m) for row in queries.loops(job)] == [("L1", 1, 16.5), ("L2", 2, 16.5)]
        assert Job.objects.get(pk=job.pk).state == JobState.DESIGNED


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"array_m": "a lot"}, "is not a number"),
        ({"array_m": "20000"}, "from 1 to 1500 m"),
        ({"code": "loop 1"}, "Write it as L1, L2 and so on"),
        ({"code": "L1"}, "There is a loop L1 already"),
        ({"port": "1"}, "Port 1 is taken"),
        ({"pipe": "7|1|rubber"}, "Select a valid choice"),
    ],
)
def test_a_wrong_loop_is_told_and_keeps_what_was_typed(
    change: dict[str, str], said: str, job: Job, desk: Client
) -> None:
    page = desk.post(at("loop-new", job), LOOP | {"lateral_m": "17,25"} | change).content.decode()
    assert said in page
    assert 'value="17,25"' in page
    with scope(job.firm_id):
        assert Loop.objects.filter(job=job).count() == 4


def test_a_loop_is_changed_and_keeps_a_pipe_outside_the_tables(job: Job, desk: Client) -> None:
    loop = first(Loop, job)
    with scope(job.firm_id):
        Loop.objects.filter(pk=loop.pk).update(od_mm=41.5, wall_mm=3.9, material="PE-RT")
    page = desk.get(at("loop-edit", job, loop)).content.decode()
    assert '<option value="41.5|3.9|PE-RT" selected>41.5 × 3.9 mm, PE-RT</option>' in page
    data = LOOP | {"pipe": "41.5|3.9|PE-RT", "array_m": "198", "code": "L1", "port": "1"}
    assert desk.post(at("loop-edit", job, loop), data).status_code == 302
    with scope(job.firm_id):
        found = Loop.objects.get(pk=loop.pk)
        assert (found.array_m, found.od_mm, found.material) == (198, 41.5, "PE-RT")


def test_a_removed_loop_can_be_put_back(job: Job, desk: Client) -> None:
    with scope(job.firm_id):
        before = queries.plan_of(job).loops
    page = desk.post(at("loop-remove", job, first(Loop, job)), follow=True).content.decode()
    assert "L1 is removed." in page
    assert "Put L1 back" in page
    page = desk.post(at("loop-restore", job), follow=True).content.decode()
    assert "L1 is back." in page
    assert "Put L1 back" not in page
    with scope(job.firm_id):
        assert queries.plan_of(job).loops == before


def test_a_refused_removal_says_why(team: Team, desk: Client) -> None:
    job = build.a_job(team.firm, state=JobState.IN_GROUND)
    page = desk.post(at("loop-remove", job, first(Loop, job)), follow=True).content.decode()
    assert "once the crew has begun" in page
    page = desk.post(at("borehole-remove", job, first(Borehole, job)), follow=True).content.decode()
    assert "A loop runs in B1" in page


def test_boreholes_sections_header_and_manifold(team: Team, desk: Client) -> None:
    job = build.a_job(team.firm, with_array=False)
    desk.post(at("borehole-new", job), {"depth_m": "98,5", "driller": "Deepwell Drilling"})
    desk.post(at("section-new", job), {"title": "To the house", "length_m": "12", "depth_mm": "900", "width_mm": "450"})
    section = first(Section, job)
    desk.post(
        at("header", job),
        {"pipe": "63|5.8|PE 100", "length_each_way_m": "15", "fittings_k": "6", "section": section.pk},
    )
    desk.post(at("manifold", job), {"ports": "4", "place": "Chamber", "rating_bar": "10"})
    desk.post(at("borehole-edit", job, first(Borehole, job)), {"code": "B1", "depth_m": "99", "driller": ""})
    desk.post(
        at("section-edit", job, section),
        {"code": "S1", "title": "To the barn", "length_m": "12", "depth_mm": "900", "width_mm": "450"},
    )
    with scope(team.firm.pk):
        plan = queries.plan_of(job)
    assert [(hole.code, hole.depth_m) for hole in plan.boreholes] == [("B1", 99)]
    assert plan.sections[0].title == "To the barn"
    assert plan.header is not None
    assert plan.manifold is not None
    assert (plan.header.od_mm, plan.header.length_each_way_m, plan.header.section) == (63, 15, "S1")
    assert plan.manifold.ports == 4


DESIGN = {
    "revision": "B", "heating_kw": "12", "cop": "4,6", "rating_point": "B0/W35", "spread_k": "3",
    "freezing_point_c": "−15", "cold_fluid_c": "0", "plant_volume_l": "15", "bin_l": "200", "deaeration_days": "10",
    "frost_alarm_c": "-9",
}  # fmt: skip


def test_the_design_leads_to_the_numbers(team: Team, desk: Client) -> None:
    job = build.a_job(team.firm, with_design=False)
    product = build.a_product(team.firm)
    assert "Enter the design data" in desk.get(at("numbers", job)).content.decode()
    assert desk.post(at("design", job), DESIGN | {"product": product.pk})["Location"] == at("numbers", job)
    page = desk.get(at("numbers", job)).content.decode()
    assert re.search(r'class="value">838</span><span class="unit">L<', page)
    assert "9.39" in page
    assert "No purge unit is entered" in page
    with scope(team.firm.pk):
        assert Design.objects.get(job=job).cop == 4.6
        assert Job.objects.get(pk=job.pk).state == JobState.DESIGNED


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"evaporator_drop_kpa": "18"}, "Give both figures of the pair"),
        ({"frost_alarm_c": "-16"}, "The alarm must lie above the freezing point"),
        ({"cop": "0,5"}, "from 1.05 to 12"),
        ({"heating_kw": "12 kW"}, "is not a number"),
    ],
)
def test_a_wrong_design_is_told(change: dict[str, str], said: str, job: Job, team: Team, desk: Client) -> None:
    page = desk.post(at("design", job), DESIGN | {"product": build.a_product(team.firm).pk} | change).content.decode()
    assert said in page


def test_without_a_fluid_the_design_page_says_what_to_do(team: Team, desk: Client) -> None:
    job = build.a_job(team.firm, with_design=False)
    assert "Enter the concentrate that stands in your yard first." in desk.get(at("design", job)).content.decode()


def test_the_numbers_page_shows_each_number_with_its_unit(job: Job, team: Team) -> None:
    """Figures from tests/ground/test_numbers.py, which checks them against outside sources."""
    page = signed_in(team.crew).get(at("numbers", job)).content.decode()
    for figure in ("838", "283", "564", "−15.0", "48.3", "36.7", "9.39", "laminar", "5:49", "6:52", "suffices", "M5"):
        assert figure in page
    assert "Hart, Guymer" in page
    assert "(unconfirmed figure, not a requirement)" in page
    assert "style=" not in page
    assert page.count("<svg") >= 2


def test_a_problem_is_a_sentence_on_the_page(team: Team, desk: Client) -> None:
    job = build.a_job(team.firm, design={"freezing_point_c": -58.0, "frost_alarm_c": None})
    page = desk.get(at("numbers", job)).content.decode()
    assert "Some numbers cannot be computed" in page
    assert "838" in page  # the volume stands all the same


LIST = "loop;borehole;depth;od;wall;array;lateral\nL1;B1;100;40;3,7;200;16\nL2;B2;100;40;3,7;200;24"


def test_a_list_is_checked_before_it_is_taken(team: Team, desk: Client) -> None:
    job = build.a_job(team.firm, with_array=False)
    page = desk.post(at("import", job), {"text": LIST}).content.decode()
    assert "All 2 rows are right. Nothing is imported yet." in page
    assert "Import 2 loops" in page
    with scope(team.firm.pk):
        assert not Loop.objects.filter(job=job).exists()
    assert desk.post(at("import", job), {"text": LIST, "take": "1"})["Location"] == at("array", job)
    with scope(team.firm.pk):
        assert [row.code for row in queries.loops(job)] == ["L1", "L2"]


def test_a_list_with_one_wrong_row_is_not_taken(team: Team, desk: Client) -> None:
    job = build.a_job(team.firm, with_array=False)
    wrong = LIST.replace("200;24", "far;24")
    page = desk.post(at("import", job), {"text": wrong, "take": "1"}).content.decode()
    assert "Nothing was imported" in page
    assert "1 of 2 rows cannot be taken" in page
    assert "far;24" in page
    with scope(team.firm.pk):
        assert not Loop.objects.filter(job=job).exists()


def test_a_file_goes_the_same_way(team: Team, desk: Client) -> None:
    job = build.a_job(team.firm, with_array=False)
    page = desk.post(
        at("import", job), {"file": SimpleUploadedFile("loops.csv", LIST.encode("utf-8-sig"))}
    ).content.decode()
    assert "All 2 rows are right" in page
    assert "L2;B2" in page
    sheet = desk.post(at("import", job), {"file": SimpleUploadedFile("loops.xlsx", b"PK\x03\x04")}).content.decode()
    assert "save the sheet as CSV" in sheet


def queries_of(client: Client, url: str) -> int:
    with CaptureQueriesContext(connection) as seen:
        assert client.get(url).status_code == 200
    return len(seen)


@pytest.mark.parametrize("name", READ)
def test_pages_ask_as_often_for_3_loops_as_for_30(name: str, team: Team, desk: Client) -> None:
    few = build.a_job(team.firm, laterals_m=(16.0,) * 3)
    many = build.a_job(team.firm, laterals_m=tuple(16.0 + n for n in range(30)))
    assert queries_of(desk, at(name, many)) == queries_of(desk, at(name, few))
