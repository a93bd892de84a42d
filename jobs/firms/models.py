"""Who: users, firms, members with their roles, devices, the audit log; and the base of every table a firm owns."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from typing import Any, ClassVar, Self, TypeVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models

from jobs.firms.errors import WrongFirm
from jobs.firms.scope import firm_in_scope

M = TypeVar("M", bound="FirmOwned")


class UserManager(BaseUserManager["User"]):
    def create_user(self, email: str, name: str, password: str | None = None) -> User:
        user = self.model(email=self.normalize_email(email).lower(), name=name)
        user.set_password(password)
        user.save(using=self._db)
        return user


class User(AbstractBaseUser):
    """A person who signs in by e-mail. Which firms they work for is in `Member`."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    email = models.EmailField(unique=True)
    name = models.CharField(max_length=120)
    is_active = models.BooleanField(default=True)

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]
    objects = UserManager()

    def __str__(self) -> str:
        return self.name

    def get_full_name(self) -> str:
        return self.name


class Role(models.TextChoices):
    SCHEDULER = "scheduler", "Office scheduler"
    CREW = "crew", "Ground crew"
    ENGINEER = "engineer", "Heat pump engineer"
    MANAGER = "manager", "Manager"


class Firm(models.Model):
    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=120)
    time_zone = models.CharField(max_length=60, default="Europe/London")
    # How many jobs were numbered; the next takes the one after, under this row's lock.
    jobs_numbered = models.PositiveIntegerField(default=0)

    def __str__(self) -> str:
        return self.name


class Member(models.Model):
    """A user in a firm, with one or more roles. Who left is switched off, never deleted."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    firm = models.ForeignKey(Firm, on_delete=models.PROTECT, related_name="members")
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="memberships")
    roles = models.JSONField(default=list)
    is_active = models.BooleanField(default=True)

    class Meta:
        constraints = (models.UniqueConstraint(fields=["firm", "user"], name="one_membership_per_firm"),)

    def __str__(self) -> str:
        return self.user.name

    def has_role(self, *roles: Role) -> bool:
        """True when the member has any of these roles."""
        return bool({role.value for role in roles} & set(self.roles))

    @property
    def works_in_field(self) -> bool:
        return self.has_role(Role.CREW, Role.ENGINEER)

    @property
    def works_at_desk(self) -> bool:
        return self.has_role(Role.SCHEDULER, Role.MANAGER)

    @property
    def role_labels(self) -> str:
        return ", ".join(Role(role).label for role in self.roles)


class FirmQuerySet(models.QuerySet[M]):
    """Rows of the firm in scope; a row of another firm can neither be seen nor written."""

    def bulk_create(self, objs: Iterable[M], *args: Any, **kwargs: Any) -> list[M]:
        rows = list(objs)
        for row in rows:
            row.belongs_here()
        return super().bulk_create(rows, *args, **kwargs)

    def bulk_update(self, objs: Iterable[M], fields: Iterable[str], batch_size: int | None = None) -> int:
        rows = list(objs)
        for row in rows:
            row.belongs_here()
        return super().bulk_update(rows, fields, batch_size=batch_size)

    def update(self, **kwargs: Any) -> int:
        if {"firm", "firm_id"} & kwargs.keys():
            raise WrongFirm("a row never changes its firm")
        return super().update(**kwargs)


class FirmManager(models.Manager[M]):
    """The only manager of a firm's table; also its base manager, so that forward access and `save()` are scoped."""

    def get_queryset(self) -> FirmQuerySet[M]:
        return FirmQuerySet(self.model, using=self._db).filter(firm_id=firm_in_scope())

    def none(self) -> FirmQuerySet[M]:
        """An empty queryset, without a scope: for forms that are made at import."""
        return FirmQuerySet(self.model, using=self._db).none()

    def bulk_create(self, objs: Iterable[M], *args: Any, **kwargs: Any) -> list[M]:
        return self.get_queryset().bulk_create(objs, *args, **kwargs)


class FirmOwned(models.Model):
    """Base of every table that belongs to a firm."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    firm = models.ForeignKey(Firm, on_delete=models.PROTECT, related_name="+")

    objects: ClassVar[FirmManager[Self]] = FirmManager()

    class Meta:
        abstract = True
        base_manager_name = "objects"
        default_manager_name = "objects"
        constraints: ClassVar[tuple[models.BaseConstraint, ...]] = (
            models.UniqueConstraint(fields=["firm", "id"], name="%(app_label)s_%(class)s_firm_id"),
        )

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.belongs_here()
        super().save(*args, **kwargs)

    def belongs_here(self) -> None:
        """Takes the firm in scope when the row has none yet. Raises `WrongFirm` for a row of another firm."""
        firm = firm_in_scope()
        mine: uuid.UUID | None = self.firm_id
        if mine is None:
            self.firm_id = mine = firm
        if mine != firm:
            raise WrongFirm(f"{type(self).__name__} of another firm")

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        self.belongs_here()
        return super().delete(*args, **kwargs)


class Device(FirmOwned):
    """A phone that sends entries; its id is minted on the phone. Never a person's name."""

    label = models.CharField(max_length=80, blank=True)
    first_seen_at = models.DateTimeField()
    last_seen_at = models.DateTimeField()
    waiting = models.PositiveIntegerField(default=0)  # what the phone last said is still on it
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta(FirmOwned.Meta):
        pass


class AuditEvent(FirmOwned):
    """Append-only: who did what to which row. Entries are their own audit; this is for all the rest."""

    at = models.DateTimeField()
    actor = models.ForeignKey(Member, null=True, on_delete=models.PROTECT, related_name="+")
    verb = models.CharField(max_length=40)
    subject_kind = models.CharField(max_length=40)
    subject_id = models.UUIDField(null=True)
    detail = models.JSONField(default=dict)

    class Meta(FirmOwned.Meta):
        indexes = (models.Index(fields=["firm", "subject_id", "at"]),)
