from __future__ import annotations

import errno
import hashlib
import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from jobs.files import actions, queries, store
from jobs.files.errors import NoRoom
from jobs.files.models import StoredFile
from jobs.firms.models import Firm

AT = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)


def test_lies_under_its_firm_by_hash(firm: Firm, tmp_path: Path) -> None:
    file = actions.put(b"abc", content_type="application/pdf", purpose="sheet", at=AT)
    # SHA-256 of "abc": FIPS 180-2, appendix B.1.
    digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert file.sha256 == digest
    assert store.path(file) == tmp_path / str(firm.pk) / "ba" / f"{digest}-sheet"
    assert store.read(file) == b"abc"


def test_the_same_bytes_twice_are_one_file(firm: Firm) -> None:
    first = actions.put(b"abc", content_type="application/pdf", purpose="sheet", at=AT)
    again = actions.put(b"abc", content_type="application/pdf", purpose="sheet", at=AT)
    assert first == again
    assert StoredFile.objects.count() == 1


def test_a_full_disk_keeps_what_was_there(firm: Firm, monkeypatch: pytest.MonkeyPatch) -> None:
    target = store.place(hashlib.sha256(b"x").hexdigest(), "sheet")
    store.write(target, b"old")

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(NoRoom, match="disk is full"):
        store.write(target, b"new and longer")
    assert target.read_bytes() == b"old"
    assert [file.name for file in target.parent.iterdir()] == [target.name], "no half file stays behind"


def test_names_cannot_leave_the_folder(firm: Firm) -> None:
    for sha256, purpose in (("../../etc/passwd", "photo"), ("0" * 64, "../x"), ("0" * 63, "photo")):
        with pytest.raises(ValueError, match="not a name"):
            store.place(sha256, purpose)


def test_a_row_without_bytes_is_not_here(firm: Firm) -> None:
    file = actions.put(b"abc", content_type="image/jpeg", purpose="photo", at=AT)
    assert set(queries.by_hashes([file.sha256])) == {file.sha256}
    store.path(file).unlink()
    assert queries.by_hashes([file.sha256]) == {}
