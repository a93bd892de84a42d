"""The people of the demo firm. All names are invented."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from jobs.firms import actions
from jobs.firms.models import Firm, Role, User

FIRM = "Harrow Fell Ground Loops"
WORD = "warm-from-below"  # everybody's password in the demo, printed at its start


@dataclass(frozen=True)
class Person:
    name: str
    email: str
    roles: tuple[Role, ...]
    password: str = WORD

    @property
    def role_labels(self) -> str:
        return ", ".join(role.label for role in self.roles)


PEOPLE = (
    Person("Imke Sand", "office@harrowfell.example", (Role.SCHEDULER,)),
    Person("Tomas Reed", "crew@harrowfell.example", (Role.CREW, Role.ENGINEER)),
    Person("Odile Marsh", "manager@harrowfell.example", (Role.MANAGER,)),
)


@transaction.atomic
def make_firm(at: datetime) -> Firm:
    """The firm and its members, who can sign in."""
    firm = actions.found_firm(name=FIRM, at=at)
    for person in PEOPLE:
        user = User.objects.create_user(person.email, person.name, person.password)
        actions.take_on(firm, user=user, roles=person.roles, at=at)
    return firm
