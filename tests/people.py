"""Builders of people: a firm, its members, and a firm of outsiders that must never see anything of it."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from django.test import Client

from jobs.firms.access import SESSION_KEY
from jobs.firms.models import Firm, Member, Role, User

PASSWORD = "gravel-bucket-seven-tides"
_counter = itertools.count(1)


def a_firm(name: str = "Northfold Ground Loops") -> Firm:
    return Firm.objects.create(name=name)


def a_user(name: str = "Ada Quill", *, email: str = "", password: str | None = None) -> User:
    """Without a password nobody signs in through the form; hashing one costs 0.1 s."""
    address = email or f"{name.lower().replace(' ', '.')}.{next(_counter)}@example.test"
    return User.objects.create_user(address, name, password)


def member(firm: Firm, *roles: Role, name: str = "", user: User | None = None) -> Member:
    """A member with these roles; the name defaults to the first role's label."""
    who = user or a_user(name or (roles[0].label if roles else "No Role"))
    return Member.objects.create(firm=firm, user=who, roles=[role.value for role in roles])


def signed_in(who: Member) -> Client:
    """A browser in which this member is at work."""
    client = Client()
    client.force_login(who.user)
    session = client.session
    session[SESSION_KEY] = str(who.pk)
    session.save()
    return client


@dataclass(frozen=True)
class Team:
    """Everybody a view test asks as: four of one firm, and `outsider` with every role of another."""

    firm: Firm
    manager: Member
    scheduler: Member
    crew: Member
    engineer: Member
    other_firm: Firm
    outsider: Member

    @property
    def insiders(self) -> tuple[Member, ...]:
        return (self.manager, self.scheduler, self.crew, self.engineer)


def a_team(name: str = "Northfold Ground Loops", other: str = "Saltmarsh Borefields") -> Team:
    firm, other_firm = a_firm(name), a_firm(other)
    return Team(
        firm=firm,
        manager=member(firm, Role.MANAGER, name="Mara Fenwick"),
        scheduler=member(firm, Role.SCHEDULER, name="Sol Harrow"),
        crew=member(firm, Role.CREW, name="Cato Birch"),
        engineer=member(firm, Role.ENGINEER, name="Edda Pine"),
        other_firm=other_firm,
        outsider=member(other_firm, Role.MANAGER, Role.SCHEDULER, Role.CREW, Role.ENGINEER, name="Otto Vane"),
    )
