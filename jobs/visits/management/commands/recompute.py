"""Makes progress, runs and job states of every firm anew from the entries."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from jobs.firms import clock
from jobs.firms.models import Firm
from jobs.firms.scope import scope
from jobs.visits.actions import recompute_all


class Command(BaseCommand):
    help = "Recomputes every job's summary from its entries."

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ARG002 - the shape of every command
        at = clock.now()
        for firm in Firm.objects.order_by("name"):
            with scope(firm.pk):
                count = recompute_all(at=at)
            self.stdout.write(f"{firm.name}: {count} jobs")
