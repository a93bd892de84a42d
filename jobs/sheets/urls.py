from __future__ import annotations

from django.urls import URLPattern, path

from jobs.sheets import views

app_name = "sheets"
urlpatterns: list[URLPattern] = [
    path("sheets/", views.queue, name="queue"),
    path("sheets/<uuid:pk>/", views.sheet, name="sheet"),
    path("sheets/<uuid:pk>/review", views.review, name="review"),
    path("sheets/<uuid:pk>/ask", views.ask, name="ask"),
    path("sheets/<uuid:pk>/approve", views.approve, name="approve"),
    path("sheets/<uuid:pk>/reopen", views.reopen, name="reopen"),
    path("sheets/<uuid:pk>/pdf", views.pdf, name="pdf"),
    path("sheets/<uuid:pk>/facts", views.facts_file, name="facts"),
    path("sheets/<uuid:pk>/progress", views.progress, name="progress"),
    path("sheets/<uuid:pk>/print", views.print_page, name="print"),
    path("sheets/findings/<uuid:pk>/answer", views.answer, name="answer"),
    path("jobs/<uuid:pk>/sheet/submit", views.submit, name="submit"),
    path("verify/<uuid:pk>/<str:hash>", views.verify, name="verify"),
]
