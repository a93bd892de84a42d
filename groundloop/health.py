"""Health and readiness, for whoever runs the service."""

from __future__ import annotations

from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, JsonResponse


def alive(_request: HttpRequest) -> JsonResponse:
    """The process answers."""
    return JsonResponse({"status": "ok"})


def ready(_request: HttpRequest) -> JsonResponse:
    """Database reachable, migrations applied, files can be written. A stopped Redis only delays, so it is not asked."""
    problems = []
    try:
        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            problems.append("migrations wait to be applied")
    except DatabaseError:
        problems.append("the database does not answer")
    try:
        settings.MEDIA_ROOT.mkdir(parents=True, exist_ok=True)
        probe = settings.MEDIA_ROOT / ".probe"
        probe.write_bytes(b"1")
        probe.unlink()
    except OSError:
        problems.append("files cannot be written")
    return JsonResponse(
        {"status": "ok" if not problems else "not ready", "problems": problems}, status=503 if problems else 200
    )
