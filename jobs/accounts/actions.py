"""Inviting people, letting them in, and what a manager changes about them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.urls import reverse

from jobs.accounts import links, queries
from jobs.accounts.errors import AlreadyMember, InvitationClosed, LastManager, NotAFirm
from jobs.accounts.models import Invitation, LinkToken
from jobs.accounts.trade import INVITATION, INVITATION_DAYS
from jobs.firms import audit
from jobs.firms.models import Firm, Member, Role, User
from jobs.firms.scope import scope
from jobs.work import actions as work
from jobs.work import mail


def invite(*, email: str, name: str, roles: Sequence[str], by: Member, at: datetime) -> Invitation:
    """Asks somebody by mail to join; an older open invitation to the same address is withdrawn.

    Raises `AlreadyMember`.
    """
    address = email.lower()
    if Member.objects.filter(firm_id=by.firm_id, user__email=address, is_active=True).exists():
        raise AlreadyMember(f"{address} already works here. Open the person in the list to change the roles.")
    for older in queries.invited(address):
        withdraw(older, by=by, at=at)
    invitation = Invitation.objects.create(email=address, name=name, roles=list(roles), invited_by=by, invited_at=at)
    token = links.make(INVITATION, subject=invitation.pk, at=at, days=INVITATION_DAYS)
    mail.post(
        to=address,
        subject=mail.one_line(f"{by.user.name} invites you to {by.firm.name}"),
        body=(
            f"Hello {name},\n\n{by.user.name} asks you to join {by.firm.name} as {queries.role_labels(roles)}.\n\n"
            f"Open this page within three days to accept:\n{_address(token)}\n\n"
            "The page works once. If you do not know what this is about, do nothing.\n"
        ),
        at=at,
        secret=True,
    )
    audit.record(at=at, actor=by, verb="invited", subject=invitation, roles=list(roles))
    work.nudge()
    return invitation


def found_firm(firm_name: str, *, time_zone: str, email: str, name: str, at: datetime) -> str:
    """Adds a firm whose first manager is invited; gives the address to open. Raises `NotAFirm`."""
    address = email.lower()
    try:
        validate_email(address)
        ZoneInfo(time_zone)
    except (ValidationError, ValueError, ZoneInfoNotFoundError):
        raise NotAFirm("Give a mail address, and a time zone such as Europe/London.") from None
    with transaction.atomic():
        firm = Firm.objects.create(name=firm_name, time_zone=time_zone)
        with scope(firm.pk):
            invitation = Invitation.objects.create(email=address, name=name, roles=[Role.MANAGER.value], invited_at=at)
            audit.record(at=at, actor=None, verb="founded", subject=firm)
            return _address(links.make(INVITATION, subject=invitation.pk, at=at, days=INVITATION_DAYS))


def _address(token: str) -> str:
    return settings.SITE_URL + reverse("accounts:invitation", args=[token])


def withdraw(invitation: Invitation, *, by: Member, at: datetime) -> None:
    """Closes an invitation and its link."""
    invitation.withdrawn_at = at
    invitation.save(update_fields=["withdrawn_at"])
    links.revoke(INVITATION, subject=invitation.pk, at=at)
    audit.record(at=at, actor=by, verb="invitation_withdrawn", subject=invitation)


def join(invitation: Invitation, link: LinkToken, *, user: User, at: datetime) -> Member:
    """Makes somebody who has an account a member, with the roles the invitation names. Raises `InvitationClosed`."""
    if user.email != invitation.email or not links.use(link, at=at):
        raise InvitationClosed("This invitation is no longer open. Ask for a new one.")
    member, _ = Member.objects.update_or_create(
        firm_id=invitation.firm_id, user=user, defaults={"roles": invitation.roles, "is_active": True}
    )
    invitation.accepted_at = at
    invitation.save(update_fields=["accepted_at"])
    audit.record(at=at, actor=member, verb="joined", subject=member, roles=invitation.roles)
    return member


def join_as_new(invitation: Invitation, link: LinkToken, *, name: str, password: str, at: datetime) -> Member:
    """Makes the account first. Raises `InvitationClosed`."""
    if queries.user_by_email(invitation.email):
        raise InvitationClosed("There is an account for this address by now. Sign in, then open the link again.")
    with transaction.atomic():
        user = User.objects.create_user(invitation.email, name, password)
        return join(invitation, link, user=user, at=at)


def change_roles(member: Member, *, roles: Sequence[str], by: Member, at: datetime) -> None:
    """Counts from the member's next request. Raises `LastManager`."""
    if Role.MANAGER.value not in roles:
        _keep_a_manager(member)
    before, member.roles = member.roles, list(roles)
    member.save(update_fields=["roles"])
    audit.record(at=at, actor=by, verb="roles_changed", subject=member, before=before, after=list(roles))


def switch_off(member: Member, *, by: Member, at: datetime) -> None:
    """The member is out at the next request; what they did stays under their name. Raises `LastManager`."""
    _keep_a_manager(member)
    member.is_active = False
    member.save(update_fields=["is_active"])
    audit.record(at=at, actor=by, verb="switched_off", subject=member)


def switch_on(member: Member, *, by: Member, at: datetime) -> None:
    """Lets somebody back in with the roles they had."""
    member.is_active = True
    member.save(update_fields=["is_active"])
    audit.record(at=at, actor=by, verb="switched_on", subject=member)


def _keep_a_manager(member: Member) -> None:
    """Two managers who switch each other off at once are put in order by the firm's row."""
    Firm.objects.select_for_update().get(pk=member.firm_id)
    if member.is_active and member.has_role(Role.MANAGER) and not queries.other_managers(member):
        raise LastManager("This is the firm's only manager. Make somebody else manager first.")
