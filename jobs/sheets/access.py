"""Sheets for who may see them: another firm's is 404 by scope, a wrong role 403 by the view's wrapper."""

from __future__ import annotations

from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.shortcuts import get_object_or_404

from jobs.firms.models import Member
from jobs.sheets.models import Finding, Sheet
from jobs.sheets.queries import sheets
from jobs.visits.models import Booking, Entry


def sheet_for(member: Member, pk: UUID) -> Sheet:
    """The desk sees every sheet, the crew those of jobs they are booked on or logged for."""
    found: Sheet = get_object_or_404(sheets(), pk=pk)
    if member.works_at_desk or _was_there(member, found):
        return found
    raise PermissionDenied


def _was_there(member: Member, sheet: Sheet) -> bool:
    booked = Booking.objects.filter(member=member, visit__job=sheet.job_id)
    return booked.exists() or Entry.objects.filter(job=sheet.job_id, person=member).exists()


def finding_for(pk: UUID) -> Finding:
    found: Finding = get_object_or_404(Finding.objects.select_related("sheet__job"), pk=pk)
    return found
