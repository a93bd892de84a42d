from __future__ import annotations

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView

from groundloop import health

urlpatterns = [
    path("healthz", health.alive, name="healthz"),
    path("readyz", health.ready, name="readyz"),
    path("api/schema", SpectacularAPIView.as_view(), name="api-schema"),
    path("account/", include("jobs.accounts.urls")),
    path("account/", include("jobs.accounts.sign_in_urls")),
    path("field/", include("jobs.field.urls")),
    path("", include("jobs.files.urls")),
    path("", include("jobs.planning.urls")),
    path("", include("jobs.ground.urls")),
    path("", include("jobs.visits.urls")),
    path("", include("jobs.sheets.urls")),
    path("", include("jobs.reminders.urls")),
    path("", include("jobs.sums.urls")),
    path("", include("jobs.office.urls")),
]
