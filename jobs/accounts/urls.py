from __future__ import annotations

from django.urls import path

from jobs.accounts import views

app_name = "accounts"
urlpatterns = [
    path("people/", views.people, name="people"),
    path("people/invite/", views.invite, name="invite"),
    path("people/invitations/<uuid:pk>/withdraw/", views.withdraw, name="withdraw"),
    path("people/<uuid:pk>/", views.member, name="member"),
    path("people/<uuid:pk>/switch/", views.member_switch, name="member-switch"),
    path("firms/", views.firms, name="firms"),
    path("invitation/<str:token>/", views.invitation, name="invitation"),
]
