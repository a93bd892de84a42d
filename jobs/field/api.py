"""What the phone asks and sends. Every answer says by `X-App` that it is ours: a portal's 200 proves nothing."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from functools import wraps
from typing import Any, Concatenate, ParamSpec, cast
from uuid import UUID

from django.conf import settings
from django.core.exceptions import RequestDataTooBig
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.http.response import HttpResponseBase
from django.middleware.csrf import get_token
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.gzip import gzip_page
from rest_framework.authentication import CSRFCheck

from jobs.field import actions, inbox, queries
from jobs.field.pack import pack_for
from jobs.files.errors import NoRoom, UploadRefused, WrongOffset
from jobs.firms import clock
from jobs.firms.access import MemberRequest, member_view

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponseBase]
API_VERSION = 1
RENEWED = "phone_renewed"


def _no_answer(_request: HttpRequest) -> HttpResponse:
    return HttpResponse()


def _forged(request: HttpRequest) -> bool:
    """Django's own CSRF check, asked here so that the phone gets JSON it can tell from a portal's page."""
    check = CSRFCheck(_no_answer)
    check.process_request(request)
    return bool(check.process_view(request, None, (), {}))  # type: ignore[arg-type]  # it reads no callback here


def _taken(view: View[P], request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
    """A body over the limit is told as ours: the phone halves it and goes on."""
    try:
        return view(request, *args, **kwargs)
    except RequestDataTooBig:
        return JsonResponse({"error": "too_large"}, status=413)


def ours(*methods: str) -> Callable[[View[P]], View[P]]:
    """Marks every answer as ours and never kept; asks for the CSRF token itself."""

    def decorate(view: View[P]) -> View[P]:
        @csrf_exempt
        @wraps(view)
        def wrapped(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            response: HttpResponseBase
            if request.method not in methods:
                response = JsonResponse({"error": "method"}, status=405)
            elif request.method != "GET" and request.user.is_authenticated and _forged(request):
                response = JsonResponse({"error": "csrf"}, status=403)
            else:
                response = _taken(view, request, *args, **kwargs)
            response["X-App"] = "groundloop"
            response["Cache-Control"] = "no-store"
            return response

        return cast("View[P]", wrapped)

    return decorate


@ours("GET")
@member_view(api=True)
def session(request: MemberRequest) -> HttpResponse:
    now = clock.now()
    member = request.member
    return JsonResponse(
        {
            "person": {"id": str(member.pk), "name": member.user.name, "roles": member.roles},
            "firm": {"id": str(member.firm_id), "name": member.firm.name},
            "csrf": get_token(request),
            "now": now.isoformat(),
            "api": API_VERSION,
            "schemas": inbox.SCHEMAS,
            "signed_in_until": _signed_in_until(request, now).isoformat(),
            "limits": {"entries": inbox.MOST_ENTRIES, "bytes": inbox.MOST_BYTES},
        }
    )


def _signed_in_until(request: MemberRequest, now: datetime) -> datetime:
    """A phone in use stays signed in: renewed once a day, so that asking does not write each time."""
    today = now.date().isoformat()
    if request.session.get(RENEWED) != today:
        request.session[RENEWED] = today
    return now.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(seconds=settings.SESSION_COOKIE_AGE)


@ours("GET")
@gzip_page
@member_view(api=True)
def pack(request: MemberRequest) -> HttpResponse:
    made = pack_for(request.member, at=clock.now())
    if request.GET.get("etag") == made["etag"]:
        return HttpResponse(status=304)
    return JsonResponse(made)


@ours("POST")
@member_view(api=True, own_scope=True)
def entries(request: MemberRequest) -> HttpResponse:
    """Answers after the transaction is through: a receipt is never given for what could still be undone."""
    at = clock.now()
    try:
        batch = inbox.read_batch(request.body)
    except inbox.Unreadable as error:
        return JsonResponse({"error": "unreadable", "why": str(error)}, status=400)
    results = actions.take_batch(batch, sender=request.member, at=at)
    return JsonResponse({"results": results, "now": at.isoformat()})


@ours("POST")
@member_view(api=True, own_scope=True)
def raw(request: MemberRequest) -> HttpResponse:
    """The last resort: takes whatever comes, for a person to look at."""
    at = clock.now()
    actions.take_raw(request.body, sender=request.member, device=_uuid(request.GET.get("device")), at=at)
    return JsonResponse({"status": "held", "received_at": at.isoformat(), "why": "unreadable"})


@ours("GET")
@member_view(api=True)
def receipts(request: MemberRequest) -> HttpResponse:
    device = _uuid(request.GET.get("device"))
    if device is None:
        return JsonResponse({"error": "device"}, status=400)
    after = inbox.whole(request.GET.get("after_seq", 0))
    return JsonResponse({"results": queries.receipts(request.member, device=device, after_seq=after)})


@ours("GET", "POST", "PATCH")
@member_view(api=True)
def upload(request: MemberRequest, pk: UUID) -> HttpResponse:
    """A photo in pieces: opened, asked how far it came, and carried on from there."""
    try:
        return JsonResponse(_upload(request, pk, clock.now()))
    except WrongOffset as error:
        return JsonResponse({"offset": error.true_offset}, status=409)
    except queries.UnknownUpload:
        return JsonResponse({"error": "unknown"}, status=404)
    except NoRoom as error:
        return JsonResponse({"error": "no_room", "why": str(error)}, status=507)
    except (UploadRefused, inbox.Unreadable) as error:
        return JsonResponse({"refused": str(error)}, status=422)


def _upload(request: MemberRequest, pk: UUID, at: datetime) -> dict[str, Any]:
    if request.method == "POST":
        return actions.open_upload(pk, inbox.read_object(request.body), at=at)
    if request.method == "GET":
        return queries.upload_state(pk)
    offset = inbox.whole(request.headers.get("Upload-Offset", "0"))
    return actions.take_piece(pk, offset=offset, data=request.body, at=at)


@ours("POST")
@member_view(api=True)
def report(request: MemberRequest) -> HttpResponse:
    """How the phone fares: what still waits on it, and whether its browser threw readings away."""
    try:
        told: dict[str, Any] = inbox.read_object(request.body)
    except inbox.Unreadable:
        return JsonResponse({"error": "unreadable"}, status=400)
    actions.hear_report(told, by=request.member, at=clock.now())
    return JsonResponse({"heard": True})


def _uuid(text: str | None) -> UUID | None:
    try:
        return UUID(text or "")
    except ValueError:
        return None
