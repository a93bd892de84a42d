"""What is asked of sheets: the queue, one sheet with its findings, how far its PDF is, what the public may know."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.db.models import Count, F, OuterRef, Q, QuerySet, Subquery

from jobs.accounts.models import LinkToken
from jobs.firms.scope import firm_in_scope
from jobs.planning.models import Job, JobState
from jobs.sheets import seal
from jobs.sheets.models import Finding, Severity, Sheet, SheetState
from jobs.sheets.trade import PDF
from jobs.visits import queries as visits
from jobs.visits.models import Ask, Entry, Erasure
from jobs.work.models import Work, WorkState

OPEN = Q(severity=Severity.BLOCK, waived=False) | Q(severity=Severity.WARN, answer="")


def sheets() -> QuerySet[Sheet]:
    return Sheet.objects.select_related(
        "job__site__customer", "job__rule_set", "submitted_by__user", "approved_by__user"
    )


def queue() -> QuerySet[Sheet]:
    """Sheets that wait for the manager or the crew, the riskiest first, then the oldest."""
    waiting = sheets().filter(state__in=[SheetState.SUBMITTED, SheetState.RETURNED])
    return waiting.annotate(
        blocks=Count("findings", filter=Q(findings__severity=Severity.BLOCK, findings__waived=False)),
        questions=Count("findings", filter=Q(findings__severity=Severity.WARN, findings__answer="")),
    ).order_by("-state", "-blocks", "-questions", "submitted_at")


def recent(count: int = 20) -> QuerySet[Sheet]:
    """Approved last."""
    return sheets().filter(state=SheetState.APPROVED).order_by("-approved_at")[:count]


def sheets_of(job: Job) -> QuerySet[Sheet]:
    """Every revision, the newest first."""
    return sheets().filter(job=job).order_by("-revision")


def latest(job: Job) -> Sheet | None:
    return sheets_of(job).first()


def findings_of(sheet: Sheet) -> list[Finding]:
    """The gravest first; what is settled comes last."""
    order = {Severity.BLOCK.value: 0, Severity.WARN.value: 1, Severity.NOTE.value: 2}
    rows = sheet.findings.select_related("answered_by__user")
    return sorted(rows, key=lambda row: (row.is_settled, order[row.severity], row.check_code, row.subject, row.field))


def asks_of(sheet: Sheet) -> QuerySet[Ask]:
    """What was sent back to the crew since this revision was handed in."""
    return visits.asks_of(sheet.job).filter(asked_at__gte=sheet.submitted_at)


def open_findings(sheet: Sheet) -> QuerySet[Finding]:
    """What still stops the approval."""
    return Finding.objects.filter(OPEN, sheet=sheet)


def behind() -> list[Job]:
    """Jobs whose sheet has not seen their newest version, and jobs handed in by an entry that no sheet has seen yet."""
    newest = Sheet.objects.filter(job=OuterRef("pk")).order_by("-revision").values("seen_version")[:1]
    handed_in = Entry.objects.filter(kind="sheet_submit").values("job")
    jobs = Job.objects.annotate(seen=Subquery(newest)).exclude(state=JobState.CANCELLED)
    found = jobs.filter(Q(seen__lt=F("version")) | Q(seen=None, pk__in=handed_in))
    return list(found.select_related("site__customer", "rule_set", "firm"))


def job_to_write(pk: UUID) -> Job:
    """Locked where the database can, so that nobody raises its version meanwhile."""
    Job.objects.select_for_update().filter(pk=pk).values_list("pk").get()
    found: Job = Job.objects.select_related("site__customer", "rule_set", "firm").get(pk=pk)
    return found


def chain_end() -> Sheet | None:
    """The firm's sheet that was approved last."""
    found: Sheet | None = Sheet.objects.exclude(chained_at=None).order_by("-chained_at").first()
    return found


def sheets_to_clean() -> list[tuple[Sheet, str]]:
    """Signed sheets that still name somebody who was erased, with that person's id."""
    erased = {str(pk) for pk in Erasure.objects.values_list("person_id", flat=True)}
    return [
        (sheet, person)
        for person in sorted(erased)
        for sheet in Sheet.objects.select_related("pdf", "job").filter(personal__who__has_key=person)
    ]


def pdf_work(sheet: Sheet) -> Work | None:
    """The last wish for its PDF."""
    return Work.objects.filter(firm_id=firm_in_scope(), kind=PDF, subject=sheet.pk).order_by("-wanted_at").first()


def without_pdf() -> list[tuple[Sheet, int]]:
    """Approved sheets whose PDF was wanted and left unmade without a failure, with how often it was wanted."""
    rows = Work.objects.filter(firm_id=firm_in_scope(), kind=PDF)
    states: dict[UUID, list[str]] = {}
    for subject, state in rows.values_list("subject", "state"):
        states.setdefault(subject, []).append(state)
    sheets_left = Sheet.objects.filter(pdf=None).exclude(facts_hash="").order_by("chained_at")
    return [
        (sheet, len(found))
        for sheet in sheets_left
        if (found := states.get(sheet.pk)) and set(found) == {WorkState.DONE}
    ]


@dataclass(frozen=True)
class PdfState:
    """How far the PDF of a sheet is, in words and per cent."""

    ready: bool
    failed: bool
    progress: int
    words: str


def pdf_state(sheet: Sheet) -> PdfState:
    if sheet.pdf_id:
        return PdfState(ready=True, failed=False, progress=100, words="The PDF is ready.")
    work = pdf_work(sheet)
    if work and work.state == WorkState.PARKED:
        return PdfState(ready=False, failed=True, progress=0, words="The PDF could not be made. See background work.")
    progress = work.progress if work else 0
    words = "The PDF is being made." if progress else "The PDF waits to be made."
    return PdfState(ready=False, failed=False, progress=progress, words=words)


@dataclass(frozen=True)
class Verified:
    """All that the public is told."""

    word: str  # valid, superseded, changed, unknown
    revision: int = 0
    newer: int = 0


UNKNOWN = Verified("unknown")


def verified(link: LinkToken, sheet_id: UUID) -> Verified:
    """Inside the scope of the link's firm."""
    rows = Sheet.objects.select_related("pdf")
    sheet = rows.filter(pk=sheet_id).first() if link.subject == sheet_id else None
    if sheet is None or not sheet.facts_hash:
        return UNKNOWN
    if seal.broken(sheet):
        return Verified("changed", sheet.revision)
    newer = Sheet.objects.filter(job=sheet.job_id, revision__gt=sheet.revision, state=SheetState.APPROVED)
    last = newer.order_by("-revision").first()
    return Verified("superseded" if last else "valid", sheet.revision, last.revision if last else 0)


def may_self_review(sheet: Sheet, member_id: UUID) -> bool:
    """True when this member handed the sheet in or logged work on its job."""
    return sheet.submitted_by_id == member_id or Entry.objects.filter(job=sheet.job_id, person=member_id).exists()
