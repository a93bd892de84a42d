"""Who may come in: the wrapper that puts a view inside its firm, and the role check."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, cast

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, JsonResponse
from django.http.response import HttpResponseBase

from jobs.firms.models import Member, Role, User
from jobs.firms.scope import scope

P = ParamSpec("P")
SAFE = {"GET", "HEAD", "OPTIONS"}
FORMS = ("multipart/", "application/x-www-form-urlencoded")
SESSION_KEY = "member"


class MemberRequest(HttpRequest):
    """A request of somebody signed in who is at work for one firm."""

    user: User
    member: Member


def member_of(request: HttpRequest) -> Member | None:
    """The active membership this session works under: the one chosen, else the first by firm name."""
    if not request.user.is_authenticated:
        return None
    mine = Member.objects.select_related("firm", "user").filter(user=request.user, is_active=True, user__is_active=True)
    chosen = request.session.get(SESSION_KEY)
    if chosen:
        found = mine.filter(pk=chosen).first()
        if found:
            return found
    return mine.order_by("firm__name").first()


def _is_form(request: HttpRequest) -> bool:
    return (request.content_type or "").startswith(FORMS)


def read_body(request: HttpRequest) -> None:
    """Reads what was sent before a transaction opens, so that a slow phone never holds the write lock."""
    _ = request.POST if _is_form(request) else request.body


MemberView = Callable[Concatenate[MemberRequest, P], HttpResponseBase]
View = Callable[Concatenate[HttpRequest, P], HttpResponseBase]


def member_view(*roles: Role, api: bool = False, own_scope: bool = False) -> Callable[[MemberView[P]], View[P]]:
    """Puts a view inside the firm of who is signed in; with `roles`, only for members who have one of them.

    Not signed in: to the sign-in page (`api`: 401 JSON, and forms are refused). No firm or wrong role: 403. `own_scope`: the view opens its
    scopes itself (the entry inbox, one savepoint per entry).
    """

    def decorate(view: MemberView[P]) -> View[P]:
        @wraps(view)
        def wrapped(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            member = member_of(request)
            if member is None:
                return _not_in(request, api=api)
            if roles and not member.has_role(*roles):
                raise PermissionDenied
            inside = cast("MemberRequest", request)
            inside.member = member
            writes = request.method not in SAFE
            if writes and api and _is_form(request):
                return JsonResponse({"error": "Send JSON or bytes, not a form."}, status=415)
            if writes:
                read_body(request)
            if own_scope:
                return view(inside, *args, **kwargs)
            with scope(member.firm_id, writes=writes):
                return _rendered(view(inside, *args, **kwargs))

        wrapped.firm_roles = roles or tuple(Role)  # type: ignore[attr-defined]  # read by the URL access table
        return cast("View[P]", wrapped)

    return decorate


def _not_in(request: HttpRequest, *, api: bool) -> HttpResponseBase:
    """The answer to somebody who is not signed in, or whom no firm has any more."""
    if api:
        return JsonResponse({"error": "Sign in, then send it again."}, status=401)
    if request.user.is_authenticated:
        raise PermissionDenied
    return redirect_to_login(request.get_full_path())


def _rendered(response: HttpResponseBase) -> HttpResponseBase:
    """A lazily rendered response would query after its scope has closed."""
    render: Any = getattr(response, "render", None)
    if callable(render) and not getattr(response, "is_rendered", True):
        return cast("HttpResponseBase", render())
    return response
