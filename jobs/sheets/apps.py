from __future__ import annotations

from django.apps import AppConfig


class SheetsConfig(AppConfig):
    name = "jobs.sheets"
    label = "sheets"

    def ready(self) -> None:
        from jobs.sheets import actions, tasks  # noqa: PLC0415
        from jobs.sheets.trade import PDF  # noqa: PLC0415
        from jobs.work import handlers  # noqa: PLC0415

        handlers.register_long(PDF, tasks.make_pdf, seconds=120, label="Commissioning sheet as PDF")
        handlers.register(actions.SWEEP, tasks.catch_up, due=True, label="Sheets brought up to date")
