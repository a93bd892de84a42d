"""What is signed: the commissioning sheet with its revisions, findings and signatures."""

from __future__ import annotations

from django.db import models

from jobs.files.models import StoredFile
from jobs.firms.models import FirmOwned, Member
from jobs.planning.models import Job


class SheetState(models.TextChoices):
    SUBMITTED = "submitted", "Waits for review"
    RETURNED = "returned", "Returned to the crew"
    APPROVED = "approved", "Approved"
    SUPERSEDED = "superseded", "Superseded"


class Sheet(FirmOwned):
    """One revision. `facts` is frozen at approval; its hash is printed and chained to the firm's previous sheet."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="sheets")
    revision = models.PositiveIntegerField(default=1)
    state = models.CharField(max_length=10, choices=SheetState.choices, default=SheetState.SUBMITTED)
    seen_version = models.PositiveIntegerField()  # Job.version the findings were made from
    submitted_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    submitted_at = models.DateTimeField()
    returned_at = models.DateTimeField(null=True)
    approved_by = models.ForeignKey(Member, null=True, on_delete=models.PROTECT, related_name="+")
    approved_at = models.DateTimeField(null=True)
    self_reviewed = models.BooleanField(default=False)
    facts = models.TextField(blank=True)  # canonical JSON (RFC 8785)
    facts_hash = models.CharField(max_length=64, blank=True)
    previous_hash = models.CharField(max_length=64, blank=True)
    pdf = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    late_entries = models.PositiveIntegerField(default=0)

    class Meta(FirmOwned.Meta):
        constraints = (
            *FirmOwned.Meta.constraints,
            models.UniqueConstraint(fields=["job", "revision"], name="one_sheet_revision"),
        )


class Severity(models.TextChoices):
    BLOCK = "block", "Blocks approval"
    WARN = "warn", "Needs an answer"
    NOTE = "note", "Note"


class Finding(FirmOwned):
    """What a check says about a sheet. A question, never an accusation."""

    sheet = models.ForeignKey(Sheet, on_delete=models.PROTECT, related_name="findings")
    check_code = models.CharField(max_length=40)
    severity = models.CharField(max_length=5, choices=Severity.choices)
    subject = models.CharField(max_length=40, blank=True)
    text = models.CharField(max_length=500)
    entries = models.JSONField(default=list)  # ids of the entries that are the evidence
    field = models.CharField(max_length=40, blank=True)
    answer = models.CharField(max_length=500, blank=True)
    answered_by = models.ForeignKey(Member, null=True, on_delete=models.PROTECT, related_name="+")
    answered_at = models.DateTimeField(null=True)

    class Meta(FirmOwned.Meta):
        constraints = (
            *FirmOwned.Meta.constraints,
            models.UniqueConstraint(fields=["sheet", "check_code", "subject", "field"], name="one_finding"),
        )
