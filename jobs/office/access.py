from __future__ import annotations

from uuid import UUID

from django.shortcuts import get_object_or_404

from jobs.planning.models import Job


def job_to_see(pk: UUID) -> Job:
    """Any member of the firm in scope may see its jobs. 404 for another firm's."""
    jobs = Job.objects.select_related("site__customer", "rule_set", "scheduler__user", "progress", "run")
    return get_object_or_404(jobs, pk=pk)
