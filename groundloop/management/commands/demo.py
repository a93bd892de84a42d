from __future__ import annotations

import importlib.util
from datetime import datetime
from importlib import import_module
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser

from groundloop import pdf_libraries
from groundloop.demo import people
from groundloop.serve import CannotServe, refuse_used_port, serve
from jobs.firms import clock
from jobs.firms.models import Firm


class Command(BaseCommand):
    help = "Loads a firm with invented jobs when there is none, and serves it on this machine."
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--headless", action="store_true", help="run one whole job without a browser, then end")
        parser.add_argument("--out", type=Path, default=Path("demo-out"), help="where --headless writes PDF and JSON")

    def handle(self, *_: Any, port: int, headless: bool, out: Path, **__: Any) -> None:
        if headless:
            return self._headless(out)
        try:
            refuse_used_port("127.0.0.1", port)
            self._prepare()
            serve("127.0.0.1", port, say=self._running)
        except CannotServe as refusal:
            raise CommandError(str(refusal)) from None
        return None

    def _headless(self, out: Path) -> None:
        import_module("groundloop.demo.headless").run(out=out, say=self._say)

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()

    def _running(self, line: str) -> None:
        self._say(line)
        if settings.SITE_URL in line:
            self._say(f"Sign in with the password {people.WORD} as:")
            for person in people.PEOPLE:
                self._say(f"  {person.email:32} {person.role_labels}")

    def _prepare(self) -> None:
        self._say(f"Preparing the demo in {settings.DATA_DIR} ...")
        call_command("migrate", interactive=False, verbosity=0)
        if not Firm.objects.exists():
            self._say("Loading the demo firm ...")
            load(clock.now())
        if sentence := pdf_libraries.missing():
            self._say(sentence)


def load(at: datetime) -> None:
    """The demo firm with jobs in every state; only its people as long as there are no jobs to load."""
    if importlib.util.find_spec("groundloop.demo.load") is None:
        people.make_firm(at)
        return
    import_module("groundloop.demo.load").load_demo(at=at)
