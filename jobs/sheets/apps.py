from __future__ import annotations

from django.apps import AppConfig


class SheetsConfig(AppConfig):
    name = "jobs.sheets"
    label = "sheets"
