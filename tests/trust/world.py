"""A firm with one row of everything, whose every text carries a canary; and beside it the firm of an outsider."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import Any
from uuid import UUID, uuid4

from django.db import connection
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from jobs.accounts import actions as accounts
from jobs.accounts import links
from jobs.accounts.trade import INVITATION
from jobs.field import parcel
from jobs.files import actions as files
from jobs.firms.models import FirmOwned, Member
from jobs.firms.scope import scope
from jobs.ground.models import Borehole, Loop, Section
from jobs.planning.models import Customer, FluidProduct, Instrument, Job, JobState, RuleSet, Site
from jobs.sheets import actions as sheets
from jobs.sheets.models import Finding, Sheet
from jobs.visits import actions as visits
from jobs.visits.models import Entry, HeldItem, Run, Visit, VisitKind
from jobs.work.models import Work, WorkState
from tests import build, build_entries
from tests.files.pictures import jpeg
from tests.people import Team, a_team
from tests.trust.url_table import Row

CANARY = "canary7q4z"
Kwargs = dict[str, Any]


@dataclass
class World:
    """`objects`: name in the table -> path parameters that lead to a row of the insiders' firm."""

    team: Team
    objects: dict[str, Kwargs] = field(default_factory=dict)

    @cached_property
    def ids(self) -> frozenset[str]:
        """The id of every row of the insiders' firm."""
        found: set[str] = set()
        with scope(self.team.firm.pk, writes=False):
            for model in firm_models():
                found |= {str(pk) for pk in model.objects.values_list("pk", flat=True)}
        return frozenset(found | {str(member.pk) for member in self.team.insiders})

    @cached_property
    def before(self) -> dict[str, list[Any]]:
        """The digest of the world as it was made; tests change it in savepoints only."""
        return self.digest()

    def path(self, row: Row) -> str:
        return reverse(row.name, kwargs=self.objects[row.obj] if row.obj else None)

    def unknown_path(self, row: Row) -> str:
        """The same address with ids that nobody has."""
        return reverse(row.name, kwargs={name: _unlike(value) for name, value in self.objects[row.obj].items()})

    def digest(self) -> dict[str, list[Any]]:
        """Every row of the insiders' firm, as it stands."""
        with scope(self.team.firm.pk, writes=False):
            return {model._meta.label: list(model.objects.order_by("pk").values()) for model in firm_models()} | {
                "members": list(Member.objects.filter(firm=self.team.firm).order_by("pk").values()),
                "work": list(Work.objects.filter(firm=self.team.firm).order_by("pk").values()),
            }


def _unlike(value: Any) -> Any:
    return uuid4() if isinstance(value, UUID) else "0" * len(str(value))


def firm_models() -> list[type[FirmOwned]]:
    from jobs.firms import guards  # noqa: PLC0415

    return guards.firm_models()


def make() -> World:
    """Both firms. The outsider's has a job of its own, so that its pages are not empty."""
    world = World(a_team(f"Firm {CANARY}", "Saltmarsh Borefields"))
    build.a_job(world.team.other_firm)
    build.instruments(world.team.other_firm)
    _mark_people(world.team)
    _objects(world, _job(world.team))
    return world


def _mark_people(team: Team) -> None:
    for member in team.insiders:
        member.user.name = f"{member.user.name} {CANARY}"
        member.user.save()


def _job(team: Team) -> Job:
    firm = team.firm
    customer = build.a_customer(firm, name=f"Customer {CANARY}", email=f"{CANARY}@example.test", phone=f"01 {CANARY}")
    texts = ("name", "address", "directions", "hazards", "contact_name", "contact_phone")
    site = build.a_site(firm, customer, **{name: f"{name} {CANARY}" for name in texts})
    product = build.a_product(firm, name=f"Fluid {CANARY}", hazards=f"Hazards {CANARY}")
    build.instruments(firm, name=f"Tool {CANARY}")
    job = build.a_job(firm, site=site, product=product, title=f"Job {CANARY}", state=JobState.DESIGNED)
    with scope(firm.pk):
        visits.plan_visit(
            job,
            by=team.scheduler,
            at=build.AT,
            crew=[team.crew, team.engineer],
            kind=VisitKind.GROUND,
            planned_date=date(2026, 3, 9),
            note=f"Note {CANARY}",
        )
    _entries(team, job)
    return job


