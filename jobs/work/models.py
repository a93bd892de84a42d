"""What is still to be made: work rows, due rows, and the mails that wait to be sent.

Work and due rows stand outside the firm's scope: they carry ids, hashes and times only, no text.
"""

from __future__ import annotations

import uuid

from django.db import models

from jobs.firms.models import Firm, FirmOwned


class WorkState(models.TextChoices):
    WANTED = "wanted", "Waiting"
    RUNNING = "running", "In work"
    DONE = "done", "Done"
    PARKED = "parked", "Given up after several tries"


class Work(models.Model):
    """One thing to be made, written in the transaction of the event that wants it. The row is the queue."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    kind = models.CharField(max_length=40)
    key = models.CharField(max_length=120)
    firm = models.ForeignKey(Firm, on_delete=models.PROTECT, related_name="+")
    subject = models.UUIDField()
    state = models.CharField(max_length=8, choices=WorkState.choices, default=WorkState.WANTED)
    attempts = models.PositiveIntegerField(default=0)  # also the fence: a late worker's finish counts for nothing
    next_try_at = models.DateTimeField()
    lease_until = models.DateTimeField(null=True)
    progress = models.PositiveSmallIntegerField(default=0)  # per cent
    gives_up_after = models.PositiveIntegerField(default=8)  # attempts; "try again" grants as many more
    error_code = models.CharField(max_length=40, blank=True)  # a class name, never a text
    wanted_at = models.DateTimeField()
    done_at = models.DateTimeField(null=True)

    class Meta:
        constraints = (models.UniqueConstraint(fields=["firm", "kind", "key"], name="one_work_per_key"),)
        indexes = (models.Index(fields=["state", "next_try_at"]), models.Index(fields=["firm", "state"]))

    def __str__(self) -> str:
        return f"{self.kind} {self.key}"


class Due(models.Model):
    """Something that falls due at a time. The sweep reads these and lets the owner of the kind act."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    kind = models.CharField(max_length=40)
    firm = models.ForeignKey(Firm, on_delete=models.PROTECT, related_name="+")
    subject = models.UUIDField()
    due_at = models.DateTimeField(null=True, db_index=True)  # none: nothing falls due any more
    failures = models.PositiveSmallIntegerField(default=0)  # in a row; never given up, only tried less often

    class Meta:
        constraints = (models.UniqueConstraint(fields=["firm", "kind", "subject"], name="one_due_per_subject"),)

    def __str__(self) -> str:
        return f"{self.kind} {self.subject}"


class Mail(FirmOwned):
    """A mail that waits or was sent. Its Message-ID is the same at every try; the body of a secret one goes when sent."""

    to = models.EmailField()
    subject = models.CharField(max_length=200)
    body = models.TextField()
    wanted_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True)
    is_secret = models.BooleanField(default=False)

    class Meta(FirmOwned.Meta):
        pass
