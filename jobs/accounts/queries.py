from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from uuid import UUID

from jobs.accounts.models import Invitation
from jobs.accounts.trade import INVITATION_DAYS
from jobs.firms.models import Member, Role, User


def people(firm: UUID) -> list[Member]:
    """Everybody who is or was a member, by name; who was switched off comes last."""
    return list(Member.objects.select_related("user").filter(firm_id=firm).order_by("-is_active", "user__name"))


def memberships(user: User) -> list[Member]:
    """The firms this person works for, by name."""
    mine = Member.objects.select_related("firm").filter(user=user, is_active=True, user__is_active=True)
    return list(mine.order_by("firm__name"))


def open_invitations(at: datetime) -> list[Invitation]:
    """Those of the firm in scope that can still be accepted, newest first."""
    fresh = Invitation.objects.filter(
        accepted_at=None, withdrawn_at=None, invited_at__gt=at - timedelta(days=INVITATION_DAYS)
    )
    return list(fresh.order_by("-invited_at"))


def invited(email: str) -> list[Invitation]:
    """Open invitations to this address, run out or not."""
    return list(Invitation.objects.filter(email=email, accepted_at=None, withdrawn_at=None))


def user_by_email(email: str) -> User | None:
    return User.objects.filter(email=email.lower()).first()


def other_managers(member: Member) -> int:
    """How many active managers the firm has besides this one."""
    others = Member.objects.filter(firm_id=member.firm_id, is_active=True, user__is_active=True).exclude(pk=member.pk)
    return sum(other.has_role(Role.MANAGER) for other in others)


def role_labels(roles: Iterable[str]) -> str:
    """As they stand in a sentence."""
    return ", ".join(Role(role).label.lower() for role in roles)
