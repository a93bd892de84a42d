"""Tells the workers that something waits. Best effort: what is missed costs one sweep interval, never more.

A broker that hangs must not hang a request, so the message is sent by a thread of its own, one at a time; after a
failure the bell keeps silent for half a minute.
"""

from __future__ import annotations

import logging
import threading
import time

from celery import current_app

SWEEP = "jobs.work.tasks.sweep"
SILENT_S = 30.0
log = logging.getLogger(__name__)


def _send() -> None:
    current_app.send_task(SWEEP, retry=False, ignore_result=True, expires=60)


class Bell:
    """Coalesces: rung while ringing, it rings once more."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._rung = self._ringing = False
        self._silent_until = 0.0

    def ring(self) -> None:
        """Returns at once and never raises."""
        with self._lock:
            if time.monotonic() < self._silent_until:
                return
            self._rung = True
            if self._ringing:
                return
            self._ringing = True
        try:
            threading.Thread(target=self._work, name="bell", daemon=True).start()
        except RuntimeError:  # no thread to be had; the sweep will see the row
            self._ringing = False

    def _work(self) -> None:
        while True:
            with self._lock:
                if not self._rung:
                    self._ringing = False
                    return
                self._rung = False
            try:
                _send()
            except Exception as error:  # noqa: BLE001  (whatever the broker's client raises)
                log.warning("The broker cannot be reached (%s); the sweep will do it.", type(error).__name__)
                with self._lock:
                    self._silent_until = time.monotonic() + SILENT_S
                    self._rung = False


bell = Bell()
