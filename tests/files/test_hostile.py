"""Bytes that mean harm, and lines that break: what a phone, or somebody in its place, can send."""

from __future__ import annotations

import hashlib
import io
import struct
import time
import zlib
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4

import pytest
from PIL import Image

from jobs.files import actions, images, queries, store
from jobs.files.errors import NotAPicture, UploadRefused, WrongOffset
from jobs.files.models import StoredFile, Upload
from jobs.files.trade import MAX_BYTES, MAX_PIECE, MAX_PIXELS
from jobs.firms.models import Firm
from tests.files import pictures

AT = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)


def begin(data: bytes, *, content_type: str = "image/jpeg") -> Upload:
    digest = hashlib.sha256(data).hexdigest()
    return actions.start_upload(uuid4(), size=len(data), sha256=digest, content_type=content_type, at=AT)


def send(data: bytes, *, piece: int = 1000) -> Upload:
    upload = begin(data)
    while not upload.file and not upload.refused:
        upload = actions.take_piece(upload, offset=upload.offset, data=data[upload.offset :][:piece], at=AT)
    return upload


def png_with(*chunks: tuple[bytes, bytes]) -> bytes:
    """A small sound PNG with these chunks before its end."""
    out = io.BytesIO()
    Image.new("RGB", (20, 10), "green").save(out, "PNG")
    data = out.getvalue()
    end = data.index(b"IEND") - 4
    extra = b"".join(
        struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body)) for name, body in chunks
    )
    return data[:end] + extra + data[end:]


def claims(side: int) -> bytes:
    """A small PNG whose head says that it is so wide and high."""
    data = bytearray(png_with())
    data[16:24] = struct.pack(">II", side, side)
    data[29:33] = struct.pack(">I", zlib.crc32(bytes(data[12:29])))
    return bytes(data)


SCRIPT = b"<script>alert('canary')</script>"
POLYGLOTS: dict[str, Callable[[], bytes]] = {
    "script behind a JPEG": lambda: pictures.jpeg() + SCRIPT,
    "a zip behind a JPEG": lambda: pictures.jpeg() + b"PK\x03\x04" + SCRIPT,
    "a page behind a PNG": lambda: png_with() + b"<html>" + SCRIPT,
    "words in a PNG": lambda: png_with((b"tEXt", b"Comment\0" + SCRIPT)),
    "packed words in a PNG": lambda: png_with((b"zTXt", b"Comment\0\0" + zlib.compress(SCRIPT))),
    "an unknown chunk in a PNG": lambda: png_with((b"prVt", SCRIPT)),
    "a comment in a JPEG": lambda: pictures.jpeg()[:2] + b"\xff\xfe" + struct.pack(">H", 2 + len(SCRIPT)) + SCRIPT + pictures.jpeg()[2:],
    "an application block in a JPEG": lambda: pictures.jpeg()[:2] + b"\xff\xed" + struct.pack(">H", 2 + len(SCRIPT)) + SCRIPT + pictures.jpeg()[2:],
}  # fmt: skip


@pytest.mark.parametrize("name", POLYGLOTS)
def test_of_two_things_in_one_only_the_picture_is_kept(firm: Firm, name: str) -> None:
    data = POLYGLOTS[name]()
    assert SCRIPT in data or zlib.compress(SCRIPT) in data
    upload = send(data)
    assert upload.file, upload.refused
    for purpose in ("", "photo-small"):
        kept = store.read(upload.file, purpose=purpose)
        assert b"script" not in kept
        assert b"PK\x03\x04" not in kept
        with Image.open(io.BytesIO(kept)) as picture:
            assert picture.format == "JPEG"
            assert not picture.getexif()
            assert "comment" not in picture.info


