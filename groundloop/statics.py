"""Static files under hashed names, module imports rewritten too; a missing file fails loudly."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.core.files.base import ContentFile, File
from whitenoise.storage import CompressedManifestStaticFilesStorage

# Our own scripts; what packages bring is left alone.
OWN = ("field/", "sums/")


def small(script: str) -> str:
    """A script of our own as a phone with little signal fetches it: no prose, no spaces, short names inside functions."""
    import minify  # noqa: PLC0415 - only while files are gathered: it brings a runtime of its own

    made: str = minify.string("application/javascript", script)
    return made


class _Small:
    """The storage that a script lies in, which hands it out small."""

    def __init__(self, storage: Any) -> None:
        self.storage = storage

    def open(self, path: str) -> File[bytes]:
        with self.storage.open(path) as file:
            return ContentFile(small(file.read().decode()).encode())


class Storage(CompressedManifestStaticFilesStorage):  # type: ignore[misc]  # the package has no types
    """Hashes the imports of ES modules as well, so that a new version never mixes with an old one."""

    support_js_module_import_aggregation = True

    def post_process(self, paths: dict[str, tuple[Any, str]], *args: Any, **kwargs: Any) -> Iterator[Any]:
        """As the package does, from our own scripts made small."""
        own = {name: (_Small(kept), path) for name, (kept, path) in paths.items() if _is_own(name)}
        yield from super().post_process(paths | own, *args, **kwargs)


def _is_own(name: str) -> bool:
    return name.endswith(".js") and name.startswith(OWN)
