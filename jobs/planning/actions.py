"""Writes of planning: customers, sites, jobs and their design, instruments, products, rule sets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, TypedDict, Unpack

from django.db import models, transaction
from django.db.models import F

from jobs.firms.audit import record
from jobs.firms.models import Firm, FirmOwned, Member
from jobs.firms.scope import firm_in_scope
from jobs.planning import rules, trade
from jobs.planning.errors import BadScope, JobClosed, MoveRefused
from jobs.planning.models import (
    Customer,
    Design,
    FillProcedure,
    FluidProduct,
    Instrument,
    Job,
    JobState,
    RuleSet,
    Site,
)


class CustomerFields(TypedDict, total=False):
    name: str
    email: str
    phone: str


class SiteFields(TypedDict, total=False):
    name: str
    address: str
    directions: str
    hazards: str
    contact_name: str
    contact_phone: str
    time_zone: str
    latitude: float | None
    longitude: float | None
    frost_depth_m: float | None
    water_supply_l_min: float | None


class JobFields(TypedDict, total=False):
    title: str
    rule_set: RuleSet
    planned_start_date: date | None
    scheduler: Member


class DesignFields(TypedDict, total=False):
    revision: str
    product: FluidProduct
    freezing_point_c: float
    cold_fluid_c: float
    heating_kw: float
    cop: float
    rating_point: str
    spread_k: float
    minimum_flow_l_min: float | None
    evaporator_drop_kpa: float | None
    evaporator_flow_l_min: float | None
    frost_alarm_c: float | None
    plant_volume_l: float
    bin_l: float
    purge_pump_l_min: float | None
    purge_pump_kpa: float | None
    deaeration_days: int
    static_height_m: float | None


class InstrumentFields(TypedDict, total=False):
    kind: str
    name: str
    serial: str
    unit: str
    range_high: float | None
    resolution: float | None
    accuracy: float | None
    scale: str
    scale_base: str
    calibration_due_date: date | None
    suitable_for_flammable: bool


class ProductFields(TypedDict, total=False):
    name: str
    base: str
    concentrate_mass_pct: float
    density_kg_m3: float | None
    minimum_mass_pct: float | None
    colour: str
    drum_l: float
    hazards: str


@dataclass(frozen=True)
class Order:
    """An order as it comes in: a known site, or a new one of a known or a new customer."""

    job: JobFields
    site: Site | None = None
    customer: Customer | None = None
    new_customer: CustomerFields = field(default_factory=CustomerFields)
    new_site: SiteFields = field(default_factory=SiteFields)


def change(row: FirmOwned, fields: Mapping[str, Any]) -> list[str]:
    """Sets what differs, saves only that, and tells the names of it."""
    changed = [name for name, value in fields.items() if getattr(row, name) != value]
    for name in changed:
        setattr(row, name, fields[name])
    if changed:
        row.save(update_fields=changed)
    return changed


def touch(job: Job) -> None:
    """Raises the job's version: something below or at it has changed. Called by every action on a job."""
    Job.objects.filter(pk=job.pk).update(version=F("version") + 1)
    job.refresh_from_db(fields=["version"])


def _touch_all(jobs: models.QuerySet[Job]) -> None:
    jobs.exclude(state__in=trade.CLOSED).update(version=F("version") + 1)


def must_be_open(job: Job) -> None:
    """Raises `JobClosed` when the order and design of this job stand. Holds its row until the transaction ends."""
    job.state = Job.objects.select_for_update().values_list("state", flat=True).get(pk=job.pk)
    if not trade.may_change(job.state):
        raise JobClosed(f"{job} is {JobState(job.state).label.lower()}; its order and design can no longer be changed.")


def create_customer(*, by: Member, at: datetime, **fields: Unpack[CustomerFields]) -> Customer:
    with transaction.atomic():
        customer = Customer(**fields)
        customer.save()
        record(at=at, actor=by, verb="customer_created", subject=customer)
    return customer


def change_customer(customer: Customer, *, by: Member, at: datetime, **fields: Unpack[CustomerFields]) -> None:
    with transaction.atomic():
        changed = change(customer, fields)
        record(at=at, actor=by, verb="customer_changed", subject=customer, fields=changed)


