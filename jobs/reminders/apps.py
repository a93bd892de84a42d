from __future__ import annotations

from django.apps import AppConfig


class RemindersConfig(AppConfig):
    name = "jobs.reminders"
    label = "reminders"

    def ready(self) -> None:
        from jobs.reminders.actions import remind  # noqa: PLC0415
        from jobs.visits.actions import DUE  # noqa: PLC0415
        from jobs.work import handlers  # noqa: PLC0415

        handlers.register(DUE, remind, due=True, label="De-aeration reminder")
