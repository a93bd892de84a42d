"""What is asked of planning: lists for its pages, and the limits of a rule set."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Count, OuterRef, Q, QuerySet, Subquery

from calcs.sources import Limit, Source
from jobs.planning import rules, trade
from jobs.planning.models import Customer, Design, FluidProduct, Instrument, Job, RuleSet, Site


@dataclass(frozen=True)
class LimitRow:
    """One line of a rule set as people see it."""

    code: str
    label: str
    value: float | str
    unit: str
    source: Source

    @property
    def is_number(self) -> bool:
        return not isinstance(self.value, str)


@dataclass(frozen=True)
class LimitGroup:
    name: str
    rows: tuple[LimitRow, ...]


def limits(rule_set: RuleSet) -> dict[str, Limit]:
    """The numbers of a rule set by code, each with unit and source."""
    return rules.parse(rule_set.limits).limits


def method(rule_set: RuleSet) -> tuple[str, Source]:
    """The code of the pressure-test method (`rules.METHODS`) and where the choice comes from."""
    parsed = rules.parse(rule_set.limits)
    return parsed.method, parsed.method_source


def limit_groups(rule_set: RuleSet, *, completed: bool = False) -> list[LimitGroup]:
    """Every limit in the order of the work, for the page of a rule set; `completed` for its next version."""
    parsed = rules.parse(rules.completed(rule_set.limits, rule_set.name) if completed else rule_set.limits)
    groups: dict[str, list[LimitRow]] = {}
    for code, about in rules.CODES.items():
        limit = parsed.limits.get(code)
        if limit is None:
            continue
        unit = "" if limit.unit == "1" else limit.unit
        groups.setdefault(about.group, []).append(LimitRow(code, about.label, limit.value, unit, limit.source))
    named = rules.METHODS[parsed.method]
    groups["Pressure test"].insert(0, LimitRow(rules.METHOD, "Method", named, "", parsed.method_source))
    return [LimitGroup(name, tuple(rows)) for name, rows in groups.items()]


def customers() -> QuerySet[Customer]:
    return Customer.objects.annotate(site_count=Count("sites")).order_by("name")


def sites() -> QuerySet[Site]:
    return Site.objects.select_related("customer").order_by("customer__name", "name")


def sites_of(customer: Customer) -> QuerySet[Site]:
    return Site.objects.filter(customer=customer).annotate(job_count=Count("jobs")).order_by("name")


def jobs_of_site(site: Site) -> QuerySet[Job]:
    return Job.objects.filter(site=site).order_by("-number")


def instruments() -> QuerySet[Instrument]:
    return Instrument.objects.order_by("kind", "name", "serial")


def products() -> QuerySet[FluidProduct]:
    return FluidProduct.objects.order_by("name")


def rule_sets() -> QuerySet[RuleSet]:
    """The newest version of every rule set."""
    newest = RuleSet.objects.filter(name=OuterRef("name")).order_by("-version").values("pk")[:1]
    return RuleSet.objects.filter(pk=Subquery(newest)).select_related("made_by__user").order_by("name")


def usual_rule_set() -> RuleSet | None:
    """What a new job starts with: the newest version of what the last job has."""
    last = Job.objects.select_related("rule_set").order_by("-number").first()
    return rule_sets().filter(name=last.rule_set.name).first() if last else None


def rule_sets_for(job: Job) -> QuerySet[RuleSet]:
    """What a job may choose from: the newest versions, and the one it has."""
    return RuleSet.objects.filter(Q(pk__in=rule_sets().values("pk")) | Q(pk=job.rule_set_id)).order_by(
        "name", "-version"
    )


def versions_of(rule_set: RuleSet) -> QuerySet[RuleSet]:
    return RuleSet.objects.filter(name=rule_set.name).select_related("made_by__user").order_by("-version")


def jobs_with(rule_set: RuleSet) -> int:
    """How many jobs keep this version."""
    return Job.objects.filter(rule_set=rule_set).count()


def design_of(job: Job) -> Design | None:
    """The design data of a job with its product; None while there is none."""
    return Design.objects.select_related("product").filter(job=job).first()


def crew_has_begun(job: Job) -> bool:
    """From then on the rule set stands and nothing is taken out of the array."""
    return not trade.is_before_ground(job.state)


def job_by_number(number: int) -> Job | None:
    return Job.objects.select_related("site").filter(number=number).first()