def create_site(customer: Customer, *, by: Member, at: datetime, **fields: Unpack[SiteFields]) -> Site:
    with transaction.atomic():
        site = Site(customer=customer, **fields)
        site.save()
        record(at=at, actor=by, verb="site_created", subject=site)
    return site


def change_site(site: Site, *, by: Member, at: datetime, **fields: Unpack[SiteFields]) -> None:
    """The phone's pack tells the crew the site, so every open job there has changed too."""
    with transaction.atomic():
        changed = change(site, fields)
        _touch_all(Job.objects.filter(site=site))
        record(at=at, actor=by, verb="site_changed", subject=site, fields=changed)


def create_job(site: Site, *, by: Member, at: datetime, **fields: Unpack[JobFields]) -> Job:
    """A job with the firm's next number. The scheduler is who creates it, unless another is named."""
    fields.setdefault("scheduler", by)
    with transaction.atomic():
        job = Job(site=site, number=_next_number(), created_at=at, created_by=by, **fields)
        job.save()
        record(at=at, actor=by, verb="job_created", subject=job, number=job.number)
    return job


def take_order(order: Order, *, by: Member, at: datetime) -> Job:
    """Customer, site and job in one go, as far as they are new."""
    with transaction.atomic():
        site = order.site
        if site is None:
            customer = order.customer or create_customer(by=by, at=at, **order.new_customer)
            site = create_site(customer, by=by, at=at, **order.new_site)
        return create_job(site, by=by, at=at, **order.job)


def _next_number() -> int:
    """Counts up under the firm row's lock, so that two schedulers never take one number."""
    firm = Firm.objects.select_for_update().get(pk=firm_in_scope())
    firm.jobs_numbered += 1
    firm.save(update_fields=["jobs_numbered"])
    return firm.jobs_numbered


def change_job(job: Job, *, by: Member, at: datetime, **fields: Unpack[JobFields]) -> None:
    """The rule set stands once the crew has begun. Raises `JobClosed`, `MoveRefused`."""
    must_be_open(job)
    rule_set = fields.get("rule_set")
    if rule_set and rule_set.pk != job.rule_set_id and not trade.is_before_ground(job.state):
        raise MoveRefused("The crew has begun; this job keeps the rule set it started with.")
    with transaction.atomic():
        changed = change(job, fields)
        touch(job)
        record(at=at, actor=by, verb="job_changed", subject=job, fields=changed)


def set_design(job: Job, *, by: Member, at: datetime, **fields: Unpack[DesignFields]) -> Design:
    """Makes or changes the design data of a job. Raises `JobClosed`."""
    must_be_open(job)
    with transaction.atomic():
        design = Design.objects.filter(job=job).first()
        if design is None:
            design = Design(job=job, **fields)
            design.save()
            changed = sorted(fields)
        else:
            changed = change(design, fields)
        touch(job)
        record(at=at, actor=by, verb="design_set", subject=job, fields=changed, revision=design.revision)
    return design


def set_scope(job: Job, *, scope: Mapping[str, trade.NotOurs], fill: str, by: Member, at: datetime) -> None:
    """Which phases are not ours, and how the array is filled. Raises `JobClosed`, `BadScope`."""
    must_be_open(job)
    for phase, row in scope.items():
        if phase not in trade.PHASES:
            raise BadScope(f"There is no phase {phase}.")
        if row.complaint:
            raise BadScope(f"{trade.PHASES[phase]}: {row.complaint}")
    if fill not in FillProcedure.values:
        raise BadScope("Choose how the array is filled.")
    with transaction.atomic():
        kept = {phase: row.as_json() for phase, row in scope.items()}
        changed = change(job, {"scope": kept, "fill_procedure": fill})
        touch(job)
        record(at=at, actor=by, verb="scope_set", subject=job, fields=changed, phases=sorted(kept), fill=fill)


