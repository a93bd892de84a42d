"""Whatever happens, in whatever order: what was said to be on the phone is at the office once, and in order.

GROUNDLOOP_TEST_ALL=1 GROUNDLOOP_SEEDS=200 python3 manage.py test tests/field/faults/test_seeds.py
GROUNDLOOP_TEST_ALL=1 GROUNDLOOP_SEED=4711 python3 manage.py test tests/field/faults/test_seeds.py     one seed again
"""

from __future__ import annotations

import os
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.field.fault_proxy import FaultProxy
from tests.field.faults.story import Story
from tests.field.office import Crew, entries_of, seed, texts_of
from tests.field.profile import Kept, kept_phone
from tests.running.server import Server

pytestmark = [pytest.mark.browser, pytest.mark.redis, pytest.mark.long]
ALWAYS = (1, 2, 3)
FRESH = 20


def seeds() -> list[int]:
    """The same in every worker of a parallel run, other ones in every run."""
    if again := os.environ.get("GROUNDLOOP_SEED"):
        return [int(again)]
    run = os.environ.get("PYTEST_XDIST_TESTRUNUID") or os.urandom(8).hex()
    asked = int(os.environ.get("GROUNDLOOP_SEEDS", "0"))
    fresh = random.Random(run).sample(range(1000, 10**6), asked or FRESH)
    return [*ALWAYS, *fresh]


SEEDS = seeds()


@pytest.fixture(scope="module")
def pairs(office: Server) -> Iterator[Crew]:
    return iter(seed(office, crews=2 * len(SEEDS) + 2, upto=""))


@pytest.fixture
def phone_and_people(
    office: Server, proxy: FaultProxy, pairs: Iterator[Crew], chromium_path: str, tmp_path: Path
) -> Iterator[tuple[Kept, tuple[Crew, Crew]]]:
    crew = (next(pairs), next(pairs))
    with kept_phone(chromium_path, tmp_path / "profile", proxy.address, crew[0]) as kept:
        yield kept, crew


@pytest.mark.parametrize("number", SEEDS)
def test_what_was_on_the_phone_is_at_the_office_once_and_in_order(
    number: int,
    office: Server,
    proxy: FaultProxy,
    phone_and_people: tuple[Kept, tuple[Crew, Crew]],
    record_property: Any,
) -> None:
    record_property("seed", number)
    kept, crew = phone_and_people
    story = Story(number, office, proxy, kept, crew)
    try:
        story.live()
        for each in crew:
            assert texts_of(office, each) == story.shown[each.id]
            numbers = [row[4] for row in entries_of(office, each)]
            assert numbers == sorted(set(numbers))
        assert kept.phone.problems == []
    except BaseException as failure:
        failure.add_note(f"Seed {number}, GROUNDLOOP_SEED={number} runs it again:\n  " + "\n  ".join(story.log))
        raise
    assert office.rows("SELECT count(*) FROM visits_helditem") == [(0,)]
