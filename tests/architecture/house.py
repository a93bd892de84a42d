"""The files of the house as the rules see them, and what a rule is.

A rule gets files and gives back what is wrong with them, one line each. Every rule carries planted violations: files that
must turn it red, so that none is empty.
"""

from __future__ import annotations

import ast
import shutil
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from fnmatch import fnmatch
from functools import cached_property, lru_cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TEXT = {".py", ".html", ".txt", ".js", ".css", ".svg", ".md", ".toml", ".yml", ".json", ".csv"}


@dataclass(frozen=True)
class File:
    """`path` is relative to the top, with slashes."""

    path: str
    text: str

    @cached_property
    def tree(self) -> ast.Module:
        return ast.parse(self.text)

    @cached_property
    def parts(self) -> tuple[str, ...]:
        return tuple(self.path.split("/"))

    @property
    def name(self) -> str:
        return self.parts[-1]

    @property
    def room(self) -> str:
        """The room it belongs to; empty outside `jobs`."""
        return self.parts[1] if self.parts[0] == "jobs" and len(self.parts) > 2 else ""

    def matches(self, *patterns: str) -> bool:
        return any(fnmatch(self.path, pattern) for pattern in patterns)

    @property
    def is_code(self) -> bool:
        """Python of the product itself."""
        return self.path.endswith(".py") and self.parts[0] != "tests" and "migrations" not in self.parts


Check = Callable[[list[File]], list[str]]


@dataclass(frozen=True)
class Rule:
    """`planted`: files each of which alone breaks the rule. `innocent`: files that look alike and do not."""

    name: str
    check: Check
    planted: tuple[File, ...]
    innocent: tuple[File, ...] = field(default=())


def _known_to_git() -> list[str]:
    """Empty on a machine without git, or in a tree that is no checkout."""
    if not shutil.which("git"):
        return []
    command = ["git", "ls-files", "-co", "--exclude-standard"]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False).stdout.splitlines()


def _is_ours(path: Path) -> bool:
    return not any(part.startswith(".") or part == "__pycache__" for part in path.relative_to(ROOT).parts)


@lru_cache
def files() -> tuple[File, ...]:
    """Every text file that is or would be under version control."""
    names = _known_to_git() or [path.relative_to(ROOT).as_posix() for path in ROOT.rglob("*") if _is_ours(path)]
    found = [ROOT / name for name in names if Path(name).suffix in TEXT]
    return tuple(
        File(path.relative_to(ROOT).as_posix(), path.read_text(encoding="utf-8")) for path in found if path.is_file()
    )


def line_of(node: ast.AST) -> int:
    return getattr(node, "lineno", 0)


def calls(tree: ast.AST) -> Iterator[tuple[ast.Call, str]]:
    """Every call with the dotted name of what is called; what is no name shows as `?`."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            yield node, dotted(node.func)


def dotted(node: ast.expr) -> str:
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Attribute):
        return f"{dotted(node.value)}.{node.attr}"
    return "?"


def imports(tree: ast.AST) -> Iterator[tuple[ast.stmt, str]]:
    """Every imported module or name, dotted."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node, alias.name
        elif isinstance(node, ast.ImportFrom) and node.module:
            for alias in node.names:
                yield node, f"{node.module}.{alias.name}"
