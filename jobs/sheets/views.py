"""Sheets: the queue, one sheet, its review, its PDF, and the page on which anybody can compare a hash."""

from __future__ import annotations

import re
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from jobs.accounts import links
from jobs.files.access import answer as file_answer
from jobs.firms import clock
from jobs.firms.access import MemberRequest, member_view
from jobs.firms.errors import Refused
from jobs.firms.models import Role
from jobs.firms.scope import scope
from jobs.planning.access import job_for
from jobs.sheets import access, actions, forms, gather, printing, queries, reviewing
from jobs.sheets import render as pdfs
from jobs.sheets.models import Sheet, SheetState
from jobs.sheets.page import whole
from jobs.work import actions as work

HASH = re.compile(r"[0-9a-f]{64}")
READERS = (Role.SCHEDULER, Role.MANAGER)


@require_safe
@member_view(*READERS)
def queue(request: MemberRequest) -> HttpResponse:
    """What waits for review, the riskiest first."""
    actions.catch_up_all(at=clock.now())
    context = {"waiting": queries.queue(), "approved": queries.recent(), "member_reviews": _reviews(request)}
    return render(request, "sheets/queue.html", context)


def _reviews(request: MemberRequest) -> bool:
    return request.member.has_role(Role.MANAGER)


@require_safe
@member_view()
def sheet(request: MemberRequest, pk: UUID) -> HttpResponse:
    """Where a sheet stands: state, revisions, PDF."""
    found = access.sheet_for(request.member, pk)
    actions.catch_up(found.job)
    found.refresh_from_db()
    revisions = list(queries.sheets_of(found.job))
    context = {
        "sheet": found,
        "revisions": revisions,
        "next_revision": revisions[0].revision + 1,
        "member_reviews": _reviews(request),
        "findings": queries.findings_of(found),
        "pdf": queries.pdf_state(found) if found.facts_hash else None,
        "no_pdf_here": pdfs.missing() if found.facts_hash and not found.pdf_id else "",
        "reopen": forms.ReopenForm(),
        "link": printing.link(found) if found.facts_hash else "",
    }
    return render(request, "sheets/sheet_page.html", context)


@require_safe
@member_view(Role.MANAGER)
def review(request: MemberRequest, pk: UUID) -> HttpResponse:
    """Findings first, each with its evidence."""
    found = access.sheet_for(request.member, pk)
    at = clock.now()
    actions.catch_up(found.job)
    found.refresh_from_db()
    if found.state not in {SheetState.SUBMITTED, SheetState.RETURNED}:
        return redirect("sheets:sheet", pk=found.pk)
    seen = gather.evidence(found.job)
    cards = reviewing.Cards(found, seen, at=at)
    questions = reviewing.questions(found, cards)
    context = {
        "sheet": found,
        "questions": questions,
        "open": sum(not one.row.is_settled for one in questions),
        "everything": reviewing.everything(cards),
        "changed": reviewing.changed_since(found, seen),
        "asks": reviewing.asked(found),
        "self_review": queries.may_self_review(found, request.member.pk),
    }
    return render(request, "sheets/review.html", context)


def _back(request: MemberRequest, sheet: Sheet, *, said: str = "") -> HttpResponseRedirect:
    if said:
        messages.success(request, said)
    return redirect("sheets:review" if sheet.is_open else "sheets:sheet", pk=sheet.pk)


@require_POST
@member_view(Role.MANAGER)
def answer(request: MemberRequest, pk: UUID) -> HttpResponse:
    """Takes a finding as answered, or waives it."""
    finding = access.finding_for(pk)
    form = forms.AnswerForm(request.POST)
    if form.is_valid():
        try:
            actions.answer_finding(finding, **form.cleaned_data, by=request.member, at=clock.now())
        except Refused as refused:
            messages.error(request, str(refused))
    return redirect(f"{_back(request, finding.sheet).url}#finding-{finding.pk}")


@require_POST
@member_view(Role.MANAGER)
def ask(request: MemberRequest, pk: UUID) -> HttpResponse:
    """Sends one field back to the crew."""
    found = access.sheet_for(request.member, pk)
    form = forms.AskForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Say what the crew should look at, and at which answer.")
        return _back(request, found)
    entry = reviewing.entry_of(form.cleaned_data["entry"], found)
    if entry is None:
        raise Http404
    try:
        wanted = {"field": form.cleaned_data["field"], "text": form.cleaned_data["text"]}
        actions.send_back(found, entry=entry, **wanted, by=request.member, at=clock.now())
    except Refused as refused:
        messages.error(request, str(refused))
        return _back(request, found)
    return _back(request, found, said="Sent back: it is on the crew's phone the next time it has signal.")


