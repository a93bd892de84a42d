from __future__ import annotations

from django.urls import URLPattern, path, re_path

from jobs.files import views

app_name = "files"
urlpatterns: list[URLPattern] = [
    path("files/<uuid:pk>", views.photo, name="photo"),
    re_path(r"^files/photo/(?P<sha256>[0-9a-f]{64})$", views.photo_by_hash, name="photo_by_hash"),
]
