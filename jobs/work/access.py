from __future__ import annotations

from uuid import UUID

from django.shortcuts import get_object_or_404

from jobs.firms.models import Member
from jobs.work.models import Work


def work_for(member: Member, pk: UUID) -> Work:
    """A row of the member's firm; 404 for any other."""
    return get_object_or_404(Work, firm_id=member.firm_id, pk=pk)
