"""Who may have bytes: members of the firm. And in what wrapping they leave the house."""

from __future__ import annotations

from uuid import UUID

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404

from jobs.files import store
from jobs.files.models import StoredFile
from jobs.files.trade import PHOTO, SMALL


def photo_for(pk: UUID) -> StoredFile:
    """The scope makes another firm's photo a 404."""
    file: StoredFile = get_object_or_404(StoredFile.objects.filter(purpose=PHOTO), pk=pk)
    return file


def photo_by_hash(sha256: str) -> StoredFile:
    file: StoredFile = get_object_or_404(StoredFile.objects.filter(purpose=PHOTO), sha256=sha256.lower())
    return file


def answer(file: StoredFile, *, small: bool = False, name: str = "") -> HttpResponse:
    """The bytes as a private answer that a browser can only show. With `name` it is offered for saving."""
    try:
        data = store.read(file, purpose=SMALL if small and file.purpose == PHOTO else "")
    except FileNotFoundError as error:
        raise Http404("The bytes of this file are missing.") from error
    response = HttpResponse(data, content_type=file.content_type)
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = "sandbox; default-src 'none'"
    response["Cross-Origin-Resource-Policy"] = "same-origin"
    response["Cache-Control"] = "private, max-age=86400, immutable"
    if name:
        response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
