from __future__ import annotations

import getpass
import sys
from typing import Any
from zoneinfo import available_timezones

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.core.validators import validate_email
from django.db import transaction

from jobs.firms import actions, clock
from jobs.firms.models import Role, User
from jobs.firms.scope import scope
from jobs.planning import actions as planning


class Command(BaseCommand):
    help = "Founds a firm with its first manager, who invites everybody else."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("firm", help="name of the firm")
        parser.add_argument("email", help="the manager's e-mail address")
        parser.add_argument("name", help="the manager's name")
        parser.add_argument("--time-zone", default="Europe/London", help="for instance Europe/Stockholm")

    def handle(self, *_: Any, firm: str, email: str, name: str, time_zone: str, **__: Any) -> None:
        if time_zone not in available_timezones():
            raise CommandError(f"{time_zone} is no time zone; write it like Europe/Stockholm.")
        try:
            validate_email(email)
            user = User.objects.filter(email=email.lower()).first()
            password = "" if user else _ask_password(email, name)
        except ValidationError as refusal:
            raise CommandError(" ".join(refusal.messages)) from None
        self._found(firm, time_zone, user or (email, name, password))
        self.stdout.write(f"{firm} is founded; {email} can sign in and invite the others.")

    @transaction.atomic
    def _found(self, name: str, time_zone: str, manager: User | tuple[str, str, str]) -> None:
        """With the rule sets every firm starts from."""
        at = clock.now()
        user = manager if isinstance(manager, User) else User.objects.create_user(*manager)
        firm = actions.found_firm(name=name, time_zone=time_zone, at=at)
        member = actions.take_on(firm, user=user, roles=(Role.MANAGER, Role.SCHEDULER), at=at)
        with scope(firm.pk):
            planning.add_starter_rule_sets(by=member, at=at)


def _ask_password(email: str, name: str) -> str:
    """Typed unseen, or the first line of what is piped in. Raises `ValidationError` for a weak one."""
    typed = getpass.getpass("Password: ") if sys.stdin.isatty() else sys.stdin.readline().rstrip("\n")
    validate_password(typed, User(email=email, name=name))
    return typed
