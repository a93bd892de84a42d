from __future__ import annotations

from django.apps import AppConfig


class FilesConfig(AppConfig):
    name = "jobs.files"
    label = "files"
