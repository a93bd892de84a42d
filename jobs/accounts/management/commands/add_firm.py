"""The first step of a new firm: everything after it is done by its manager in the browser."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs.accounts import actions
from jobs.firms import clock
from jobs.firms.errors import Refused


class Command(BaseCommand):
    help = "Adds a firm and prints the link with which its first manager sets a password."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("firm", help="the firm's name")
        parser.add_argument("email", help="mail address of its first manager")
        parser.add_argument("name", help="name of its first manager")
        parser.add_argument("--time-zone", default="Europe/London", help="such as Europe/Berlin")

    def handle(self, *_: Any, **options: Any) -> None:
        zone = options["time_zone"]
        manager = {"email": options["email"], "name": options["name"]}
        try:
            link = actions.found_firm(options["firm"], time_zone=zone, **manager, at=clock.now())
        except Refused as refused:
            raise CommandError(str(refused)) from None
        self.stdout.write(f"{options['firm']} is there. Open this page within three days:\n{link}")
