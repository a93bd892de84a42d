"""Static files gathered for serving; only when one has changed since the last time."""

from __future__ import annotations

import hashlib
from importlib.metadata import version
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import call_command


def fingerprint() -> str:
    """Changes whenever a static file of a room or a package does."""
    digest = hashlib.sha256(f"{version('django')} {version('whitenoise')}".encode())
    for finder in get_finders():
        for name, storage in sorted(finder.list([]), key=lambda found: str(found[0])):
            stat = Path(storage.path(name)).stat()
            digest.update(f"{name}|{stat.st_size}|{stat.st_mtime_ns}\n".encode())
    return digest.hexdigest()


def collect_when_stale() -> bool:
    """True when the files were gathered anew."""
    stamp = settings.DATA_DIR / "static-stamp"
    now = fingerprint()
    if stamp.exists() and settings.STATIC_ROOT.is_dir() and stamp.read_text(encoding="ascii") == now:
        return False
    call_command("collectstatic", interactive=False, clear=True, verbosity=0)
    stamp.write_text(now, encoding="ascii")
    return True
