"""What may be called only in one place."""

from __future__ import annotations

import ast
import re
from collections.abc import Callable
from dataclasses import dataclass

from tests.architecture.house import Check, File, Rule, calls, imports, line_of

FRONTS = ("jobs/*/views.py", "jobs/*/api.py", "jobs/*/tasks.py", "jobs/*/management/commands/*.py")


@dataclass(frozen=True)
class Only:
    """`found(call, name)` may be true only in the `places`; each place must have one, or it is no place for it."""

    name: str
    found: Callable[[ast.Call, str], bool]
    places: tuple[str, ...]
    planted: str
    innocent: str = ""
    within: tuple[str, ...] = ("jobs/*", "groundloop/*", "calcs/*")

    def hits(self, file: File) -> list[ast.Call]:
        return [call for call, name in calls(file.tree) if self.found(call, name)]

    def check(self, files: list[File]) -> list[str]:
        return [
            f"{file.path}:{line_of(call)} {self.name}"
            for file in files
            if file.is_code and file.matches(*self.within) and not file.matches(*self.places)
            for call in self.hits(file)
        ]

    def unused_places(self, files: list[File]) -> list[str]:
        """An allowance nobody needs is a hole."""
        return [
            f"{self.name}: {place}"
            for place in self.places
            if not any(file.is_code and file.matches(place) and self.hits(file) for file in files)
        ]

    def as_rule(self) -> Rule:
        innocent = (File("jobs/office/views.py", self.innocent),) if self.innocent else ()
        return Rule(self.name, self.check, (File("jobs/office/queries.py", self.planted),), innocent)


def ends(*names: str) -> Callable[[ast.Call, str], bool]:
    return lambda call, name: name.rsplit(".", 1)[-1] in names


def writes(call: ast.Call, name: str) -> bool:
    """Row-writing verbs. A picture's `save` has a place, a dict's or digest's `update` a positional argument."""
    verb, is_method = name.rsplit(".", 1)[-1], "." in name
    if not is_method:
        return False
    if verb in {"create", "bulk_create", "get_or_create", "update_or_create", "bulk_update"}:
        return True
    if verb in {"save", "delete", "update"} and not call.args:
        return not (verb == "update" and not call.keywords)
    return name.endswith("transaction.atomic")


ONLY = (
    Only(
        "rows are written in actions.py",
        writes,
        (
            "jobs/*/actions.py",
            "jobs/firms/scope.py",  # the transaction itself
            "jobs/firms/models.py",  # the firm check inside the verbs
            "jobs/firms/audit.py",  # the log's one verb
            "jobs/work/mail.py",  # a mail and its work row
            "jobs/accounts/links.py",  # a token's life
            "jobs/visits/receiving.py",  # the one insert of the ledger
            "jobs/visits/summing.py",  # summary columns, in the ledger's transaction
        ),
        "def f(row):\n    row.save()\n",
        "d = {}\nd.update({1: 2})\nimage.save(out, 'JPEG')\n",
    ),
    Only(
        "rows are fetched for people in access.py",
        ends("get_object_or_404", "get_list_or_404"),
        ("jobs/*/access.py",),
        "x = get_object_or_404(Job, pk=1)\n",
    ),
    Only("one door to the PDF", ends("write_pdf"), ("jobs/sheets/render.py",), "HTML('x').write_pdf()\n"),
    Only(
        "one door to pictures",
        lambda call, name: name == "Image.open",
        ("jobs/files/images.py",),
        "im = Image.open('x')\n",
        "open('x')\n",
    ),
    Only(
        "one door to mail",
        ends("send_mail", "send_mass_mail", "EmailMessage", "EmailMultiAlternatives", "mail_managers", "mail_admins"),
        ("jobs/work/mail.py",),
        "send_mail('a', 'b', 'c', ['d'])\n",
    ),
    Only(
        "the clock is read in one place",
        lambda call, name: (
            name in {"timezone.now", "datetime.now", "datetime.utcnow", "date.today", "datetime.today", "time.time"}
            or name.endswith(("timezone.now", "datetime.datetime.now", "datetime.date.today", "timezone.localdate"))
        ),
        ("jobs/firms/clock.py",),
        "from datetime import datetime\nx = datetime.now()\n",
    ),
    Only(
        "the fronts' clock is read by fronts and handed on as at=",
        lambda call, name: name == "clock.now",
        (*FRONTS, "groundloop/management/commands/*.py"),
        "x = clock.now()\n",
        "x = clock.now()\n",
    ),
    Only(
        "SQL by hand goes past the firm",
        ends("cursor", "raw", "extra", "RawSQL"),
        ("jobs/firms/guards.py", "jobs/firms/scope.py", "jobs/work/queries.py"),
        "Job.objects.raw('SELECT 1')\n",
    ),
    Only(
        "nothing is run from text",
        lambda call, name: name in {"eval", "exec", "compile", "os.system"} or name.startswith("pickle."),
        (),
        "eval('1')\n",
    ),
)


