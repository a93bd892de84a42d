"""The cache of the sign-in limits in Redis, which nobody has to wait for.

While Redis cannot be reached the limits do not count, and everybody can still sign in; the alternative is that nobody can.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from typing import Any, TypeVar

from django.core.cache.backends.base import DEFAULT_TIMEOUT
from django.core.cache.backends.redis import RedisCache
from redis.exceptions import RedisError

T = TypeVar("T")
SILENT_S = 10.0  # after a failure Redis is left alone, so that a hanging one is waited for once
log = logging.getLogger(__name__)
_silent_until = 0.0


class PatientCache(RedisCache):
    """Answers as an empty cache would while Redis is away."""

    def add(self, key: Any, value: Any, timeout: Any = DEFAULT_TIMEOUT, version: Any = None) -> bool:
        return _else(True, lambda: super(PatientCache, self).add(key, value, timeout, version))  # noqa: FBT003

    def get(self, key: Any, default: Any = None, version: Any = None) -> Any:
        return _else(default, lambda: super(PatientCache, self).get(key, default, version))

    def set(self, key: Any, value: Any, timeout: Any = DEFAULT_TIMEOUT, version: Any = None) -> None:
        _else(None, lambda: super(PatientCache, self).set(key, value, timeout, version))

    def delete(self, key: Any, version: Any = None) -> bool:
        return _else(False, lambda: super(PatientCache, self).delete(key, version))  # noqa: FBT003


def _else(otherwise: T, call: Callable[[], T]) -> T:
    global _silent_until  # noqa: PLW0603  (one Redis, one silence for the whole process)
    if time.monotonic() < _silent_until:
        return otherwise
    try:
        return call()
    except RedisError as error:
        log.warning("Redis cannot be reached (%s); the sign-in limits do not count.", type(error).__name__)
        _silent_until = time.monotonic() + SILENT_S
        return otherwise