def move_state(job: Job, to: JobState, *, at: datetime, by: Member | None, reason: str = "") -> None:
    """Moves a job by the table in `trade`. Raises `MoveRefused`. From hold or cancelled it only goes back where it stood.

    Nothing happens when the job is in that state already.
    """
    if job.state == to:
        return
    paused = job.state in trade.PAUSES
    stood = (job.state_before_hold or JobState.ACCEPTED) if paused else job.state
    if not trade.may_move(job.state, to) or (paused and to not in {stood, JobState.CANCELLED}):
        raise MoveRefused(
            f"{job} is {JobState(job.state).label.lower()}; it cannot become {to.label.lower()} from there."
        )
    if to == JobState.ON_HOLD and not reason.strip():
        raise MoveRefused("Say why the job is put on hold.")
    with transaction.atomic():
        before = job.state
        job.state_before_hold = stood if to in trade.PAUSES else ""
        job.on_hold_reason = reason.strip() if to == JobState.ON_HOLD else ""
        job.state = to
        job.save(update_fields=["state", "state_before_hold", "on_hold_reason"])
        touch(job)
        record(at=at, actor=by, verb="job_moved", subject=job, before=before, after=to.value)


def resume(job: Job, *, at: datetime, by: Member | None) -> None:
    """Off hold, or cancelled no longer: back to where it stood. Raises `MoveRefused`."""
    if job.state not in trade.PAUSES:
        raise MoveRefused(f"{job} is {JobState(job.state).label.lower()}; there is nothing to resume.")
    move_state(job, JobState(job.state_before_hold or JobState.ACCEPTED), at=at, by=by)


def add_instrument(*, by: Member, at: datetime, **fields: Unpack[InstrumentFields]) -> Instrument:
    with transaction.atomic():
        instrument = Instrument(**fields)
        instrument.save()
        record(at=at, actor=by, verb="instrument_added", subject=instrument)
    return instrument


def change_instrument(instrument: Instrument, *, by: Member, at: datetime, **fields: Unpack[InstrumentFields]) -> None:
    with transaction.atomic():
        changed = change(instrument, fields)
        record(at=at, actor=by, verb="instrument_changed", subject=instrument, fields=changed)


def add_product(*, by: Member, at: datetime, **fields: Unpack[ProductFields]) -> FluidProduct:
    with transaction.atomic():
        product = FluidProduct(**fields)
        product.save()
        record(at=at, actor=by, verb="product_added", subject=product)
    return product


def change_product(product: FluidProduct, *, by: Member, at: datetime, **fields: Unpack[ProductFields]) -> None:
    """The numbers of every open job with this product change with it."""
    with transaction.atomic():
        changed = change(product, fields)
        _touch_all(Job.objects.filter(design__product=product))
        record(at=at, actor=by, verb="product_changed", subject=product, fields=changed)


def new_rule_set(*, name: str, limits: dict[str, Any], by: Member | None, at: datetime) -> RuleSet:
    """The first version of a rule set. Raises `BadRuleSet`."""
    return _write_rule_set(name=name, version=1, limits=limits, by=by, at=at)


def new_rule_set_version(
    rule_set: RuleSet, *, changes: Mapping[str, Mapping[str, Any]], by: Member | None, at: datetime
) -> RuleSet:
    """The next version: the limits of this one with some codes replaced. Running jobs keep theirs. Raises `BadRuleSet`."""
    limits = {**rules.completed(rule_set.limits, rule_set.name), **{code: dict(row) for code, row in changes.items()}}
    newest = RuleSet.objects.filter(name=rule_set.name).order_by("-version").first() or rule_set
    return _write_rule_set(name=rule_set.name, version=newest.version + 1, limits=limits, by=by, at=at)


def _write_rule_set(*, name: str, version: int, limits: dict[str, Any], by: Member | None, at: datetime) -> RuleSet:
    rules.parse(limits)
    with transaction.atomic():
        rule_set = RuleSet(name=name, version=version, limits=limits, made_at=at, made_by=by)
        rule_set.save()
        record(at=at, actor=by, verb="rule_set_made", subject=rule_set, version=version)
    return rule_set


def add_starter_rule_sets(*, by: Member | None, at: datetime) -> list[RuleSet]:
    """The rule sets that come with the program, for a firm that has none of that name yet."""
    have = set(RuleSet.objects.values_list("name", flat=True))
    return [
        new_rule_set(name=starter.name, limits=starter.limits, by=by, at=at)
        for starter in rules.starters()
        if starter.name not in have
    ]
