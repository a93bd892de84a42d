from __future__ import annotations

from django.apps import AppConfig


class ProjectConfig(AppConfig):
    name = "groundloop"

    def ready(self) -> None:
        from groundloop import celery, checks  # noqa: F401, PLC0415  (registered by import)
