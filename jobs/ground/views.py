"""Pages of the ground: the array of a job, its parts, its numbers, and the import of a loop list."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django import forms as django_forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from jobs.firms import clock
from jobs.firms.access import MemberRequest, member_view
from jobs.firms.errors import Refused
from jobs.ground import access, actions, forms, importer, queries
from jobs.ground.access import DESK
from jobs.ground.drawing import array_svg
from jobs.ground.models import Loop
from jobs.ground.results import numbers_json, numbers_of
from jobs.planning.models import Job
from jobs.planning.queries import crew_has_begun, design_of, products
from jobs.planning.trade import may_change

REMOVED = "removed_loop"


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


def form_page(request: HttpRequest, job: Job, form: django_forms.Form, title: str, **context: Any) -> HttpResponse:
    return render(request, "ground/form.html", {"form": form, "job": job, "title": title, **context})


@member_view()
def array(request: MemberRequest, pk: UUID) -> HttpResponse:
    """Everything buried on one page: crew and engineer read it, the desk changes it."""
    job = access.job_for(request.member, pk)
    removed = request.session.get(REMOVED)
    plan = queries.plan_of(job)
    context = {
        "job": job,
        "loops": queries.loops(job),
        "boreholes": queries.boreholes(job),
        "sections": queries.sections(job),
        "plan": plan,
        "drawing": array_svg(plan),
        "may_edit": request.member.has_role(*DESK) and may_change(job.state),
        "may_remove": not crew_has_begun(job),
        "removed": removed if removed and removed["job"] == str(pk) else None,
    }
    return render(request, "ground/array.html", context)


@member_view()
def numbers(request: MemberRequest, pk: UUID) -> HttpResponse:
    job = access.job_for(request.member, pk)
    plan = queries.plan_of(job)
    context = {
        "job": job,
        "plan": plan,
        "n": numbers_json(numbers_of(plan)),
        "drawing": array_svg(plan),
        "may_edit": request.member.has_role(*DESK) and may_change(job.state),
    }
    return render(request, "ground/numbers.html", context)


@member_view(*DESK)
def design(request: MemberRequest, pk: UUID) -> HttpResponse:
    job = access.job_for(request.member, pk)
    form = forms.DesignForm(request.POST or None, row=design_of(job), products=products())
    if taken(request, form, lambda: actions.set_design(job, by=request.member, at=clock.now(), **form.cleaned_data)):
        messages.success(request, "The design data are saved.")
        return redirect("ground:numbers" if queries.loops(job).exists() else "ground:array", pk=pk)
    return render(request, "ground/design.html", {"form": form, "job": job, "has_products": products().exists()})


def _loop_form(request: MemberRequest, job: Job, row: Loop | None, initial: dict[str, Any]) -> forms.LoopForm:
    return forms.LoopForm(
        request.POST or None,
        row=row,
        initial=initial,
        boreholes=queries.borehole_rows(job),
        sections=queries.sections(job),
    )


@member_view(*DESK)
def loop_new(request: MemberRequest, pk: UUID) -> HttpResponse:
    """The form starts with pipe and lengths of the last loop: most loops of a job are alike."""
    job = access.job_for(request.member, pk)
    form = _loop_form(request, job, None, queries.like_the_last(job))
    if taken(request, form, lambda: actions.add_loop(job, by=request.member, at=clock.now(), **form.fields_of_row())):
        messages.success(request, "The loop is added.")
        return redirect("ground:loop-new" if "again" in request.POST else "ground:array", pk=pk)
    return form_page(request, job, form, "Add a loop", submit="Add the loop", again="Add it and enter another")


@member_view(*DESK)
def loop_edit(request: MemberRequest, pk: UUID, row: UUID) -> HttpResponse:
    job, loop = access.loop_for(request.member, pk, row)
    form = _loop_form(request, job, loop, {})
    if taken(
        request, form, lambda: actions.change_loop(loop, by=request.member, at=clock.now(), **form.fields_of_row())
    ):
        return redirect("ground:array", pk=pk)
    return form_page(request, job, form, f"Change {loop.code}")


@require_POST
@member_view(*DESK)
def loop_remove(request: MemberRequest, pk: UUID, row: UUID) -> HttpResponse:
    """Can be undone: what was removed is kept in the session, and the page offers to put it back."""
    job, loop = access.loop_for(request.member, pk, row)
    kept = queries.to_put_back(loop)
    if _removed(request, lambda: actions.remove_loop(loop, by=request.member, at=clock.now()), loop.code):
        request.session[REMOVED] = {"job": str(job.pk), **kept}
    return redirect("ground:array", pk=pk)


@require_POST
@member_view(*DESK)
def loop_restore(request: MemberRequest, pk: UUID) -> HttpResponse:
    job = access.job_for(request.member, pk)
    kept = request.session.pop(REMOVED, None)
    if kept and kept["job"] == str(pk):
        try:
            loop = actions.put_back_loop(job, kept, by=request.member, at=clock.now())
            messages.success(request, f"{loop.code} is back.")
        except Refused as refusal:
            messages.error(request, str(refusal))
    return redirect("ground:array", pk=pk)


def _removed(request: HttpRequest, act: Callable[[], Any], code: str) -> bool:
    try:
        act()
    except Refused as refusal:
        messages.error(request, str(refusal))
        return False
    messages.success(request, f"{code} is removed.")
    return True


@member_view(*DESK)
def borehole_new(request: MemberRequest, pk: UUID) -> HttpResponse:
    job = access.job_for(request.member, pk)
    form = forms.BoreholeForm(request.POST or None, initial=queries.like_the_last_borehole(job))
    if taken(
        request, form, lambda: actions.add_borehole(job, by=request.member, at=clock.now(), **form.fields_of_row())
    ):
        return redirect("ground:borehole-new" if "again" in request.POST else "ground:array", pk=pk)
    return form_page(request, job, form, "Add a borehole", submit="Add the borehole", again="Add it and enter another")


@member_view(*DESK)
def borehole_edit(request: MemberRequest, pk: UUID, row: UUID) -> HttpResponse:
    job, hole = access.borehole_for(request.member, pk, row)
    form = forms.BoreholeForm(request.POST or None, row=hole)
    if taken(
        request, form, lambda: actions.change_borehole(hole, by=request.member, at=clock.now(), **form.fields_of_row())
    ):
        return redirect("ground:array", pk=pk)
    return form_page(request, job, form, f"Change {hole.code}")


@require_POST
@member_view(*DESK)
def borehole_remove(request: MemberRequest, pk: UUID, row: UUID) -> HttpResponse:
    _, hole = access.borehole_for(request.member, pk, row)
    _removed(request, lambda: actions.remove_borehole(hole, by=request.member, at=clock.now()), hole.code)
    return redirect("ground:array", pk=pk)


@member_view(*DESK)
def section_new(request: MemberRequest, pk: UUID) -> HttpResponse:
    job = access.job_for(request.member, pk)
    form = forms.SectionForm(request.POST or None)
    if taken(
        request, form, lambda: actions.add_section(job, by=request.member, at=clock.now(), **form.fields_of_row())
    ):
        return redirect("ground:section-new" if "again" in request.POST else "ground:array", pk=pk)
    return form_page(request, job, form, "Add a section", submit="Add the section", again="Add it and enter another")


@member_view(*DESK)
def section_edit(request: MemberRequest, pk: UUID, row: UUID) -> HttpResponse:
    job, section = access.section_for(request.member, pk, row)
    form = forms.SectionForm(request.POST or None, row=section)
    if taken(
        request,
        form,
        lambda: actions.change_section(section, by=request.member, at=clock.now(), **form.fields_of_row()),
    ):
        return redirect("ground:array", pk=pk)
    return form_page(request, job, form, f"Change {section.code}")


@require_POST
@member_view(*DESK)
def section_remove(request: MemberRequest, pk: UUID, row: UUID) -> HttpResponse:
    _, section = access.section_for(request.member, pk, row)
    _removed(request, lambda: actions.remove_section(section, by=request.member, at=clock.now()), section.code)
    return redirect("ground:array", pk=pk)


@member_view(*DESK)
def header(request: MemberRequest, pk: UUID) -> HttpResponse:
    job = access.job_for(request.member, pk)
    form = forms.HeaderForm(request.POST or None, row=queries.header_of(job), sections=queries.sections(job))
    if taken(request, form, lambda: actions.set_header(job, by=request.member, at=clock.now(), **form.fields_of_row())):
        return redirect("ground:array", pk=pk)
    return form_page(request, job, form, "Main header")


@member_view(*DESK)
def manifold(request: MemberRequest, pk: UUID) -> HttpResponse:
    job = access.job_for(request.member, pk)
    form = forms.ManifoldForm(request.POST or None, row=queries.manifold_of(job))
    if taken(request, form, lambda: actions.set_manifold(job, by=request.member, at=clock.now(), **form.cleaned_data)):
        return redirect("ground:array", pk=pk)
    return form_page(request, job, form, "Manifold")


@member_view(*DESK)
def import_list(request: MemberRequest, pk: UUID) -> HttpResponse:
    """Check first, take then: the same text is read again when it is taken."""
    job = access.job_for(request.member, pk)
    form = forms.ImportForm(request.POST or None, request.FILES or None)
    found = None
    if request.method == "POST" and form.is_valid():
        try:
            data = form.cleaned_data
            text = importer.text_of(data["file"].read()) if data["file"] else data["text"]
            found = importer.read(text, queries.known(job))
            form = forms.ImportForm(initial={"text": text})
            if "take" in request.POST:
                made = actions.import_loops(job, found.loops(), by=request.member, at=clock.now())
                messages.success(request, f"{len(made)} loops are imported.")
                return redirect("ground:array", pk=pk)
        except Refused as refusal:
            messages.error(request, str(refusal))
    return render(
        request, "ground/import.html", {"form": form, "job": job, "found": found, "columns": importer.COLUMNS}
    )
