"""Visits, entries and runs for who may see them. Another firm's row is 404 by scope, a wrong role or crew 403."""

from __future__ import annotations

from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.shortcuts import get_object_or_404

from jobs.firms.models import Member, Role
from jobs.visits.models import Booking, Entry, HeldItem, Run, Visit

DESK = (Role.SCHEDULER, Role.MANAGER)


def visit_for(member: Member, pk: UUID) -> Visit:
    """The desk sees every visit, the crew those it is booked on."""
    found: Visit = get_object_or_404(Visit.objects.select_related("job__site"), pk=pk)
    if not member.works_at_desk and not Booking.objects.filter(visit=found, member=member).exists():
        raise PermissionDenied
    return found


def entry_for(pk: UUID) -> Entry:
    found: Entry = get_object_or_404(Entry.objects.select_related("job__site", "job__rule_set", "person__user"), pk=pk)
    return found


def held_item_for(pk: UUID) -> HeldItem:
    found: HeldItem = get_object_or_404(HeldItem.objects.select_related("sent_by__user"), pk=pk)
    return found


def run_for(pk: UUID) -> Run:
    found: Run = get_object_or_404(Run.objects.select_related("job__site", "job__rule_set"), pk=pk)
    return found
