"""How they get in: links that carry a token, and invitations."""

from __future__ import annotations

import uuid

from django.db import models

from jobs.firms.models import Firm, FirmOwned, Member


class LinkToken(models.Model):
    """The hash of a token sent out, and what it opens. Outside the firm's scope: ids, hashes and times only."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    purpose = models.CharField(max_length=20)
    token_hash = models.CharField(max_length=64, unique=True)
    firm = models.ForeignKey(Firm, on_delete=models.PROTECT, related_name="+")
    subject = models.UUIDField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"{self.purpose} {self.subject}"


class Invitation(FirmOwned):
    """Somebody asked by mail to join the firm with these roles."""

    email = models.EmailField()
    name = models.CharField(max_length=120)
    roles = models.JSONField(default=list)
    invited_by = models.ForeignKey(Member, null=True, on_delete=models.PROTECT, related_name="+")
    invited_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True)
    withdrawn_at = models.DateTimeField(null=True)

    class Meta(FirmOwned.Meta):
        pass
