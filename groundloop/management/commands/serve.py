from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from groundloop.serve import CannotServe, serve


class Command(BaseCommand):
    help = "Runs the embedded default: web, worker and beat in one process, for one machine."
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--host", default="127.0.0.1", help="127.0.0.1: only this machine (default)")

    def handle(self, *_: Any, host: str, port: int, **__: Any) -> None:
        try:
            serve(host, port, say=self.stdout.write)
        except CannotServe as refusal:
            raise CommandError(str(refusal)) from None
