"""Bytes on the disk: whole or not at all.

A file is written beside its place, flushed, and moved there in one step, so that a full disk or a power cut never
leaves half a file under a good name. Names are hashes: the same bytes written twice are one file.
"""

from __future__ import annotations

import errno
import os
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import UUID

from django.conf import settings

from jobs.files.errors import NoRoom
from jobs.files.models import StoredFile
from jobs.firms.scope import firm_in_scope

NAME = re.compile(r"[0-9a-f]{64}-[a-z-]{1,20}")
FULL = "The server's disk is full. Nothing was lost here; send it again later and tell the office."


def place(sha256: str, purpose: str) -> Path:
    """Where these bytes lie, for the firm in scope."""
    name = f"{sha256}-{purpose}"
    if not NAME.fullmatch(name):
        raise ValueError("not a name of a stored file")
    return Path(settings.MEDIA_ROOT) / str(firm_in_scope()) / sha256[:2] / name


def path(file: StoredFile, *, purpose: str = "") -> Path:
    """`purpose`: another rendition of the same picture."""
    return place(file.sha256, purpose or file.purpose)


def read(file: StoredFile, *, purpose: str = "") -> bytes:
    return path(file, purpose=purpose).read_bytes()


def is_here(file: StoredFile) -> bool:
    return path(file).is_file()


def write(target: Path, data: bytes) -> None:
    """Puts `data` at `target` in one step. Raises `NoRoom` and keeps what was there."""
    with _no_room():
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=".part-", dir=target.parent)
        part = Path(name)
        try:
            with os.fdopen(handle, "wb") as out:
                out.write(data)
                out.flush()
                os.fsync(out.fileno())
            part.replace(target)
        finally:
            part.unlink(missing_ok=True)
        _flush_folder(target.parent)


def _flush_folder(folder: Path) -> None:
    """The new name itself survives a power cut."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextmanager
def _no_room() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        if error.errno in {errno.ENOSPC, errno.EDQUOT}:
            raise NoRoom(FULL) from error
        raise


def upload_place(upload: UUID) -> Path:
    """Where the pieces of an upload gather until it is whole."""
    return Path(settings.MEDIA_ROOT) / str(firm_in_scope()) / "uploads" / str(upload)


def write_piece(target: Path, *, offset: int, data: bytes) -> None:
    """Writes a piece at its place; whatever a broken earlier try left behind `offset` is cut off."""
    with _no_room():
        target.parent.mkdir(parents=True, exist_ok=True)
        with target.open("r+b" if target.exists() else "w+b") as out:
            out.truncate(offset)
            out.seek(offset)
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
