"""The demo firm: invented people, sites and jobs, one or two in every state a job can be in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from groundloop.demo import people, story
from groundloop.demo.pictures import picture
from jobs.files import actions as files
from jobs.firms.models import Firm, Member, Role
from jobs.firms.queries import members_of
from jobs.firms.scope import scope
from jobs.ground import actions as ground
from jobs.planning import actions as planning
from jobs.planning.models import FluidProduct, Job, JobState, RuleSet, Site
from jobs.sheets import actions as sheets
from jobs.visits import actions as visits
from jobs.visits.models import Entry, Visit, VisitKind

CUSTOMERS = ("Hazel Orchard Farm", "Parish of Nether Combe", "Wren Cottages", "J. and S. Alder")
SITES = (
    ("Orchard House", "Orchard House\nNether Lane\nWestcombe", "Second gate after the chapel, not the farmhouse drive.",
     "Overhead line along the lane. Dog in the yard."),
    ("Village hall", "The Green\nNether Combe", "Park behind the hall; the field gate is on the left.",
     "Water main under the drive, marked in blue."),
    ("Wren Cottages 1–3", "Wren Lane\nUpper Moss", "Narrow lane, 2.6 m at the bridge.", "Steep bank above the trench."),
    ("Alder Barn", "Moss End\nUpper Moss", "Track past the pond, gate code on the booking.", "Septic tank, see drawing."),
)  # fmt: skip
DESIGN: dict[str, Any] = {
    "revision": "B", "freezing_point_c": -15.0, "cold_fluid_c": 0.0, "heating_kw": 12.0, "cop": 4.6, "rating_point": "B0/W35",
    "spread_k": 3.0, "minimum_flow_l_min": 38.0, "evaporator_drop_kpa": 18.0, "evaporator_flow_l_min": 45.0,
    "frost_alarm_c": -9.0, "plant_volume_l": 15.0, "bin_l": 200.0, "purge_pump_l_min": 90.0, "purge_pump_kpa": 250.0,
    "deaeration_days": 10, "static_height_m": 3.0,
}  # fmt: skip
INSTRUMENTS: tuple[dict[str, Any], ...] = (
    {"kind": "gauge", "name": "Dial gauge", "serial": "G-0416", "unit": "bar", "range_high": 16.0, "resolution": 0.1,
     "accuracy": 0.16},
    {"kind": "gauge", "name": "Digital gauge", "serial": "G-0502", "unit": "bar", "range_high": 25.0, "resolution": 0.01,
     "accuracy": 0.05},
    {"kind": "refractometer", "name": "Hand refractometer", "serial": "R-0031", "unit": "brix", "range_high": 32.0,
     "resolution": 0.2, "accuracy": 0.2, "scale": "brix"},
    {"kind": "flow_meter", "name": "Flow meter", "serial": "F-0007", "unit": "L/min", "range_high": 150.0,
     "resolution": 0.5, "accuracy": 1.0},
    {"kind": "thermometers", "name": "Thermometer pair", "serial": "T-0012", "unit": "°C", "range_high": 50.0,
     "resolution": 0.01, "accuracy": 0.1},
)  # fmt: skip


@dataclass(frozen=True)
class Told:
    """One job of the demo: how far it has come, and how many days ago its crew began."""

    title: str
    site: int
    upto: str = ""
    days_ago: int = 0
    loops: int = 4
    then: Callable[[Demo, Job], None] | None = None
    designed: bool = True
    twist: Callable[[list[dict[str, Any]]], None] | None = None


@dataclass
class Demo:
    """What the jobs share while they are loaded."""

    at: datetime
    office: Member
    crew: Member
    manager: Member
    sites: list[Site]
    rules: RuleSet
    product: FluidProduct

    def visit(self, job: Job, kind: VisitKind, days: int, *, booked: bool = True) -> Visit:
        return visits.plan_visit(
            job, kind=kind, planned_date=(self.at + timedelta(days=days)).date(), crew=[self.crew] if booked else [],
            by=self.office, at=self.at,
        )  # fmt: skip


@transaction.atomic
def load_demo(*, at: datetime) -> Firm:
    """Makes the firm and its jobs as they stand at `at`."""
    firm = people.make_firm(at)
    with scope(firm.pk):
        demo = _house(firm, at)
        for told in STORIES:
            _tell(demo, told)
    return firm


def _house(firm: Firm, at: datetime) -> Demo:
    office, crew, manager = (members_of(firm.pk, role)[0] for role in (Role.SCHEDULER, Role.CREW, Role.MANAGER))
    planning.add_starter_rule_sets(by=manager, at=at)
    customers = [planning.create_customer(by=office, at=at, name=name) for name in CUSTOMERS]
    sites = [
        planning.create_site(
            customer, by=office, at=at, name=name, address=address, directions=directions, hazards=hazards,
            contact_name="Site contact", contact_phone="01632 960115", frost_depth_m=0.6, water_supply_l_min=22.0,
        )
        for customer, (name, address, directions, hazards) in zip(customers, SITES, strict=True)
    ]  # fmt: skip
    due = (at + timedelta(days=200)).date()
    for fields in INSTRUMENTS:
        planning.add_instrument(by=office, at=at, **{"calibration_due_date": due, **fields})
    product = planning.add_product(
        by=office, at=at, name="Meadow PG concentrate", base="propylene_glycol", concentrate_mass_pct=96.0,
        density_kg_m3=1055.0, minimum_mass_pct=25.0, colour="green", drum_l=25.0,
        hazards="Slippery when spilt. Keep out of drains.",
    )  # fmt: skip
    rules = RuleSet.objects.get(name="Small domestic, metric")
    return Demo(at, office, crew, manager, sites, rules, product)


def _tell(demo: Demo, told: Told) -> None:
    began = (demo.at - timedelta(days=told.days_ago)).replace(hour=7, minute=30, second=0, microsecond=0)
    job = planning.create_job(
        demo.sites[told.site], by=demo.office, at=began - timedelta(days=12), title=told.title, rule_set=demo.rules,
        planned_start_date=began.date(),
    )  # fmt: skip
    if told.designed:
        array(job, demo.product, loops=told.loops, by=demo.office, at=began - timedelta(days=10))
    if told.upto:
        done = demo.visit(job, VisitKind.GROUND, -told.days_ago)
        entries = story.happy_entries(job, told.upto, crew=demo.crew, device=story.DEVICE, start=began)
        if told.twist:
            told.twist(entries)
        story.send([entry for entry in entries if entry["observed_at"] < demo.at.isoformat()], sender=demo.crew)
        _pictures(job, at=demo.at)
        if told.days_ago > 1:
            visits.finish_visit(done, by=demo.office, at=demo.at)
    if told.then:
        job.refresh_from_db()
        told.then(demo, job)


def array(job: Job, product: FluidProduct, *, loops: int, by: Member, at: datetime) -> None:
    """Design data and an array of boreholes with unequal laterals."""
    ground.set_design(job, by=by, at=at, **{**DESIGN, "product": product})
    half = (loops + 1) // 2
    names = (f"Manifold to B1–B{half}", f"Manifold to B{half + 1}–B{loops}", "Manifold to plant room")
    lengths = (12.0, 20.0, 15.0)
    sections = [
        ground.add_section(job, by=by, at=at, title=name, length_m=length, depth_mm=900.0)
        for name, length in zip(names, lengths, strict=True)
    ]
    ground.set_manifold(job, by=by, at=at, ports=loops, place="Chamber beside the garage", rating_bar=10.0)
    ground.set_header(
        job, by=by, at=at, od_mm=63.0, wall_mm=5.8, length_each_way_m=15.0, fittings_k=6.0, section=sections[2]
    )
    for number in range(1, loops + 1):
        hole = ground.add_borehole(job, by=by, at=at, depth_m=100.0, driller="Deepwell Drilling")
        ground.add_loop(
            job, by=by, at=at, borehole=hole, section=sections[0 if number <= half else 1], array_m=200.0,
            lateral_m=8.0 + 8.0 * number, fittings_k=6.0, od_mm=40.0, wall_mm=3.7,
        )  # fmt: skip


def _pictures(job: Job, *, at: datetime) -> None:
    """The bytes of every photo the entries of a job speak of."""
    wanted = {name for entry in Entry.objects.filter(job=job) for name in story.photos_of(entry.payload)}
    for name in story.known_photos(job, wanted):
        files.put_photo(picture(name), at=at)


def _planned(demo: Demo, job: Job) -> None:
    demo.visit(job, VisitKind.GROUND, 4)
    demo.visit(job, VisitKind.FILL, 6, booked=False)


def _fill_tomorrow(demo: Demo, job: Job) -> None:
    demo.visit(job, VisitKind.FILL, 1)


def _check_ahead(demo: Demo, job: Job) -> None:
    demo.visit(job, VisitKind.FOLLOW_UP, 2)


def _on_hold(demo: Demo, job: Job) -> None:
    planning.move_state(job, JobState.ON_HOLD, at=demo.at, by=demo.office, reason="Drive is flooded; owner calls back")


def _covered_early(demo: Demo, job: Job) -> None:
    """The crew says S1 is covered although no test stands."""
    log = story.Log(job, demo.crew, at=demo.at - timedelta(hours=3), seq=900, instruments=story.tools(job.firm_id))
    log.add("covered", "S1", cover=story.n("150", "mm"), tape=True, text={})
    story.send(log.entries, sender=demo.crew)


def _careless(entries: list[dict[str, Any]]) -> None:
    """A crew in a hurry: one refractometer not zeroed, and a top-up nobody explains."""
    strength = [entry for entry in entries if entry["kind"] == "strength_reading"]
    strength[1]["payload"]["zeroed"] = {"value": False}
    check = next(entry for entry in entries if entry["kind"] == "follow_up")
    check["payload"]["top_up"] = story.n("5.5", "L")


def _handed_in(_demo: Demo, job: Job) -> None:
    sheets.catch_up(job)


def _approved(demo: Demo, job: Job) -> None:
    sheet = sheets.catch_up(job)
    if sheet is None:
        return
    for finding in sheet.findings.exclude(severity="note"):
        sheets.answer_finding(
            finding, text="Looked at with the crew; as it should be.", waive=finding.severity == "block", by=demo.manager,
            at=demo.at - timedelta(days=1),
        )  # fmt: skip
    sheet.refresh_from_db()
    job.refresh_from_db()
    sheets.approve(sheet, seen_version=job.version, by=demo.manager, at=demo.at - timedelta(days=1))


STORIES = (
    Told("Village hall, order only", 1, designed=False),
    Told("Two boreholes for the barn", 3, loops=2),
    Told("Cottages, six boreholes", 2, loops=6, then=_planned),
    Told("Barn extension", 3, upto="joined", days_ago=1, loops=2, then=_covered_early),
    Told("Orchard House, west field", 0, upto="covered", days_ago=2, then=_fill_tomorrow),
    Told("Hall annexe", 1, upto="purged", days_ago=4, then=_on_hold),
    Told("Wren Cottages 4", 2, upto="running", days_ago=9, then=_check_ahead),
    Told("Orchard House array", 0, upto="running", days_ago=17),
    Told("Alder Barn", 3, upto="submitted", days_ago=18, then=_handed_in, twist=_careless),
    Told("Village hall array", 1, upto="submitted", days_ago=24, then=_approved),
)
