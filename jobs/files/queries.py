from __future__ import annotations

from collections.abc import Iterable
from uuid import UUID

from jobs.files import store
from jobs.files.models import StoredFile, Upload
from jobs.files.trade import PHOTO


def by_hash(sha256: str, *, purpose: str = PHOTO) -> StoredFile | None:
    """The file of the firm in scope with this hash; none when its bytes have not come yet."""
    file: StoredFile | None = StoredFile.objects.filter(sha256=sha256.lower(), purpose=purpose).first()
    return file


def by_hashes(hashes: Iterable[str], *, purpose: str = PHOTO) -> dict[str, StoredFile]:
    """Those of these photos that are here whole: row and bytes."""
    found = StoredFile.objects.filter(sha256__in=set(hashes), purpose=purpose)
    return {file.sha256: file for file in found if store.is_here(file)}


def upload(pk: UUID) -> Upload | None:
    """An upload of the firm in scope, for the phone that asks how far it came."""
    found: Upload | None = Upload.objects.select_related("file").filter(pk=pk).first()
    return found


def upload_to_write(pk: UUID) -> Upload:
    """Locked, where the database can, until the piece is taken."""
    found: Upload = Upload.objects.select_for_update().get(pk=pk)
    return found