def _entries(team: Team, job: Job) -> None:
    early = build_entries.Log(job, team.crew, device=uuid4())
    early.add("backfill_release", "S1", watch_pressure=build_entries.n("3", "bar"), positions_taken=True)
    early.add("note", text={"note": f"Note {CANARY}"})
    build_entries.send(early.entries, sender=team.crew)
    build_entries.send(
        build_entries.happy_entries(job, "submitted", crew=team.crew, engineer=team.engineer), sender=team.crew
    )


def _objects(world: World, made: Job) -> None:
    team, at = world.team, build.AT
    with scope(team.firm.pk):
        job = Job.objects.get(pk=made.pk)
        photo = files.put_photo(jpeg(), at=at)
        upload = files.start_upload(uuid4(), size=10, sha256="ab" * 32, content_type="image/jpeg", at=at)
        visits.receive_raw(f"not readable {CANARY}", sender=team.crew, device=None, received_at=at)
        invitation = accounts.invite(
            email=f"new.{CANARY}@example.test", name=f"New {CANARY}", roles=["crew"], by=team.manager, at=at
        )
        sheet = _sheet(job, team)
        work = Work.objects.filter(firm=team.firm).first()
        assert work
        Work.objects.filter(pk=work.pk).update(state=WorkState.PARKED)
        world.objects = {
            "job": {"pk": job.pk},
            "member": {"pk": team.crew.pk},
            "invitation": {"pk": invitation.pk},
            "photo": {"pk": photo.pk},
            "photo-hash": {"sha256": photo.sha256},
            "upload": {"pk": upload.pk},
            "held-entry": {"pk": Entry.objects.exclude(held="").earliest("received_at").pk},
            "sheet": {"pk": sheet.pk},
            "work": {"pk": work.pk},
            "token": {"token": links.make(INVITATION, subject=invitation.pk, at=at, days=9999)},
            "reset-key": {"uidb36": "0", "key": "0-0"},
            "parcel": {"seal": parcel.seal(parcel.packed())},
            "verify": {"pk": sheet.pk, "hash": "0" * 64},
            **_first_of_each(job),
        }


def _first_of_each(job: Job) -> dict[str, Kwargs]:
    below: dict[str, type[FirmOwned]] = {"loop": Loop, "borehole": Borehole, "section": Section}
    alone: dict[str, type[FirmOwned]] = {
        "customer": Customer, "site": Site, "instrument": Instrument, "product": FluidProduct, "rule-set": RuleSet,
        "visit": Visit, "held-item": HeldItem, "run": Run, "finding": Finding,
    }  # fmt: skip
    return {
        **{name: {"pk": job.pk, "row": _first(model)} for name, model in below.items()},
        **{name: {"pk": _first(model)} for name, model in alone.items()},
    }


def _first(model: type[FirmOwned]) -> UUID:
    found = model.objects.order_by("pk").first()
    assert found, f"the world has no {model._meta.label}"
    return found.pk


def _sheet(job: Job, team: Team) -> Sheet:
    """Handed in by the phone's entry, else from the office."""
    sheets.catch_up(job)
    found = Sheet.objects.first()
    return found or sheets.submit(job, by=team.manager, at=build.AT)


def patterns(resolver: URLResolver | None = None, space: str = "") -> Iterator[tuple[str, URLPattern]]:
    """Every URL there is, by its full name."""
    for pattern in (resolver or get_resolver()).url_patterns:
        if isinstance(pattern, URLResolver):
            yield from patterns(pattern, f"{space}{pattern.namespace}:" if pattern.namespace else space)
        else:
            yield f"{space}{pattern.name}", pattern


def on_postgresql() -> bool:
    return connection.vendor == "postgresql"
