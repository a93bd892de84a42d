"""docs/phone.md and the checklist: what they quote is what the phone says, and their pictures are there and small."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from jobs.field.words import words_json
from jobs.visits.kinds import kinds_json

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
PAGES = ("phone.md", "phone-checklist.md")
MOST_BYTES = 60_000
# Said by the office's page of held entries, not by the phone.
ELSEWHERE = {"No phone has left out a number."}


def said_by_the_phone() -> str:
    scripts = [file.read_text(encoding="utf-8") for file in (ROOT / "jobs/field/static/field").glob("*.js")]
    return "\n".join([*scripts, json.dumps([words_json(), kinds_json()], ensure_ascii=False)])


@pytest.mark.parametrize("page", PAGES)
def test_what_it_quotes_the_phone_says(page: str) -> None:
    text = (DOCS / page).read_text(encoding="utf-8")
    quoted = {" ".join(words.split()) for words in re.findall(r"“([^”]+)”", text)} - ELSEWHERE
    assert len(quoted) > 10
    said = said_by_the_phone()
    assert sorted(words for words in quoted if words not in said) == []


def test_its_pictures_are_there_and_small() -> None:
    named = re.findall(r"\((pictures/[^)]+)\)", (DOCS / "phone.md").read_text(encoding="utf-8"))
    assert sorted(file.name for file in (DOCS / "pictures").glob("phone-*.png")) == sorted(
        Path(each).name for each in named
    )
    assert [each for each in named if (DOCS / each).stat().st_size > MOST_BYTES] == []


def test_the_checklist_has_twenty_steps() -> None:
    lines = (DOCS / "phone-checklist.md").read_text(encoding="utf-8").splitlines()
    numbers = [int(found.group(1)) for line in lines if (found := re.match(r"\| (\d+) \|", line))]
    assert numbers == list(range(1, 21))
