"""Whatever is wanted anywhere has exactly one handler, and no handler waits for what nobody wants."""

from __future__ import annotations

import ast
from collections.abc import Iterable

from jobs.work import handlers
from tests.architecture.house import File, calls, files

WANTS, DUES = {"want"}, {"falls_due"}


def constants(file: File) -> dict[str, str]:
    """Names that hold a text, set at the top of the module."""
    found = {}
    for node in file.tree.body:
        if isinstance(node, ast.Assign | ast.AnnAssign) and isinstance(node.value, ast.Constant):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            found.update({target.id: str(node.value.value) for target in targets if isinstance(target, ast.Name)})
    return found


def wanted(found: Iterable[File], verbs: set[str]) -> dict[str, str]:
    """Kind -> where it is wanted. A kind that cannot be read from the source shows as `?`."""
    everything = [file for file in found if file.is_code and file.path.startswith("jobs/")]
    everywhere = {name: text for file in everything for name, text in constants(file).items()}
    kinds = {}
    for file in everything:
        here = {**everywhere, **constants(file)}
        for call, name in calls(file.tree):
            if name.rsplit(".", 1)[-1] in verbs and call.args:
                kinds[_kind(call.args[0], here)] = f"{file.path}:{call.lineno}"
    return kinds


def _kind(node: ast.expr, known: dict[str, str]) -> str:
    if isinstance(node, ast.Constant):
        return str(node.value)
    name = node.id if isinstance(node, ast.Name) else node.attr if isinstance(node, ast.Attribute) else ""
    return known.get(name, "?")


def test_every_kind_of_work_has_its_handler_and_every_handler_its_work() -> None:
    assert set(wanted(files(), WANTS)) == handlers.kinds(due=False)


def test_every_kind_that_falls_due_has_its_handler_and_every_handler_its_rows() -> None:
    assert set(wanted(files(), DUES)) == handlers.kinds(due=True)


def test_kinds_are_read_from_the_source() -> None:
    planted = File(
        "jobs/office/actions.py",
        'KIND: Final = "tea"\nwant("cake", key="1")\nwork.want(KIND, key="1")\nwant(f"{x}", key="1")\nfalls_due("rent", at=1)\n',
    )
    assert set(wanted([planted], WANTS)) == {"cake", "tea", "?"}
    assert set(wanted([planted], DUES)) == {"rent"}
