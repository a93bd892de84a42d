from __future__ import annotations

from typing import Any, cast
from uuid import UUID

from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from jobs.accounts import access, actions, links, queries
from jobs.accounts.adapter import landing
from jobs.accounts.forms import AcceptForm, InviteForm, RolesForm
from jobs.accounts.models import Invitation, LinkToken
from jobs.accounts.trade import INVITATION
from jobs.firms import clock
from jobs.firms.access import SESSION_KEY, MemberRequest, member_view, read_body
from jobs.firms.errors import Refused
from jobs.firms.models import Role, User
from jobs.firms.scope import scope

BACKEND = "allauth.account.auth_backends.AuthenticationBackend"


@member_view(Role.MANAGER, Role.SCHEDULER)
def people(request: MemberRequest) -> HttpResponse:
    found = {
        "people": queries.people(request.member.firm_id),
        "invitations": [
            (invitation, queries.role_labels(invitation.roles)) for invitation in queries.open_invitations(clock.now())
        ],
        "may_change": request.member.has_role(Role.MANAGER),
    }
    return render(request, "accounts/people.html", found)


@member_view(Role.MANAGER)
def invite(request: MemberRequest) -> HttpResponse:
    form = InviteForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            actions.invite(**form.cleaned_data, by=request.member, at=clock.now())
        except Refused as refused:
            form.add_error("email", str(refused))
        else:
            messages.success(request, f"An invitation is on its way to {form.cleaned_data['email']}.")
            return redirect("accounts:people")
    return render(request, "accounts/invite.html", {"form": form})


@member_view(Role.MANAGER)
@require_POST
def withdraw(request: MemberRequest, pk: UUID) -> HttpResponse:
    invitation = access.invitation_for(pk)
    actions.withdraw(invitation, by=request.member, at=clock.now())
    messages.success(request, f"The invitation to {invitation.email} is withdrawn; its link opens nothing any more.")
    return redirect("accounts:people")


@member_view(Role.MANAGER)
def member(request: MemberRequest, pk: UUID) -> HttpResponse:
    person = access.member_for(request.member, pk)
    form = RolesForm(request.POST or None, initial={"roles": person.roles})
    if request.method == "POST" and form.is_valid():
        try:
            actions.change_roles(person, roles=form.cleaned_data["roles"], by=request.member, at=clock.now())
        except Refused as refused:
            form.add_error("roles", str(refused))
        else:
            messages.success(request, f"{person} is now: {person.role_labels}.")
            return redirect("accounts:people")
    return render(request, "accounts/member.html", {"form": form, "person": person})


@member_view(Role.MANAGER)
@require_POST
def member_switch(request: MemberRequest, pk: UUID) -> HttpResponse:
    """Off when the member is in, on when out; the page says which."""
    person = access.member_for(request.member, pk)
    switch = actions.switch_on if request.POST.get("to") == "on" else actions.switch_off
    try:
        switch(person, by=request.member, at=clock.now())
    except Refused as refused:
        messages.error(request, str(refused))
    return redirect("accounts:people")


@never_cache
@login_required
def firms(request: HttpRequest) -> HttpResponse:
    """Which firm this browser works for; also where somebody lands whom no firm has."""
    mine = queries.memberships(cast("User", request.user))
    if request.method == "POST":
        chosen = next((member for member in mine if str(member.pk) == request.POST.get("member")), None)
        if chosen is None:
            raise Http404
        request.session[SESSION_KEY] = str(chosen.pk)
        return redirect(landing(works_at_desk=chosen.works_at_desk))
    return render(request, "accounts/firms.html", {"memberships": mine})


@never_cache
def invitation(request: HttpRequest, token: str) -> HttpResponse:
    """What the link in the mail opens: GET shows it, because mail scanners follow links; POST accepts."""
    link = links.open(INVITATION, token, clock.now())
    if link is None:
        raise Http404
    writes = request.method == "POST"
    if writes:
        read_body(request)
    with scope(link.firm_id, writes=writes):
        return _invitation(request, access.invitation_for(link.subject), link)


def _invitation(request: HttpRequest, invitation: Invitation, link: LinkToken) -> HttpResponse:
    user = queries.user_by_email(invitation.email)
    shown: dict[str, Any] = {"invitation": invitation, "roles": queries.role_labels(invitation.roles)}
    if request.user.is_authenticated and request.user != user:
        return render(request, "accounts/invitation_other.html", shown)
    if user:
        return _join(request, link, user, shown)
    form = AcceptForm(request.POST or None, initial={"name": invitation.name}, email=invitation.email)
    if request.method == "POST" and form.is_valid():
        try:
            member = actions.join_as_new(invitation, link, **form.cleaned_data, at=clock.now())
        except Refused as refused:
            form.add_error(None, str(refused))
        else:
            login(request, member.user, backend=BACKEND)
            request.session[SESSION_KEY] = str(member.pk)
            return redirect(landing(works_at_desk=member.works_at_desk))
    return render(request, "accounts/invitation.html", {**shown, "form": form})


def _join(request: HttpRequest, link: LinkToken, user: User, shown: dict[str, Any]) -> HttpResponse:
    """Somebody with an account joins by one press; the link signs nobody in."""
    if request.method != "POST":
        return render(request, "accounts/invitation.html", shown)
    try:
        member = actions.join(shown["invitation"], link, user=user, at=clock.now())
    except Refused as refused:
        messages.error(request, str(refused))
        return redirect("accounts:firms")
    messages.success(request, f"You now work for {member.firm.name}.")
    if request.user.is_authenticated:
        request.session[SESSION_KEY] = str(member.pk)
    return redirect("accounts:firms")
