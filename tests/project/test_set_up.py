"""How the service is set up: environment, secret key, clock, health, static files, cache and what each page knows."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import Any

import pytest
from django.core.cache.backends.redis import RedisCache
from django.core.checks import run_checks
from django.db import DatabaseError
from django.db.migrations.executor import MigrationExecutor
from django.template import Context, Template
from django.template.loader import render_to_string
from django.test import Client, RequestFactory
from pytest_django.fixtures import Settings
from redis.exceptions import ConnectionError as RedisAway
from redis.exceptions import TimeoutError as RedisHangs

from groundloop import cache, context, env
from groundloop.checks import simulated_clock_is_for_demo
from groundloop.env import BadEnvironment
from groundloop.secret import embedded_secret
from groundloop.statics import Storage

NAME = "GROUNDLOOP_TEST_WORD"


@pytest.fixture
def setenv(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    monkeypatch.delenv(NAME, raising=False)
    monkeypatch.delenv(f"{NAME}_FILE", raising=False)
    return monkeypatch


@pytest.mark.parametrize("word", ["1", "true", "YES", "On"])
def test_a_flag_is_on(word: str, setenv: pytest.MonkeyPatch) -> None:
    setenv.setenv(NAME, word)
    assert env.flag(NAME) is True


@pytest.mark.parametrize("word", ["0", "False", "no", "OFF", ""])
def test_a_flag_is_off_whatever_its_default(word: str, setenv: pytest.MonkeyPatch) -> None:
    setenv.setenv(NAME, word)
    assert env.flag(NAME, default=True) is False


@pytest.mark.parametrize(
    ("reader", "value", "wanted"),
    [
        (env.flag, "maybe", "set it to 1 or 0"),
        (env.number, "many", "set it to a whole number"),
        (env.number, "2.5", "whole number"),
    ],
)
def test_what_cannot_be_read_stops_the_start_and_is_named(
    reader: Any, value: str, wanted: str, setenv: pytest.MonkeyPatch
) -> None:
    setenv.setenv(NAME, value)
    with pytest.raises(BadEnvironment, match=wanted) as refused:
        reader(NAME, **({} if reader is env.flag else {"default": 1}))
    assert NAME in str(refused.value)
    assert repr(value) in str(refused.value)


def test_defaults_hold_only_when_nothing_is_set(setenv: pytest.MonkeyPatch) -> None:
    assert env.text(NAME, "usual") == "usual"
    assert env.number(NAME, 25) == 25
    assert env.flag(NAME, default=True) is True
    assert env.words(NAME, "a, b,,c ") == ["a", "b", "c"]
    with pytest.raises(BadEnvironment, match=f"Set {NAME} "):
        env.text(NAME)
    setenv.setenv(NAME, "")
    assert env.text(NAME, "usual") == ""


def test_a_secret_comes_from_its_file_before_anything_else(tmp_path: Path, setenv: pytest.MonkeyPatch) -> None:
    file = tmp_path / "secret"
    file.write_text("from the file\n", encoding="utf-8")
    setenv.setenv(NAME, "from the variable")
    setenv.setenv(f"{NAME}_FILE", str(file))
    assert env.text(NAME) == "from the file"


@pytest.mark.parametrize("content", [None, b"\xff\xfe\x00"], ids=["not there", "not text"])
def test_a_secret_file_that_cannot_be_read_is_named(
    content: bytes | None, tmp_path: Path, setenv: pytest.MonkeyPatch
) -> None:
    """Whoever runs the service sees which variable is wrong, not a traceback about some path."""
    file = tmp_path / "secret"
    if content is not None:
        file.write_bytes(content)
    setenv.setenv(f"{NAME}_FILE", str(file))
    with pytest.raises(BadEnvironment, match=f"{NAME}_FILE is .*cannot be read"):
        env.text(NAME, "default")


def test_a_child_gets_the_changes_and_we_do_not(setenv: pytest.MonkeyPatch) -> None:
    assert env.with_changes(**{NAME: "child"})[NAME] == "child"
    assert NAME not in os.environ
    setenv.setenv(NAME, "set")
    env.put_default(NAME, "default")
    assert os.environ[NAME] == "set"


def test_the_secret_key_is_for_its_owner_only_and_stays(tmp_path: Path) -> None:
    previous = os.umask(0o000)
    try:
        key = embedded_secret(tmp_path / "data", allowed=True)
    finally:
        os.umask(previous)
    file = tmp_path / "data" / "secret-key"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert len(key) >= 50  # as long as Django's own check of a production key asks (security.W009)
    assert embedded_secret(tmp_path / "data", allowed=True) == key
    assert embedded_secret(tmp_path / "other", allowed=True) != key


def test_a_stop_while_the_key_is_written_leaves_no_empty_key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: Any, **__: Any) -> int:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as broken:
        broken.setattr(Path, "write_text", full)
        with pytest.raises(OSError, match="No space"):
            embedded_secret(tmp_path, allowed=True)
    assert len(embedded_secret(tmp_path, allowed=True)) >= 50
    assert stat.S_IMODE((tmp_path / "secret-key").stat().st_mode) == 0o600


def test_with_redis_a_key_of_ones_own_is_asked_for(tmp_path: Path) -> None:
    with pytest.raises(BadEnvironment, match="Set SECRET_KEY"):
        embedded_secret(tmp_path, allowed=False)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("file", "demo", "testing", "refused"),
    [("", False, False, False), ("/x", False, False, True), ("/x", True, False, False), ("/x", False, True, False)],
)
def test_a_clock_that_can_be_moved_never_runs_in_earnest(
    file: str,
    demo: bool,
    testing: bool,
    refused: bool,
    settings: Settings,
) -> None:
    settings.CLOCK_FILE, settings.DEMO, settings.TESTING = file, demo, testing
    assert [error.id for error in simulated_clock_is_for_demo()] == (["groundloop.E001"] if refused else [])
    assert ("groundloop.E001" in {error.id for error in run_checks()}) is refused


def test_alive_says_so_without_asking_anything(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("groundloop.health.connection", None)
    answer = client.get("/healthz")
    assert (answer.status_code, answer.json()) == (200, {"status": "ok"})


@pytest.mark.django_db
def test_ready_when_migrated_and_writable(client: Client, settings: Settings, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path / "new" / "media"
    answer = client.get("/readyz")
    assert (answer.status_code, answer.json()["problems"]) == (200, [])
    assert not list(settings.MEDIA_ROOT.iterdir())


@pytest.mark.django_db
def test_not_ready_while_migrations_wait(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    real = MigrationExecutor.migration_plan

    def one_waits(self: MigrationExecutor, targets: Any, *_: Any) -> Any:
        self.loader.applied_migrations.pop(next(target for target in targets if target[0] == "planning"))
        return real(self, targets)

    monkeypatch.setattr(MigrationExecutor, "migration_plan", one_waits)
    answer = client.get("/readyz")
    assert answer.status_code == 503
    assert answer.json() == {"status": "not ready", "problems": ["migrations wait to be applied"]}


@pytest.mark.django_db
def test_not_ready_when_files_cannot_be_written(client: Client, settings: Settings, tmp_path: Path) -> None:
    """A file where the folder should be: refused to root as well."""
    (tmp_path / "media").write_text("in the way", encoding="ascii")
    settings.MEDIA_ROOT = tmp_path / "media"
    answer = client.get("/readyz")
    assert answer.status_code == 503
    assert answer.json()["problems"] == ["files cannot be written"]


@pytest.mark.django_db
def test_not_ready_without_the_database_and_no_trace_of_why(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def away(*_: Any) -> None:
        raise DatabaseError("password for user groundloop at db.internal")

    monkeypatch.setattr("groundloop.health.MigrationExecutor", away)
    answer = client.get("/readyz")
    assert answer.status_code == 503
    assert answer.json()["problems"] == ["the database does not answer"]
    assert "password" not in answer.content.decode()


def render(source: str, **values: Any) -> str:
    return Template(source).render(Context(values))


def test_a_title_is_written_once_and_shown_twice() -> None:
    from django.template import engines  # noqa: PLC0415

    child = engines["django"].from_string(
        '{% extends "base.html" %}{% block title %}Job {{ name }}{% endblock %}{% block content %}x{% endblock %}'
    )
    page = child.render({"name": "<b>7</b>", "embedded": False}, RequestFactory().get("/"))
    assert page.count("Job &lt;b&gt;7&lt;/b&gt;") == 2
    assert "<h1>Job &lt;b&gt;7&lt;/b&gt;</h1>" in page
    assert "<b>7</b>" not in page


def test_a_block_that_is_not_there_is_empty() -> None:
    assert render('{% load page %}[{% again "title" %}]') == "[]"
    assert render('{% load page %}{% block one %}1{% endblock %}[{% again "other" %}]') == "1[]"


@pytest.mark.parametrize(("embedded", "demo"), [(True, True), (True, False), (False, False)])
def test_every_page_knows_how_it_runs(embedded: bool, demo: bool, settings: Settings) -> None:
    settings.EMBEDDED, settings.DEMO = embedded, demo
    request = RequestFactory().get("/")
    assert context.page(request) == {"member": None, "embedded": embedded, "demo": demo}
    page = render_to_string("base.html", {"title": "x"}, request)
    assert ("This set-up runs in one process" in page) is embedded


def test_a_phone_never_mixes_old_and_new_modules() -> None:
    """Imports inside ES modules get hashed names too, and a missing file is an error, not a link to nothing."""
    storage = Storage()
    patterns = [pattern for extension, group in storage._patterns.items() if extension == "*.js" for pattern in group]
    assert any(pattern[0].search("import{a} from './fold.js';") for pattern in patterns)
    assert storage.manifest_strict is True


@pytest.mark.parametrize("fault", [RedisAway("gone"), RedisHangs("slow")], ids=["gone", "hangs"])
def test_sign_in_goes_on_without_redis_which_is_asked_once(fault: Exception, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []

    def fail(name: str) -> Any:
        def call(*_: Any, **__: Any) -> Any:
            asked.append(name)
            raise fault

        return call

    for name in ("add", "get", "set", "delete"):
        monkeypatch.setattr(RedisCache, name, fail(name))
    now = [1000.0]
    monkeypatch.setattr(cache, "_silent_until", 0.0)
    monkeypatch.setattr("groundloop.cache.time.monotonic", lambda: now[0])
    patient = cache.PatientCache("redis://127.0.0.1:1", {})
    assert (patient.get("tries", []), patient.add("lock", 1), patient.delete("lock")) == ([], True, False)
    patient.set("tries", [1])
    assert asked == ["get"]
    now[0] += cache.SILENT_S + 0.1
    patient.set("tries", [1])
    assert asked == ["get", "set"]


def test_a_fault_of_our_own_is_not_taken_for_a_missing_redis(monkeypatch: pytest.MonkeyPatch) -> None:
    def wrong(*_: Any, **__: Any) -> Any:
        raise TypeError("no such key type")

    monkeypatch.setattr(RedisCache, "get", wrong)
    monkeypatch.setattr(cache, "_silent_until", 0.0)
    with pytest.raises(TypeError):
        cache.PatientCache("redis://127.0.0.1:1", {}).get("tries")
