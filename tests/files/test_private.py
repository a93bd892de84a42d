"""Photos belong to the firm: who asks, how they ask, and in what wrapping the bytes leave."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from jobs.files import actions, queries, store
from jobs.files.models import StoredFile, Upload
from jobs.firms.models import Member
from jobs.firms.scope import scope
from tests.files import pictures
from tests.people import Team, a_team, member, signed_in

AT = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
METHODS = ("post", "put", "patch", "delete")


@pytest.fixture
def photo(team: Team) -> StoredFile:
    with scope(team.firm.pk):
        return actions.put_photo(pictures.jpeg(900, 600), at=AT)


def urls(photo: StoredFile) -> tuple[str, str]:
    return reverse("files:photo", args=[photo.pk]), reverse("files:photo_by_hash", args=[photo.sha256])


def test_the_same_photo_in_two_firms_is_two_files(team: Team, photo: StoredFile) -> None:
    data = pictures.jpeg(900, 600)
    with scope(team.other_firm.pk):
        other = actions.put_photo(data, at=AT)
    assert other.sha256 == photo.sha256
    assert other.pk != photo.pk
    with scope(team.firm.pk):
        mine = store.path(photo)
    with scope(team.other_firm.pk):
        theirs = store.path(other)
        theirs.unlink()
    assert mine.is_file(), "one firm's loss is not the other's"
    assert signed_in(team.outsider).get(urls(photo)[1]).status_code == 404, "its own row without bytes"
    assert signed_in(team.crew).get(urls(photo)[1]).status_code == 200


def test_knowing_the_hash_does_not_help(team: Team, photo: StoredFile) -> None:
    for url in urls(photo):
        answer = signed_in(team.outsider).get(url)
        assert answer.status_code == 404
        assert photo.sha256.encode() not in answer.content
        assert str(team.firm.pk).encode() not in answer.content


def test_an_upload_tells_no_firm_that_another_has_the_photo(team: Team, photo: StoredFile) -> None:
    """Else the hash alone would tell whether somebody else was at a place."""
    with scope(team.other_firm.pk):
        begun = actions.start_upload(uuid4(), size=10, sha256=photo.sha256, content_type="image/jpeg", at=AT)
        assert begun.file is None
        assert begun.offset == 0
        assert queries.by_hash(photo.sha256) is None
        assert queries.by_hashes([photo.sha256]) == {}


def test_another_firms_upload_is_not_seen_nor_taken_over(team: Team) -> None:
    mine = uuid4()
    with scope(team.firm.pk):
        actions.start_upload(mine, size=10, sha256="0" * 64, content_type="image/jpeg", at=AT)
    with scope(team.other_firm.pk):
        assert queries.upload(mine) is None
        assert not Upload.objects.exists()


@pytest.mark.parametrize("method", METHODS)
def test_nothing_but_reading(team: Team, photo: StoredFile, method: str) -> None:
    for url in urls(photo):
        assert getattr(signed_in(team.manager), method)(url).status_code == 405
    with scope(team.firm.pk):
        assert store.is_here(photo)


def test_somebody_who_left_sees_nothing(team: Team, photo: StoredFile) -> None:
    client = signed_in(team.crew)
    assert client.get(urls(photo)[0]).status_code == 200
    Member.objects.filter(pk=team.crew.pk).update(is_active=False)
    assert client.get(urls(photo)[0]).status_code in {302, 403, 404}


def test_a_member_without_any_role_is_still_of_the_firm_and_nobody_elses(team: Team, photo: StoredFile) -> None:
    stranger = member(a_team("Far Loops", "Farther Loops").firm)
    assert signed_in(stranger).get(urls(photo)[0]).status_code in {403, 404}


@pytest.mark.parametrize("query", ["", "?size=small", "?size=../../etc/passwd", "?size=large", "?size=small&size=x"])
def test_the_wrapping_is_the_same_however_it_is_asked_for(team: Team, photo: StoredFile, query: str) -> None:
    answer = signed_in(team.crew).get(urls(photo)[0] + query)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in answer["Content-Security-Policy"]
    assert "default-src 'none'" in answer["Content-Security-Policy"]
    assert answer["Cross-Origin-Resource-Policy"] == "same-origin"
    assert "private" in answer["Cache-Control"]
    assert "public" not in answer["Cache-Control"]
    assert answer.content.startswith(b"\xff\xd8\xff")
    assert "Access-Control-Allow-Origin" not in answer


@pytest.mark.parametrize(
    "path",
    [
        "/files/photo/../../settings.py", "/files/photo/" + "0" * 63, "/files/photo/" + "G" * 64, "/files/photo/%2e%2e%2f",
        "/files/" + "0" * 64, "/files/not-an-id", "/files/", "/media/",
    ],
)  # fmt: skip
def test_paths_that_are_none(team: Team, path: str) -> None:
    assert signed_in(team.manager).get(path).status_code == 404


def test_nobody_gets_the_bytes_without_signing_in(photo: StoredFile) -> None:
    for url in urls(photo):
        answer = Client().get(url)
        assert answer.status_code == 302
        assert not answer.content.startswith(b"\xff\xd8")


def test_what_leaves_has_the_hash_that_the_row_says(team: Team, photo: StoredFile) -> None:
    content = signed_in(team.crew).get(urls(photo)[0]).content
    assert hashlib.sha256(content).hexdigest() == photo.stored_sha256
    assert len(content) == photo.size


def test_what_was_taken_away_is_gone_for_everybody(
    team: Team, photo: StoredFile, django_capture_on_commit_callbacks: object
) -> None:
    with scope(team.firm.pk):
        place = store.path(photo)
        with django_capture_on_commit_callbacks(execute=True):  # type: ignore[operator]
            actions.discard(photo)
    assert not place.exists()
    for member_ in team.insiders:
        assert signed_in(member_).get(reverse("files:photo_by_hash", args=[photo.sha256])).status_code == 404
