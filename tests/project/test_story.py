"""The story of the demo: true pictures, entries that are whole for their kinds, the same at every telling."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from groundloop.demo import browserless, desk, load, packed, people, story
from groundloop.demo.pictures import SIZE, picture
from jobs.firms.models import Firm, Member, Role
from jobs.firms.scope import scope
from jobs.ground.importer import Known, read
from jobs.ground.queries import plan_of
from jobs.planning.models import Job
from jobs.visits.kinds import KINDS
from jobs.visits.kinds.check import complaint, subject_fits
from tests import build
from tests.people import Team, a_team

NAMES = ["trench S1, job 7", "before backfill S2, job 7", "plant room, job 7", "label, job 8", ""]


@pytest.mark.parametrize("name", NAMES)
def test_a_picture_is_a_sound_png_and_the_same_each_time(name: str) -> None:
    data = picture(name)
    with Image.open(io.BytesIO(data)) as image:
        image.verify()
    with Image.open(io.BytesIO(data)) as image:
        assert (image.format, image.mode, image.size) == ("PNG", "RGB", (SIZE[1], SIZE[0]))
        assert len(image.getcolors(2**20) or []) > 2 * 15  # the noise alone makes 15 shades of one colour
    assert picture(name) == data


def test_no_two_names_share_a_picture() -> None:
    wanted = [f"{what}, job {number}" for what in story.PHOTOS for number in (1, 2)]
    assert len({hashlib.sha256(picture(name)).hexdigest() for name in wanted}) == len(wanted)


@settings(max_examples=10, deadline=None)
@given(st.text(max_size=20))
def test_any_name_makes_a_picture_a_phone_could_send(name: str) -> None:
    data = picture(name)
    assert data.startswith(b"\x89PNG\r\n\x1a\n")
    assert len(data) < 2_000_000


@pytest.fixture
def team(db: None) -> Team:
    return a_team()


@pytest.fixture
def job(team: Team) -> Job:
    build.instruments(team.firm)
    return build.a_job(team.firm)


def told(job: Job, team: Team, upto: str = "submitted") -> list[dict[str, Any]]:
    with scope(team.firm.pk):
        return story.happy_entries(job, upto, crew=team.crew, engineer=team.engineer)


def codes_of(job: Job) -> dict[str, tuple[str, ...]]:
    with scope(job.firm_id):
        plan = plan_of(job)
    parts: dict[str, Any] = {"loops": plan.loops, "sections": plan.sections, "boreholes": plan.boreholes}
    return {**{name: tuple(row.code for row in rows) for name, rows in parts.items()}, "header": ("H",)}


def numbers_of(payload: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for name, answer in payload.items():
        if isinstance(answer, dict) and "unit" in answer:
            yield name, answer


def test_each_entry_is_one_that_a_phone_may_send(job: Job, team: Team) -> None:
    """Kind known, every asked field answered in a unit of its list and inside its hard range, nothing besides."""
    entries = told(job, team)
    assert len(entries) > 60
    faults = []
    for entry in entries:
        kind = KINDS[entry["kind"]]
        fields = {each.name: each for each in kind.fields}
        unknown = sorted((entry["payload"].keys() | entry["text"].keys()) - fields.keys())
        missing = [
            name for name, each in fields.items()
            if each.required and each.only_if is None and name not in entry["payload"] and name not in entry["text"]
        ]  # fmt: skip
        units = [name for name, value in numbers_of(entry["payload"]) if value["unit"] not in fields[name].units]
        if unknown or missing or units:
            faults.append((entry["kind"], unknown, missing, units))
    assert faults == []


def test_the_inbox_has_no_complaint_about_any_entry(job: Job, team: Team) -> None:
    with scope(team.firm.pk):
        plan = plan_of(job)
        receipts = story.send(told(job, team), sender=team.crew)
    assert {receipt.status for receipt in receipts} == {"stored"}
    assert plan.loops
    for entry in told(job, team):
        said = complaint(KINDS[entry["kind"]], entry["payload"], entry["text"], codes_of(job))
        assert said == "", (entry["kind"], said)


def test_numbers_are_typed_as_they_are_meant(job: Job, team: Team) -> None:
    for entry in told(job, team):
        for name, answer in numbers_of(entry["payload"]):
            assert float(answer["text"].replace(",", ".")) == answer["value"], (entry["kind"], name)


def test_every_stage_adds_something_and_time_only_goes_on(job: Job, team: Team) -> None:
    so_far: list[dict[str, Any]] = []
    for stage in story.STAGES:
        entries = told(job, team, stage)
        assert entries[: len(so_far)] == so_far
        assert len(entries) > len(so_far), stage
        so_far = entries
    times = [datetime.fromisoformat(entry["observed_at"]) for entry in so_far]
    assert times == sorted(times)
    assert [entry["seq"] for entry in so_far] == list(range(1, len(so_far) + 1))
    assert len({entry["id"] for entry in so_far}) == len(so_far)
    recorded = [datetime.fromisoformat(entry["recorded_at"]) for entry in so_far]
    assert all(timedelta(0) <= later - at < timedelta(minutes=1) for at, later in zip(times, recorded, strict=True))


def test_a_photo_names_a_picture_of_this_job_only(job: Job, team: Team) -> None:
    other = build.a_job(team.firm)
    mine = {name for entry in told(job, team) for name in story.photos_of(entry["payload"])}
    theirs = {name for entry in told(other, team) for name in story.photos_of(entry["payload"])}
    assert mine
    assert not mine & theirs
    assert {hashlib.sha256(picture(name)).hexdigest() for name in story.known_photos(job, mine)} == mine
    assert story.known_photos(job, theirs) == []


def test_subjects_are_parts_of_the_job_or_new_ones_of_their_letter(job: Job, team: Team) -> None:
    """Loops, boreholes, sections and header are planned; tests, joints, batches and readings get the next number."""
    planned = {code for codes in codes_of(job).values() for code in codes}
    minted: dict[str, list[str]] = {}
    for entry in told(job, team):
        subject = entry["subject"]
        assert subject_fits(KINDS[entry["kind"]], subject, codes_of(job)), (entry["kind"], subject)
        if subject and subject not in planned and subject != "system":
            minted.setdefault(subject[0], []).append(subject)
    assert set(minted) == {"J", "T", "M", "R"}
    for letter, found in minted.items():
        assert list(dict.fromkeys(found)) == [f"{letter}{n}" for n in range(1, len(set(found)) + 1)]


def test_a_correction_takes_the_place_of_one_entry_and_keeps_the_rest(job: Job, team: Team) -> None:
    with scope(team.firm.pk):
        log = story.happy_log(job, "running", crew=team.crew, engineer=team.engineer)
    wrong = next(entry for entry in log.entries if entry["kind"] == "static_pressure")
    new = packed.corrected(log, wrong, precharge=story.n("0,7", "bar"))
    assert (new["supersedes"], new["reason"], new["observed_at"]) == (wrong["id"], "asked", wrong["observed_at"])
    assert new["id"] != wrong["id"]
    changed = {name for name in wrong["payload"] if new["payload"][name] != wrong["payload"][name]}
    assert changed == {"precharge"}
    assert new["payload"]["precharge"] == {"text": "0,7", "value": 0.7, "unit": "bar"}


@pytest.mark.parametrize(
    ("answer", "travels"),
    [
        (True, {"value": True}),
        ("sand", {"value": "sand"}),
        (("L1", "L2"), {"value": ["L1", "L2"]}),
        ({"unknown": "not_known"}, {"unknown": "not_known"}),
        (story.START, {"value": "2026-03-09T07:30:00+00:00"}),
    ],
)
def test_an_answer_travels_as_the_contract_has_it(answer: Any, travels: dict[str, Any]) -> None:
    assert story.value(answer) == travels


def test_the_demo_people_cover_every_role_and_none_could_be_real(db: None) -> None:
    firm = people.make_firm(build.AT)
    roles = {role for person in people.PEOPLE for role in person.roles}
    assert roles == set(Role)
    # RFC 2606: nobody can own a name under .example.
    assert all(person.email.endswith(".example") for person in people.PEOPLE)
    assert Firm.objects.get() == firm
    members = Member.objects.filter(firm=firm).select_related("user")
    assert {who.user.email for who in members} == {person.email for person in people.PEOPLE}
    assert all(who.user.check_password(people.WORD) for who in members)


def test_the_list_the_office_pastes_can_be_read() -> None:
    found = read(desk.LIST, Known(boreholes=frozenset({"B3", "B4"}), sections=frozenset({"S2"}), ports_of_manifold=4))
    assert [(loop.code, loop.wall_mm, loop.lateral_m) for loop in found.loops()] == [("L3", 3.7, 32), ("L4", 3.7, 40)]


def test_choices_are_found_by_their_words() -> None:
    ident = "0b5c2f9e-1111-4222-8333-444455556666"
    page = browserless.Answer(
        200, "/jobs/new", {}, f'<option value="{ident}" selected>\n Barn &amp; Byre </option>'.encode()
    )
    assert desk.options(page) == {"Barn & Byre": ident}
    assert desk.choice(page, "Byre") == ident
    with pytest.raises(browserless.Unexpected, match="no choice “Mill” on /jobs/new"):
        desk.choice(page, "Mill")


def test_the_stories_of_the_demo_name_stages_and_sites_that_exist() -> None:
    assert {told_.upto for told_ in load.STORIES} <= {"", *story.STAGES}
    assert all(0 <= told_.site < len(load.SITES) for told_ in load.STORIES)
    titles = [told_.title for told_ in load.STORIES]
    assert len(titles) == len(set(titles))
