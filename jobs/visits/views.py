"""Pages of visits: plan and change one, the timeline of a job, what is held, the de-aeration run."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django import forms as django_forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from jobs.firms import clock
from jobs.firms.access import MemberRequest, member_view
from jobs.firms.errors import Refused
from jobs.planning.access import job_for
from jobs.visits import access, actions, forms, paper, queries, rows
from jobs.visits.access import DESK
from jobs.visits.gaps import gaps
from jobs.visits.models import Visit


def taken(request: HttpRequest, form: django_forms.Form, act: Callable[[], Any]) -> bool:
    """True when the form was sent, is right, and the action did not refuse; a refusal stands over the form."""
    if request.method != "POST" or not form.is_valid():
        return False
    try:
        act()
    except Refused as refusal:
        form.add_error(None, str(refusal))
        return False
    return True


@member_view(*DESK)
def visit_new(request: MemberRequest, pk: UUID) -> HttpResponse:
    job = job_for(request.member, pk)
    form = forms.VisitForm(request.POST or None, member=request.member)
    if taken(request, form, lambda: actions.plan_visit(job, by=request.member, at=clock.now(), **form.cleaned_data)):
        messages.success(request, "The visit is planned.")
        return redirect("office:job", pk=job.pk)
    return render(request, "visits/form.html", {"form": form, "job": job, "title": "Plan a visit", "submit": "Plan"})


@member_view(*DESK)
def scope(request: MemberRequest, pk: UUID) -> HttpResponse:
    """Which phases are ours, and how the array is filled: the steps and hold points of the job follow from it."""
    job = job_for(request.member, pk)
    form = forms.ScopeForm(request.POST or None, job=job)
    by = request.member
    if taken(
        request, form,
        lambda: actions.set_scope(job, scope=form.scope(), fill=form.cleaned_data["fill"], by=by, at=clock.now()),
    ):  # fmt: skip
        messages.success(request, "The scope is saved. Phones have it with their next work pack.")
        return redirect("visits:scope", pk=job.pk)
    steps = queries.steps_of(job)
    return render(request, "visits/scope.html", {"form": form, "job": job, "steps": steps, "may_edit": True})


@require_GET
@member_view()
def visit(request: MemberRequest, pk: UUID) -> HttpResponse:
    found = access.visit_for(request.member, pk)
    lines = [line for line in queries.ledger(found.job).lines if line.visit == str(found.pk)]
    context = {
        "visit": found,
        "job": found.job,
        "crew": queries.crew_of(found),
        "rows": rows.timeline(lines, found.job),
    }
    return render(request, "visits/visit.html", context)


@require_GET
@member_view()
def visit_paper(request: MemberRequest, pk: UUID) -> HttpResponse:
    """The visit as an empty sheet to print and write on."""
    found = access.visit_for(request.member, pk)
    context = {
        "visit": found,
        "job": found.job,
        "crew": queries.crew_of(found),
        "blocks": paper.blocks(found, queries.ledger(found.job)),
        "code": paper.code_of(found),
    }
    return render(request, "visits/paper.html", context)


@member_view(*DESK)
def visit_edit(request: MemberRequest, pk: UUID) -> HttpResponse:
    found = access.visit_for(request.member, pk)
    form = forms.VisitForm(request.POST or None, member=request.member, visit=found)
    if taken(
        request, form, lambda: actions.change_visit(found, by=request.member, at=clock.now(), **form.cleaned_data)
    ):
        messages.success(request, "The visit is changed.")
        return redirect("visits:visit", pk=found.pk)
    return render(
        request, "visits/form.html", {"form": form, "job": found.job, "title": "Change the visit", "submit": "Save"}
    )


@require_POST
@member_view(*DESK)
def visit_cancel(request: MemberRequest, pk: UUID) -> HttpResponse:
    return _close(request, access.visit_for(request.member, pk), actions.cancel_visit, "The visit is cancelled.")


@require_POST
@member_view(*DESK)
def visit_finish(request: MemberRequest, pk: UUID) -> HttpResponse:
    return _close(request, access.visit_for(request.member, pk), actions.finish_visit, "The visit is finished.")


def _close(request: MemberRequest, found: Visit, act: Callable[..., None], done: str) -> HttpResponse:
    try:
        act(found, by=request.member, at=clock.now())
        messages.success(request, done)
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("visits:visit", pk=found.pk)


@require_GET
@member_view()
def entries(request: MemberRequest, pk: UUID) -> HttpResponse:
    """Everything that was logged on a job, in the order of the work."""
    job = job_for(request.member, pk)
    seen = queries.ledger(job)
    context = {"job": job, "rows": rows.timeline(seen.lines, job), "holds": rows.holds(seen)}
    return render(request, "visits/entries.html", context)


@require_GET
@member_view(*DESK)
def held(request: MemberRequest) -> HttpResponse:
    """What came from phones and waits for the office."""
    context = {"entries": rows.held(queries.held_entries()), "items": queries.held_items(), "gaps": gaps()}
    return render(request, "visits/held.html", context)


@member_view(*DESK)
def held_entry(request: MemberRequest, pk: UUID) -> HttpResponse:
    """One held entry: take it after all, or leave it out, with a reason."""
    entry = access.entry_for(pk)
    form = forms.DecisionForm(request.POST or None)
    is_taken = request.POST.get("word") == "take"

    def decide() -> None:
        actions.decide(entry, taken=is_taken, reason=form.cleaned_data["reason"], by=request.member, at=clock.now())

    if taken(request, form, decide):
        messages.success(request, "The entry counts." if is_taken else "The entry is left out.")
        return redirect("visits:held")
    line = queries.ledger(entry.job).by_id[str(entry.pk)]
    context = {"entry": entry, "job": entry.job, "form": form, "row": rows.row(line, entry.job)}
    return render(request, "visits/held_entry.html", context)


@member_view(*DESK)
def held_item(request: MemberRequest, pk: UUID) -> HttpResponse:
    """What could not be read, as it came."""
    item = access.held_item_for(pk)
    if request.method == "POST":
        actions.look_at(item, by=request.member, at=clock.now())
        messages.success(request, "It is off the list and still kept.")
        return redirect("visits:held")
    return render(request, "visits/held_item.html", {"item": item})


@member_view(*DESK)
def run_extend(request: MemberRequest, pk: UUID) -> HttpResponse:
    run = access.run_for(pk)
    form = forms.ExtendForm(request.POST or None, run=run)

    def extend() -> None:
        told = form.cleaned_data
        actions.extend_run(run, to=told["day"], reason=told["reason"], by=request.member, at=clock.now())

    if taken(request, form, extend):
        messages.success(request, "The run is extended.")
        return redirect("office:job", pk=run.job_id)
    context = {"form": form, "job": run.job, "run": run, "title": "Extend the de-aeration run", "submit": "Extend"}
    return render(request, "visits/form.html", context)
