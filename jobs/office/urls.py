from __future__ import annotations

from django.urls import path

from jobs.office import views

app_name = "office"
urlpatterns = [
    path("", views.board, name="board"),
    path("week", views.week, name="week"),
    path("jobs/<uuid:pk>/", views.job, name="job"),
    path("background", views.background, name="background"),
    path("background/<uuid:pk>/again", views.work_again, name="work-again"),
]
