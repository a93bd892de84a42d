"""Rows of the ground, always through their job."""

from __future__ import annotations

from typing import TypeVar
from uuid import UUID

from django.shortcuts import get_object_or_404

from jobs.firms.models import Member
from jobs.ground.models import Borehole, Loop, Section
from jobs.planning.access import DESK, job_for
from jobs.planning.models import Job

__all__ = ["DESK", "borehole_for", "job_for", "loop_for", "section_for"]

R = TypeVar("R", Borehole, Loop, Section)


def loop_for(member: Member, pk: UUID, row: UUID) -> tuple[Job, Loop]:
    return _row(Loop, member, pk, row)


def borehole_for(member: Member, pk: UUID, row: UUID) -> tuple[Job, Borehole]:
    return _row(Borehole, member, pk, row)


def section_for(member: Member, pk: UUID, row: UUID) -> tuple[Job, Section]:
    return _row(Section, member, pk, row)


def _row(kind: type[R], member: Member, pk: UUID, row: UUID) -> tuple[Job, R]:
    """The row with its job set, so that both are one object."""
    job = job_for(member, pk)
    found: R = get_object_or_404(kind.objects.filter(job=job), pk=row)
    found.job = job
    return job, found
