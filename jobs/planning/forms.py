"""Forms of planning. Numbers take comma or point; units stand beside the fields."""

from __future__ import annotations

from functools import cache
from typing import Any, Final, NamedTuple
from zoneinfo import available_timezones

from django import forms
from django.db import models

from calcs.base import Base
from calcs.sources import Status
from jobs.firms.models import Member
from jobs.planning import rules
from jobs.planning.actions import JobFields, Order
from jobs.planning.models import Customer, InstrumentKind, RuleSet, Site
from jobs.planning.queries import limit_groups
from jobs.sums.parse import NumberField

UNITS = {
    InstrumentKind.GAUGE: ("bar", "kPa", "psi"),
    InstrumentKind.REFRACTOMETER: ("brix", "°C"),
    InstrumentKind.FLOW_METER: ("L/min", "m³/h", "gpm"),
    InstrumentKind.THERMOMETERS: ("°C", "°F"),
    InstrumentKind.PUMP: ("",),
    InstrumentKind.OTHER: ("", "kW", "mm", "L"),
}


def values_of(row: models.Model, names: Any) -> dict[str, Any]:
    """What a form shows of a row: the attributes that have its fields' names."""
    return {name: getattr(row, name) for name in names if hasattr(row, name)}


class DateInput(forms.DateInput):
    input_type = "date"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d")


@cache
def time_zones() -> list[tuple[str, str]]:
    names = sorted(name for name in available_timezones() if "/" in name and not name.startswith(("Etc/", "posix/")))
    return [(name, name.replace("_", " ")) for name in names]


