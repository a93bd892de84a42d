from __future__ import annotations

from django.apps import AppConfig


class WorkConfig(AppConfig):
    name = "jobs.work"
    label = "work"

    def ready(self) -> None:
        from jobs.work import handlers, mail  # noqa: PLC0415

        handlers.register_long(mail.KIND, mail.send, seconds=45, label="A mail")
