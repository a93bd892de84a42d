"""Web, worker and beat as processes of their own, on a Redis and a database of the test's own."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

import yaml

from tests.running.browser import Browser
from tests.running.server import ROOT, Process, Server, environment, free_port, run_python, wait_until_answers

SECRET = "only-for-this-test " * 4


def web_as_composed(port: int) -> list[str]:
    """The web service's command line of docker-compose.yml, on this port of loopback only."""
    compose = yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8"))
    program, *options = shlex.split(compose["services"]["web"]["command"])
    options[options.index("--bind") + 1] = f"127.0.0.1:{port}"
    return [sys.executable, "-m", program, *options]


class Composed(Server):
    """The web processes as they are composed, on a Redis of the test's own: nothing else makes what is put off.

    The database stays the data folder's file, so that tests can read it past all of the service's own code.
    """

    def __init__(self, data: Path, redis_url: str) -> None:
        super().__init__(data, REDIS_URL=redis_url, SECRET_KEY=SECRET)
        self.process.command = web_as_composed(self.port)


class Separate:
    """The separate set-up without its proxy."""

    def __init__(self, data: Path, redis_url: str, *, database_url: str = "") -> None:
        self.data, port = data, free_port()
        self.base_url = f"http://localhost:{port}"
        self.env = environment(
            data,
            REDIS_URL=redis_url,
            DATABASE_URL=database_url,
            SITE_URL=self.base_url,
            SECRET_KEY=SECRET,
        )
        celery = [sys.executable, "-m", "celery", "-A", "groundloop.celery"]
        web = [sys.executable, "-m", "gunicorn", "groundloop.wsgi", "--workers", "2", "--bind", f"127.0.0.1:{port}"]
        self.web = Process(web, self.env, data / "web.log")
        self.worker = Process([*celery, "worker", "--concurrency", "1"], self.env, data / "worker.log")
        schedule = ["--schedule", str(data / "beat"), "--pidfile="]
        self.beat = Process([*celery, "beat", *schedule], self.env, data / "beat.log")

    @property
    def processes(self) -> tuple[Process, ...]:
        return (self.web, self.worker, self.beat)

    def start(self) -> Separate:
        for process in self.processes:
            process.start()
        wait_until_answers(self.base_url, self.web)
        return self

    def kill9(self) -> None:
        for process in self.processes:
            if process.running:
                process.kill9()

    def python(self, code: str) -> str:
        return run_python(f"import django; django.setup()\n{code}", self.env)

    def browser(self, email: str, password: str) -> Browser:
        browser = Browser(self.base_url)
        browser.sign_in(email, password)
        return browser

    def logs(self) -> str:
        return "\n".join(f"== {process.log.name}\n{process.output()[-1500:]}" for process in self.processes)