class RowForm(forms.Form):
    """A form that shows one row when it is given one."""

    def __init__(self, data: Any = None, *, row: models.Model | None = None, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        if row is not None:
            self.initial = {**values_of(row, self.fields), **self.initial}


class CustomerForm(RowForm):
    name = forms.CharField(max_length=120)
    email = forms.EmailField(required=False, label="E-mail")
    phone = forms.CharField(max_length=40, required=False)


class SiteForm(RowForm):
    name = forms.CharField(max_length=120, label="Name of the site")
    address = forms.CharField(widget=forms.Textarea(attrs={"rows": 3}))
    directions = forms.CharField(
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="In words, for a driver who has never been there.",
    )
    hazards = forms.CharField(
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Overhead lines, buried services, animals, slopes. The crew sees this first.",
    )
    contact_name = forms.CharField(max_length=120, required=False, label="Who to ask for on the day")
    contact_phone = forms.CharField(max_length=40, required=False, label="Their phone")
    time_zone = forms.ChoiceField(choices=time_zones, initial="Europe/London")
    latitude = NumberField(required=False, unit="°", low=-90, high=90, help_text="Of the gate.")
    longitude = NumberField(required=False, unit="°", low=-180, high=180)
    frost_depth_m = NumberField(required=False, unit="m", low=0, high=4, label="Frost depth of the district")
    water_supply_l_min = NumberField(
        required=False, unit="L/min", low=0, high=500, label="Water supply", help_text="Flushing time depends on it."
    )


class JobForm(RowForm):
    title = forms.CharField(max_length=120, label="What is ordered")
    rule_set = forms.ModelChoiceField(RuleSet.objects.none(), label="Limits to work by", empty_label=None)
    planned_start_date = forms.DateField(required=False, widget=DateInput(), label="Planned start")
    scheduler = forms.ModelChoiceField(Member.objects.none(), empty_label=None)

    def __init__(
        self, data: Any = None, *, rule_sets: models.QuerySet[RuleSet], schedulers: list[Member], **kwargs: Any
    ) -> None:
        super().__init__(data, **kwargs)
        choose(self, "rule_set", rule_sets)
        choose(self, "scheduler", Member.objects.select_related("user").filter(pk__in=[who.pk for who in schedulers]))


class NewJobForm(forms.Form):
    """Customer, site and job on one page: a known site, or a new one of a known or a new customer."""

    title = forms.CharField(max_length=120, label="What is ordered", help_text="Such as: Four boreholes, 12 kW.")
    rule_set = forms.ModelChoiceField(RuleSet.objects.none(), label="Limits to work by", empty_label=None)
    planned_start_date = forms.DateField(required=False, widget=DateInput(), label="Planned start")
    site = forms.ModelChoiceField(
        Site.objects.none(), required=False, label="Site", empty_label="A new site, entered below"
    )
    customer = forms.ModelChoiceField(
        Customer.objects.none(), required=False, label="Customer of the new site", empty_label="A new customer"
    )
    customer_name = forms.CharField(max_length=120, label="Name of the new customer")
    customer_email = forms.EmailField(required=False, label="Their e-mail")
    customer_phone = forms.CharField(max_length=40, required=False, label="Their phone")
    site_name = forms.CharField(max_length=120, label="Name of the new site")
    address = forms.CharField(widget=forms.Textarea(attrs={"rows": 3}), label="Its address")
    contact_name = forms.CharField(max_length=120, required=False, label="Who to ask for on the day")
    contact_phone = forms.CharField(max_length=40, required=False, label="Phone on the day")

    def __init__(
        self,
        data: Any = None,
        *,
        sites: models.QuerySet[Site],
        customers: models.QuerySet[Customer],
        rule_sets: models.QuerySet[RuleSet],
        **kwargs: Any,
    ) -> None:
        super().__init__(data, **kwargs)
        choose(self, "site", sites).label_from_instance = _site_label  # type: ignore[assignment]
        choose(self, "customer", customers)
        choose(self, "rule_set", rule_sets)

        for name, instead in (("site_name", "site"), ("address", "site"), ("customer_name", "customer")):
            self.fields[name].required = not (self.data.get("site") or self.data.get(instead))

    def order(self) -> Order:
        """What was typed, as one order."""
        data = self.cleaned_data
        job: JobFields = {name: data[name] for name in ("title", "rule_set", "planned_start_date")}  # type: ignore[assignment]
        return Order(
            job=job,
            site=data["site"],
            customer=data["customer"],
            new_customer={
                "name": data["customer_name"],
                "email": data["customer_email"],
                "phone": data["customer_phone"],
            },
            new_site={
                "name": data["site_name"],
                "address": data["address"],
                "contact_name": data["contact_name"],
                "contact_phone": data["contact_phone"],
            },
        )


def choose(form: forms.Form, name: str, rows: models.QuerySet[Any]) -> forms.ModelChoiceField[Any]:
    """Gives a choice its rows: at import there is no firm to ask for them."""
    field = form.fields[name]
    assert isinstance(field, forms.ModelChoiceField)  # noqa: S101 - a slip of the programmer, not of a user
    field.queryset = rows
    return field


def _site_label(site: Site) -> str:
    return f"{site.customer.name}: {site.name}"


class InstrumentForm(RowForm):
    kind = forms.ChoiceField(choices=InstrumentKind.choices)
    name = forms.CharField(max_length=80, help_text="What the crew calls it.")
    serial = forms.CharField(max_length=60, label="Serial number")
    unit = forms.ChoiceField(choices=[(unit, unit or "no unit") for units in UNITS.values() for unit in units])
    range_high = NumberField(required=False, low=0, high=1e6, label="End of the scale")
    resolution = NumberField(required=False, low=1e-6, high=1e4, label="One division or last digit")
    accuracy = NumberField(
        required=False,
        low=0,
        high=1e4,
        label="Accuracy, ±",
        help_text="In the same unit. For a pair of thermometers: of the difference.",
    )
    scale = forms.ChoiceField(
        required=False,
        choices=[("", "not a refractometer"), ("brix", "Brix"), ("freezing_point", "Freezing point")],
        label="Scale of a refractometer",
    )
    scale_base = forms.ChoiceField(
        required=False,
        choices=[("", "no fluid"), *[(base.value, base.label) for base in Base]],
        label="Fluid its scale is made for",
        help_text="A reading on the scale of another fluid gives a false freezing point.",
    )
    calibration_due_date = forms.DateField(required=False, widget=DateInput(), label="Calibration due")
    suitable_for_flammable = forms.BooleanField(
        required=False,
        label="A pump that is fit for a fluid that burns",
        help_text="Ethanol and methanol mixes. Only when its maker says so.",
    )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        kind, unit = data.get("kind"), data.get("unit")
        if kind and unit is not None and unit not in UNITS[InstrumentKind(kind)]:
            wanted = " or ".join(word or "no unit" for word in UNITS[InstrumentKind(kind)])
            self.add_error("unit", f"This kind of instrument reads in {wanted}.")
        if data.get("suitable_for_flammable") and kind != InstrumentKind.PUMP:
            self.add_error("suitable_for_flammable", "This is only for a pump.")
        if kind == InstrumentKind.REFRACTOMETER and not data.get("scale"):
            self.add_error("scale", "Say which scale it has.")
        if data.get("scale") == "freezing_point" and not data.get("scale_base"):
            self.add_error("scale_base", "A scale in degrees is made for one fluid; say which.")
        return data


class ProductForm(RowForm):
    name = forms.CharField(max_length=120, label="Name on the drum")
    base = forms.ChoiceField(
        choices=[(base.value, base.label) for base in Base if base is not Base.WATER], label="Antifreeze"
    )
    concentrate_mass_pct = NumberField(
        unit="% by mass", low=1, high=100, label="Antifreeze in the drum", help_text="From the data sheet."
    )
    density_kg_m3 = NumberField(required=False, unit="kg/m³", low=600, high=1700, label="Density at 20 °C")
    minimum_mass_pct = NumberField(
        required=False,
        unit="% by mass",
        low=0,
        high=100,
        label="Least strength the maker allows",
        help_text="For its inhibitor.",
    )
    colour = forms.CharField(max_length=30, required=False, help_text="Empty: no colour; changeover is then measured.")
    drum_l = NumberField(unit="L", low=1, high=2000, label="Size of a drum", initial=25)
    hazards = forms.CharField(
        required=False, widget=forms.Textarea(attrs={"rows": 3}), help_text="From the safety data sheet, for the crew."
    )


PARTS: Final = ("value", "source", "status")


class LimitFields(NamedTuple):
    """The three fields of one limit."""

    label: str
    value: forms.BoundField
    source: forms.BoundField
    status: forms.BoundField


class RuleSetForm(forms.Form):
    """Every limit of a rule set with its value, source and status; gives back what was changed."""

    def __init__(self, data: Any = None, *, rule_set: RuleSet) -> None:
        super().__init__(data)
        self.limits = rules.completed(rule_set.limits, rule_set.name)
        self.groups = limit_groups(rule_set, completed=True)
        for group in self.groups:
            for row in group.rows:
                self._add(row.code, row.label, row.unit)

    def _add(self, code: str, label: str, unit: str) -> None:
        raw = self.limits[code]
        if code == rules.METHOD:
            value: forms.Field = forms.ChoiceField(choices=list(rules.METHODS.items()), label=label)
        else:
            value = NumberField(unit=unit, low=0, high=1e6, label=label)
        value.initial = raw["value"]
        self.fields[f"{code}__value"] = value
        self.fields[f"{code}__source"] = forms.CharField(
            max_length=300, label=f"Source: {label}", initial=raw["source"]
        )
        self.fields[f"{code}__status"] = forms.ChoiceField(
            choices=[(s.value, s.value) for s in Status], label=f"How sure: {label}", initial=raw["status"]
        )

    def rows(self) -> list[tuple[str, list[LimitFields]]]:
        """The bound fields under the name of their group, in the order of the work."""
        return [
            (
                group.name,
                [LimitFields(row.label, *(self[f"{row.code}__{part}"] for part in PARTS)) for row in group.rows],
            )
            for group in self.groups
        ]

    def changes(self) -> dict[str, dict[str, Any]]:
        """code -> the whole new limit, for those that differ from the version it starts from."""
        found = {}
        for code, raw in self.limits.items():
            new = {part: self.cleaned_data[f"{code}__{part}"] for part in PARTS}
            if any(new[part] != raw[part] for part in new):
                found[code] = {"unit": raw["unit"], **new}
        return found

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not self.errors and not self.changes():
            self.add_error(None, "Nothing was changed; change a limit or go back.")
        return data


class HoldForm(forms.Form):
    reason = forms.CharField(max_length=200, label="Why the job is put on hold", help_text="And who to call.")
