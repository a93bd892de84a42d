from __future__ import annotations

from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_migrate


class FirmsConfig(AppConfig):
    name = "jobs.firms"
    label = "firms"

    def ready(self) -> None:
        from jobs.firms import checks, guards  # noqa: F401, PLC0415

        pre_migrate.connect(guards.drop_before_migrate, dispatch_uid="firms.guards")
        post_migrate.connect(guards.remake_after_migrate, dispatch_uid="firms.guards")
