from __future__ import annotations

from django.urls import path, re_path

from jobs.field import api, views

app_name = "field"
urlpatterns = [
    path("sw.js", views.worker, name="worker"),
    path("parcel/<slug:seal>", views.later, name="parcel"),
    path("manifest.webmanifest", views.manifest, name="manifest"),
    path("api/session", api.session, name="api-session"),
    path("api/pack", api.pack, name="api-pack"),
    path("api/entries", api.entries, name="api-entries"),
    path("api/raw", api.raw, name="api-raw"),
    path("api/receipts", api.receipts, name="api-receipts"),
    path("api/uploads/<uuid:pk>", api.upload, name="api-upload"),
    path("api/report", api.report, name="api-report"),
    path("", views.shell, name="shell"),
    re_path(r"^(?!api/).+$", views.shell, name="shell-path"),
]
