"""Static files under hashed names, module imports rewritten too; a missing file fails loudly."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.core.files.base import ContentFile, File
from whitenoise.storage import CompressedManifestStaticFilesStorage

# Our own scripts; what packages bring is left alone.
OWN = ("field/", "sums/")


def lean(script: str) -> str:
    """A script of our own without comment lines, indents and empty lines: a phone with little signal fetches no prose.

    Only whole lines go, so that nothing has to be understood; none of our strings runs over a line (a test says so).
    """
    lines = (line.strip() for line in script.splitlines())
    return "\n".join(line for line in lines if line and not line.startswith("//")) + "\n"


class _Lean:
    """The storage that a script lies in, which hands it out lean."""

    def __init__(self, storage: Any) -> None:
        self.storage = storage

    def open(self, path: str) -> File[bytes]:
        with self.storage.open(path) as file:
            return ContentFile(lean(file.read().decode()).encode())


class Storage(CompressedManifestStaticFilesStorage):  # type: ignore[misc]  # the package has no types
    """Hashes the imports of ES modules as well, so that a new version never mixes with an old one."""

    support_js_module_import_aggregation = True

    def post_process(self, paths: dict[str, tuple[Any, str]], *args: Any, **kwargs: Any) -> Iterator[Any]:
        """As the package does, from our own scripts made lean."""
        own = {name: (_Lean(kept), path) for name, (kept, path) in paths.items() if _is_own(name)}
        yield from super().post_process(paths | own, *args, **kwargs)


def _is_own(name: str) -> bool:
    return name.endswith(".js") and name.startswith(OWN)
