"""Photos in pieces over the phone's door: taken up where they were cut, told when wrong."""

from __future__ import annotations

import hashlib
import io
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.test import Client
from django.urls import reverse
from PIL import Image

from jobs.files import queries as files
from jobs.firms.scope import scope
from tests.people import Team, signed_in

pytestmark = pytest.mark.django_db
PIECE = 65_536


@pytest.fixture(scope="module")
def picture() -> bytes:
    """Noise, so that it is large enough for several pieces."""
    out = io.BytesIO()
    Image.effect_noise((900, 700), 90).convert("RGB").save(out, "JPEG", quality=90)
    return out.getvalue()


class Phone:
    def __init__(self, client: Client, data: bytes, digest: str = "") -> None:
        self.client, self.data, self.id = client, data, uuid4()
        self.digest = digest or hashlib.sha256(data).hexdigest()

    @property
    def address(self) -> str:
        return reverse("field:api-upload", args=[self.id])

    def open(self, **changes: Any) -> Any:
        told = {"size": len(self.data), "sha256": self.digest, "content_type": "image/jpeg"} | changes
        return self.client.post(self.address, told, content_type="application/json")

    def piece(self, offset: int) -> Any:
        return self.client.patch(
            self.address,
            self.data[offset : offset + PIECE],
            content_type="application/octet-stream",
            headers={"Upload-Offset": str(offset)},
        )


def test_a_photo_arrives_in_pieces(team: Team, picture: bytes) -> None:
    phone = Phone(signed_in(team.crew), picture)
    told = phone.open().json()
    assert told == {"offset": 0, "done": False, "refused": ""}
    assert len(picture) > 2 * PIECE

    while not told["done"]:
        told = phone.piece(told["offset"]).json()

    with scope(team.firm.pk, writes=False):
        assert files.by_hash(phone.digest) is not None


def test_a_cut_photo_goes_on_where_it_was(team: Team, picture: bytes) -> None:
    phone = Phone(signed_in(team.crew), picture)
    phone.open()
    phone.piece(0)

    asked, opened = phone.client.get(phone.address).json(), phone.open().json()

    assert asked["offset"] == opened["offset"] == PIECE


def test_a_piece_for_another_place_is_told_the_true_one(team: Team, picture: bytes) -> None:
    phone = Phone(signed_in(team.crew), picture)
    phone.open()
    phone.piece(0)

    wrong = phone.piece(0)

    assert (wrong.status_code, wrong.json()) == (409, {"offset": PIECE})


def test_other_bytes_than_were_told_start_again(team: Team, picture: bytes) -> None:
    phone = Phone(signed_in(team.crew), picture, digest="0" * 64)
    told = phone.open().json()
    for offset in range(0, len(picture), PIECE):
        told = phone.piece(offset).json()

    assert told == {"offset": 0, "done": False, "refused": ""}


def test_what_is_no_picture_is_refused_with_a_sentence(team: Team) -> None:
    phone = Phone(signed_in(team.crew), b"not a picture" * 10)
    phone.open()

    told = phone.piece(0).json()

    assert not told["done"]
    assert told["refused"].endswith(".")


@pytest.mark.parametrize(
    "changes", [{"size": 0}, {"size": "much"}, {"sha256": "short"}, {"content_type": "text/html"}, {"size": 10**9}]
)
def test_a_photo_that_cannot_be_is_refused_at_once(changes: dict[str, Any], team: Team, picture: bytes) -> None:
    answer = Phone(signed_in(team.crew), picture).open(**changes)

    assert (answer.status_code, answer["X-App"]) == (422, "groundloop")


def test_another_firm_sees_no_upload(team: Team, picture: bytes) -> None:
    phone = Phone(signed_in(team.crew), picture)
    phone.open()
    stranger = Phone(signed_in(team.outsider), picture)
    stranger.id = UUID(str(phone.id))

    assert stranger.client.get(stranger.address).status_code == 404
    assert stranger.piece(0).status_code == 404
    assert stranger.open().status_code == 422


def test_without_a_sign_in_nothing_is_taken(picture: bytes) -> None:
    phone = Phone(Client(), picture)

    assert phone.open().status_code == 401
    assert phone.piece(0).status_code == 401
