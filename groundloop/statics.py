"""Static files under hashed names, module imports rewritten too; a missing file fails loudly."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import PurePath
from typing import Any

import rjsmin
from django.core.files.base import ContentFile, File
from whitenoise.storage import CompressedManifestStaticFilesStorage

# Our own scripts; what packages bring is left alone.
OWN = ("field/", "sums/", "groundloop/tokens.css")
COMMENT = re.compile(r"/\*.*?\*/", re.DOTALL)
STYLE_GAP = re.compile(r"\s*([{};])\s*")


# Behind and before these signs the end of a line means nothing to the language.
IDLE_END = re.compile(r"(?<=[;{(\[,])\n|\n(?=[})\].?:|&])")
# Nor does the end of a statement that closes its block with it, and no statement of ours is empty (a test says so).
LAST_END = re.compile(r";\n?(?=})")
# A text in backticks inside another one: what makes lines tight does not know it.
NESTED = re.compile(r"\$\{[^}]*`")


def lean(script: str) -> str:
    """A script of our own without comments and idle spaces: a phone with little signal fetches no prose.

    Each line by itself, and no name is touched: where a statement ends stays as it was written. None of our strings runs over
    a line (a test says so), and a test reads every script before and after, word by word.
    """
    lines = (line.strip() for line in script.splitlines())
    kept = [_tight(line) for line in lines if line and not line.startswith("//")]
    return IDLE_END.sub("", LAST_END.sub("", "\n".join(kept))) + "\n"


def _tight(line: str) -> str:
    return line if NESTED.search(line) else str(rjsmin.jsmin(line))


def lean_style(sheet: str) -> str:
    """The same for a style sheet. None of ours has such a sign within a text (a test says so)."""
    return STYLE_GAP.sub(r"\1", COMMENT.sub("", sheet)).strip() + "\n"


MAKE = {".js": lean, ".css": lean_style}


class _Lean:
    """The storage that a file lies in, which hands it out lean."""

    def __init__(self, storage: Any, make: Callable[[str], str]) -> None:
        self.storage, self.make = storage, make

    def open(self, path: str) -> File[bytes]:
        with self.storage.open(path) as file:
            return ContentFile(self.make(file.read().decode()).encode())


class Storage(CompressedManifestStaticFilesStorage):  # type: ignore[misc]  # the package has no types
    """Hashes the imports of ES modules as well, so that a new version never mixes with an old one."""

    support_js_module_import_aggregation = True

    def file_hash(self, name: str, content: Any = None) -> str | None:
        """Eight hexadecimal digits tell the builds of one file apart, and every import of it on the wire is shorter."""
        found = super().file_hash(name, content)
        return found and str(found)[:8]

    def post_process(self, paths: dict[str, tuple[Any, str]], *args: Any, **kwargs: Any) -> Iterator[Any]:
        """As the package does, from our own files made lean."""
        own = {
            name: (_Lean(kept, MAKE[suffix]), path)
            for name, (kept, path) in paths.items()
            if name.startswith(OWN) and (suffix := PurePath(name).suffix) in MAKE
        }
        yield from super().post_process(paths | own, *args, **kwargs)
