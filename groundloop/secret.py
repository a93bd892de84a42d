"""The secret key of the embedded default: made once, kept in the data folder, readable by its owner only."""

from __future__ import annotations

import secrets
from pathlib import Path

from groundloop.env import BadEnvironment


def embedded_secret(folder: Path, *, allowed: bool) -> str:
    """The stored key, made at the first start. Raises `BadEnvironment` where the set-up must bring its own."""
    if not allowed:
        raise BadEnvironment("Set SECRET_KEY (or SECRET_KEY_FILE) when REDIS_URL is set.")
    file = folder / "secret-key"
    if not file.exists():
        folder.mkdir(parents=True, exist_ok=True)
        part = file.with_suffix(".part")  # a stop half-way must not leave an empty key behind
        part.unlink(missing_ok=True)
        part.touch(mode=0o600)
        part.write_text(secrets.token_urlsafe(48), encoding="utf-8")
        part.replace(file)
    return file.read_text(encoding="utf-8").strip()