def environment(files: list[File]) -> list[str]:
    """`os.environ` only in env.py; manage.py runs before the project can be imported."""
    return [
        f"{file.path}:{line_of(node)} reads the environment"
        for file in files
        if file.is_code and file.path not in {"groundloop/env.py", "manage.py"}
        for node in ast.walk(file.tree)
        if (isinstance(node, ast.Attribute) and node.attr in {"environ", "getenv"})
    ]


def swallowed(files: list[File]) -> list[str]:
    """A bare except hides faults; one that catches everything says why on its line."""
    return [
        f"{file.path}:{node.lineno} catches everything without saying why"
        for file in files
        if file.is_code
        for node in ast.walk(file.tree)
        if isinstance(node, ast.ExceptHandler)
        and (node.type is None or (isinstance(node.type, ast.Name) and node.type.id in {"Exception", "BaseException"}))
        and not any(isinstance(inner, ast.Raise) and inner.exc is None for inner in node.body)
        and not re.search(r"#.*\w{3,}.*\w{3,}", file.text.splitlines()[node.lineno - 1])
    ]


def past_the_scope(files: list[File]) -> list[str]:
    """`_base_manager` and friends, and Celery's task decorators outside tasks.py."""
    return [
        f"{file.path}:{line_of(node)} {node.attr}"
        for file in files
        if file.is_code and not file.matches("jobs/firms/models.py")
        for node in ast.walk(file.tree)
        if isinstance(node, ast.Attribute) and node.attr in {"_base_manager", "_raw_delete", "_do_insert"}
    ]


def imported_only(what: str, *places: str) -> Check:
    def check(files: list[File]) -> list[str]:
        return [
            f"{file.path}:{line_of(node)} imports {name}"
            for file in files
            if file.is_code and not file.matches(*places)
            for node, name in imports(file.tree)
            if name == what or name.startswith(f"{what}.")
        ]

    return check


RULES = (
    *(only.as_rule() for only in ONLY),
    Rule(
        "the environment is read in one place", environment, (File("jobs/work/x.py", "import os\nos.environ['A']\n"),)
    ),
    Rule(
        "errors are not swallowed",
        swallowed,
        (
            File("jobs/work/x.py", "try:\n    pass\nexcept Exception:\n    pass\n"),
            File("jobs/work/x.py", "try:\n    pass\nexcept:\n    pass\n"),
        ),
        (
            File("jobs/work/x.py", "try:\n    pass\nexcept Exception:  # whatever the client raises\n    pass\n"),
            File("jobs/work/x.py", "try:\n    pass\nexcept BaseException:\n    raise\n"),
        ),
    ),
    Rule("nobody goes past the scope", past_the_scope, (File("jobs/work/x.py", "Job._base_manager.all()\n"),)),
    Rule(
        "forgery protection is lifted in one place, which asks for the token itself",
        imported_only("django.views.decorators.csrf.csrf_exempt", "jobs/field/api.py"),
        (File("jobs/office/views.py", "from django.views.decorators.csrf import csrf_exempt\n"),),
    ),
    Rule(
        "Django's admin and signals are not used",
        lambda files: [
            *imported_only("django.contrib.admin")(files),
            *imported_only("django.dispatch")(files),
            *imported_only("django.db.models.signals", "jobs/firms/apps.py")(files),
        ],
        (
            File("jobs/work/admin.py", "from django.contrib import admin\nfrom django.contrib.admin import site\n"),
            File("jobs/work/x.py", "from django.db.models.signals import post_save\n"),
        ),
    ),
)
