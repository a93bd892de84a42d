"""A sheet is handed in, answered, sent back, approved, opened again. One verb each: check, transaction, write, audit."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable
from datetime import datetime, timedelta
from uuid import UUID

from django.conf import settings
from django.db import transaction

from jobs.accounts.models import LinkToken
from jobs.files import actions as files
from jobs.firms import audit
from jobs.firms.models import Member, Role
from jobs.firms.queries import members_of
from jobs.firms.scope import firm_in_scope
from jobs.planning import actions as planning
from jobs.planning.models import Job, JobState
from jobs.planning.trade import SITE
from jobs.sheets import facts, findings, gather, queries
from jobs.sheets.errors import JobChanged, SheetRefused
from jobs.sheets.evidence import Evidence, Person
from jobs.sheets.findings import Found
from jobs.sheets.models import Finding, Severity, Sheet, SheetState
from jobs.sheets.trade import LEAST_REASON, PDF
from jobs.visits import actions as visits
from jobs.visits import queries as visit_queries
from jobs.visits.models import Entry
from jobs.work import actions as work

VERIFY = "verify"
FOR_GOOD = timedelta(days=365 * 80)
AGAIN = timedelta(minutes=10)
SWEEP = "sheets_behind"


def submit(job: Job, *, by: Member, at: datetime) -> Sheet:
    """Hands the sheet in, or in again: as the same revision when nothing was logged since, else as the next one."""
    with transaction.atomic():
        job = queries.job_to_write(job.pk)
        last = queries.latest(job)
        if last and last.state == SheetState.APPROVED:
            raise SheetRefused("This job's sheet is approved. A manager can open it again with a reason.")
        if last and last.state == SheetState.SUBMITTED:
            return catch_up(job) or last
        seen = gather.evidence(job)
        sheet = _same_revision(last, seen) or Sheet(job=job, revision=last.revision + 1 if last else 1)
        if last and last.pk != sheet.pk:
            _supersede(last)
        _hand_in(sheet, seen, by=by, at=at)
    return sheet


def _same_revision(last: Sheet | None, seen: Evidence) -> Sheet | None:
    """A returned sheet goes on as it is while nothing new was logged; one opened again was never handed in yet."""
    if last is None or last.state == SheetState.SUPERSEDED:
        return None
    return last if last.is_opened_again or last.entry_count == len(seen.items) else None


def _supersede(sheet: Sheet) -> None:
    sheet.state = SheetState.SUPERSEDED
    sheet.save(update_fields=["state"])


def _hand_in(sheet: Sheet, seen: Evidence, *, by: Member, at: datetime) -> None:
    job = sheet.job
    if job.state in SITE or job.state == JobState.RETURNED:
        planning.move_state(job, JobState.SUBMITTED, at=at, by=by)
    elif job.state != JobState.SUBMITTED:
        raise SheetRefused(f"{job} is {JobState(job.state).label.lower()}; its sheet cannot be handed in yet.")
    sheet.state = SheetState.SUBMITTED
    sheet.submitted_by, sheet.submitted_at, sheet.returned_at = by, at, None
    sheet.entry_count, sheet.seen_version = len(seen.items), job.version
    sheet.save()
    write_findings(sheet, findings.run(seen))
    work.falls_due(SWEEP, subject=firm_in_scope(), at=at + AGAIN)
    audit.record(at=at, actor=by, verb="sheet_submitted", subject=sheet, revision=sheet.revision)


def write_findings(sheet: Sheet, found: Iterable[Found]) -> None:
    """Findings as they are now. An answer stays as long as the question and its evidence do."""
    before = {(row.check_code, row.subject, row.field): row for row in sheet.findings.all()}
    for one in found:
        row = before.pop((one.code, one.subject, one.field), None) or Finding(
            sheet=sheet, check_code=one.code, subject=one.subject, field=one.field
        )
        entries = list(one.entries)
        if row.text != one.text or row.entries != entries:
            row.answer, row.waived, row.answered_by, row.answered_at = "", False, None, None
        row.severity, row.text, row.entries = one.severity.value, one.text, entries
        row.save()
    for gone in before.values():
        gone.delete()


def catch_up(job: Job) -> Sheet | None:
    """Brings the sheet of a job to the job's newest version: hand-ins from the phone, findings, late entries.

    Rooms below never call this; it runs when a sheet is read, and in the sweep.
    """
    with transaction.atomic():
        job = queries.job_to_write(job.pk)
        sheet = queries.latest(job)
        if sheet is None or sheet.state in {SheetState.RETURNED, SheetState.SUPERSEDED}:
            return _handed_in_by_phone(job, sheet) or _seen(sheet, job)
        if sheet.seen_version == job.version:
            return sheet
        if sheet.state == SheetState.APPROVED:
            sheet.late_entries = max(Entry.objects.filter(job=job).count() - sheet.entry_count, 0)
            return _seen(sheet, job)
        seen = gather.evidence(job)
        write_findings(sheet, findings.run(seen))
        sheet.entry_count = len(seen.items)
        return _seen(sheet, job)


def _seen(sheet: Sheet | None, job: Job) -> Sheet | None:
    if sheet:
        sheet.seen_version = job.version
        sheet.save(update_fields=["seen_version", "entry_count", "late_entries"])
    return sheet


def _handed_in_by_phone(job: Job, sheet: Sheet | None) -> Sheet | None:
    """The crew handed it in by an entry, or has answered everything that was asked since it was returned.

    Whichever came first counts, with its name and the time it was received, so that it makes no difference when somebody looks.
    """
    if job.state not in {*SITE, JobState.RETURNED}:
        return None
    since = (sheet.returned_at or sheet.submitted_at) if sheet else None
    handed_in = visit_queries.ledger(job).of("sheet_submit")
    moments = [_received([line.id]) for line in handed_in if since is None or line.received_at > since][:1]
    if since is not None:
        asks = [ask.answered_by_entry for ask in visit_queries.asks_of(job).filter(asked_at__gte=since)]
        answers = [entry for entry in asks if entry]
        moments += [_received(answers)] if answers and len(answers) == len(asks) else []
    first = min((entry for entry in moments if entry), key=lambda entry: entry.received_at, default=None)
    return submit(job, by=first.person, at=first.received_at) if first else None


def _received(entries: Iterable[UUID | str]) -> Entry | None:
    """The one that was received last."""
    rows = Entry.objects.select_related("person__user", "person__firm").filter(pk__in=entries)
    return rows.order_by("received_at").last()


def catch_up_all(*, at: datetime) -> int:
    """Every sheet of the firm in scope that is behind; gives their number."""
    jobs = queries.behind()
    for job in jobs:
        catch_up(job)
    forget_erased(at=at)
    return len(jobs)


def forget_erased(*, at: datetime) -> int:
    """Takes names and words of people who were erased out of signed sheets, and makes their PDFs anew.

    Facts and hash stay as they are: they hold commitments only.
    """
    found = queries.sheets_to_clean()
    for sheet, person in found:
        with transaction.atomic():
            sheet.personal = facts.erase(sheet.personal, person)
            old, sheet.pdf = sheet.pdf, None
            sheet.save(update_fields=["personal", "pdf"])
            if old:
                files.discard(old)
            work.want(PDF, key=f"{sheet.pk} without {person}", subject=sheet.pk, at=at)
            audit.record(at=at, actor=None, verb="sheet_cleaned", subject=sheet)
    return len(found)


def answer_finding(finding: Finding, *, text: str, waive: bool = False, by: Member, at: datetime) -> Finding:
    """Takes what a check asks as answered. What blocks is only settled by a waiver with a reason."""
    sheet = finding.sheet
    if sheet.state != SheetState.SUBMITTED:
        raise SheetRefused("This sheet does not wait for review any more. Reload the page.")
    if finding.severity == Severity.BLOCK and not waive:
        raise SheetRefused("This blocks the approval: ask the crew, or waive it with a reason.")
    text = text.strip()
    if len(text) < LEAST_REASON:
        wanted = (
            "why this is waived: it is printed on the sheet" if waive else "what you found: it is kept as your answer"
        )
        raise SheetRefused(f"Say in at least {LEAST_REASON} characters {wanted}.")
    with transaction.atomic():
        finding.answer, finding.waived = text[:500], waive
        finding.answered_by, finding.answered_at = by, at
        finding.save()
        verb = "finding_waived" if waive else "finding_answered"
        audit.record(at=at, actor=by, verb=verb, subject=finding, check=finding.check_code)
    return finding


def send_back(sheet: Sheet, *, entry: Entry, field: str, text: str, by: Member, at: datetime) -> Sheet:
    """Asks the crew about one field of one entry; the sheet waits for their answer."""
    if not text.strip():
        raise SheetRefused("Say what the crew should look at.")
    if entry.job_id != sheet.job_id or not sheet.is_open:
        raise SheetRefused("This sheet does not wait for review any more. Reload the page.")
    with transaction.atomic():
        job = queries.job_to_write(sheet.job_id)
        visits.ask(entry, field=field, text=text, to=_answers(entry), by=by, at=at)
        job.refresh_from_db()
        if job.state != JobState.RETURNED:
            planning.move_state(job, JobState.RETURNED, at=at, by=by)
        # Several fields go back as one return; a sheet opened again is with the crew already.
        if sheet.state == SheetState.SUBMITTED:
            sheet.state, sheet.returned_at = SheetState.RETURNED, at
        sheet.seen_version = job.version
        sheet.save(update_fields=["state", "returned_at", "seen_version"])
        audit.record(at=at, actor=by, verb="sheet_returned", subject=sheet, field=field)
    return sheet


def _answers(entry: Entry) -> Member:
    """Who logged it; when they have left, somebody of the crew."""
    if entry.person.is_active:
        return entry.person
    crew = members_of(firm_in_scope(), Role.CREW, Role.ENGINEER)
    if not crew:
        raise SheetRefused("Nobody of the crew is there to answer. Invite somebody, then ask again.")
    return crew[0]


def approve(sheet: Sheet, *, seen_version: int, by: Member, at: datetime) -> Sheet:
    """Freezes the sheet as the manager saw it. Raises `JobChanged` when anything has changed since.

    Facts, hash, place in the chain and the wish for a PDF are written in one transaction.
    """
    with transaction.atomic():
        job = queries.job_to_write(sheet.job_id)
        sheet = queries.sheets().get(pk=sheet.pk)
        sheet.job = job
        _may_be_approved(sheet, seen_version)
        _freeze(sheet, by=by, at=at)
        planning.move_state(job, JobState.APPROVED, at=at, by=by)
        sheet.seen_version = job.version
        sheet.save()
        for older in queries.sheets_of(job).filter(revision__lt=sheet.revision, state=SheetState.APPROVED):
            _supersede(older)
        LinkToken(
            purpose=VERIFY,
            token_hash=hashlib.sha256(sheet.facts_hash.encode()).hexdigest(),
            firm_id=firm_in_scope(),
            subject=sheet.pk,
            expires_at=at + FOR_GOOD,
        ).save()
        work.want(PDF, key=str(sheet.pk), subject=sheet.pk, at=at)
        audit.record(at=at, actor=by, verb="sheet_approved", subject=sheet, hash=sheet.facts_hash)
    return sheet


def _may_be_approved(sheet: Sheet, seen_version: int) -> None:
    if sheet.state != SheetState.SUBMITTED:
        raise SheetRefused("This sheet does not wait for review any more. Reload the page.")
    if sheet.job.version != seen_version or sheet.seen_version != seen_version:
        raise JobChanged(_changes(sheet))
    if queries.open_findings(sheet).exists():
        raise SheetRefused("Some findings are still open. Answer them, ask the crew, or waive them with a reason.")


def _changes(sheet: Sheet) -> tuple[str, ...]:
    """What came in since the findings were made, in words."""
    new = Entry.objects.filter(job=sheet.job_id).order_by("-received_at")
    count = max(new.count() - sheet.entry_count, 0)
    lines = {str(line.id): line for line in visit_queries.ledger(sheet.job).lines}
    told = [lines[str(row.pk)] for row in new[: min(count, 3)] if str(row.pk) in lines]
    return tuple(f"{line.label} {line.subject}, {line.person}".replace(" ,", ",") for line in told)


def _freeze(sheet: Sheet, *, by: Member, at: datetime) -> None:
    seen = gather.evidence(sheet.job)
    rows = queries.findings_of(sheet)
    members = {
        str(one.pk): one for one in (by, sheet.submitted_by, *(row.answered_by for row in rows if row.answered_by))
    }
    people = gather.people(members.values())
    end = queries.chain_end()
    sheet.self_reviewed = queries.may_self_review(sheet, by.pk)
    approval = facts.Approval(
        revision=sheet.revision,
        by=people[str(by.pk)],
        at=at,
        submitted_by=people[str(sheet.submitted_by_id)],
        submitted_at=sheet.submitted_at,
        key=_salt_key(sheet),
        self_reviewed=sheet.self_reviewed,
        previous_hash=end.facts_hash if end else "",
        reason=sheet.reason,
        findings=tuple(_answered(row, people.get(str(row.answered_by_id))) for row in rows),
    )
    made = facts.snapshot(seen, approval)
    sheet.facts, sheet.facts_hash, sheet.personal = made.text, made.hash, made.personal
    sheet.previous_hash = approval.previous_hash
    sheet.chained_at = (end.chained_at or 0) + 1 if end else 1
    sheet.entry_count, sheet.state = len(seen.items), SheetState.APPROVED
    sheet.approved_by, sheet.approved_at = by, at


def _answered(row: Finding, who: Person | None) -> facts.Answered:
    return facts.Answered(
        code=row.check_code,
        severity=row.severity,
        text=row.text,
        subject=row.subject,
        field=row.field,
        entries=tuple(row.entries),
        answer=row.answer,
        waived=row.waived,
        by=who,
    )


def _salt_key(sheet: Sheet) -> str:
    """Random; under the simulated clock of demo and tests the same in every run, as everything there is."""
    if settings.CLOCK_FILE:
        return hashlib.sha256(f"simulated {sheet.job.number} {sheet.revision}".encode()).hexdigest()
    return secrets.token_hex(32)


def reopen(sheet: Sheet, *, reason: str, by: Member, at: datetime) -> Sheet:
    """Opens the next revision of an approved sheet, in the crew's hands. The approved one stands until the next is."""
    reason = reason.strip()
    if len(reason) < LEAST_REASON:
        raise SheetRefused(f"Say in at least {LEAST_REASON} characters why the sheet is opened again.")
    with transaction.atomic():
        job = queries.job_to_write(sheet.job_id)
        last = queries.latest(job)
        if last is None or last.pk != sheet.pk or last.state != SheetState.APPROVED:
            raise SheetRefused("Only the newest approved revision can be opened again.")
        planning.move_state(job, JobState.RETURNED, at=at, by=by)
        opened = Sheet(
            job=job,
            revision=last.revision + 1,
            reason=reason[:300],
            state=SheetState.RETURNED,
            seen_version=job.version,
            entry_count=last.entry_count,
            submitted_by=by,
            submitted_at=at,
        )
        opened.save()
        audit.record(at=at, actor=by, verb="sheet_reopened", subject=opened, revision=opened.revision)
    return opened


def keep_pdf(sheet: Sheet, data: bytes, *, at: datetime) -> None:
    """The PDF of an approved sheet; a second making gives the same bytes and changes nothing."""
    with transaction.atomic():
        sheet.pdf = files.put(data, content_type="application/pdf", purpose="sheet", at=at)
        sheet.save(update_fields=["pdf"])


def want_missing_pdfs(*, at: datetime) -> int:
    """Wants PDFs again that were skipped because the libraries were not here; gives their number."""
    rows = queries.without_pdf()
    for sheet, tries in rows:
        work.want(PDF, key=f"{sheet.pk} again {tries}", subject=sheet.pk, at=at)
    return len(rows)
