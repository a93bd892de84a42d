from __future__ import annotations

from django.apps import AppConfig


class FieldConfig(AppConfig):
    name = "jobs.field"
    label = "field"
