from __future__ import annotations

from django.apps import AppConfig


class SumsConfig(AppConfig):
    name = "jobs.sums"
    label = "sums"
