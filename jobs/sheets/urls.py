from __future__ import annotations

from django.urls import URLPattern

app_name = "sheets"
urlpatterns: list[URLPattern] = []
