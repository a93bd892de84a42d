"""The audit log's one verb. Called by actions, in their transaction."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db import models

from jobs.firms.models import AuditEvent, Member


def record(*, at: datetime, actor: Member | None, verb: str, subject: models.Model, **detail: Any) -> None:
    """Who (None: the service itself) did what to which row; `detail` holds plain JSON, no free text from people."""
    AuditEvent.objects.create(
        at=at,
        actor=actor,
        verb=verb,
        subject_kind=subject._meta.model_name or "",
        subject_id=subject.pk,
        detail=detail,
    )