@pytest.mark.parametrize(
    "data",
    [
        b"GIF89a/*" + SCRIPT, b"%PDF-1.4\n" + SCRIPT, b"BM" + b"\0" * 60, b"RIFF\0\0\0\0WEBP", b"\xff\xd8\xff" + SCRIPT,
        b"II*\0" + b"\0" * 100, b"\x89PNG\r\n\x1a\n" + SCRIPT, b"MZ" + b"\0" * 200, b"\x7fELF" + b"\0" * 200,
        b"\0" * 1000, b"<?xml version='1.0'?><svg onload='alert(1)'/>", pictures.jpeg()[:-400],
    ],
    ids=["gif", "pdf", "bmp", "empty webp", "jpeg head only", "tiff", "png head only", "exe", "elf", "noughts", "svg", "cut"],
)  # fmt: skip
def test_what_is_no_photo_is_refused_for_good_and_leaves_nothing(firm: Firm, data: bytes) -> None:
    upload = send(data)
    assert upload.refused.endswith(".")
    assert "Take it again" in upload.refused
    assert upload.file is None
    assert not StoredFile.objects.exists()
    assert not store.upload_place(upload.pk).exists()
    assert list(Path(store.upload_place(upload.pk).parent).iterdir()) == []


def test_calling_a_page_a_photo_does_not_make_it_one(firm: Firm) -> None:
    for content_type in ("image/jpeg", "image/png", "image/webp"):
        upload = begin(b"<html>" + SCRIPT, content_type=content_type)
        upload = actions.take_piece(upload, offset=0, data=b"<html>" + SCRIPT, at=AT)
        assert upload.refused


@pytest.mark.parametrize("content_type", ["", "image/gif", "image/svg+xml", "IMAGE/JPEG", "image/jpeg; x=1", "*/*"])
def test_kinds_that_are_not_taken(firm: Firm, content_type: str) -> None:
    with pytest.raises(UploadRefused, match="JPEG, PNG, WebP and HEIC"):
        begin(b"x", content_type=content_type)


@pytest.mark.filterwarnings("ignore::PIL.Image.DecompressionBombWarning")
@pytest.mark.parametrize("side", [8001, 12_000, 60_000])
def test_a_bomb_never_goes_off(firm: Firm, side: int) -> None:
    """A head that claims so many pixels; a small body behind it."""
    data = claims(side)
    assert side * side > MAX_PIXELS
    began = time.process_time()
    with pytest.raises(NotAPicture, match="too many pixels"):
        images.picture(data)
    assert time.process_time() - began < 0.5
    assert send(data).refused


def test_the_largest_that_is_allowed_is_not_refused_for_its_pixels() -> None:
    """It fails for its missing body, not for the 64 million that its head claims."""
    assert MAX_PIXELS == 8000 * 8000
    with pytest.raises(NotAPicture, match="cannot be read"):
        images.picture(claims(8000))


@pytest.mark.parametrize(
    ("size", "taken"), [(0, False), (-1, False), (1, True), (MAX_BYTES, True), (MAX_BYTES + 1, False)]
)
def test_sizes(firm: Firm, size: int, taken: bool) -> None:
    if taken:
        assert actions.start_upload(uuid4(), size=size, sha256="0" * 64, content_type="image/jpeg", at=AT).offset == 0
        return
    with pytest.raises(UploadRefused, match="25 MB"):
        actions.start_upload(uuid4(), size=size, sha256="0" * 64, content_type="image/jpeg", at=AT)


@pytest.mark.parametrize(
    "sha256", ["", "0" * 63, "0" * 65, "z" * 64, "0" * 64 + "\n", "../" + "0" * 61, " " + "0" * 63]
)
def test_check_sums_that_are_none(firm: Firm, sha256: str) -> None:
    with pytest.raises(UploadRefused, match="check sum"):
        actions.start_upload(uuid4(), size=10, sha256=sha256, content_type="image/jpeg", at=AT)


def test_a_check_sum_in_capitals_is_the_same(firm: Firm) -> None:
    data = pictures.jpeg()
    digest = hashlib.sha256(data).hexdigest().upper()
    upload = actions.start_upload(uuid4(), size=len(data), sha256=digest, content_type="image/jpeg", at=AT)
    upload = actions.take_piece(upload, offset=0, data=data, at=AT)
    assert upload.file
    assert queries.by_hash(digest) == upload.file


