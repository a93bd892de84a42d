from __future__ import annotations

from django.apps import AppConfig


class AccountsConfig(AppConfig):
    name = "jobs.accounts"
    label = "accounts"
