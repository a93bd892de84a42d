"""What a machine lacks is skipped and told, or fails when everything is asked for; a group of tests is never split."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests.running.server import ROOT, environment

NEEDY = ("tests/faults/test_redis_gone.py", "tests/faults/test_kill9.py")


def _on_a_bare_machine(data: Path, *arguments: str, everything: bool) -> subprocess.CompletedProcess[str]:
    """Nothing is found on the path."""
    env = {name: value for name, value in environment(data).items() if not name.startswith("PYTEST_")}
    env |= {"PATH": "/nowhere", "GROUNDLOOP_TEST_ALL": "1" if everything else "0"}
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", *arguments]
    return subprocess.run(command, cwd=ROOT, env=env, capture_output=True, text=True, timeout=120, check=False)


def test_what_is_missing_is_skipped_and_told_with_its_remedy(tmp_path: Path) -> None:
    done = _on_a_bare_machine(tmp_path, *NEEDY, "-k", "redis or 2", everything=False)
    assert done.returncode == 0, done.stdout
    assert "Not run: 3 x redis: no redis-server found: apt-get install redis-server" in done.stdout
    assert "Not run: 1 x long: only with GROUNDLOOP_TEST_ALL=1" in done.stdout


def test_when_everything_is_asked_for_a_missing_one_fails(tmp_path: Path) -> None:
    done = _on_a_bare_machine(tmp_path, NEEDY[0], "-x", everything=True)
    assert done.returncode == 1
    assert "no redis-server" in done.stdout
    assert "Not run" not in done.stdout


def test_a_group_is_run_by_one_worker(tmp_path: Path) -> None:
    """With some releases of the runner the groups are silently not kept: two browsers then fight for two cores."""
    lines = (
        "import os, pathlib, pytest",
        "@pytest.mark.parametrize('number', range(6))",
        "@pytest.mark.xdist_group('one')",
        "def test_it(number):",
        "    with pathlib.Path(__file__).with_name('workers').open('a') as file:",
        "        file.write(os.environ['PYTEST_XDIST_WORKER'] + '\\n')",
    )
    for name in ("test_a.py", "test_b.py"):
        (tmp_path / name).write_text("\n".join(lines))
    (tmp_path / "pytest.ini").write_text("[pytest]\n")
    env = {name: value for name, value in environment(tmp_path).items() if not name.startswith("PYTEST_")}
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-n",
        "2",
        "--dist",
        "loadgroup",
        "-p",
        "no:django",
        "-p",
        "no:cacheprovider",
    ]
    done = subprocess.run(command, cwd=tmp_path, env=env, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stdout
    workers = (tmp_path / "workers").read_text().split()
    assert len(workers) == 12
    assert len(set(workers)) == 1
