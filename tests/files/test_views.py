from __future__ import annotations

from datetime import UTC, datetime

import pytest
from django.test import Client
from django.urls import reverse

from jobs.files import actions, store
from jobs.files.models import StoredFile
from jobs.firms.scope import scope
from tests.files import pictures
from tests.people import Team, signed_in

AT = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)


@pytest.fixture
def photo(team: Team) -> StoredFile:
    with scope(team.firm.pk):
        return actions.put_photo(pictures.jpeg(2000, 1000), at=AT)


def urls(photo: StoredFile) -> tuple[str, str]:
    return reverse("files:photo", args=[photo.pk]), reverse("files:photo_by_hash", args=[photo.sha256])


def test_members_see_it_and_nobody_else(team: Team, photo: StoredFile) -> None:
    for url in urls(photo):
        for member in team.insiders:
            assert signed_in(member).get(url).status_code == 200, (url, member)
        assert signed_in(team.outsider).get(url).status_code == 404
        away = Client().get(url)
        assert away.status_code == 302
        assert "login" in away["Location"]


def test_a_browser_can_only_show_it(team: Team, photo: StoredFile) -> None:
    for url in urls(photo):
        answer = signed_in(team.crew).get(url)
        assert answer["Content-Type"] == "image/jpeg"
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Content-Security-Policy"] == "sandbox; default-src 'none'"
        assert answer["Cross-Origin-Resource-Policy"] == "same-origin"
        assert answer["Cache-Control"].startswith("private")


def test_two_sizes(team: Team, photo: StoredFile) -> None:
    client = signed_in(team.crew)
    large, small = (client.get(urls(photo)[0], query).content for query in ({}, {"size": "small"}))
    assert len(small) < len(large) == photo.size


def test_a_sheet_is_not_served_as_a_photo(team: Team) -> None:
    with scope(team.firm.pk):
        pdf = actions.put(b"%PDF-1.7", content_type="application/pdf", purpose="sheet", at=AT)
    for url in urls(pdf):
        assert signed_in(team.manager).get(url).status_code == 404


def test_bytes_that_went_missing_are_a_404(team: Team, photo: StoredFile) -> None:
    with scope(team.firm.pk):
        store.path(photo).unlink()
    assert signed_in(team.manager).get(urls(photo)[0]).status_code == 404


def test_only_reading(team: Team, photo: StoredFile) -> None:
    assert signed_in(team.manager).post(urls(photo)[0]).status_code == 405
