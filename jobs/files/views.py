from __future__ import annotations

from uuid import UUID

from django.http import HttpResponse
from django.views.decorators.http import require_safe

from jobs.files import access
from jobs.firms.access import MemberRequest, member_view


@require_safe
@member_view()
def photo(request: MemberRequest, pk: UUID) -> HttpResponse:
    return access.answer(access.photo_for(pk), small=request.GET.get("size") == "small")


@require_safe
@member_view()
def photo_by_hash(request: MemberRequest, sha256: str) -> HttpResponse:
    return access.answer(access.photo_by_hash(sha256), small=request.GET.get("size") == "small")
