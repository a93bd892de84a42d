"""Forms of visits: a visit, the scope of a job, the office's word on what is held, a later end of the run."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django import forms

from jobs.firms.models import Member, Role
from jobs.firms.queries import members_of
from jobs.planning.models import FillProcedure, Job
from jobs.planning.trade import BY_OTHERS, NOT_IN_JOB, OURS, PHASES, WHOSE, NotOurs, scope_of
from jobs.visits.models import Run, Visit, VisitKind
from jobs.visits.queries import crew_of
from jobs.visits.trade import LEAST_REASON


class VisitForm(forms.Form):
    """Plan or change a visit."""

    kind = forms.TypedChoiceField(label="What for", choices=VisitKind.choices, coerce=VisitKind)
    planned_date = forms.DateField(label="Day", widget=forms.DateInput(attrs={"type": "date"}))
    crew = forms.MultipleChoiceField(label="Who goes", widget=forms.CheckboxSelectMultiple, required=False)
    note = forms.CharField(label="Note for the crew", max_length=300, required=False)

    def __init__(self, *args: Any, member: Member, visit: Visit | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._people = {str(one.pk): one for one in members_of(member.firm_id, Role.CREW, Role.ENGINEER)}
        booked = crew_of(visit) if visit else []
        self._people |= {str(one.pk): one for one in booked}
        crew: Any = self.fields["crew"]
        crew.choices = [(pk, f"{one.user.name} ({one.role_labels})") for pk, one in self._people.items()]
        if visit:
            self.initial = {
                "kind": visit.kind,
                "planned_date": visit.planned_date,
                "note": visit.note,
                "crew": [str(one.pk) for one in booked],
            } | dict(self.initial)

    def clean_crew(self) -> list[Member]:
        return [self._people[pk] for pk in self.cleaned_data["crew"]]


@dataclass(frozen=True)
class PhaseFields:
    """The answers about one phase: whose, who, what shows it, why not."""

    label: str
    inputs: tuple[forms.BoundField, ...]


class ScopeForm(forms.Form):
    """Which phases of a job are ours, who does the others, and how the array is filled."""

    fill = forms.ChoiceField(label="How the array is filled", choices=FillProcedure.choices)

    def __init__(self, data: Any = None, *, job: Job) -> None:
        super().__init__(data)
        self.fields["fill"].initial = job.fill_procedure
        scope = scope_of(job.scope)
        for phase, label in PHASES.items():
            self._add(phase, label, scope.get(phase, NotOurs(OURS)))

    def _add(self, phase: str, label: str, row: NotOurs) -> None:
        texts = (
            ("who", "Who does it", 80),
            ("evidence", "What shows it", 200),
            ("reason", "Why it is not in this job", 200),
        )
        self.fields[f"{phase}__whose"] = forms.ChoiceField(
            label=f"{label}: whose", choices=list(WHOSE.items()), initial=row.whose
        )
        for name, words, longest in texts:
            self.fields[f"{phase}__{name}"] = forms.CharField(
                label=f"{label}: {words.lower()}", max_length=longest, required=False, initial=getattr(row, name)
            )

    def phases(self) -> list[PhaseFields]:
        """The bound fields, a row for each phase in the order of the work."""
        names = ("whose", "who", "evidence", "reason")
        return [
            PhaseFields(label, tuple(self[f"{phase}__{name}"] for name in names)) for phase, label in PHASES.items()
        ]

    def scope(self) -> dict[str, NotOurs]:
        """What is not ours. Who is kept only of others, a reason only of what is left out."""
        found = {}
        for phase in PHASES:
            whose, who, evidence, reason = (
                self.cleaned_data.get(f"{phase}__{name}", "") for name in ("whose", "who", "evidence", "reason")
            )
            if whose == BY_OTHERS:
                found[phase] = NotOurs(whose, who, evidence)
            elif whose == NOT_IN_JOB:
                found[phase] = NotOurs(whose, reason=reason)
        return found

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        for phase, row in self.scope().items():
            if row.complaint:
                self.add_error(f"{phase}__{'who' if row.whose == BY_OTHERS else 'reason'}", row.complaint)
        return data


class DecisionForm(forms.Form):
    """The office's word on a held entry."""

    reason = forms.CharField(
        label="Why", min_length=LEAST_REASON, max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )


class ExtendForm(forms.Form):
    """A later end of the de-aeration run."""

    day = forms.DateField(label="Run until", widget=forms.DateInput(attrs={"type": "date"}))
    reason = forms.CharField(
        label="Why", min_length=LEAST_REASON, max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )

    def __init__(self, *args: Any, run: Run, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._run = run

    def clean_day(self) -> datetime:
        """The same time of day as the present end."""
        day = self.cleaned_data["day"]
        later: datetime = self._run.ends_at + timedelta(days=(day - self._run.ends_at.date()).days)
        return later
