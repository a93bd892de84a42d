"""Browsers for the phone's tests."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page, sync_playwright

from jobs.planning.models import Job
from tests.conftest import CHROMIUM
from tests.field.desk import a_booked_job
from tests.field.fault_proxy import FaultProxy, fault_proxy
from tests.field.office import ARGS, Crew, Phone, phone_in, seed
from tests.field.plain_site import plain_site
from tests.people import Team, a_team
from tests.running.server import Server, copy_of


@pytest.fixture
def chromium(chromium_path: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[Browser]:
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path, args=ARGS)
        yield browser
        browser.close()


@pytest.fixture
def blank(chromium: Browser) -> Iterator[Page]:
    """A page with nothing on it, of the same origin as the phone's modules."""
    with plain_site() as address:
        page = chromium.new_page()
        page.goto(address)
        yield page
        page.close()


@pytest.fixture(scope="module")
def office(template_data: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """One running office for the tests of a module; each of them takes a crew of its own."""
    server = Server(copy_of(template_data, tmp_path_factory.mktemp("office") / "data")).start()
    yield server
    if server.process.running:
        server.kill9()


@pytest.fixture(scope="module")
def crews(office: Server) -> Iterator[Crew]:
    """People with a job each, all papers seen; take the next one."""
    return iter(seed(office, crews=24, upto="papers"))


@pytest.fixture
def crew(crews: Iterator[Crew]) -> Crew:
    return next(crews)


@pytest.fixture
def proxy(office: Server) -> Iterator[FaultProxy]:
    with fault_proxy(office.port) as standing:
        yield standing


@pytest.fixture
def phone(chromium: Browser, office: Server, proxy: FaultProxy, crew: Crew) -> Iterator[Phone]:
    """A phone that is ready for no signal, behind a network that can fail."""
    made = phone_in(chromium, office, proxy.address, crew)
    made.ready()
    proxy.log.clear()
    yield made
    assert made.problems == []
    made.context.close()


@pytest.fixture(scope="module")
def office_gone(template_data: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Phone]:
    """A phone that was ready for no signal when its office went off for good."""
    server = Server(copy_of(template_data, tmp_path_factory.mktemp("gone") / "data")).start()
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        made = phone_in(chromium, server, server.base_url, seed(server)[0])
        made.ready()
        server.stop()
        yield made
        chromium.close()


@pytest.fixture
def stranded(office_gone: Phone) -> Iterator[Phone]:
    """That phone; the test fails on a script error, a breach of the policy and any word in the console but of no answer."""
    said: list[str] = []

    def hear(message: ConsoleMessage) -> None:
        if message.type in {"error", "warning"} and "Failed to load resource" not in message.text:
            said.append(message.text)

    office_gone.page.on("console", hear)
    yield office_gone
    office_gone.page.remove_listener("console", hear)
    assert (said, office_gone.problems) == ([], [])


@pytest.fixture
def team() -> Team:
    return a_team()


@pytest.fixture
def job(team: Team) -> Job:
    return a_booked_job(team)
