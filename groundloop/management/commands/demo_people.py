from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from groundloop.demo import people
from jobs.firms import clock
from jobs.firms.models import Firm


class Command(BaseCommand):
    help = "Makes the demo firm with its people only, for runs that set everything else up themselves."

    def handle(self, *_: Any, **__: Any) -> None:
        if not Firm.objects.exists():
            people.make_firm(clock.now())
