"""Builders with defaults: the main job of the tests and the parts it is made of. Each opens the firm's scope itself."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

from groundloop.demo.load import DESIGN, INSTRUMENTS
from jobs.firms.models import Firm, Member, User
from jobs.firms.scope import scope
from jobs.ground import actions as ground
from jobs.planning import actions as planning
from jobs.planning.models import Customer, FluidProduct, Instrument, Job, JobState, RuleSet, Site

AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)

# Four boreholes of 100 m, unequal laterals (out and back together), PE 100 40 × 3.7.
LATERALS_M = (16.0, 24.0, 32.0, 40.0)
PIPE = {"od_mm": 40.0, "wall_mm": 3.7, "material": "PE 100"}


def firm_id(firm: Firm | UUID) -> UUID:
    return firm.pk if isinstance(firm, Firm) else firm


def somebody(firm: Firm | UUID) -> Member:
    """An active member who may act at the desk: the first manager or scheduler, else a new one."""
    members = Member.objects.filter(firm_id=firm_id(firm), is_active=True).order_by("user__email")
    for member in members:
        if member.works_at_desk:
            return member
    user = User.objects.create_user(f"desk.{firm_id(firm)}@example.org", "Desk Person")
    return Member.objects.create(firm_id=firm_id(firm), user=user, roles=["scheduler", "manager"])


def a_rule_set(firm: Firm | UUID, name: str = "Small domestic, metric", **limits: dict[str, Any]) -> RuleSet:
    """The starter set of that name; with `limits` (code -> {value, unit, source, status}) its next version."""
    by = somebody(firm)
    with scope(firm_id(firm)):
        found = RuleSet.objects.filter(name=name).order_by("-version").first()
        if found is None:
            planning.add_starter_rule_sets(by=by, at=AT)
            found = RuleSet.objects.get(name=name)
        if limits:
            found = planning.new_rule_set_version(found, changes=limits, by=by, at=AT)
    return found


def a_customer(firm: Firm | UUID, **changes: Any) -> Customer:
    fields: Any = {"name": "Hazel Orchard Farm", "email": "orchard@example.org", "phone": "01632 960114"} | changes
    with scope(firm_id(firm)):
        return planning.create_customer(by=somebody(firm), at=AT, **fields)


def a_site(firm: Firm | UUID, customer: Customer | None = None, **changes: Any) -> Site:
    fields: Any = {
        "name": "Orchard House",
        "address": "Orchard House\nNether Lane\nWestcombe",
        "directions": "Second gate after the chapel, not the farmhouse drive.",
        "hazards": "Overhead line along the lane. Dog in the yard.",
        "contact_name": "R. Hazel",
        "contact_phone": "01632 960115",
        "time_zone": "Europe/London",
        "latitude": 51.2,
        "longitude": -2.4,
        "frost_depth_m": 0.6,
        "water_supply_l_min": 22.0,
    } | changes
    customer = customer or a_customer(firm)
    with scope(firm_id(firm)):
        return planning.create_site(customer, by=somebody(firm), at=AT, **fields)


def a_product(firm: Firm | UUID, **changes: Any) -> FluidProduct:
    fields: Any = {
        "name": "Meadow PG concentrate",
        "base": "propylene_glycol",
        "concentrate_mass_pct": 96.0,
        "density_kg_m3": 1055.0,
        "minimum_mass_pct": 25.0,
        "colour": "green",
        "drum_l": 25.0,
        "hazards": "Slippery when spilt. Keep out of drains.",
    } | changes
    with scope(firm_id(firm)):
        return planning.add_product(by=somebody(firm), at=AT, **fields)


def instruments(firm: Firm | UUID, **changes: Any) -> dict[str, Instrument]:
    """A dial and a digital gauge, refractometer, flow meter and paired thermometers, by serial number."""
    by = somebody(firm)
    with scope(firm_id(firm)):
        made = [
            planning.add_instrument(by=by, at=AT, **{"calibration_due_date": date(2026, 12, 31), **row, **changes})
            for row in INSTRUMENTS
        ]
    return {row.serial: row for row in made}


def a_job(
    firm: Firm | UUID,
    *,
    site: Site | None = None,
    rule_set: RuleSet | None = None,
    product: FluidProduct | None = None,
    design: dict[str, Any] | None = None,
    laterals_m: tuple[float, ...] = LATERALS_M,
    array_m: float = 200.0,
    state: JobState | None = None,
    with_design: bool = True,
    with_array: bool = True,
    **changes: Any,
) -> Job:
    """The main job: 12 kW, four boreholes, L1–L4, one manifold, header, sections S1–S3, propylene glycol to −15 °C."""
    by = somebody(firm)
    site = site or a_site(firm)
    rule_set = rule_set or a_rule_set(firm)
    fields: Any = {
        "title": "Orchard House array",
        "rule_set": rule_set,
        "planned_start_date": date(2026, 3, 9),
    } | changes
    with scope(firm_id(firm)):
        job = planning.create_job(site, by=by, at=AT, **fields)
        if with_design:
            data: Any = DESIGN | {"product": product or a_product(firm)} | (design or {})
            ground.set_design(job, by=by, at=AT, **data)
        if with_array:
            _array(job, by, laterals_m, array_m)
        if state:
            _walk(job, state, by)
    return job


def _array(job: Job, by: Member, laterals_m: tuple[float, ...], array_m: float) -> None:
    count = len(laterals_m)
    sections = [
        ground.add_section(job, by=by, at=AT, title="Manifold to B1 and B2", length_m=12.0, depth_mm=900.0),
        ground.add_section(job, by=by, at=AT, title="Manifold to B3 and B4", length_m=20.0, depth_mm=900.0),
        ground.add_section(job, by=by, at=AT, title="Manifold to plant room", length_m=15.0, depth_mm=900.0),
    ]
    ground.set_manifold(job, by=by, at=AT, ports=max(count, 4), place="Chamber beside the garage", rating_bar=10.0)
    ground.set_header(
        job, by=by, at=AT, od_mm=63.0, wall_mm=5.8, length_each_way_m=15.0, fittings_k=6.0, section=sections[2]
    )
    for number, lateral in enumerate(laterals_m, start=1):
        hole = ground.add_borehole(job, by=by, at=AT, depth_m=array_m / 2, driller="Deepwell Drilling")
        ground.add_loop(
            job, by=by, at=AT, borehole=hole, section=sections[0 if number <= 2 else 1], array_m=array_m,
            lateral_m=lateral, fittings_k=6.0, od_mm=40.0, wall_mm=3.7,
        )  # fmt: skip


TO_STATE = (
    "designed", "scheduled", "in_ground", "tested", "backfilled", "flushed", "filled", "running_in", "ready",
    "submitted", "approved", "handed_over",
)  # fmt: skip


def _walk(job: Job, state: JobState, by: Member) -> None:
    """Through every state on the way, as a job goes."""
    for step in TO_STATE[: TO_STATE.index(state) + 1]:
        planning.move_state(job, JobState(step), at=AT, by=by)
