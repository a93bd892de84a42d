"""Keeps a hanging handler from holding up the rest of a sweep."""

from __future__ import annotations

import threading
from collections.abc import Callable

from django.db import connections

from jobs.work.errors import TookTooLong


def guarded(job: Callable[[], None], seconds: float) -> None:
    """Runs `job` in a thread of its own and leaves it behind after `seconds` (`TookTooLong`).

    What is left behind cannot be stopped; whatever it still brings is fenced off by its row.
    """
    outcome: list[BaseException] = []

    def work() -> None:
        try:
            job()
        except BaseException as error:  # noqa: BLE001  (handed to the caller)
            outcome.append(error)
        finally:
            connections.close_all()

    thread = threading.Thread(target=work, name="handler", daemon=True)
    thread.start()
    thread.join(seconds)
    if thread.is_alive():
        raise TookTooLong
    if outcome:
        raise outcome[0]
