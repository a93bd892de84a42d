"""What a machine lacks is skipped and told; when everything is asked for, it fails."""

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
