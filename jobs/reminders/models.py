"""Who is nudged when: one row per run and local date."""

from __future__ import annotations

from django.db import models

from jobs.firms.models import FirmOwned
from jobs.visits.models import Run


class Reminder(FirmOwned):
    """A de-aeration run somebody was reminded of on a local date of its site. Dies by a recorded check, not by being seen."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="reminders")
    local_date = models.DateField()
    level = models.PositiveSmallIntegerField()
    days_overdue = models.PositiveSmallIntegerField()
    made_at = models.DateTimeField()
    members = models.JSONField(default=list)  # ids of who was mailed

    class Meta(FirmOwned.Meta):
        constraints = (
            *FirmOwned.Meta.constraints,
            models.UniqueConstraint(fields=["run", "local_date"], name="one_reminder_per_day"),
        )
