"""Forms of the ground. Pipe is chosen from the tables; numbers take comma or point."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.db.models import QuerySet

from calcs.pipe import PipeRow, metric_pipes
from jobs.ground import trade
from jobs.ground.models import Borehole, Header, Loop, LoopKind, Section
from jobs.planning.models import Design, FluidProduct
from jobs.sums.parse import NumberField, shown


def pipe_key(od_mm: float, wall_mm: float, material: str) -> str:
    """How a choice list names a pipe."""
    return f"{shown(od_mm)}|{shown(wall_mm)}|{material}"


def pipe_choices() -> list[tuple[str, list[tuple[str, str]]]]:
    """Every pipe of the tables by material and ratio."""
    groups: dict[str, list[tuple[str, str]]] = {}
    for row in metric_pipes():
        groups.setdefault(_group(row), []).append((pipe_key(row.od_mm, row.wall_mm, row.material), row.label))
    return list(groups.items())


def _group(row: PipeRow) -> str:
    return f"{row.material}, {'DR' if row.name else 'SDR'} {row.sdr:g}"


class PipeField(forms.ChoiceField):
    """One pipe of the tables, or the odd one that this row has already."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(choices=pipe_choices, **kwargs)

    def with_own(self, row: Loop | Header | None) -> None:
        """A size from an imported list need not be in the tables."""
        if row is None or not row.od_mm:
            return
        key = pipe_key(row.od_mm, row.wall_mm, row.material)
        if not self.valid_value(key):
            label = f"{row.od_mm:g} × {row.wall_mm:g} mm, {row.material}"
            self.choices = [("As entered", [(key, label)]), *pipe_choices()]


