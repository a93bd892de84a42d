"""What docs/sums.md tells people to send is sent as it stands, to the service as it really runs."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from groundloop.demo.people import PEOPLE
from jobs.sums.questions import QUESTIONS
from tests.running.server import Server

PAGE = Path(__file__).parents[2] / "docs" / "sums.md"


@pytest.mark.skipif(shutil.which("curl") is None, reason="no curl here")
def test_the_documented_request_gives_the_documented_answer(served: Server, tmp_path: Path) -> None:
    script = re.search(r"```sh\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    assert script
    commands = script[1].replace("https://ground.example.org", served.base_url)
    person = PEOPLE[1]
    env = {
        "EMAIL": person.email,
        "PASSWORD": person.password,
        "PATH": "/usr/bin:/bin:/usr/local/bin",
        "HOME": str(tmp_path),
    }
    done = subprocess.run(
        ["sh", "-c", commands], cwd=tmp_path, env=env, capture_output=True, text=True, check=True, timeout=60
    )
    lines = {line["name"]: line for line in json.loads(done.stdout)["lines"]}
    assert lines["concentrate"]["text"] == "175.9"
    assert lines["bins"]["value"] == 4


def test_every_sum_is_told_of() -> None:
    text = PAGE.read_text(encoding="utf-8")
    for question in QUESTIONS:
        assert f"**{question.title}**" in text
