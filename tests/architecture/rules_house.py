"""Where things lie, how large they may be, and which doors rooms use."""

from __future__ import annotations

import ast
import re

from tests.architecture.house import File, Rule, imports, line_of

TOP = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "manage.py", "groundloop", "jobs", "calcs", "tests",
    "docker-compose.yml", "docs", "LICENSE", "requirements.txt",
}  # fmt: skip
FILE_CAP, CALCS_CAP, FUNCTION_CAP = 400, 500, 50
STANDARD = {
    "__init__", "apps", "urls", "views", "api", "tasks", "forms", "serializers", "actions", "access", "queries",
    "models", "trade", "errors",
}  # fmt: skip
DOORS = {"models", "access", "queries", "actions", "errors", "trade"}  # trade: pure words and tables
NAMED_DOORS = {
    "firms": {"scope", "audit", "clock"},
    "work": {"handlers", "mail", "sweep"},
    "accounts": {"links"},
    "files": {"store"},
    "sums": {"parse", "tables"},
    "ground": {"results", "drawing"},
    "visits": {"kinds", "procedure", "results", "ledger", "rows"},  # rows: lines of the ledger as pages show them
}
# Inside a room: a module imports only from ranks below its own.
RANKS = {
    "urls": 7, "views": 6, "api": 6, "tasks": 5, "forms": 4, "serializers": 4, "actions": 3, "access": 2, "queries": 2,
    "models": 1, "trade": 0,
}  # fmt: skip


def top_level(files: list[File]) -> list[str]:
    return sorted({f"{file.parts[0]} is not on the top level" for file in files if _stranger(file.parts[0])})


def _stranger(name: str) -> bool:
    return not name.startswith(".") and name not in TOP


def file_caps(files: list[File]) -> list[str]:
    found = []
    for file in files:
        cap = CALCS_CAP if file.parts[0] == "calcs" else FILE_CAP
        lines = file.text.count("\n") + 1
        front = file.path.endswith((".js", ".css", ".html")) and file.parts[0] in {"jobs", "groundloop"}
        if (file.is_code or front) and lines > cap:
            found.append(f"{file.path}: {lines} lines (cap {cap})")
    return found