class TestResuming:
    DATA = pictures.jpeg(400, 300)

    def half(self) -> tuple[Upload, int]:
        middle = len(self.DATA) // 2
        return actions.take_piece(begin(self.DATA), offset=0, data=self.DATA[:middle], at=AT), middle

    @pytest.mark.parametrize("off", [-1, 1, 100, -100])
    def test_another_offset_tells_the_true_one_and_changes_nothing(self, firm: Firm, off: int) -> None:
        upload, middle = self.half()
        place = store.upload_place(upload.pk)
        before = place.read_bytes()
        with pytest.raises(WrongOffset) as told:
            actions.take_piece(upload, offset=middle + off, data=b"xxx", at=AT)
        assert told.value.true_offset == middle
        assert place.read_bytes() == before

    def test_a_torn_piece_on_the_disk_is_cut_off(self, firm: Firm) -> None:
        """The server died after writing and before it noted the offset."""
        upload, middle = self.half()
        with store.upload_place(upload.pk).open("ab") as out:
            out.write(b"half a piece that was never noted")
        upload = actions.take_piece(upload, offset=middle, data=self.DATA[middle:], at=AT)
        assert upload.file
        assert upload.file.sha256 == hashlib.sha256(self.DATA).hexdigest()

    def test_a_disk_that_lost_some_starts_again(self, firm: Firm) -> None:
        upload, middle = self.half()
        place = store.upload_place(upload.pk)
        place.write_bytes(place.read_bytes()[:-1])
        upload = actions.take_piece(upload, offset=middle, data=self.DATA[middle:], at=AT)
        assert (upload.offset, upload.file, upload.refused) == (0, None, "")
        assert actions.take_piece(upload, offset=0, data=self.DATA, at=AT).file

    @pytest.mark.parametrize("place", [0, 100, -1])
    def test_one_flipped_bit_is_never_a_photo(self, firm: Firm, place: int) -> None:
        broken = bytearray(self.DATA)
        broken[place] ^= 1
        upload = actions.take_piece(begin(self.DATA), offset=0, data=bytes(broken), at=AT)
        assert (upload.offset, upload.file) == (0, None)
        assert not StoredFile.objects.exists()
        assert actions.take_piece(upload, offset=0, data=self.DATA, at=AT).file

    @pytest.mark.parametrize("length", [0, MAX_PIECE + 1, 10 * MAX_PIECE])
    def test_pieces_of_a_wrong_size_are_refused_and_the_rest_stands(self, firm: Firm, length: int) -> None:
        upload, middle = self.half()
        with pytest.raises(UploadRefused, match="wrong size"):
            actions.take_piece(upload, offset=middle, data=b"x" * length, at=AT)
        again = queries.upload(upload.pk)
        assert again
        assert again.offset == middle
        assert actions.take_piece(again, offset=middle, data=self.DATA[middle:], at=AT).file

    def test_more_than_was_told_is_refused(self, firm: Firm) -> None:
        upload, middle = self.half()
        with pytest.raises(UploadRefused, match="wrong size"):
            actions.take_piece(upload, offset=middle, data=self.DATA[middle:] + b"x", at=AT)

    def test_byte_by_byte_it_is_the_same_photo(self, firm: Firm) -> None:
        data = pictures.jpeg(16, 12)
        assert len(data) < 2000
        upload = send(data, piece=97)
        whole = send(pictures.jpeg(16, 12), piece=MAX_PIECE)
        assert upload.file == whole.file
        assert StoredFile.objects.count() == 1

    def test_after_the_end_everything_is_answered_the_same(self, firm: Firm) -> None:
        upload = send(self.DATA)
        for offset, data in ((0, self.DATA), (7, b"x"), (10**9, b""), (-5, b"x")):
            assert actions.take_piece(upload, offset=offset, data=data, at=AT).file == upload.file

    def test_after_a_refusal_nothing_is_taken_any_more(self, firm: Firm) -> None:
        upload = send(b"no picture at all")
        again = actions.take_piece(upload, offset=0, data=self.DATA[:10], at=AT)
        assert again.refused == upload.refused
        assert not store.upload_place(upload.pk).exists()
