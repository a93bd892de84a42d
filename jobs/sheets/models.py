"""What is signed: the commissioning sheet with its revisions, findings and answers."""

from __future__ import annotations

from django.db import models

from jobs.files.models import StoredFile
from jobs.firms.models import FirmOwned, Member
from jobs.planning.models import Job
from jobs.sheets.trade import Severity as Weight


class SheetState(models.TextChoices):
    SUBMITTED = "submitted", "Waits for review"
    RETURNED = "returned", "Returned to the crew"
    APPROVED = "approved", "Approved"
    SUPERSEDED = "superseded", "Superseded"


class Sheet(FirmOwned):
    """One revision. `facts` is frozen at approval; its hash is printed and chained to the firm's previous sheet.

    `personal` holds the names and words behind the commitments in the facts; a person's can be erased.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="sheets")
    revision = models.PositiveIntegerField(default=1)
    reason = models.CharField(max_length=300, blank=True)  # why an approved sheet was opened again
    state = models.CharField(max_length=10, choices=SheetState.choices, default=SheetState.SUBMITTED)
    seen_version = models.PositiveIntegerField()  # Job.version the findings were made from
    entry_count = models.PositiveIntegerField(default=0)  # entries of the job when it was handed in or approved
    submitted_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    submitted_at = models.DateTimeField()
    returned_at = models.DateTimeField(null=True)  # none: handed in since, or opened again and not handed in yet
    approved_by = models.ForeignKey(Member, null=True, on_delete=models.PROTECT, related_name="+")
    approved_at = models.DateTimeField(null=True)
    chained_at = models.PositiveIntegerField(null=True)  # place in the firm's chain of approved sheets
    self_reviewed = models.BooleanField(default=False)
    facts = models.TextField(blank=True)  # canonical JSON (RFC 8785)
    facts_hash = models.CharField(max_length=64, blank=True)
    previous_hash = models.CharField(max_length=64, blank=True)
    personal = models.JSONField(default=dict)
    pdf = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    late_entries = models.PositiveIntegerField(default=0)

    class Meta(FirmOwned.Meta):
        constraints = (
            *FirmOwned.Meta.constraints,
            models.UniqueConstraint(fields=["job", "revision"], name="one_sheet_revision"),
            models.UniqueConstraint(fields=["firm", "chained_at"], name="one_place_in_chain"),
        )
        indexes = (models.Index(fields=["firm", "state"]),)

    def __str__(self) -> str:
        return f"Sheet of job {self.job.number}, revision {self.revision}"

    @property
    def is_open(self) -> bool:
        """True while it waits for the manager or the crew."""
        return self.state in {SheetState.SUBMITTED, SheetState.RETURNED}

    @property
    def is_opened_again(self) -> bool:
        """True while a revision that a manager opened has not been handed in yet."""
        return self.state == SheetState.RETURNED and self.returned_at is None


class Severity(models.TextChoices):
    BLOCK = Weight.BLOCK.value, Weight.BLOCK.label
    WARN = Weight.WARN.value, Weight.WARN.label
    NOTE = Weight.NOTE.value, Weight.NOTE.label


class Finding(FirmOwned):
    """What a check says about a sheet. A question, never an accusation."""

    sheet = models.ForeignKey(Sheet, on_delete=models.PROTECT, related_name="findings")
    check_code = models.CharField(max_length=40)
    severity = models.CharField(max_length=5, choices=Severity.choices)
    subject = models.CharField(max_length=40, blank=True)
    text = models.CharField(max_length=500)
    entries = models.JSONField(default=list)  # ids of the entries that are the evidence
    field = models.CharField(max_length=60, blank=True)
    answer = models.CharField(max_length=500, blank=True)
    waived = models.BooleanField(default=False)
    answered_by = models.ForeignKey(Member, null=True, on_delete=models.PROTECT, related_name="+")
    answered_at = models.DateTimeField(null=True)

    class Meta(FirmOwned.Meta):
        constraints = (
            *FirmOwned.Meta.constraints,
            models.UniqueConstraint(fields=["sheet", "check_code", "subject", "field"], name="one_finding"),
        )

    def __str__(self) -> str:
        return f"{self.check_code} {self.subject}"

    @property
    def is_settled(self) -> bool:
        """A note needs nothing, a question an answer, a block a waiver."""
        if self.severity == Severity.BLOCK:
            return self.waived
        return self.severity == Severity.NOTE or bool(self.answer)
