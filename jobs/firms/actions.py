"""A firm is founded, with its first people. All later ones come by invitation."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction

from jobs.firms import audit
from jobs.firms.models import Firm, Member, Role, User
from jobs.firms.scope import scope


def found_firm(*, name: str, time_zone: str = "Europe/London", at: datetime) -> Firm:
    firm = Firm(name=name, time_zone=time_zone)
    with transaction.atomic():
        firm.save()
        with scope(firm.pk):
            audit.record(at=at, actor=None, verb="firm_founded", subject=firm)
    return firm


def take_on(firm: Firm, *, user: User, roles: Sequence[Role], at: datetime) -> Member:
    """Makes somebody a member without an invitation: the first manager, and the people of the demo."""
    member = Member(firm=firm, user=user, roles=[role.value for role in roles])
    with transaction.atomic():
        member.save()
        with scope(firm.pk):
            audit.record(at=at, actor=None, verb="member_taken_on", subject=member, roles=member.roles)
    return member
