from __future__ import annotations

from django.apps import AppConfig


class OfficeConfig(AppConfig):
    name = "jobs.office"
    label = "office"
