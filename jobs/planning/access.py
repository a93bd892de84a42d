"""Rows of planning for who may see them. Another firm's row is 404 by scope; roles are asked by the view's wrapper."""

from __future__ import annotations

from uuid import UUID

from django.shortcuts import get_object_or_404

from jobs.firms.models import Member, Role
from jobs.planning.models import Customer, FluidProduct, Instrument, Job, RuleSet, Site

DESK = (Role.SCHEDULER, Role.MANAGER)


def job_for(member: Member, pk: UUID) -> Job:  # noqa: ARG001 - every role of the firm may read the job file
    """A job of the member's firm with its site, customer and rule set."""
    found: Job = get_object_or_404(Job.objects.select_related("site__customer", "rule_set", "scheduler__user"), pk=pk)
    return found


def customer_for(pk: UUID) -> Customer:
    found: Customer = get_object_or_404(Customer.objects.all(), pk=pk)
    return found


def site_for(pk: UUID) -> Site:
    found: Site = get_object_or_404(Site.objects.select_related("customer"), pk=pk)
    return found


def instrument_for(pk: UUID) -> Instrument:
    found: Instrument = get_object_or_404(Instrument.objects.all(), pk=pk)
    return found


def product_for(pk: UUID) -> FluidProduct:
    found: FluidProduct = get_object_or_404(FluidProduct.objects.all(), pk=pk)
    return found


def rule_set_for(pk: UUID) -> RuleSet:
    found: RuleSet = get_object_or_404(RuleSet.objects.select_related("made_by__user"), pk=pk)
    return found
