"""manage.py makes its own environment: from nothing, from half a one, from an older list; without network here."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

import manage
from manage import EVERYTHING, SERVICE, CannotPrepare, Environment

LIST = f"# What the service runs on\ntiny-service==1.0\n\n{manage.TESTS_BELOW}\ntiny-tests==1.0  # a tool\n"


def _wheel(folder: Path, name: str) -> None:
    """The smallest package that can be installed."""
    module, info = name.replace("-", "_"), f"{name.replace('-', '_')}-1.0.dist-info"
    with zipfile.ZipFile(folder / f"{module}-1.0-py3-none-any.whl", "w") as wheel:
        wheel.writestr(f"{module}.py", "")
        wheel.writestr(f"{info}/METADATA", f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n")
        wheel.writestr(f"{info}/WHEEL", "Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n")
        wheel.writestr(f"{info}/RECORD", "")


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Environment:
    """An environment to be made from two small packages that lie on the disk."""
    wheels = tmp_path / "wheels"
    wheels.mkdir()
    _wheel(wheels, "tiny-service")
    _wheel(wheels, "tiny-tests")
    listed = tmp_path / "requirements.txt"
    listed.write_text(LIST)
    monkeypatch.setattr(manage, "PINNED", listed)
    for name in [name for name in os.environ if name.startswith("PIP_")]:
        monkeypatch.delenv(name)
    monkeypatch.setenv("PIP_CONFIG_FILE", os.devnull)
    monkeypatch.setenv("PIP_NO_INDEX", "1")
    monkeypatch.setenv("PIP_FIND_LINKS", str(wheels))
    return Environment(tmp_path / "env")


def _has(own: Environment, module: str) -> bool:
    return subprocess.run([own.python, "-c", f"import {module}"], capture_output=True, check=False).returncode == 0


def _debian_python(folder: Path, monkeypatch: pytest.MonkeyPatch, *, pip: bool) -> None:
    """An outer Python as Debian packs it: `venv` fails unless it is told to leave pip out; pip itself may be missing."""
    script = folder / "python3"
    script.write_text(
        "#!/bin/sh\n"
        'case "$*" in\n'
        "  *--without-pip*) ;;\n"
        "  '-m venv '*) echo 'ensurepip is not available' >&2; exit 1 ;;\n"
        f"  '-c import pip') exit {0 if pip else 1} ;;\n"
        "esac\n"
        f'exec "{manage.base_python()}" "$@"\n'
    )
    script.chmod(0o755)
    monkeypatch.setattr(manage, "base_python", lambda: str(script))


def test_made_from_nothing_without_ensurepip(
    own: Environment, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    _debian_python(tmp_path, monkeypatch, pip=True)
    own.prepare(SERVICE)
    assert own.holds(SERVICE)
    assert not own.holds(EVERYTHING)
    assert _has(own, "tiny_service")
    assert not _has(own, "tiny_tests")
    said = capsys.readouterr().err.splitlines()
    assert said[0].startswith("Installing 1 packages")
    assert len(said) == 2


def test_the_test_tools_are_added_to_what_is_there(own: Environment) -> None:
    own.prepare(SERVICE)
    (own.folder / "kept").touch()
    own.prepare(EVERYTHING)
    assert own.holds(EVERYTHING)
    assert own.holds(SERVICE)
    assert _has(own, "tiny_tests")
    assert (own.folder / "kept").exists()


def test_an_outdated_one_is_made_anew(own: Environment) -> None:
    own.prepare(SERVICE)
    (own.folder / "left-over").touch()
    manage.PINNED.write_text(f"{LIST}# changed\n")
    assert not own.holds(SERVICE)
    own.prepare(SERVICE)
    assert own.holds(SERVICE)
    assert not (own.folder / "left-over").exists()


def test_a_half_made_one_is_made_anew(own: Environment) -> None:
    own.prepare(SERVICE)
    own.stamp.unlink()
    (own.folder / "left-over").touch()
    assert not own.holds(SERVICE)
    own.prepare(SERVICE)
    assert own.holds(SERVICE)
    assert not (own.folder / "left-over").exists()


def test_one_whose_python_is_gone_does_not_hold(own: Environment) -> None:
    own.prepare(SERVICE)
    own.python.unlink()
    assert not own.holds(SERVICE)


def test_a_failed_installation_leaves_no_stamp(own: Environment) -> None:
    manage.PINNED.write_text("tiny-nowhere==1.0\n")
    with pytest.raises(CannotPrepare, match="run the same command again"):
        own.prepare(SERVICE)
    assert not own.stamp.exists()
    assert not own.holds(SERVICE)


def test_a_python_without_pip_gets_one_sentence(
    own: Environment, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _debian_python(tmp_path, monkeypatch, pip=False)
    with pytest.raises(CannotPrepare, match="apt-get install python3-pip"):
        own.prepare(SERVICE)


def test_a_ready_environment_of_somebody_else_is_taken(own: Environment, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "prefix", "/elsewhere")
    monkeypatch.setattr(sys, "base_prefix", "/usr")
    assert manage.inside_ready(SERVICE, own)
    assert manage.inside_ready(EVERYTHING, own)
    monkeypatch.setattr(manage, "CORE", {SERVICE: ("no_such_package",), EVERYTHING: ()})
    assert not manage.inside_ready(SERVICE, own)


def test_outside_any_environment_it_is_never_ready(own: Environment, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "prefix", "/usr")
    monkeypatch.setattr(sys, "base_prefix", "/usr")
    assert not manage.inside_ready(SERVICE, own)


def test_inside_its_own_the_stamp_decides(own: Environment, monkeypatch: pytest.MonkeyPatch) -> None:
    own.prepare(SERVICE)
    monkeypatch.setattr(sys, "prefix", str(own.folder))
    monkeypatch.setattr(sys, "base_prefix", "/usr")
    assert manage.inside_ready(SERVICE, own)
    assert not manage.inside_ready(EVERYTHING, own)


def test_only_the_tests_need_everything() -> None:
    assert manage.needed(["test", "-k", "demo"]) == EVERYTHING
    assert {manage.needed(given) for given in ([], ["demo"], ["migrate", "test"])} == {SERVICE}


@pytest.mark.parametrize(
    ("arguments", "site", "demo"),
    [
        (["demo", "--port", "9100"], "http://localhost:9100", "1"),
        (["demo"], "http://localhost:8000", "1"),
        (["serve", "--host", "192.0.2.7", "--port=9101"], "http://localhost:9101", None),
        (["migrate"], None, None),
    ],
)
def test_settings_are_told_port_and_demo(
    arguments: list[str], site: str | None, demo: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "environ", {})
    manage.tell_settings(arguments)
    assert os.environ.get("SITE_URL") == site
    assert os.environ.get("GROUNDLOOP_DEMO") == demo


def test_an_old_python_gets_one_sentence(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(sys, "version_info", (3, 10, 4))
    assert manage.main() == 1
    assert capsys.readouterr().err == "Groundloop needs Python 3.11 or newer.\n"


def test_it_imports_only_the_standard_library() -> None:
    code = (
        f"import sys; sys.path.insert(0, {str(manage.ROOT)!r}); before = set(sys.modules); import manage;"
        "print(*sorted({n.partition('.')[0] for n in set(sys.modules) - before} - sys.stdlib_module_names))"
    )
    done = subprocess.run([manage.base_python(), "-I", "-S", "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["manage"]


def test_the_list_pins_every_package_and_names_no_host() -> None:
    text = (manage.ROOT / "requirements.txt").read_text()
    assert text.count(manage.TESTS_BELOW) == 1
    assert "://" not in text
    pin = re.compile(r"^[A-Za-z0-9._-]+==[A-Za-z0-9.]+( ; python_full_version < \"[0-9.]+\")?$")
    packages = manage.pinned(EVERYTHING)
    assert [line for line in packages if not pin.match(line)] == []
    assert len({line.partition("==")[0].lower() for line in packages}) == len(packages)
    assert set(manage.pinned(SERVICE)) < set(packages)
