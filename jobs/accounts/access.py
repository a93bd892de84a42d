"""Rows for people who may see them; everybody else gets the same 404."""

from __future__ import annotations

from uuid import UUID

from django.shortcuts import get_object_or_404

from jobs.accounts.models import Invitation
from jobs.firms.models import Member


def member_for(member: Member, pk: UUID) -> Member:
    """A member of the same firm, active or not."""
    return get_object_or_404(Member.objects.select_related("user", "firm"), firm_id=member.firm_id, pk=pk)


def invitation_for(pk: UUID) -> Invitation:
    """An invitation of the firm in scope that was neither accepted nor withdrawn."""
    return get_object_or_404(Invitation.objects.all(), pk=pk, accepted_at=None, withdrawn_at=None)
