"""What is booked, done and read: visits, the ledger of entries, asks, de-aeration runs."""

from __future__ import annotations

from django.db import models

from jobs.firms.models import FirmOwned, Member
from jobs.planning.models import Job


class VisitKind(models.TextChoices):
    GROUND = "ground", "Trench, pipe and test"
    FILL = "fill", "Flush, fill and purge"
    START = "start", "Start-up"
    FOLLOW_UP = "follow_up", "De-aeration check"
    FINAL = "final", "Final readings"


class VisitState(models.TextChoices):
    PLANNED = "planned", "Planned"
    UNDER_WAY = "under_way", "Under way"
    FINISHED = "finished", "Finished on site"
    CANCELLED = "cancelled", "Cancelled"


class Visit(FirmOwned):
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="visits")
    kind = models.CharField(max_length=10, choices=VisitKind.choices)
    planned_date = models.DateField()
    note = models.CharField(max_length=300, blank=True)
    state = models.CharField(max_length=10, choices=VisitState.choices, default=VisitState.PLANNED)

    class Meta(FirmOwned.Meta):
        indexes = (models.Index(fields=["firm", "planned_date"]),)


class Booking(FirmOwned):
    """Who is booked on a visit."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="bookings")
    member = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")

    class Meta(FirmOwned.Meta):
        constraints = (
            *FirmOwned.Meta.constraints,
            models.UniqueConstraint(fields=["visit", "member"], name="one_booking"),
        )


class Entry(FirmOwned):
    """One logged fact, as it came from a phone. Append-only; a correction is a new entry that supersedes.

    `person` and `device` are ids, never names. Free text and signatures lie in `EntryText`; their salted hash stands here.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="entries")
    visit = models.ForeignKey(Visit, null=True, on_delete=models.PROTECT, related_name="entries")
    kind = models.CharField(max_length=40)
    subject = models.CharField(max_length=40, blank=True)  # code of the loop, section, joint, borehole; empty: job
    payload = models.JSONField()  # field -> {"text": as typed, "value": parsed, "unit": unit as typed}
    extra = models.JSONField(default=dict)  # what a newer phone sent and this server does not know yet
    source = models.CharField(max_length=20, default="typed")
    supersedes = models.UUIDField(null=True)  # may arrive before its target; several may supersede one
    reason = models.CharField(max_length=20, blank=True)  # why it supersedes: a code
    instrument = models.UUIDField(null=True)
    person = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    sent_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    device = models.UUIDField()
    device_seq = models.PositiveBigIntegerField()
    schema = models.PositiveSmallIntegerField()
    client_build = models.CharField(max_length=40, blank=True)
    observed_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    received_at = models.DateTimeField()
    clock_offset_s = models.FloatField()
    time_zone = models.CharField(max_length=60, blank=True)
    content_hash = models.CharField(max_length=64)
    text_hash = models.CharField(max_length=64, blank=True)
    held = models.CharField(max_length=60, blank=True)  # why the office will look, as a code; empty: taken

    class Meta(FirmOwned.Meta):
        indexes = (
            models.Index(fields=["firm", "job", "kind"]),
            models.Index(fields=["firm", "device", "device_seq"]),
        )


class EntryText(FirmOwned):
    """The free text and signatures of an entry. Goes when its person is erased; the entry stays."""

    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="text")
    person = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    salt = models.CharField(max_length=32)
    body = models.JSONField()

    class Meta(FirmOwned.Meta):
        pass


class Erasure(FirmOwned):
    """The free text of this person may be deleted."""

    person = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta(FirmOwned.Meta):
        pass


class ReceiptFinding(FirmOwned):
    """What could only be judged at receipt: clock offset, late typing, gaps. Append-only."""

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="receipt_findings")
    code = models.CharField(max_length=20)
    value = models.FloatField(null=True)

    class Meta(FirmOwned.Meta):
        pass


class Decision(FirmOwned):
    """The office's word on a held entry: taken after all, or left out."""

    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="decision")
    taken = models.BooleanField()
    reason = models.CharField(max_length=300)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta(FirmOwned.Meta):
        pass


class Unread(models.TextChoices):
    CONFLICT = "conflict", "Same id, other content"
    UNREADABLE = "unreadable", "Cannot be read"
    NO_JOB = "no_job", "For a job this firm does not have"
    NO_PERSON = "no_person", "By somebody this firm does not have"


class HeldItem(FirmOwned):
    """What came from a phone and could not become an entry. Kept as received; a person looks at it."""

    why = models.CharField(max_length=12, choices=Unread.choices)
    body = models.TextField()
    device = models.UUIDField(null=True)
    sent_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    received_at = models.DateTimeField()
    content_hash = models.CharField(max_length=64)
    looked_at = models.DateTimeField(null=True)

    class Meta(FirmOwned.Meta):
        constraints = (
            *FirmOwned.Meta.constraints,
            models.UniqueConstraint(fields=["firm", "content_hash"], name="one_held_item"),
        )


class Ask(FirmOwned):
    """One field that is sent back to the crew."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="asks")
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="asks")
    field = models.CharField(max_length=40)
    text = models.CharField(max_length=500)
    to = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    answered_by_entry = models.UUIDField(null=True)
    answered_at = models.DateTimeField(null=True)

    class Meta(FirmOwned.Meta):
        pass


class RunState(models.TextChoices):
    RUNNING = "running", "Running"
    STABLE = "stable", "Stable"
    ENDED = "ended", "Ended"


class Run(FirmOwned):
    """A de-aeration run: started by an entry, ended by final readings; in between somebody must come back."""

    job = models.OneToOneField(Job, on_delete=models.PROTECT, related_name="run")
    start_entry = models.UUIDField()
    started_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    extended_to = models.DateTimeField(null=True, blank=True)
    extended_reason = models.CharField(max_length=300, blank=True)
    last_check_at = models.DateTimeField(null=True)
    state = models.CharField(max_length=8, choices=RunState.choices, default=RunState.RUNNING)

    class Meta(FirmOwned.Meta):
        pass


class Progress(FirmOwned):
    """Summary columns of a job for lists and boards, recomputed in the transaction in which entries arrive.

    `held_entries` are the ids of what waits for the office's word.
    """

    job = models.OneToOneField(Job, on_delete=models.PROTECT, related_name="progress")
    version = models.PositiveIntegerField(default=0)
    entries = models.PositiveIntegerField(default=0)
    held = models.PositiveIntegerField(default=0)
    held_entries = models.JSONField(default=list)
    open_asks = models.PositiveIntegerField(default=0)
    waits_for = models.CharField(max_length=40, blank=True)  # code of the hold point that stands next
    sections_covered_early = models.PositiveSmallIntegerField(default=0)
    last_entry_at = models.DateTimeField(null=True)

    class Meta(FirmOwned.Meta):
        pass