@require_POST
@member_view(Role.MANAGER)
def approve(request: MemberRequest, pk: UUID) -> HttpResponse:
    """Approves what the manager saw."""
    found = access.sheet_for(request.member, pk)
    form = forms.ApproveForm(request.POST)
    if not form.is_valid():
        return _back(request, found)
    try:
        approved = actions.approve(found, **form.cleaned_data, by=request.member, at=clock.now())
    except Refused as refused:
        messages.error(request, str(refused))
        return _back(request, found)
    work.nudge()
    return _back(request, approved, said=f"Revision {approved.revision} is approved. {_pdf_words()}")


def _pdf_words() -> str:
    return "The PDF is being made." if pdfs.available() else "Until its PDF can be made here, use “Page to print”."


@require_POST
@member_view(Role.MANAGER)
def reopen(request: MemberRequest, pk: UUID) -> HttpResponse:
    """Opens the next revision with a reason."""
    found = access.sheet_for(request.member, pk)
    form = forms.ReopenForm(request.POST)
    try:
        if form.is_valid():
            found = actions.reopen(found, **form.cleaned_data, by=request.member, at=clock.now())
        else:
            messages.error(request, "Say why the sheet is opened again.")
    except Refused as refused:
        messages.error(request, str(refused))
    return redirect("sheets:sheet", pk=found.pk)


@require_POST
@member_view(Role.SCHEDULER, Role.MANAGER, Role.ENGINEER)
def submit(request: MemberRequest, pk: UUID) -> HttpResponse:
    """Hands the sheet of a job in, from the office."""
    job = job_for(request.member, pk)
    try:
        made = actions.submit(job, by=request.member, at=clock.now())
    except Refused as refused:
        messages.error(request, str(refused))
        return redirect("office:job", pk=job.pk)
    messages.success(request, "The sheet waits for the manager's review.")
    return redirect("sheets:sheet", pk=made.pk)


@require_safe
@never_cache
@member_view(api=True)
def progress(request: MemberRequest, pk: UUID) -> HttpResponse:
    """How far the PDF is, for the page that waits for it."""
    state = queries.pdf_state(access.sheet_for(request.member, pk))
    return JsonResponse(
        {"ready": state.ready, "failed": state.failed, "progress": state.progress, "words": state.words}
    )


@require_safe
@member_view()
def pdf(request: MemberRequest, pk: UUID) -> HttpResponse:
    found = access.sheet_for(request.member, pk)
    if found.pdf is None:
        raise Http404("The PDF is not made yet.")
    return file_answer(found.pdf, name=f"job-{found.job.number}-sheet-revision-{found.revision}.pdf")


@require_safe
@member_view(*READERS)
def facts_file(request: MemberRequest, pk: UUID) -> HttpResponse:
    """The facts that were approved, byte for byte as they were hashed."""
    found = access.sheet_for(request.member, pk)
    if not found.facts:
        raise Http404("This sheet is not approved yet.")
    response = HttpResponse(found.facts, content_type="application/json")
    response["Content-Disposition"] = (
        f'attachment; filename="job-{found.job.number}-facts-revision-{found.revision}.json"'
    )
    return response


@require_safe
@member_view()
def print_page(request: MemberRequest, pk: UUID) -> HttpResponse:
    """The same sheet as a page to print; a draft while it is not approved."""
    found = access.sheet_for(request.member, pk)
    return render(request, "sheets/sheet.html", {"sheet": _page(found), "draft": not found.facts_hash})


def _page(found: Sheet) -> whole.Sheet:
    if found.facts_hash:
        return printing.printed(found, photos=reviewing.addresses(reviewing.facts_of(found)))
    return reviewing.preview(found, gather.evidence(found.job), at=clock.now())


@require_safe
@never_cache
def verify(request: HttpRequest, pk: UUID, hash: str) -> HttpResponse:  # noqa: A002 - the word in the address
    """For anybody who holds a sheet: valid, superseded, changed or unknown; nothing about people or places."""
    link = links.open(actions.VERIFY, hash.lower(), clock.now()) if HASH.fullmatch(hash.lower()) else None
    found = queries.UNKNOWN
    if link:
        with scope(link.firm_id, writes=False):
            found = queries.verified(link, pk)
    response = render(request, "sheets/verify.html", {"found": found, "hash": hash[:64]}, status=200)
    response["X-Robots-Tag"] = "noindex"
    return response
