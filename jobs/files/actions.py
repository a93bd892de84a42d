"""Files are kept here, and photos come in here piece by piece."""

from __future__ import annotations

import hashlib
import re
from datetime import datetime
from uuid import UUID

from django.db import IntegrityError, transaction

from jobs.files import images, queries, store
from jobs.files.errors import NotAPicture, UploadRefused, WrongOffset
from jobs.files.models import StoredFile, Upload
from jobs.files.trade import MAX_BYTES, MAX_PIECE, PHOTO, PICTURES, SMALL

SHA256 = re.compile(r"[0-9a-f]{64}")


def put(data: bytes, *, content_type: str, purpose: str, at: datetime) -> StoredFile:
    """Keeps bytes that the service made or took whole; the same bytes twice are one file."""
    digest = hashlib.sha256(data).hexdigest()
    store.write(store.place(digest, purpose), data)
    return _row(digest, purpose, stored_sha256=digest, size=len(data), content_type=content_type, received_at=at)


def put_photo(data: bytes, *, at: datetime) -> StoredFile:
    """Keeps a photo under the hash of what was received, made anew in two sizes. Raises `NotAPicture`."""
    made = images.picture(data)
    digest = hashlib.sha256(data).hexdigest()
    store.write(store.place(digest, SMALL), made.small)
    store.write(store.place(digest, PHOTO), made.large)
    return _row(
        digest,
        PHOTO,
        stored_sha256=hashlib.sha256(made.large).hexdigest(),
        size=len(made.large),
        content_type="image/jpeg",
        width=made.width,
        height=made.height,
        received_at=at,
    )


def discard(file: StoredFile) -> None:
    """Takes a file away for good, row first: bytes without a row are never served."""
    place = store.path(file)
    file.delete()
    transaction.on_commit(lambda: place.unlink(missing_ok=True))


def _row(sha256: str, purpose: str, **fields: object) -> StoredFile:
    found = StoredFile.objects.get_or_create(sha256=sha256, purpose=purpose, defaults=fields)
    file: StoredFile = found[0]
    return file


def start_upload(id: UUID, *, size: int, sha256: str, content_type: str, at: datetime) -> Upload:  # noqa: A002
    """Opens an upload, or tells how far the one with this id has come. A photo already here is whole at once."""
    sha256 = sha256.lower()
    begun = queries.upload(id)
    if begun:
        if (begun.sha256, begun.size) != (sha256, size):
            raise UploadRefused("This photo was sent before with other content. Take it again.")
        return begun
    _check(size=size, sha256=sha256, content_type=content_type)
    here = queries.by_hashes([sha256]).get(sha256)
    upload = Upload(
        id=id, size=size, sha256=sha256, content_type=content_type, started_at=at, file=here, offset=size if here else 0
    )
    try:
        with transaction.atomic():
            upload.save(force_insert=True)
    except IntegrityError as error:
        raise UploadRefused("This photo's number is taken. Take the photo again.") from error
    return upload


def _check(*, size: int, sha256: str, content_type: str) -> None:
    if not SHA256.fullmatch(sha256):
        raise UploadRefused("The photo came without its check sum. Send it again.")
    if content_type not in PICTURES:
        raise UploadRefused("Only JPEG, PNG, WebP and HEIC photos can be kept. Take it with the phone's camera.")
    if not 0 < size <= MAX_BYTES:
        raise UploadRefused("A photo may have up to 25 MB. Take it again with the phone's usual camera setting.")


def take_piece(upload: Upload, *, offset: int, data: bytes, at: datetime) -> Upload:
    """Takes the next piece; the last one makes the photo. Raises `WrongOffset` with the true one.

    Afterwards `upload.file` stands when all is received; `upload.refused` when it never can be; with neither, the
    phone goes on from `upload.offset` (0 again when the whole did not have the hash that was told).
    """
    upload = queries.upload_to_write(upload.pk)
    if upload.file_id or upload.refused:
        return upload
    if offset != upload.offset:
        raise WrongOffset(upload.offset)
    if not data or len(data) > MAX_PIECE or offset + len(data) > upload.size:
        raise UploadRefused("This piece of the photo has the wrong size. Start the photo again.")
    target = store.upload_place(upload.pk)
    if offset and not (target.is_file() and target.stat().st_size >= offset):
        return _restart(upload)
    store.write_piece(target, offset=offset, data=data)
    upload.offset = offset + len(data)
    if upload.offset == upload.size:
        return _finish(upload, at=at)
    upload.save(update_fields=["offset"])
    return upload


def _finish(upload: Upload, *, at: datetime) -> Upload:
    target = store.upload_place(upload.pk)
    data = target.read_bytes()
    if hashlib.sha256(data).hexdigest() != upload.sha256:
        return _restart(upload)
    try:
        upload.file = put_photo(data, at=at)
    except NotAPicture as error:
        upload.refused = str(error)
    upload.save(update_fields=["offset", "file", "refused"])
    # If the transaction is undone after this, the missing pieces make the next one start the upload again.
    target.unlink(missing_ok=True)
    return upload


def _restart(upload: Upload) -> Upload:
    store.upload_place(upload.pk).unlink(missing_ok=True)
    upload.offset = 0
    upload.save(update_fields=["offset"])
    return upload
