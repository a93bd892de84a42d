"""What every test stands on: loopback only, own data folder, plain static files, and who may be skipped and why."""

from __future__ import annotations

import fcntl
import os
import shutil
import socket
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.test.utils import setup_databases, teardown_databases
from pytest_django.plugin import DjangoDbBlocker
from pytest_socket import socket_allow_hosts

from tests.running.server import Server, copy_of, make_template
from tests.running.services import Redis, postgres_database

LOOPBACK = ["127.0.0.1", "::1", "localhost"]
ALL = os.environ.get("GROUNDLOOP_TEST_ALL", "") not in {"", "0"}
CHROMIUM = next((path for path in map(shutil.which, ("chromium", "chromium-browser", "google-chrome")) if path), None)
APART = ("browser", "webkit", "postgres", "redis", "long")
LONGEST = ("test_on_postgresql", "test_seeds", "test_main_job", "test_two_phones", "test_headless", "test_phone_faults")


def pytest_configure(config: pytest.Config) -> None:
    """Nothing of the working tree's own data is touched, and no sign-in costs a tenth of a second."""
    data = Path(tempfile.mkdtemp(prefix="groundloop-test-"))
    config.add_cleanup(lambda: shutil.rmtree(data, ignore_errors=True))
    settings.TESTING = True
    settings.DATA_DIR = data
    settings.MEDIA_ROOT = data / "media"
    settings.EMAIL_FILE_PATH = data / "mail"
    settings.STATIC_ROOT = data / "static"
    settings.STATIC_ROOT.mkdir()
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    }
    settings.WHITENOISE_AUTOREFRESH = settings.WHITENOISE_USE_FINDERS = True
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


def _listens(port: int) -> bool:
    with socket.socket() as probe:
        probe.settimeout(1)
        return probe.connect_ex(("127.0.0.1", port)) == 0


def why_not(marker: str) -> str:
    """Why tests with this marker cannot run here; empty: they can."""
    if marker == "browser" and not CHROMIUM:
        return "no Chromium found: apt-get install chromium"
    if marker == "webkit" and not all(map(shutil.which, ("WebKitWebDriver", "Xvfb"))):
        return "no WebKitWebDriver or no Xvfb found: apt-get install webkit2gtk-driver xvfb"
    if marker == "postgres" and not (_listens(5432) and shutil.which("psql")):
        return "no PostgreSQL on 127.0.0.1:5432: apt-get install postgresql, and start it"
    if marker == "redis" and not shutil.which("redis-server"):
        return "no redis-server found: apt-get install redis-server"
    if marker == "long" and not ALL:
        return "only with GROUNDLOOP_TEST_ALL=1"
    return ""


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> Iterator[None]:
    """Skips what cannot run here, unless everything is asked for. A module stays whole: what stands for it is built once.

    Around all such hooks: the parallel run reads the groups in one of its own, and the longest modules start first, so that
    no worker is left alone with them at the end.
    """
    reasons = {marker: why_not(marker) for marker in APART}
    for item in items:
        for marker in _apart(item):
            if reasons[marker] and not (ALL and marker != "long"):
                item.add_marker(pytest.mark.skip(reason=f"{marker}: {reasons[marker]}"))
        item.add_marker(pytest.mark.xdist_group(item.nodeid.split("::")[0]))
    yield
    items.sort(key=_turn)


def _apart(item: pytest.Item) -> list[str]:
    return [marker for marker in APART if item.get_closest_marker(marker)]


def _turn(item: pytest.Item) -> int:
    found = (at for at, name in enumerate(LONGEST) if name in str(item.path))
    return next(found, len(LONGEST) + (not _apart(item)))


@pytest.fixture(autouse=True)
def _loopback_only() -> None:
    """A test that reaches beyond this machine fails."""
    socket_allow_hosts(LOOPBACK, allow_unix_socket=True)


@pytest.fixture(scope="session")
def django_db_setup(
    django_test_environment: None, django_db_modify_db_settings: None, django_db_blocker: DjangoDbBlocker
) -> Iterator[None]:
    """The migrated test database, whichever tests were chosen: some open it without Django's test case."""
    with django_db_blocker.unblock():
        made = setup_databases(
            verbosity=0,
            interactive=False,
            aliases={"default"},  # type: ignore[arg-type]  # any container will do
            serialized_aliases=set(),
        )
    yield
    with django_db_blocker.unblock():
        teardown_databases(made, verbosity=0)


@pytest.fixture(scope="session")
def template_data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with a migrated database and the demo firm's people, made once for all parallel runs."""
    shared = tmp_path_factory.getbasetemp()
    if os.environ.get("PYTEST_XDIST_WORKER"):
        shared = shared.parent
    folder = shared / "template-data"
    with (shared / "template-lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (folder / "made").exists():
            make_template(folder)
            (folder / "made").touch()
    return folder


@pytest.fixture
def live_database(template_data: Path, tmp_path: Path) -> Path:
    """A data folder of the test's own, for tests that really commit."""
    return copy_of(template_data, tmp_path / "data")


@pytest.fixture
def served(live_database: Path) -> Iterator[Server]:
    """The one process, running; the test may stop, kill and restart it."""
    server = Server(live_database).start()
    yield server
    if server.process.running:
        server.kill9()


@pytest.fixture
def chromium_path() -> str:
    """The browser for tests marked `browser`."""
    assert CHROMIUM, why_not("browser")
    return CHROMIUM


@pytest.fixture
def postgres_url() -> Iterator[str]:
    """A fresh PostgreSQL database, for a role that is no superuser."""
    with postgres_database() as url:
        yield url


@pytest.fixture
def redis(tmp_path: Path) -> Iterator[Redis]:
    """A Redis of the test's own, running; the test may stop it and let it hang."""
    server = Redis(tmp_path)
    server.start()
    yield server
    server.go_on()
    server.stop()


@pytest.fixture
def redis_url(redis: Redis) -> str:
    return redis.url


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Says at the end what was not run and why, and which seeds were."""
    reports = terminalreporter.stats.get("skipped", [])
    reasons = Counter(str(report.longrepr[2]).removeprefix("Skipped: ") for report in reports if report.longrepr)
    for reason, count in sorted(reasons.items()):
        terminalreporter.write_line(f"Not run: {count} x {reason}")
    ran = [report for each in ("passed", "failed") for report in terminalreporter.stats.get(each, [])]
    seeds = sorted(value for report in ran for name, value in report.user_properties if name == "seed")
    if seeds:
        terminalreporter.write_line(f"Seeds: {' '.join(map(str, seeds))}")
