"""The alarm clock. Tasks are thin fronts; the beat only sweeps, and two beats do no harm."""

from __future__ import annotations

from celery import Celery
from django.conf import settings

app = Celery("groundloop")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
app.conf.beat_schedule = {
    "sweep": {
        "task": "jobs.work.tasks.sweep",
        "schedule": settings.WORK_SWEEP_SECONDS,
        "options": {"expires": settings.WORK_SWEEP_SECONDS},
    }
}
