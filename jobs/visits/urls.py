from __future__ import annotations

from django.urls import path

from jobs.visits import views

app_name = "visits"
urlpatterns = [
    path("jobs/<uuid:pk>/visits/new", views.visit_new, name="visit-new"),
    path("jobs/<uuid:pk>/scope", views.scope, name="scope"),
    path("jobs/<uuid:pk>/entries", views.entries, name="entries"),
    path("visits/<uuid:pk>/", views.visit, name="visit"),
    path("visits/<uuid:pk>/paper", views.visit_paper, name="visit-paper"),
    path("visits/<uuid:pk>/edit", views.visit_edit, name="visit-edit"),
    path("visits/<uuid:pk>/cancel", views.visit_cancel, name="visit-cancel"),
    path("visits/<uuid:pk>/finish", views.visit_finish, name="visit-finish"),
    path("held/", views.held, name="held"),
    path("held/entries/<uuid:pk>/", views.held_entry, name="held-entry"),
    path("held/items/<uuid:pk>/", views.held_item, name="held-item"),
    path("runs/<uuid:pk>/extend", views.run_extend, name="run-extend"),
]
