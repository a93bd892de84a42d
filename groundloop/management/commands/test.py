from __future__ import annotations

import subprocess
import sys
import tempfile

from django.conf import settings
from django.core.management.base import BaseCommand

from groundloop import env


class Command(BaseCommand):
    help = "Runs the whole suite (pytest inside; arguments are handed on)."
    requires_system_checks = ()

    def run_from_argv(self, argv: list[str]) -> None:
        """Takes the arguments as they are: they are pytest's."""
        if {"-h", "--help"} & set(argv[2:]):
            self.stdout.write(f"{self.help}\nGROUNDLOOP_TEST_ALL=1: nothing may be missing, and the long ones run too.")
            return
        with tempfile.TemporaryDirectory(prefix="groundloop-test-") as data:
            env.put_default("PYTHONDONTWRITEBYTECODE", "1")
            environment = env.with_changes(GROUNDLOOP_DATA=data, DJANGO_SETTINGS_MODULE="groundloop.settings")
            alone = any(argument.startswith(("-n", "-x", "--pdb")) for argument in argv[2:])
            parallel = [] if alone else ["-n", "2", "--dist", "loadgroup", "--no-loadscope-reorder"]
            command = [sys.executable, "-m", "pytest", *parallel, *argv[2:]]
            done = subprocess.run(command, cwd=settings.BASE_DIR, env=environment, check=False)  # noqa: S603
        sys.exit(done.returncode)
