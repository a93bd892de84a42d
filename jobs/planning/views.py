"""Pages of planning: customers, sites, jobs, instruments, fluids, rule sets."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django import forms as django_forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from jobs.firms import clock
from jobs.firms.access import MemberRequest, member_view
from jobs.firms.errors import Refused
from jobs.firms.models import Role
from jobs.firms.queries import members_of
from jobs.planning import access, actions, forms, queries, rules
from jobs.planning.access import DESK
from jobs.planning.models import Job, JobState


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


def form_page(request: HttpRequest, form: django_forms.Form, title: str, **context: Any) -> HttpResponse:
    return render(request, "planning/form.html", {"form": form, "title": title, **context})


@member_view(*DESK)
def customers(request: MemberRequest) -> HttpResponse:
    return render(request, "planning/customers.html", {"customers": queries.customers()})


@member_view(*DESK)
def customer(request: MemberRequest, pk: UUID) -> HttpResponse:
    found = access.customer_for(pk)
    return render(request, "planning/customer.html", {"customer": found, "sites": queries.sites_of(found)})


@member_view(*DESK)
def customer_new(request: MemberRequest) -> HttpResponse:
    form = forms.CustomerForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        made = actions.create_customer(by=request.member, at=clock.now(), **form.cleaned_data)
        return redirect("planning:customer", pk=made.pk)
    return form_page(request, form, "New customer")


@member_view(*DESK)
def customer_edit(request: MemberRequest, pk: UUID) -> HttpResponse:
    found = access.customer_for(pk)
    form = forms.CustomerForm(request.POST or None, row=found)
    if taken(
        request, form, lambda: actions.change_customer(found, by=request.member, at=clock.now(), **form.cleaned_data)
    ):
        return redirect("planning:customer", pk=pk)
    return form_page(request, form, f"Change {found.name}")


@member_view(*DESK)
def site(request: MemberRequest, pk: UUID) -> HttpResponse:
    found = access.site_for(pk)
    return render(request, "planning/site.html", {"site": found, "jobs": queries.jobs_of_site(found)})


@member_view(*DESK)
def site_new(request: MemberRequest, pk: UUID) -> HttpResponse:
    owner = access.customer_for(pk)
    form = forms.SiteForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        made = actions.create_site(owner, by=request.member, at=clock.now(), **form.cleaned_data)
        return redirect("planning:site", pk=made.pk)
    return form_page(request, form, f"New site of {owner.name}")


@member_view(*DESK)
def site_edit(request: MemberRequest, pk: UUID) -> HttpResponse:
    found = access.site_for(pk)
    form = forms.SiteForm(request.POST or None, row=found)
    if taken(request, form, lambda: actions.change_site(found, by=request.member, at=clock.now(), **form.cleaned_data)):
        return redirect("planning:site", pk=pk)
    return form_page(request, form, f"Change {found.name}")


@member_view(*DESK)
def job_new(request: MemberRequest) -> HttpResponse:
    form = forms.NewJobForm(
        request.POST or None,
        sites=queries.sites(),
        customers=queries.customers(),
        rule_sets=queries.rule_sets(),
        initial={
            "site": request.GET.get("site"),
            "customer": request.GET.get("customer"),
            "rule_set": queries.usual_rule_set(),
        },
    )
    if request.method == "POST" and form.is_valid():
        job = actions.take_order(form.order(), by=request.member, at=clock.now())
        messages.success(request, f"Job {job.number} is set up. Next: its design data and loops.")
        return redirect("ground:array", pk=job.pk)
    return render(request, "planning/job_new.html", {"form": form, "has_limits": queries.rule_sets().exists()})


@member_view(*DESK)
def job_edit(request: MemberRequest, pk: UUID) -> HttpResponse:
    job = access.job_for(request.member, pk)
    form = forms.JobForm(
        request.POST or None,
        row=job,
        rule_sets=queries.rule_sets_for(job),
        schedulers=members_of(request.member.firm_id, *DESK),
    )
    if taken(request, form, lambda: actions.change_job(job, by=request.member, at=clock.now(), **form.cleaned_data)):
        return redirect("office:job", pk=pk)
    return form_page(request, form, f"Change job {job.number}")


@member_view(*DESK)
def job_hold(request: MemberRequest, pk: UUID) -> HttpResponse:
    job = access.job_for(request.member, pk)
    form = forms.HoldForm(request.POST or None)

    def act() -> None:
        reason = form.cleaned_data["reason"]
        actions.move_state(job, JobState.ON_HOLD, at=clock.now(), by=request.member, reason=reason)

    if taken(request, form, act):
        return redirect("office:job", pk=pk)
    return form_page(request, form, f"Put job {job.number} on hold", submit="Put on hold")


def _move(request: MemberRequest, pk: UUID, act: Callable[[Job], None]) -> HttpResponse:
    job = access.job_for(request.member, pk)
    try:
        act(job)
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("office:job", pk=pk)


@require_POST
@member_view(*DESK)
def job_resume(request: MemberRequest, pk: UUID) -> HttpResponse:
    return _move(request, pk, lambda job: actions.resume(job, at=clock.now(), by=request.member))


@require_POST
@member_view(Role.MANAGER)
def job_cancel(request: MemberRequest, pk: UUID) -> HttpResponse:
    return _move(
        request, pk, lambda job: actions.move_state(job, JobState.CANCELLED, at=clock.now(), by=request.member)
    )


@member_view(*DESK)
def instruments(request: MemberRequest) -> HttpResponse:
    today = clock.now().astimezone(ZoneInfo(request.member.firm.time_zone)).date()
    return render(request, "planning/instruments.html", {"instruments": queries.instruments(), "today": today})


@member_view(*DESK)
def instrument_new(request: MemberRequest) -> HttpResponse:
    form = forms.InstrumentForm(request.POST or None)
    if taken(request, form, lambda: actions.add_instrument(by=request.member, at=clock.now(), **form.cleaned_data)):
        return redirect("planning:instruments")
    return form_page(request, form, "New instrument")


@member_view(*DESK)
def instrument_edit(request: MemberRequest, pk: UUID) -> HttpResponse:
    found = access.instrument_for(pk)
    form = forms.InstrumentForm(request.POST or None, row=found)
    if taken(
        request, form, lambda: actions.change_instrument(found, by=request.member, at=clock.now(), **form.cleaned_data)
    ):
        return redirect("planning:instruments")
    return form_page(request, form, f"Change {found}")


@member_view(*DESK)
def products(request: MemberRequest) -> HttpResponse:
    return render(request, "planning/products.html", {"products": queries.products()})


@member_view(*DESK)
def product_new(request: MemberRequest) -> HttpResponse:
    form = forms.ProductForm(request.POST or None)
    if taken(request, form, lambda: actions.add_product(by=request.member, at=clock.now(), **form.cleaned_data)):
        return redirect("planning:products")
    return form_page(request, form, "New fluid")


@member_view(*DESK)
def product_edit(request: MemberRequest, pk: UUID) -> HttpResponse:
    found = access.product_for(pk)
    form = forms.ProductForm(request.POST or None, row=found)
    if taken(
        request, form, lambda: actions.change_product(found, by=request.member, at=clock.now(), **form.cleaned_data)
    ):
        return redirect("planning:products")
    return form_page(request, form, f"Change {found.name}")


@member_view(*DESK)
def rule_sets(request: MemberRequest) -> HttpResponse:
    found = list(queries.rule_sets())
    have = {row.name for row in found}
    waiting = [starter for starter in rules.starters() if starter.name not in have]
    context = {"rule_sets": found, "starters": waiting, "is_manager": request.member.has_role(Role.MANAGER)}
    return render(request, "planning/rule_sets.html", context)


@require_POST
@member_view(Role.MANAGER)
def starters(request: MemberRequest) -> HttpResponse:
    made = actions.add_starter_rule_sets(by=request.member, at=clock.now())
    messages.success(request, f"{len(made)} sets of limits were added. Look through them before the first job.")
    return redirect("planning:rule-sets")


@member_view(*DESK)
def rule_set(request: MemberRequest, pk: UUID) -> HttpResponse:
    found = access.rule_set_for(pk)
    context = {
        "rule_set": found,
        "groups": queries.limit_groups(found),
        "versions": queries.versions_of(found),
        "jobs_with": queries.jobs_with(found),
        "is_manager": request.member.has_role(Role.MANAGER),
    }
    return render(request, "planning/rule_set.html", context)


@member_view(Role.MANAGER)
def rule_set_version(request: MemberRequest, pk: UUID) -> HttpResponse:
    found = access.rule_set_for(pk)
    form = forms.RuleSetForm(request.POST or None, rule_set=found)
    if taken(
        request,
        form,
        lambda: actions.new_rule_set_version(found, changes=form.changes(), by=request.member, at=clock.now()),
    ):
        messages.success(request, f"There is a new version of {found.name}. Running jobs keep theirs.")
        return redirect("planning:rule-sets")
    return render(request, "planning/rule_set_version.html", {"form": form, "rule_set": found})
