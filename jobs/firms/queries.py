from __future__ import annotations

from uuid import UUID

from jobs.firms.models import Member, Role


def members_of(firm: UUID, *roles: Role) -> list[Member]:
    """Active members of a firm by name; with `roles`, those who have one of them."""
    members = Member.objects.select_related("user").filter(firm_id=firm, is_active=True).order_by("user__name")
    return [member for member in members if not roles or member.has_role(*roles)]
