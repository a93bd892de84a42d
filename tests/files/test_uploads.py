from __future__ import annotations

import contextlib
import hashlib
from datetime import UTC, datetime
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jobs.files import actions, queries, store
from jobs.files.errors import UploadRefused, WrongOffset
from jobs.files.models import StoredFile, Upload
from jobs.firms.models import Firm
from tests.files import pictures

AT = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
PIECE = 64 * 1024


def noisy_jpeg() -> bytes:
    """Longer than one piece."""
    import io  # noqa: PLC0415

    from PIL import Image  # noqa: PLC0415

    out = io.BytesIO()
    Image.effect_noise((900, 700), 90).convert("RGB").save(out, "JPEG", quality=90)
    return out.getvalue()


def begin(data: bytes, sha256: str = "", size: int = 0) -> Upload:
    return actions.start_upload(
        uuid4(),
        size=size or len(data),
        sha256=sha256 or hashlib.sha256(data).hexdigest(),
        content_type="image/jpeg",
        at=AT,
    )


def send(upload: Upload, data: bytes) -> Upload:
    while not upload.file and not upload.refused:
        piece = data[upload.offset : upload.offset + PIECE]
        upload = actions.take_piece(upload, offset=upload.offset, data=piece, at=AT)
    return upload


def test_pieces_become_a_photo_under_the_phones_hash(firm: Firm) -> None:
    data = noisy_jpeg()
    assert len(data) > 2 * PIECE
    upload = send(begin(data), data)
    assert upload.file
    assert upload.file.sha256 == hashlib.sha256(data).hexdigest()
    kept = store.read(upload.file)
    assert upload.file.stored_sha256 == hashlib.sha256(kept).hexdigest()
    assert kept != data, "made anew"
    assert queries.by_hash(upload.sha256) == upload.file
    assert not store.upload_place(upload.pk).exists()


def test_a_wrong_offset_tells_the_true_one(firm: Firm) -> None:
    data = noisy_jpeg()
    upload = actions.take_piece(begin(data), offset=0, data=data[:PIECE], at=AT)
    for wrong in (0, PIECE - 1, 2 * PIECE):
        with pytest.raises(WrongOffset) as told:
            actions.take_piece(upload, offset=wrong, data=data[:100], at=AT)
        assert told.value.true_offset == PIECE


def test_starting_again_goes_on_where_it_was(firm: Firm) -> None:
    data = noisy_jpeg()
    upload = actions.take_piece(begin(data), offset=0, data=data[:PIECE], at=AT)
    again = actions.start_upload(upload.pk, size=len(data), sha256=upload.sha256, content_type="image/jpeg", at=AT)
    assert (again.pk, again.offset) == (upload.pk, PIECE)
    assert send(again, data).file


def test_the_last_piece_sent_twice_is_harmless(firm: Firm) -> None:
    data = pictures.jpeg()
    upload = send(begin(data), data)
    again = actions.take_piece(upload, offset=0, data=data, at=AT)
    assert again.file == upload.file
    assert StoredFile.objects.count() == 1


def test_a_photo_that_is_here_is_whole_at_once(firm: Firm) -> None:
    data = pictures.jpeg()
    send(begin(data), data)
    second = begin(data)
    assert second.file
    assert second.offset == len(data)


def test_a_wrong_hash_starts_the_photo_again(firm: Firm) -> None:
    data = pictures.jpeg()
    upload = begin(data)
    broken = actions.take_piece(upload, offset=0, data=data[:-1] + b"\0", at=AT)
    assert (broken.offset, broken.file, broken.refused) == (0, None, "")
    assert send(broken, data).file


def test_pieces_lost_on_the_server_start_the_photo_again(firm: Firm) -> None:
    data = noisy_jpeg()
    upload = actions.take_piece(begin(data), offset=0, data=data[:PIECE], at=AT)
    store.upload_place(upload.pk).unlink()
    upload = actions.take_piece(upload, offset=PIECE, data=data[PIECE : 2 * PIECE], at=AT)
    assert upload.offset == 0
    assert send(upload, data).file


def test_what_is_no_picture_is_refused_for_good(firm: Firm) -> None:
    data = b"<html><script>alert(1)</script></html>"
    upload = send(begin(data), data)
    assert "cannot be read" in upload.refused
    assert upload.file is None
    assert actions.take_piece(upload, offset=0, data=data, at=AT).refused
    assert queries.by_hash(upload.sha256) is None


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"size": 25 * 1024 * 1024 + 1}, "25 MB"),
        ({"size": 0}, "25 MB"),
        ({"content_type": "image/svg+xml"}, "JPEG"),
        ({"content_type": "text/html"}, "JPEG"),
        ({"sha256": "abc"}, "check sum"),
    ],
)
def test_what_cannot_be_kept_does_not_start(firm: Firm, change: dict[str, object], says: str) -> None:
    asked = {"size": 10, "sha256": "0" * 64, "content_type": "image/jpeg"} | change
    with pytest.raises(UploadRefused, match=says):
        actions.start_upload(uuid4(), at=AT, **asked)  # type: ignore[arg-type]
    assert Upload.objects.count() == 0


def test_pieces_have_a_size(firm: Firm) -> None:
    upload = begin(b"", sha256="0" * 64, size=1_000_000)
    for piece in (b"", b"x" * (256 * 1024 + 1)):
        with pytest.raises(UploadRefused, match="wrong size"):
            actions.take_piece(upload, offset=0, data=piece, at=AT)
    short = begin(b"", sha256="0" * 64, size=10)
    with pytest.raises(UploadRefused, match="wrong size"):
        actions.take_piece(short, offset=0, data=b"x" * 11, at=AT)


def test_the_same_id_for_other_content_is_refused(firm: Firm) -> None:
    upload = begin(b"", sha256="0" * 64, size=10)
    with pytest.raises(UploadRefused, match="other content"):
        actions.start_upload(upload.pk, size=11, sha256="0" * 64, content_type="image/jpeg", at=AT)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(cuts=st.lists(st.integers(1, 4000), max_size=12), faults=st.lists(st.integers(0, 5000), max_size=6))
def test_any_cutting_and_any_stray_piece_ends_with_the_same_photo(
    firm: Firm, cuts: list[int], faults: list[int]
) -> None:
    data = pictures.jpeg(300, 200)
    upload = begin(data)
    for length, stray in zip(cuts, [*faults, *[0] * 12], strict=False):
        if upload.file:
            break
        with contextlib.suppress(WrongOffset, UploadRefused):
            upload = actions.take_piece(upload, offset=stray, data=data[stray : stray + 50] or b"x", at=AT)
        if not upload.file:
            upload = actions.take_piece(
                upload, offset=upload.offset, data=data[upload.offset : upload.offset + length], at=AT
            )
    done = send(upload, data)
    assert done.file
    assert done.file.sha256 == hashlib.sha256(data).hexdigest()
