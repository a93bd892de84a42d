from __future__ import annotations

from django.apps import AppConfig


class VisitsConfig(AppConfig):
    name = "jobs.visits"
    label = "visits"
