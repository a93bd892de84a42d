from __future__ import annotations

from django.urls import path

from jobs.ground import views

app_name = "ground"
urlpatterns = [
    path("jobs/<uuid:pk>/ground/", views.array, name="array"),
    path("jobs/<uuid:pk>/ground/numbers", views.numbers, name="numbers"),
    path("jobs/<uuid:pk>/ground/design", views.design, name="design"),
    path("jobs/<uuid:pk>/ground/loops/new", views.loop_new, name="loop-new"),
    path("jobs/<uuid:pk>/ground/loops/import", views.import_list, name="import"),
    path("jobs/<uuid:pk>/ground/loops/restore", views.loop_restore, name="loop-restore"),
    path("jobs/<uuid:pk>/ground/loops/<uuid:row>/edit", views.loop_edit, name="loop-edit"),
    path("jobs/<uuid:pk>/ground/loops/<uuid:row>/remove", views.loop_remove, name="loop-remove"),
    path("jobs/<uuid:pk>/ground/boreholes/new", views.borehole_new, name="borehole-new"),
    path("jobs/<uuid:pk>/ground/boreholes/<uuid:row>/edit", views.borehole_edit, name="borehole-edit"),
    path("jobs/<uuid:pk>/ground/boreholes/<uuid:row>/remove", views.borehole_remove, name="borehole-remove"),
    path("jobs/<uuid:pk>/ground/sections/new", views.section_new, name="section-new"),
    path("jobs/<uuid:pk>/ground/sections/<uuid:row>/edit", views.section_edit, name="section-edit"),
    path("jobs/<uuid:pk>/ground/sections/<uuid:row>/remove", views.section_remove, name="section-remove"),
    path("jobs/<uuid:pk>/ground/header", views.header, name="header"),
    path("jobs/<uuid:pk>/ground/manifold", views.manifold, name="manifold"),
]
