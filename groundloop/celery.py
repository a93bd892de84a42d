"""The alarm clock. Tasks are thin fronts; the beat only sweeps, and two beats do no harm."""

from __future__ import annotations

from typing import Any

from celery import Celery
from celery.signals import beat_init, celeryd_init
from django.conf import settings

from groundloop import env
from groundloop.one_process import refuse_others

env.put_default("DJANGO_SETTINGS_MODULE", "groundloop.settings")
app = Celery("groundloop")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
app.set_default()  # threads of the web server ring the same broker
app.conf.beat_schedule = {
    "sweep": {
        "task": "jobs.work.tasks.sweep",
        "schedule": settings.WORK_SWEEP_SECONDS,
        "options": {"expires": settings.WORK_SWEEP_SECONDS},
    }
}


@celeryd_init.connect
@beat_init.connect
def _not_beside_the_one_process(**_: Any) -> None:
    """Worker and beat of the one process pass."""
    refuse_others()