def function_caps(files: list[File]) -> list[str]:
    return [
        f"{file.path}:{node.lineno} {node.name}: {_size(node)} lines (cap {FUNCTION_CAP})"
        for file in files
        if file.path.endswith(".py") and "migrations" not in file.parts
        for node in ast.walk(file.tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and _size(node) > FUNCTION_CAP
    ]


def _size(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Without the docstring, which in calcs is the engineering record."""
    whole = (node.end_lineno or node.lineno) - node.lineno + 1
    return whole - len((ast.get_docstring(node) or "").splitlines())


def _room_of(name: str) -> str:
    parts = name.split(".")
    return parts[1] if len(parts) > 2 and parts[0] == "jobs" else ""


def doors(files: list[File]) -> list[str]:
    """A room uses of another only its doors."""
    return [
        f"{file.path}:{line_of(node)} {name} is no door of {_room_of(name)}"
        for file in files
        if file.is_code and file.room
        for node, name in imports(file.tree)
        if (room := _room_of(name)) and room != file.room
        if name.split(".")[2] not in DOORS | NAMED_DOORS.get(room, set())
    ]


def ranks(files: list[File]) -> list[str]:
    """Inside a room: urls > views, api > tasks > forms, serializers > actions > access, queries > models > trade."""
    found = []
    for file in files:
        own = RANKS.get(file.name.removesuffix(".py"))
        if not (file.is_code and file.room and len(file.parts) == 3) or own is None:
            continue
        for node, name in imports(file.tree):
            if _room_of(name) == file.room and RANKS.get(name.split(".")[2], -1) > own:
                found.append(f"{file.path}:{line_of(node)} looks up to {name}")
    return found


def clock_at_the_front(files: list[File]) -> list[str]:
    """`jobs.firms.clock` is a door for fronts only."""
    return [
        f"{file.path}:{line_of(node)} reads the clock"
        for file in files
        if file.is_code and file.room not in {"", "firms"}
        if not file.matches("*/views.py", "*/api.py", "*/tasks.py", "*/management/commands/*.py")
        for node, name in imports(file.tree)
        if name in {"jobs.firms.clock", "jobs.firms.clock.now"}
    ]


def examples(files: list[File]) -> list[str]:
    """Each public function of calcs is an engineering record: it has a worked example that runs."""
    return [
        f"{file.path}:{node.lineno} {node.name} has no worked example"
        for file in files
        if file.is_code and file.parts[0] == "calcs" and not file.name.startswith("_")
        for node in file.tree.body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
        if ">>>" not in (ast.get_docstring(node) or "")
    ]


def secrets_of_the_trade(files: list[File]) -> list[str]:
    """Words that have no place here: unfinished notes, paths of one machine."""
    pattern = re.compile(r"\b(TODO|FIXME|XXX)\b|(?<![\w.])/(?:root|home/\w+)/")
    return [
        f"{file.path}:{number} {match[0]}"
        for file in files
        if file.path != "tests/architecture/rules_house.py"
        for number, line in enumerate(file.text.splitlines(), 1)
        if (match := pattern.search(line))
    ]


def view_length(files: list[File]) -> list[str]:
    """A view is form, one action, redirect."""
    return [
        f"{file.path}:{node.lineno} {node.name}: {_size(node)} lines (cap 20)"
        for file in files
        if file.is_code and file.name == "views.py"
        for node in file.tree.body
        if isinstance(node, ast.FunctionDef) and _size(node) > 20
    ]


def _long(lines: int) -> str:
    return "def f():\n" + "    x = 1\n" * lines


RULES = (
    Rule("the top level is fixed", top_level, (File("scripts/x.py", ""),), (File(".ci/x.py", ""),)),
    Rule(
        "no file over the cap",
        file_caps,
        (
            File("jobs/work/x.py", "\n" * 400),
            File("calcs/x.py", "\n" * 500),
            File("jobs/field/static/field/x.js", "\n" * 400),
        ),
        (File("jobs/work/x.py", "\n" * 399), File("calcs/x.py", "\n" * 499)),
    ),
    Rule(
        "no function over the cap",
        function_caps,
        (File("jobs/work/x.py", _long(50)), File("tests/x.py", _long(50))),
        (File("jobs/work/x.py", _long(49)),),
    ),
    Rule(
        "views are thin",
        view_length,
        (File("jobs/work/views.py", _long(20)),),
        (File("jobs/work/views.py", _long(19)),),
    ),
    Rule(
        "rooms use doors",
        doors,
        (
            File("jobs/office/views.py", "from jobs.visits.receiving import receive\n"),
            File("jobs/office/views.py", "from jobs.visits import receiving\n"),
            File("jobs/office/views.py", "import jobs.planning.forms\n"),
        ),
        (
            File("jobs/office/views.py", "from jobs.visits import actions\nfrom jobs.visits.kinds import KINDS\n"),
            File("jobs/visits/views.py", "from jobs.visits import receiving\n"),
        ),
    ),
    Rule(
        "inside a room modules look down",
        ranks,
        (
            File("jobs/work/actions.py", "from jobs.work import views\n"),
            File("jobs/work/queries.py", "from jobs.work.actions import want\n"),
            File("jobs/work/trade.py", "from jobs.work.models import Work\n"),
        ),
        (File("jobs/work/views.py", "from jobs.work import actions\n"),),
    ),
    Rule(
        "only fronts know the clock",
        clock_at_the_front,
        (File("jobs/work/actions.py", "from jobs.firms import clock\n"),),
        (File("jobs/work/views.py", "from jobs.firms import clock\n"),),
    ),
    Rule(
        "calculations carry a worked example",
        examples,
        (File("calcs/x.py", 'def f():\n    """Adds."""\n'), File("calcs/x.py", "def f(): ...\n")),
        (File("calcs/x.py", 'def f():\n    """Adds.\n\n    >>> f()\n    """\n'), File("calcs/_x.py", "def f(): ...\n")),
    ),
    Rule(
        "no unfinished notes and no paths of one machine",
        secrets_of_the_trade,
        (File("jobs/work/x.py", "# TO" + "DO later\n"), File("docs/x.md", "see /ro" + "ot/x\n")),
    ),
)
