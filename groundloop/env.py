"""Typed readers of the environment; they fail loudly, and `NAME_FILE` may stand for `NAME` (secrets from files)."""

from __future__ import annotations

import os
from pathlib import Path


class BadEnvironment(Exception):
    """A variable is missing or cannot be read; the message says which and what it should be."""


def text(name: str, default: str | None = None) -> str:
    """The variable, or the content of the file that `<name>_FILE` names, or the default."""
    file = os.environ.get(f"{name}_FILE")
    if file:
        try:
            return Path(file).read_text(encoding="utf-8").strip()
        except (OSError, UnicodeDecodeError):
            raise BadEnvironment(f"{name}_FILE is {file!r}, which cannot be read as text.") from None
    value = os.environ.get(name, default)
    if value is None:
        raise BadEnvironment(f"Set {name} (or {name}_FILE).")
    return value


def flag(name: str, *, default: bool = False) -> bool:
    """1/true/yes/on or 0/false/no/off."""
    value = text(name, "1" if default else "0").lower()
    if value in {"1", "true", "yes", "on"}:
        return True
    if value in {"0", "false", "no", "off", ""}:
        return False
    raise BadEnvironment(f"{name} is {value!r}; set it to 1 or 0.")


def number(name: str, default: int) -> int:
    value = text(name, str(default))
    try:
        return int(value)
    except ValueError:
        raise BadEnvironment(f"{name} is {value!r}; set it to a whole number.") from None


def words(name: str, default: str = "") -> list[str]:
    """Comma-separated words."""
    return [word.strip() for word in text(name, default).split(",") if word.strip()]


def put_default(name: str, value: str) -> None:
    """Sets a variable for this process and its children unless it is set already."""
    os.environ.setdefault(name, value)


def with_changes(**changes: str) -> dict[str, str]:
    """The environment for a child process."""
    return {**os.environ, **changes}
