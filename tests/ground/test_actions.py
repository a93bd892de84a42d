from __future__ import annotations

from typing import Any

import pytest

from jobs.firms.scope import scope
from jobs.ground import actions, queries
from jobs.ground.errors import LoopRefused
from jobs.ground.importer import read
from jobs.ground.models import Borehole, Loop
from jobs.planning.models import Job, JobState
from tests import build
from tests.people import a_firm

pytestmark = pytest.mark.django_db
PIPE: dict[str, Any] = {"od_mm": 40.0, "wall_mm": 3.7, "array_m": 150.0}


@pytest.fixture
def who() -> dict[str, Any]:
    return {"by": build.somebody(a_firm()), "at": build.AT}


def test_code_and_port_are_the_next_free(who: dict[str, Any]) -> None:
    firm = who["by"].firm_id
    job = build.a_job(firm, laterals_m=(16.0, 24.0))
    with scope(firm):
        actions.remove_loop(job.loops.get(code="L1"), **who)
        again = actions.add_loop(job, **who, **PIPE)
        third = actions.add_loop(job, **who, **PIPE)
    assert (again.code, again.port) == ("L1", 1)
    assert (third.code, third.port) == ("L3", 3)


def test_a_taken_place_is_refused(who: dict[str, Any]) -> None:
    firm = who["by"].firm_id
    job = build.a_job(firm)
    with scope(firm):
        with pytest.raises(LoopRefused, match="There is a loop L2 already"):
            actions.add_loop(job, **who, **PIPE, code="L2", port=9)
        with pytest.raises(LoopRefused, match="Port 2 is taken"):
            actions.add_loop(job, **who, **PIPE, code="L9", port=2)
        with pytest.raises(LoopRefused, match="The manifold has 4 ports"):
            actions.add_loop(job, **who, **PIPE)
        with pytest.raises(LoopRefused, match="needs at least that many"):
            actions.set_manifold(job, **who, ports=3)
        with pytest.raises(LoopRefused, match="Port 1 is taken"):
            actions.change_loop(job.loops.get(code="L2"), **who, port=1)
        with pytest.raises(LoopRefused, match="There is a B1 already"):
            actions.add_borehole(job, **who, code="B1", depth_m=90.0)
        assert Loop.objects.filter(job=job).count() == 4


def test_nothing_is_taken_out_once_the_crew_has_begun(who: dict[str, Any]) -> None:
    firm = who["by"].firm_id
    job = build.a_job(firm, state=JobState.IN_GROUND)
    with scope(firm):
        loop = Loop.objects.get(job=job, code="L1")
        loop.job = job
        with pytest.raises(LoopRefused, match="once the crew has begun"):
            actions.remove_loop(loop, **who)
        with pytest.raises(LoopRefused, match="code of a loop stands"):
            actions.change_loop(loop, **who, code="L9")
        actions.change_loop(loop, **who, array_m=198.0)
        assert Loop.objects.get(pk=loop.pk).array_m == 198.0


def test_what_carries_pipe_stays(who: dict[str, Any]) -> None:
    firm = who["by"].firm_id
    job = build.a_job(firm)
    with scope(firm):
        with pytest.raises(LoopRefused, match="A loop runs in B1"):
            actions.remove_borehole(job.boreholes.get(code="B1"), **who)
        with pytest.raises(LoopRefused, match="A pipe lies in S3"):
            actions.remove_section(job.sections.get(code="S3"), **who)


def test_a_removed_loop_comes_back_as_it_was(who: dict[str, Any]) -> None:
    firm = who["by"].firm_id
    job = build.a_job(firm)
    with scope(firm):
        before = queries.plan_of(job)
        loop = queries.loops(job).get(code="L3")
        kept = queries.to_put_back(loop)
        actions.remove_loop(loop, **who)
        assert len(queries.plan_of(job).loops) == 3
        actions.put_back_loop(job, kept, **who)
        assert queries.plan_of(job) == before


def test_the_last_loop_makes_and_unmakes_the_design(who: dict[str, Any]) -> None:
    firm = who["by"].firm_id
    job = build.a_job(firm, laterals_m=(16.0,))
    assert job.state == JobState.DESIGNED
    with scope(firm):
        loop = job.loops.get(code="L1")
        loop.job = job
        actions.remove_loop(loop, **who)
        assert Job.objects.get(pk=job.pk).state == JobState.ACCEPTED


def test_an_import_is_all_or_nothing(who: dict[str, Any]) -> None:
    firm = who["by"].firm_id
    job = build.a_job(firm, with_array=False)
    with scope(firm):
        good = read(
            "loop;borehole;depth;od;wall;array\nL1;B1;100;40;3.7;200\nL2;B2;95;40;3.7;190", queries.known(job)
        ).loops()
        with pytest.raises(LoopRefused):
            actions.import_loops(job, [*good, good[0]], **who)
        assert not Loop.objects.filter(job=job).exists()
        assert not Borehole.objects.filter(job=job).exists()
        actions.import_loops(job, good, **who)
        plan = queries.plan_of(job)
        assert [(loop.code, loop.borehole) for loop in plan.loops] == [("L1", "B1"), ("L2", "B2")]
        assert [(hole.code, hole.depth_m) for hole in plan.boreholes] == [("B1", 100.0), ("B2", 95.0)]


def test_every_change_raises_the_version_of_the_job(who: dict[str, Any]) -> None:
    firm = who["by"].firm_id
    job = build.a_job(firm)
    with scope(firm):
        hole, section = job.boreholes.get(code="B1"), job.sections.get(code="S1")
        for act in (
            lambda: actions.set_manifold(job, **who, ports=6),
            lambda: actions.set_header(job, **who, length_each_way_m=16.0),
            lambda: actions.add_loop(job, **who, **PIPE),
            lambda: actions.add_borehole(job, **who, depth_m=80.0),
            lambda: actions.change_borehole(hole, **who, depth_m=99.0),
            lambda: actions.change_section(section, **who, length_m=13.0),
            lambda: actions.remove_loop(queries.loops(job).get(code="L5"), **who),
        ):
            before = Job.objects.get(pk=job.pk).version
            act()
            assert Job.objects.get(pk=job.pk).version > before
