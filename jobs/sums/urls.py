from __future__ import annotations

from django.urls import path

from jobs.sums import api, views
from jobs.sums.questions import QUESTIONS

app_name = "sums"
urlpatterns = [
    path("sums/", views.index, name="index"),
    *(path(f"sums/{each.slug}/", views.page_of(each), name=each.slug) for each in QUESTIONS),
    *(path(f"api/sums/{each.slug}", api.api_of(each), name=f"api-{each.slug}") for each in QUESTIONS),
]
