#!/usr/bin/env python3
"""The one door to every command. Needs only Python and pip: makes its environment when there is none, then runs Django.

Only the standard library may be imported here.
"""

from __future__ import annotations

import argparse
import fcntl
import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent
PINNED = ROOT / "requirements.txt"
ENVIRONMENT = ROOT / ".venv"
# In the pinned list, what stands below this line is only for the tests and checks.
TESTS_BELOW = "# Tests and checks"
SERVICE, EVERYTHING = "service", "everything"
# Whatever has these has the rest of its list too.
CORE = {SERVICE: ("django", "celery", "waitress", "weasyprint"), EVERYTHING: ("pytest_django", "mypy", "hypothesis")}
OLDEST_PYTHON = (3, 11)


class CannotPrepare(Exception):
    """The environment cannot be made; the message says what to do."""


def say(line: str) -> None:
    print(line, file=sys.stderr, flush=True)


def needed(arguments: list[str]) -> str:
    """What a command needs installed: the tests need everything, all else only what the service runs on."""
    return EVERYTHING if arguments[:1] == ["test"] else SERVICE


def pinned(need: str) -> list[str]:
    """The pinned packages, one `name==version` each, with their markers."""
    listed = PINNED.read_text(encoding="utf-8")
    if need == SERVICE:
        listed = listed.split(TESTS_BELOW, maxsplit=1)[0]
    lines = (line.partition("#")[0].strip() for line in listed.splitlines())
    return [line for line in lines if line]


def fingerprint() -> str:
    return hashlib.sha256(PINNED.read_bytes()).hexdigest()


class Environment:
    """The virtual environment beside this file, with a stamp that says what was installed into it completely."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.python = folder / "bin" / "python"
        self.stamp = folder / "groundloop-stamp"

    def holds(self, need: str) -> bool:
        """True when everything needed was installed to the end, from the pinned list as it is now."""
        try:
            found, _, what = self.stamp.read_text(encoding="ascii").strip().partition(" ")
        except OSError:
            return False
        return self.python.exists() and found == fingerprint() and what in {need, EVERYTHING}

    def prepare(self, need: str) -> None:
        """Makes it, adds the test tools to it, or makes a half-made or outdated one anew."""
        if not self.holds(SERVICE):
            if self.folder.exists():
                say(f"Setting up anew: {self.folder} is unfinished or out of date.")
                shutil.rmtree(self.folder)
            make_empty(self.folder)
        self.install(need)
        self.stamp.write_text(f"{fingerprint()} {need}\n", encoding="ascii")

    def install(self, need: str) -> None:
        packages = pinned(need)
        say(f"Installing {len(packages)} packages into {self.folder} (only the first time; one to three minutes) ...")
        started = time.monotonic()
        command = [*pip_for(self.python), "install", "--quiet", "--disable-pip-version-check", *packages]
        if subprocess.run(command, check=False).returncode:
            raise CannotPrepare("Packages could not be installed. Check the network, then run the same command again.")
        say(f"Installed in {time.monotonic() - started:.0f} s.")


def make_empty(folder: Path) -> None:
    """An empty environment; without pip when an outer pip can fill it (Debian's Python comes without ensurepip)."""
    without = ["--without-pip"] if has("pip") else []
    command = [base_python(), "-m", "venv", *without, str(folder)]
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    if done.returncode:
        raise CannotPrepare("Python has no pip: run `apt-get install python3-pip`, then the same command again.")


def pip_for(python: Path) -> list[str]:
    if has("pip"):
        return [base_python(), "-m", "pip", "--python", str(python)]
    return [str(python), "-m", "pip"]


def has(module: str) -> bool:
    """The outer Python can import it."""
    command = [base_python(), "-c", f"import {module}"]
    return subprocess.run(command, check=False, capture_output=True).returncode == 0


def base_python() -> str:
    """The Python that virtual environments are made from, also when this runs inside one."""
    return str(getattr(sys, "_base_executable", sys.executable))


def inside_ready(need: str, own: Environment) -> bool:
    """True inside an environment that has what the command needs: our own with its stamp, or anybody else's."""
    if sys.prefix == sys.base_prefix:
        return False
    if Path(sys.prefix).resolve() == own.folder.resolve():
        return own.holds(need)
    wanted = CORE[SERVICE] + (CORE[EVERYTHING] if need == EVERYTHING else ())
    return all(importlib.util.find_spec(module) is not None for module in wanted)


def enter(arguments: list[str]) -> None:
    """Continues inside the environment, made first where needed. Returns only when it is running there already."""
    own, need = Environment(ENVIRONMENT), needed(arguments)
    if inside_ready(need, own):
        return
    if not own.holds(need):
        with PINNED.open() as list_held:  # two first starts at once: the second waits
            fcntl.flock(list_held, fcntl.LOCK_EX)
            if not own.holds(need):
                own.prepare(need)
    os.execv(own.python, [str(own.python), str(ROOT / "manage.py"), *arguments])  # noqa: S606


def tell_settings(arguments: list[str]) -> None:
    """What `demo` and `serve` say on the command line and the settings must know before they are read."""
    if arguments[:1] not in (["demo"], ["serve"]):
        return
    parser = argparse.ArgumentParser(add_help=False, allow_abbrev=False)
    parser.add_argument("--port", type=int, default=8000)
    options, _ = parser.parse_known_args(arguments[1:])
    os.environ.setdefault("SITE_URL", f"http://localhost:{options.port}")
    if arguments[0] == "demo":
        os.environ.setdefault("GROUNDLOOP_DEMO", "1")


def main() -> int:
    arguments = sys.argv[1:]
    if sys.version_info < OLDEST_PYTHON:
        say("Groundloop needs Python 3.11 or newer.")
        return 1
    try:
        enter(arguments)
    except CannotPrepare as problem:
        say(str(problem))
        return 1
    except OSError as problem:
        say(f"The environment cannot be made here: {problem}.")
        return 1
    tell_settings(arguments)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "groundloop.settings")
    sys.path.insert(0, str(ROOT))
    from django.core.management import execute_from_command_line  # noqa: PLC0415  (only there in the environment)

    execute_from_command_line(sys.argv)
    return 0


if __name__ == "__main__":
    try:
        sys.exit(main())
    except KeyboardInterrupt:
        sys.exit(130)
