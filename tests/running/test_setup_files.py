"""What operators copy and type: the compose file, the variables, the licence, the list of ignored files."""

from __future__ import annotations

import ast
import re
import shlex
from pathlib import Path
from typing import Any

import pytest
import yaml

from manage import ROOT, SERVICE, pinned

READERS = {"text", "flag", "number", "words"}
# Set by the web server itself, not by people.
NOT_FOR_PEOPLE = {"SERVER_SOFTWARE"}
OWN_SERVICES = ("setup", "web", "worker", "beat")


def variables_read() -> set[str]:
    """Every name the program reads from the environment."""
    found = set()
    for file in [*ROOT.glob("groundloop/**/*.py"), *ROOT.glob("jobs/**/*.py")]:
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Attribute)
                and node.func.attr in READERS
                and isinstance(node.func.value, ast.Name)
                and node.func.value.id == "env"
                and isinstance(node.args[0], ast.Constant)
            ):
                found.add(str(node.args[0].value))
    return found


@pytest.fixture(scope="module")
def compose() -> dict[str, Any]:
    loaded: dict[str, Any] = yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8"))
    return loaded


def test_every_variable_is_in_the_operators_page() -> None:
    page = (ROOT / "docs" / "running.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`([A-Z][A-Z_]{3,})`", page))
    assert variables_read() - NOT_FOR_PEOPLE - named == set()


def test_compose_sets_only_variables_that_are_read(compose: dict[str, Any]) -> None:
    given = {name.removesuffix("_FILE") for name in compose["services"]["web"]["environment"]}
    assert given <= variables_read()
    assert {"SITE_URL", "SECRET_KEY", "DATABASE_URL", "REDIS_URL", "BEHIND_PROXY"} <= given


def test_every_service_but_the_one_shot_is_watched_and_restarted(compose: dict[str, Any]) -> None:
    lasting = {name: service for name, service in compose["services"].items() if name != "setup"}
    assert [name for name, service in lasting.items() if "healthcheck" not in service] == []
    assert [name for name, service in lasting.items() if service["restart"] != "unless-stopped"] == []


def test_own_services_wait_for_the_setup_and_run_known_programs(compose: dict[str, Any]) -> None:
    programs = {line.partition("==")[0] for line in pinned(SERVICE)}
    for name in OWN_SERVICES[1:]:
        service = compose["services"][name]
        assert service["depends_on"]["setup"]["condition"] == "service_completed_successfully"
        assert shlex.split(service["command"])[0] in programs


def test_only_the_proxy_can_be_reached_from_outside(compose: dict[str, Any]) -> None:
    assert [name for name, service in compose["services"].items() if "ports" in service] == ["proxy"]


def test_the_services_database_role_is_bound_by_row_security(compose: dict[str, Any]) -> None:
    assert "NOSUPERUSER NOBYPASSRLS" in compose["configs"]["role"]["content"]
    role = re.search(r"CREATE ROLE (\w+)", compose["configs"]["role"]["content"])
    assert role
    assert compose["services"]["web"]["environment"]["DATABASE_URL"].startswith(f"postgresql://{role[1]}@")


def test_the_database_password_has_no_default() -> None:
    text = (ROOT / "docker-compose.yml").read_text(encoding="utf-8")
    uses = re.findall(r"\$\{DATABASE_PASSWORD([^}]*)\}", text)
    assert len(uses) == 3
    assert all(use.startswith(":?") for use in uses)


def test_every_volume_and_config_is_declared_and_used(compose: dict[str, Any]) -> None:
    services = compose["services"].values()
    mounted = {volume.partition(":")[0] for service in services for volume in service.get("volumes", [])}
    configs = {config["source"] for service in services for config in service.get("configs", [])}
    assert mounted == set(compose["volumes"])
    assert configs == set(compose["configs"])


def test_images_are_named_with_their_version(compose: dict[str, Any]) -> None:
    images = [service["image"] for service in compose["services"].values() if "build" not in service]
    assert [image for image in images if not re.search(r":\d+$", image)] == []


@pytest.mark.parametrize("name", [".venv/", ".groundloop/", ".env"])
def test_what_the_program_makes_is_ignored_by_git_and_left_out_of_the_image(name: str) -> None:
    assert name in (ROOT / ".gitignore").read_text().splitlines()
    assert name.rstrip("/") in (ROOT / ".dockerignore").read_text().splitlines()


def test_ci_runs_every_check() -> None:
    script = (ROOT / ".ci" / "run").read_text()
    for check in (
        "ruff check", "ruff format --check", "mypy", "lint-imports", "djlint --lint",
        "check --deploy --fail-level WARNING", "makemigrations --check", "GROUNDLOOP_TEST_ALL=1",
    ):  # fmt: skip
        assert check in script, check
    assert (ROOT / ".ci" / "run").stat().st_mode & 0o111


def test_the_top_level_holds_what_the_design_names() -> None:
    allowed = {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "manage.py", "groundloop", "jobs", "calcs", "tests",
        "docker-compose.yml", "docs", "LICENSE", "requirements.txt",
    }  # fmt: skip
    there = {path.name for path in Path(ROOT).iterdir() if not path.name.startswith((".", "__"))}
    assert there <= allowed
