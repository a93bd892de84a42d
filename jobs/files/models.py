"""Bytes: private files by content hash, and uploads that come in pieces."""

from __future__ import annotations

from django.db import models

from jobs.firms.models import FirmOwned


class StoredFile(FirmOwned):
    """Bytes that were received whole. Named by hash; people's file names are not kept.

    `sha256` is of what was received, the name the ledger uses. A picture is made anew before it is kept, so
    `stored_sha256` is of what lies on the disk.
    """

    sha256 = models.CharField(max_length=64)
    stored_sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField()
    content_type = models.CharField(max_length=60)
    width = models.PositiveIntegerField(null=True)
    height = models.PositiveIntegerField(null=True)
    received_at = models.DateTimeField()
    purpose = models.CharField(max_length=20)  # photo, sheet, drawing

    class Meta(FirmOwned.Meta):
        constraints = (
            *FirmOwned.Meta.constraints,
            models.UniqueConstraint(fields=["firm", "sha256", "purpose"], name="one_file_per_hash"),
        )


class Upload(FirmOwned):
    """A photo on its way in pieces; its id is minted on the phone, `sha256` is of the whole.

    `file` is set when it is received whole; `refused` says, for good, why it never will be.
    """

    sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField()
    offset = models.PositiveIntegerField(default=0)
    content_type = models.CharField(max_length=60)
    started_at = models.DateTimeField()
    file = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    refused = models.CharField(max_length=200, blank=True)

    class Meta(FirmOwned.Meta):
        pass
