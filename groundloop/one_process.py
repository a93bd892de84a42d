"""Refuses processes beside the one of the embedded default: a broker in memory would never hand them anything."""

from __future__ import annotations

import threading

from django.conf import settings

from groundloop import env

SENTENCE = "Set REDIS_URL to run web, worker and beat apart, or run `python3 manage.py serve` alone."

inside = threading.Event()  # set in the one process


def refuse_others() -> None:
    """For a worker or beat that is started by itself; Celery swallows any lesser exception here."""
    if settings.EMBEDDED and not inside.is_set():
        raise SystemExit(SENTENCE)


def refuse_gunicorn() -> None:
    """For a web server with several processes; gunicorn would start a worker that only exits again and again."""
    if settings.EMBEDDED and env.text("SERVER_SOFTWARE", "").startswith("gunicorn"):
        raise env.BadEnvironment(SENTENCE)
