from __future__ import annotations

from django.apps import AppConfig


class GroundConfig(AppConfig):
    name = "jobs.ground"
    label = "ground"