class RowForm(forms.Form):
    """A form that shows one row when it is given one."""

    def __init__(self, data: Any = None, *, row: Any = None, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        if row is not None:
            own = {name: getattr(row, name) for name in self.fields if hasattr(row, name)}
            self.initial = {**own, **self.initial}


class PipedForm(RowForm):
    """A form with a pipe in it: the action gets diameter, wall and material."""

    def __init__(self, data: Any = None, *, row: Any = None, sections: QuerySet[Section], **kwargs: Any) -> None:
        super().__init__(data, row=row, **kwargs)
        pipe, section = self.fields["pipe"], self.fields["section"]
        assert isinstance(pipe, PipeField)  # noqa: S101 - a slip of the programmer, not of a user
        assert isinstance(section, forms.ModelChoiceField)  # noqa: S101
        pipe.with_own(row)
        section.queryset = sections
        if row is not None:
            self.initial.setdefault("pipe", pipe_key(row.od_mm, row.wall_mm, row.material))

    def fields_of_row(self) -> dict[str, Any]:
        """What was typed, with the chosen pipe taken apart."""
        od, wall, material = self.cleaned_data["pipe"].split("|")
        rest = {name: value for name, value in self.cleaned_data.items() if name != "pipe" and value != ""}
        return {**rest, "od_mm": float(od), "wall_mm": float(wall), "material": material}


class CodeField(forms.CharField):
    """A short code of one letter and a number."""

    def __init__(self, pattern: Any, example: str, **kwargs: Any) -> None:
        self.pattern, self.example = pattern, example
        super().__init__(max_length=12, required=False, label="Code", help_text="Empty: the next free one.", **kwargs)

    def clean(self, value: Any) -> Any:
        text = str(super().clean(value) or "").upper().replace(" ", "")
        if text and not self.pattern.fullmatch(text):
            raise forms.ValidationError(f"Write it as {self.example}.")
        return text


class LoopForm(PipedForm):
    code = CodeField(trade.LOOP_CODE, "L1, L2 and so on")
    port = NumberField(required=False, whole=True, low=1, high=60, label="Port", help_text="Empty: the next free one.")
    kind = forms.ChoiceField(choices=LoopKind.choices)
    borehole = forms.ModelChoiceField(Borehole.objects.none(), required=False, empty_label="none")
    pipe = PipeField(initial=pipe_key(40, 3.7, "PE 100"))
    array_m = NumberField(
        unit="m", low=1, high=1500, label="Pipe in the borehole or trench", help_text="Down and up together."
    )
    lateral_m = NumberField(unit="m", low=0, high=1000, label="Lateral", help_text="Out and back together.", initial=0)
    section = forms.ModelChoiceField(
        Section.objects.none(), required=False, empty_label="none", label="Trench section of the lateral"
    )
    fittings_k = NumberField(
        low=0, high=500, label="Sum of loss coefficients K", help_text="Bends, valves, U-tube foot.", initial=6
    )

    def __init__(self, data: Any = None, *, boreholes: QuerySet[Borehole], **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        field = self.fields["borehole"]
        assert isinstance(field, forms.ModelChoiceField)  # noqa: S101 - a slip of the programmer, not of a user
        field.queryset = boreholes

    def fields_of_row(self) -> dict[str, Any]:
        found = super().fields_of_row()
        return {name: value for name, value in found.items() if not (name == "port" and value is None)}


class BoreholeForm(RowForm):
    code = CodeField(trade.BOREHOLE_CODE, "B1, B2 and so on")
    depth_m = NumberField(unit="m", low=5, high=600, label="Depth")
    driller = forms.CharField(max_length=80, required=False)

    def fields_of_row(self) -> dict[str, Any]:
        return without_empty_code(self.cleaned_data)


class SectionForm(RowForm):
    code = CodeField(trade.SECTION_CODE, "S1, S2 and so on")
    title = forms.CharField(max_length=80, label="From where to where")
    length_m = NumberField(unit="m", low=0.5, high=2000, label="Length")
    depth_mm = NumberField(unit="mm", low=100, high=6000, label="Depth of the trench")
    width_mm = NumberField(unit="mm", low=150, high=5000, label="Width", initial=450)

    def fields_of_row(self) -> dict[str, Any]:
        return without_empty_code(self.cleaned_data)


def without_empty_code(data: dict[str, Any]) -> dict[str, Any]:
    """An empty code is left to the action, which gives the next free one."""
    return {name: value for name, value in data.items() if not (name == "code" and not value)}


class HeaderForm(PipedForm):
    pipe = PipeField(initial=pipe_key(63, 5.8, "PE 100"))
    length_each_way_m = NumberField(unit="m", low=0.1, high=2000, label="Length each way")
    fittings_k = NumberField(
        low=0, high=500, label="Sum of loss coefficients K", help_text="Out and back together.", initial=6
    )
    section = forms.ModelChoiceField(
        Section.objects.none(), required=False, empty_label="none", label="Trench section it lies in"
    )


class ManifoldForm(RowForm):
    ports = NumberField(
        whole=True, low=1, high=60, label="Ports", help_text="Each port is one loop, to and from ground."
    )
    place = forms.CharField(max_length=120, required=False, label="Where it is")
    rating_bar = NumberField(
        required=False,
        unit="bar",
        low=0.5,
        high=40,
        label="Pressure rating",
        help_text="The lowest rated part limits the test.",
    )


class DesignForm(RowForm):
    """Heat pump, fluid and purge unit."""

    revision = forms.CharField(max_length=20, label="Design revision", initial="A")
    heating_kw = NumberField(unit="kW", low=0.5, high=2000, label="Heating capacity")
    cop = NumberField(low=1.05, high=12, label="COP at that point")
    rating_point = forms.CharField(max_length=20, initial="B0/W35")
    spread_k = NumberField(unit="K", low=0.5, high=15, label="Temperature difference on the source side", initial=3)
    minimum_flow_l_min = NumberField(
        required=False, unit="L/min", low=0.1, high=10000, label="Least source flow of the heat pump"
    )
    evaporator_drop_kpa = NumberField(
        required=False, unit="kPa", low=0, high=300, label="Pressure drop of the evaporator"
    )
    evaporator_flow_l_min = NumberField(required=False, unit="L/min", low=0.1, high=10000, label="At a flow of")
    product = forms.ModelChoiceField(FluidProduct.objects.none(), empty_label=None, label="Antifreeze")
    freezing_point_c = NumberField(unit="°C", low=-60, high=0, label="Freezing point to reach", initial=-15)
    cold_fluid_c = NumberField(
        unit="°C",
        low=-30,
        high=30,
        label="Coldest fluid of the design",
        help_text="Flow and pressure are computed here.",
        initial=0,
    )
    frost_alarm_c = NumberField(required=False, unit="°C", low=-40, high=10, label="Frost alarm of the heat pump")
    plant_volume_l = NumberField(
        unit="L",
        low=0,
        high=5000,
        label="Volume in the plant room",
        help_text="Heat pump, vessel, strainer, pipes.",
        initial=10,
    )
    static_height_m = NumberField(required=False, unit="m", low=0, high=100, label="Highest point above the gauge")
    bin_l = NumberField(unit="L", low=5, high=10000, label="Filling bin", initial=200)
    purge_pump_l_min = NumberField(required=False, unit="L/min", low=1, high=10000, label="Purge unit gives")
    purge_pump_kpa = NumberField(required=False, unit="kPa", low=1, high=2000, label="At a pressure of")
    deaeration_days = NumberField(unit="days", whole=True, low=1, high=30, label="De-aeration run", initial=10)

    PAIRS: Final = (("evaporator_drop_kpa", "evaporator_flow_l_min"), ("purge_pump_l_min", "purge_pump_kpa"))
    GROUPS: Final = (
        ("Heat pump", ("revision", "heating_kw", "cop", "rating_point", "spread_k", "minimum_flow_l_min",
                       "evaporator_drop_kpa", "evaporator_flow_l_min", "frost_alarm_c")),
        ("Fluid", ("product", "freezing_point_c", "cold_fluid_c", "plant_volume_l", "static_height_m")),
        ("Filling and purging", ("bin_l", "purge_pump_l_min", "purge_pump_kpa", "deaeration_days")),
    )  # fmt: skip

    def __init__(self, data: Any = None, *, row: Design | None, products: QuerySet[FluidProduct]) -> None:
        super().__init__(data, row=row)
        field = self.fields["product"]
        assert isinstance(field, forms.ModelChoiceField)  # noqa: S101 - a slip of the programmer, not of a user
        field.queryset = products

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        for one, other in self.PAIRS:
            if (data.get(one) is None) != (data.get(other) is None) and not {one, other} & self.errors.keys():
                empty = one if data.get(one) is None else other
                self.add_error(empty, "Give both figures of the pair, or neither.")
        alarm, freezing = data.get("frost_alarm_c"), data.get("freezing_point_c")
        if alarm is not None and freezing is not None and alarm <= freezing:
            self.add_error("frost_alarm_c", "The alarm must lie above the freezing point, or it comes too late.")
        return data

    def groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        """The fields under their headings, for the page."""
        return [(name, [self[field] for field in fields]) for name, fields in self.GROUPS]


class ImportForm(forms.Form):
    """A list as text, or a file of it."""

    text = forms.CharField(
        required=False,
        strip=False,
        label="The list",
        widget=forms.Textarea(attrs={"rows": 10, "spellcheck": "false"}),
        help_text="Paste it from a spreadsheet, with its heading line.",
    )
    file = forms.FileField(
        required=False, label="Or a CSV file", widget=forms.FileInput(attrs={"accept": ".csv,.txt,text/csv"})
    )
